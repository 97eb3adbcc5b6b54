package main

import (
	"cmp"
	"math"
	"path/filepath"
	"slices"

	"firstoff/geom/bvh"
)

func init() {
	// wall: tree, and one inward ray per facet from 1e-4 mm below its centroid.
	ops["wall"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		l.start()
		t := bvh.Build(m)
		build, work := l.since(), l.worked()
		d := make([]float32, m.Facets())
		t.OwnRays(bvh.Inward, 1e-4, math.Inf(1), d)
		l.stop()
		l.N = m.Facets()
		l.add("build_s", build)
		l.add("build_cpu_s", work)
		l.add("mrays_per_s", float64(l.N)/(l.Seconds-build)/1e6)
		sum, ok := 0.0, d[:0]
		for _, x := range d {
			if x < 1e30 {
				sum += float64(x)
				ok = append(ok, x)
			}
		}
		slices.SortFunc(ok, func(a, b float32) int { return cmp.Compare(a, b) })
		q := func(f float64) float32 { return ok[int(f*float64(len(ok)-1))] }
		l.add("miss", l.N-len(ok))
		l.add("mean_mm", sum/float64(len(ok)))
		l.add("p01_mm", q(0.01))
		l.add("p50_mm", q(0.5))
		l.add("p99_mm", q(0.99))
		return nil
	}
	// dist: tree, and the distance of every point of a second file.
	ops["dist"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		p, err := points(args[1])
		if err != nil {
			return err
		}
		out := make([]bvh.Near, len(p))
		l.start()
		t := bvh.Build(m)
		build, work := l.since(), l.worked()
		t.NearestAll(p, out)
		l.stop()
		l.N = len(p)
		sum, top := 0.0, 0.0
		for i := range out {
			sum += out[i].Dist
			top = max(top, out[i].Dist)
		}
		l.add("points", filepath.Base(args[1]))
		l.add("build_s", build)
		l.add("build_cpu_s", work)
		l.add("mqueries_per_s", float64(l.N)/(l.Seconds-build)/1e6)
		l.add("mean_mm", sum/float64(l.N))
		l.add("max_mm", top)
		return nil
	}
}
