package main

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"strconv"

	"firstoff/geom/plane"
	"firstoff/geom/pose"
	"firstoff/geom/r3"
	"firstoff/geom/section"
	"firstoff/geom/solid"
)

func init() {
	// slice: all closed contours at PEER_H, chained, with lengths and areas.
	ops["slice"] = func(args []string, l *line) error { return slice(args, l, false) }
	// slicebits: the same, and every layer filled into bits as wide as the layer is high.
	ops["slicebits"] = func(args []string, l *line) error { return slice(args, l, true) }
	// summary: what the estimator needs of each layer: contours, skins, supports at 45 degrees.
	ops["summary"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		l.start()
		s, err := solid.Summarise(m, r3.Identity, env("PEER_H", 0.254), solid.Options{SelfSupportDeg: 45, SkinLayers: 4, InterfaceLayers: 2})
		l.stop()
		if err != nil {
			return err
		}
		l.N = m.Facets()
		l.add("layers", len(s.Layers))
		l.add("volume_est_mm3", s.VolumeMM3)
		l.add("support_mm3", s.SupportVolumeMM3)
		return nil
	}
	// orient: overhang area and support volume to the plate in PEER_DIRS directions.
	ops["orient"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		ups := pose.Directions(int(env("PEER_DIRS", 1000)))
		l.start()
		p := pose.Prepare(m)
		build := l.since()
		loads := p.Loads(ups, 45)
		l.stop()
		l.N = m.Facets()
		var over, support float64
		best := 0
		for i, x := range loads {
			over, support = over+x.OverhangMM2, support+x.SupportMM3
			if x.SupportMM3 < loads[best].SupportMM3 {
				best = i
			}
		}
		l.add("dirs", len(ups))
		l.add("build_s", build)
		l.add("overhang_sum_mm2", over)
		l.add("support_sum_mm3", support)
		l.add("best_dir", best)
		l.add("best_support_mm3", loads[best].SupportMM3)
		return nil
	}
	// supportray: the same with columns that may land on the part, along plumb lines a 64th of the part's size apart.
	ops["supportray"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		ups := pose.Directions(int(env("PEER_DIRS", 1000)))
		s := m.Box().Size()
		cell := math.Max(s.X, math.Max(s.Y, s.Z)) / env("PEER_LINES", 64)
		l.start()
		landed := pose.Landings(m, ups, 45, cell)
		l.stop()
		l.N = m.Facets()
		var support float64
		best := 0
		for i, x := range landed {
			support += x.SupportMM3
			if x.SupportMM3 < landed[best].SupportMM3 {
				best = i
			}
		}
		l.add("dirs", len(ups))
		l.add("cell_mm", cell)
		l.add("support_sum_mm3", support)
		l.add("best_dir", best)
		l.add("best_support_mm3", landed[best].SupportMM3)
		return nil
	}
	// offset: per layer of a contour file: union (non-zero), inward offsets 0.2, 0.6, 1.0 mm, mitre limit 2.
	ops["offset"] = func(args []string, l *line) error {
		layers, points, err := contours(args[0])
		if err != nil {
			return err
		}
		var union float64
		var off [3]float64
		n := 0
		l.start()
		for _, c := range layers {
			r := make(plane.Region, len(c))
			for i, p := range c {
				q := make(plane.Path, len(p))
				for j, x := range p {
					q[j] = plane.MM(x[0], x[1])
				}
				r[i] = q
			}
			n += len(c)
			u := plane.Union(r, plane.NonZero)
			union += u.Area()
			for i, d := range [3]float64{0.2, 0.6, 1.0} {
				off[i] += plane.Offset(u, -d, plane.Mitre).Area()
			}
		}
		l.stop()
		l.N = points
		l.add("layers", len(layers))
		l.add("contours", n)
		l.add("union_area_sum_mm2", union)
		l.add("off02_area_sum_mm2", off[0])
		l.add("off06_area_sum_mm2", off[1])
		l.add("off10_area_sum_mm2", off[2])
		return nil
	}
}

func slice(args []string, l *line, bits bool) error {
	m, err := load(args[0])
	if err != nil {
		return err
	}
	h := env("PEER_H", 0.25)
	cells := 0
	l.start()
	var layers []section.Layer
	if bits {
		st, err := solid.Stream(m, r3.Identity, h, h, 0)
		if err != nil {
			return err
		}
		s, measured := st.Measured()
		layers = measured
		cells = s.Count()
	} else {
		layers = section.Slice(m, r3.Identity, h).Layers
	}
	l.stop()
	l.N = m.Facets()
	var area, length float64
	contours, points, open := 0, 0, 0
	for i := range layers {
		x := &layers[i]
		area, length = area+x.Area, length+x.Perimeter
		contours, points, open = contours+x.Loops, points+x.Points, open+x.Open
	}
	l.add("h_mm", h)
	l.add("layers", len(layers))
	l.add("contours", contours)
	l.add("points", points)
	l.add("open", open)
	l.add("area_sum_mm2", area)
	l.add("length_sum_mm", length)
	l.add("volume_est_mm3", area*h)
	if bits {
		l.add("bits_mm3", float64(cells)*h*h*h)
	}
	return nil
}

// env is a number from the environment.
func env(key string, other float64) float64 {
	if x, err := strconv.ParseFloat(os.Getenv(key), 64); err == nil {
		return x
	}
	return other
}

// contours reads a contour file: int32 layers; per layer int32 paths; per path int32 points, then float64 x y each.
func contours(path string) (layers [][][][2]float64, points int, err error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, 0, err
	}
	cut := fmt.Errorf("%s: cut off", path)
	count := func(size int) (int, bool) {
		if len(b) < 4 {
			return 0, false
		}
		n := int(int32(binary.LittleEndian.Uint32(b)))
		b = b[4:]
		return n, n >= 0 && n <= len(b)/size
	}
	n, ok := count(4)
	if !ok {
		return nil, 0, cut
	}
	layers = make([][][][2]float64, n)
	for i := range layers {
		n, ok := count(4)
		if !ok && n != 0 {
			return nil, 0, cut
		}
		layers[i] = make([][][2]float64, n)
		for k := range layers[i] {
			n, ok := count(16)
			if !ok {
				return nil, 0, cut
			}
			p := make([][2]float64, n)
			for j := range p {
				p[j] = [2]float64{math.Float64frombits(binary.LittleEndian.Uint64(b[16*j:])), math.Float64frombits(binary.LittleEndian.Uint64(b[16*j+8:]))}
			}
			b = b[16*n:]
			layers[i][k] = p
			points += n
		}
	}
	return layers, points, nil
}
