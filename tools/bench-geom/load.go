package main

import (
	"syscall"

	"firstoff/geom/mesh"
)

// load: from the file to the answer: read, weld, topology, bodies, measures.
func init() {
	ops["load"] = func(args []string, l *line) error {
		l.start()
		b, err := mapped(args[0])
		if err != nil {
			return err
		}
		r, err := records(b)
		if err != nil {
			return err
		}
		read := l.since()
		m := mesh.FromSTLRecords(r)
		if err := syscall.Munmap(b); err != nil {
			return err
		}
		weld := l.since()
		t := m.Topology()
		topo := l.since()
		bodies := m.Bodies()
		body := l.since()
		q := m.Measure()
		l.stop()
		l.N = m.Facets()
		l.add("read_s", read)
		l.add("weld_s", weld-read)
		l.add("topo_s", topo-weld)
		l.add("bodies_s", body-topo)
		l.add("measure_s", l.Seconds-body)
		l.add("vertices", m.Vertices())
		l.add("euler", m.Vertices()-t.Edges+m.Facets())
		l.add("boundary_edges", t.Boundary)
		l.add("bodies", bodies)
		l.add("watertight", t.Closed())
		l.add("volume_mm3", q.VolumeMM3)
		l.add("area_mm2", q.AreaMM2)
		l.add("ixx_mm5", q.InertiaMM5[0])
		return nil
	}
}
