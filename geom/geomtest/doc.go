// Package geomtest makes solids whose volume and area are known, and checks what must hold for every surface. For tests only.
//
// Lengths in mm. A Solid carries the totals of its facets in closed form (exact but for the rounding of positions to
// float32, relative 1e-6) and, where the facets stand for a round body, those of the body.
package geomtest
