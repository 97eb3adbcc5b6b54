package roads

import (
	"math"
	"math/bits"

	"firstoff/desk/estimate"
	"firstoff/geom/solid"
)

// layerSupport rasters the support bits: sparse columns, dense where part is within the interface layers above or below.
func layerSupport(res *Result, e estimate.Extrusion, sup, part *solid.Solid) {
	w := e.WidthMM
	head := pt{}
	words := sup.PlaneWords()
	dense := make([]uint64, words)
	inner := make([]uint64, words)
	for k := 0; k < sup.NZ; k++ {
		p := sup.Plane(k)
		any := false
		for i := range p {
			any = any || p[i] != 0
		}
		if !any {
			continue
		}
		for i := range p {
			dense[i] = 0
		}
		for d := 1; d <= max(1, e.M.InterfaceLayers); d++ {
			for _, z := range []int{k - d, k + d} {
				if z < 0 || z >= part.NZ {
					continue
				}
				q := part.Plane(z)
				for i := range p {
					dense[i] |= q[i] & p[i]
				}
			}
		}
		for i := range p {
			inner[i] = p[i] &^ dense[i]
		}
		for _, z := range part.Plane(k) {
			if z != 0 {
				res.Switches++
				break
			}
		}
		rows(res, e, sup, dense, w, k, &head)
		rows(res, e, sup, inner, w/math.Max(1e-6, e.M.SupportPct/100), k, &head)
	}
}

// rows lays the runs of every row nearest to each raster line of the given pitch.
func rows(res *Result, e estimate.Extrusion, g *solid.Solid, plane []uint64, pitch float64, k int, head *pt) {
	var todo []road
	covered := 0
	for _, x := range plane {
		covered += bits.OnesCount64(x)
	}
	if covered == 0 {
		return
	}
	along := k&1 == 0
	across := g.NY
	if !along {
		across = g.NX
	}
	n := int(math.Ceil(float64(across) * g.Cell / pitch))
	var laid float64
	for j := 0; j < n; j++ {
		y := (float64(j) + 0.5) * pitch
		r := int(y / g.Cell)
		if r >= across {
			break
		}
		from := -1
		line := g.NX
		if !along {
			line = g.NY
		}
		for i := 0; i <= line; i++ {
			on := false
			if i < line {
				x, yy := i, r
				if !along {
					x, yy = r, i
				}
				on = plane[yy*g.Stride+x>>6]>>(x&63)&1 == 1
			}
			switch {
			case on && from < 0:
				from = i
			case !on && from >= 0:
				a, b := pt{float64(from) * g.Cell, y}, pt{float64(i) * g.Cell, y}
				if !along {
					a, b = pt{a.y, a.x}, pt{b.y, b.x}
				}
				laid += a.dist(b)
				todo = append(todo, road{a: a, b: b, line: j})
				from = -1
			}
		}
	}
	if laid == 0 {
		return
	}
	// the rows hit stand for the whole region: scale lengths to its area
	want := float64(covered) * g.Cell * g.Cell / pitch
	f := want / laid
	for i := range todo {
		l := todo[i].a.dist(todo[i].b) * f
		res.SupportMM += l
		res.SupportMM3 += l * e.WidthMM * e.LayerMM
		res.SupportS += estimate.RestS(l, e.VSupport, e.Accel)
	}
	res.drive(todo, head, e)
}

// base lays the layers of support under the part, full density over part and support of the first layer, along x and y in turn.
func base(res *Result, e estimate.Extrusion, sup, part *solid.Solid) {
	foot := make([]uint64, sup.PlaneWords())
	for i, x := range part.Plane(0) {
		foot[i] = x | sup.Plane(0)[i]
	}
	head := pt{}
	for b := 0; b < e.M.BaseLayers; b++ {
		rows(res, e, sup, foot, e.WidthMM, b, &head)
	}
	res.Layers += e.M.BaseLayers
}
