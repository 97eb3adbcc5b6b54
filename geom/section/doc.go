// Package section cuts the exact surface into layers: closed contours at z = zmin + (i+½)·h with their exact totals.
//
// A facet is crossed when it has a corner below the plane and one on or above it; a vertex on the plane counts as
// above, so there is no special case and each crossed facet gives exactly one piece of contour. Pieces are chained by
// the mesh edge they share, never by comparing coordinates. Material lies to the left: outer contours run
// counter-clockwise seen from above, holes clockwise, when facets face outwards.
//
// Where shells overlap or lie inside one another their contours are all given, and areas and lengths are signed sums
// of the raw contours (an area covered twice counts twice, an inside-out shell counts negative). The region they
// enclose by the winding rule is found by geom/solid (bits) or geom/plane (exact).
//
// Gaps of an open surface are closed in each layer by the shortest straight lines from chain end to chain start, and
// such contours are counted (Layer.Open).
//
// Units: mm, mm². Promises: areas and lengths agree with the polygons to rounding (TestClosedForms); the same bits on
// one core or many (TestSameBitsOnAnyCores); turning part and pose together changes nothing beyond rounding
// (TestRigidMotion).
//
// Not here: bits, skins and supports (geom/solid), offsets and unions (geom/plane).
package section
