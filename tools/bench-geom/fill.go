package main

import "firstoff/geom/mesh"

// fill: closing every boundary loop, here as the whole of mending: topology, orientation, nesting and log included.
func init() {
	ops["fill"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		l.start()
		n, log := mesh.Mend(m)
		l.stop()
		l.N = m.Facets()
		added := 0
		for _, s := range log.Source {
			if s < 0 {
				added++
			}
		}
		l.add("loops", len(mesh.CheckTopology(m).Loops))
		l.add("added", added)
		l.add("watertight", n.Topology().Closed())
		l.add("volume_mm3", n.Measure().VolumeMM3)
		return nil
	}
}
