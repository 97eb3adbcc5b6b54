// Package mesh is the exact surface of a part: indexed triangles, and everything that can be said about them without sampling.
//
// Welding (FromSoup, FromSTLRecords, FromIndexed), Topology, defects and shells (Check), bodies (SplitBodies), mending with a log (Mend),
// totals (Measure), hull, smallest box and whether the part fits (ConvexHull, SmallestBox, Fit), facets that cut each other (Crossings).
//
// Positions are stored as float32 (what the files hold), in mm; all arithmetic is float64, sums are compensated, and every question of side,
// turn or contact is decided without rounding error (geom/exact). Meshes are taken to be finite; readers see to that.
//
// Promises: counts and totals of outside meshes (TestMeasuredColumns); what mending makes of them (TestMendOutsideMeshes); the input of
// Mend is never changed, and no facets whatever make anything here panic (FuzzSurface); hulls are convex (TestHull); a fit found fits, a refusal
// proved is one (TestFitKnown, TestProvedNoIsNo); crossings are those of trying every pair (TestCrossingsAgainstEveryPair); measures, defects
// and bodies do not depend on pose, unit or order (geomtest.Invariants), nor on the number of cores.
//
// Not here: rays and nearest points (geom/bvh), walls and gaps (geom/thickness), overlapping shells made one (geom/unite; geom/solid for their bits).
package mesh

import "firstoff/geom/r3"

// Mesh is a set of triangles over shared vertices. A facet's corners run counter-clockwise seen from outside.
type Mesh struct {
	Pos []float32 // 3 per vertex: x y z, mm
	Tri []uint32  // 3 per facet: vertex indices, each < len(Pos)/3
}

// Vertices is the number of vertices.
func (m *Mesh) Vertices() int { return len(m.Pos) / 3 }

// Facets is the number of triangles.
func (m *Mesh) Facets() int { return len(m.Tri) / 3 }

// Vertex is the position of vertex i.
func (m *Mesh) Vertex(i uint32) r3.Vec {
	p := m.Pos[3*i : 3*i+3 : 3*i+3]
	return r3.Vec{X: float64(p[0]), Y: float64(p[1]), Z: float64(p[2])}
}

// Corners are the three corners of facet f.
func (m *Mesh) Corners(f int) (a, b, c r3.Vec) {
	t := m.Tri[3*f : 3*f+3 : 3*f+3]
	return m.Vertex(t[0]), m.Vertex(t[1]), m.Vertex(t[2])
}
