// Package plane is planar regions on a fixed grid: union, intersection, difference, offset, area, containment, the
// smallest rectangle, simplification.
//
// Coordinates are integers, PerMM to the millimetre, so every predicate is exact. A region is a set of closed paths;
// what it covers is told by the winding number. Results have outer paths counter-clockwise and holes clockwise, cross
// nowhere (they may touch in points), and the region lies to the left of every edge.
//
// How: all edges are split where they meet, meeting points rounded to the grid, until no two edges meet except at
// common ends (exact test); then one sweep from left to right finds the winding number on both sides of each edge, and
// edges with the region on one side only are linked at each vertex into paths. Rounding moves an edge by a few
// grid steps of 4 nm at most; nothing else is approximate.
//
// Offsets: each edge is moved along its normal, corners are joined by the mitre (limit 2, squared beyond) or by arcs,
// and the winding number above zero is kept. Where two moved edges cross near their common corner they are cut there
// at once instead of leaving a loop for the sweep: the loop lies within the strips both edges sweep, which stay
// uncovered once, so the region is the same (proof in offset.go).
//
// Units: mm and mm² in float64, grid steps in int64. Promises: agreement with rasters by brute force (TestAgainstRaster);
// results are clean (TestResultsAreClean); the same answer whatever the order of paths (TestOrderDoesNotMatter).
//
// Not here: contours of a part (geom/section).
package plane
