package main

import (
	"context"
	"os"
	"syscall"

	"firstoff/intake/content"
	"firstoff/intake/stl"
	"firstoff/intake/threemf"
)

// Files that a reader of intake takes: text STL in load, 3MF in import3mf. The same clock as load: file to answer.
func init() {
	binary := ops["load"]
	ops["load"] = func(args []string, l *line) error {
		l.start()
		b, err := mapped(args[0])
		if err != nil {
			return err
		}
		if !stl.Text(b) {
			if err := syscall.Munmap(b); err != nil {
				return err
			}
			return binary(args, l)
		}
		c, err := stl.Read(context.Background(), b, content.Limits{})
		if err != nil {
			return err
		}
		if err := syscall.Munmap(b); err != nil {
			return err
		}
		return answer(c, l)
	}
	ops["import3mf"] = func(args []string, l *line) error {
		l.start()
		b, err := os.ReadFile(args[0])
		if err != nil {
			return err
		}
		c, err := threemf.Read(context.Background(), b, content.Limits{})
		if err != nil {
			return err
		}
		return answer(c, l)
	}
}

func answer(c *content.Content, l *line) error {
	read := l.worked()
	var volume, area float64
	var vertices, euler, bodies int
	closed := true
	l.N = 0
	for _, b := range c.Bodies {
		t := b.Mesh.Topology()
		q := b.Mesh.Measure()
		volume, area = volume+q.VolumeMM3, area+q.AreaMM2
		vertices += b.Mesh.Vertices()
		euler += b.Mesh.Vertices() - t.Edges + b.Mesh.Facets()
		bodies += b.Mesh.Bodies()
		closed = closed && t.Closed()
		l.N += b.Mesh.Facets()
	}
	l.stop()
	l.add("read_cpu_s", read)
	l.add("vertices", vertices)
	l.add("euler", euler)
	l.add("bodies", bodies)
	l.add("watertight", closed)
	l.add("volume_mm3", volume)
	l.add("area_mm2", area)
	return nil
}
