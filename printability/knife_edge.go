package printability

import (
	"math"

	"firstoff/part"
)

// knifeDeg is the edge angle under which material thins out to nothing over several wall thicknesses.
const knifeDeg = 20

// knifeEdge: edges sharper than knifeDeg come out rounded or frayed.
func knifeEdge(q *Question) []part.Finding {
	if q.Geometry == nil {
		return nil
	}
	var length, longest float64
	var at *edge
	edges := q.Geometry.sharp()
	for i := range edges {
		e := &edges[i]
		// interior angle π − turn of a convex edge
		if e.turn <= math.Pi-knifeDeg*math.Pi/180 || e.across < 0.5 {
			continue
		}
		length += e.length
		if e.length > longest {
			longest, at = e.length, e
		}
	}
	if at == nil || length < 1 {
		return nil
	}
	p := at.at
	f := finding(Warning, practice, length, 0, "mm", "%.0f mm of edge are sharper than %d°; they come out ragged. Blunt them to a wall's thickness.", length, knifeDeg)
	f.At = &p
	return one(f)
}
