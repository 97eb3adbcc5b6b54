// Package bvh finds what a ray meets, what lies nearest and what overlaps, on a surface of any size: a tree of boxes over
// the facets.
//
// Lengths in mm. Answers are computed in float64 from the float32 positions; boxes are only used to leave facets out, and are padded by
// more than their own rounding, so they never leave out an answer.
//
// Promises: a ray never slips between two facets through a shared edge or vertex (TestWatertight); answers agree with trying every facet
// (TestAgainstAllFacets); the tree and every answer have the same bits on one core or on many (TestSameBitsOnAnyCores).
//
// Sources: binned surface-area heuristic, Wald, "On fast construction of SAH-based bounding volume hierarchies", 2007; ray against facet,
// Woop, Benthin, Wald, "Watertight ray/triangle intersection", JCGT 2(1), 2013; nearest point of a triangle, Ericson, Real-Time
// Collision Detection, ch. 5. Searching upwards from a facet known to be near, until the answer is enclosed, is our own reasoning.
package bvh
