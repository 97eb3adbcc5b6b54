package register

import (
	"math"

	"firstoff/geom/bvh"
	"firstoff/geom/cores"
	"firstoff/geom/r3"
)

// ground is a coarse grid around the surface that holds, for every node, the nearest surface point and its facet's
// normal: a closest-point search for one look-up, good to about a cell.
type ground struct {
	min     r3.Vec
	cell    float64
	n       [3]int
	nearest []r3.Vec
	normal  []r3.Vec
}

// groundNodes is about how many nodes a ground has.
const groundNodes = 60_000

// layGround lays a grid over the box, wider by a third of its diagonal on every side.
func layGround(tree *bvh.Tree, box r3.Box, normals []r3.Vec) *ground {
	pad := 0.3 * box.Size().Norm()
	size := box.Size().Add(r3.Vec{X: 2 * pad, Y: 2 * pad, Z: 2 * pad})
	g := &ground{min: box.Min.Sub(r3.Vec{X: pad, Y: pad, Z: pad}), cell: math.Cbrt(size.X * size.Y * size.Z / groundNodes)}
	for i := range 3 {
		g.n[i] = int(size.Axis(i)/g.cell) + 2
	}
	nodes := make([]r3.Vec, g.n[0]*g.n[1]*g.n[2])
	cores.Each(len(nodes), 4096, func(_, from, to int) {
		for k := from; k < to; k++ {
			i, j, l := k%g.n[0], k/g.n[0]%g.n[1], k/(g.n[0]*g.n[1])
			nodes[k] = g.min.Add(r3.Vec{X: float64(i), Y: float64(j), Z: float64(l)}.Mul(g.cell))
		}
	})
	near := make([]bvh.Near, len(nodes))
	tree.NearestAll(nodes, near)
	g.nearest, g.normal = make([]r3.Vec, len(nodes)), make([]r3.Vec, len(nodes))
	for k, n := range near {
		g.nearest[k], g.normal[k] = n.Point, normals[n.Facet]
	}
	return g
}

// at is the node nearest to p.
func (g *ground) at(p r3.Vec) int {
	d := p.Sub(g.min)
	return clampRound(d.X/g.cell, g.n[0]) + g.n[0]*(clampRound(d.Y/g.cell, g.n[1])+g.n[1]*clampRound(d.Z/g.cell, g.n[2]))
}

func clampRound(v float64, n int) int { return int(math.Max(0, math.Min(float64(n-1), v+0.5))) }
