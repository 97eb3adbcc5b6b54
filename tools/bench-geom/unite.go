package main

import (
	"firstoff/geom/mesh"
	"firstoff/geom/unite"
)

// unite: mending, and the shells that run into each other made one.
func init() {
	ops["unite"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		l.start()
		n, log := mesh.Mend(m)
		mend := l.worked()
		n, log = unite.Resolve(n, log)
		l.stop()
		l.N = m.Facets()
		l.add("mend_cpu_s", mend)
		for _, s := range log.Steps {
			l.add(s.Code, s.Count)
			l.add(s.Code+"_before_mm3", s.VolumeBefore)
		}
		l.add("facets", n.Facets())
		l.add("shells", len(mesh.CheckTopology(n).Shells))
		l.add("solid", n.Topology().Solid())
		l.add("volume_mm3", n.Measure().VolumeMM3)
		return nil
	}
}
