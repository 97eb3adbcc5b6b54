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
		read := l.worked()
		m := mesh.FromSTLRecords(r)
		if err := syscall.Munmap(b); err != nil {
			return err
		}
		weld := l.worked()
		t := m.Topology()
		topo := l.worked()
		bodies := m.Bodies()
		body := l.worked()
		q := m.Measure()
		l.stop()
		l.N = m.Facets()
		l.add("read_cpu_s", read)
		l.add("weld_cpu_s", weld-read)
		l.add("topo_cpu_s", topo-weld)
		l.add("bodies_cpu_s", body-topo)
		l.add("measure_cpu_s", l.CPU-body)
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
