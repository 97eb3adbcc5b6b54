// Package unite makes shells that run into each other one: the boundary of where the winding number is at least one.
//
// Facets that meet are cut along their meeting lines, each plane is divided into triangles again, the triangles are gathered
// into patches that no other surface crosses, one ray a patch says how often the shells wind around either side of it, and the patches with
// nothing in front and something behind are kept. Lobes of a shell that have turned inside out wind negatively and go, as they do in the bit
// solid (geom/solid, the same rule).
//
// Cutting and deciding are exact: coordinates are whole numbers of cells 2⁻⁴³ of the largest coordinate wide (float32 positions are such
// numbers already, unless they are tiny beside the largest), points are quotients of big integers, and no tolerance exists. Facets in one plane, shared
// edges, corners on edges, twofold surfaces are therefore no special cases. Only the answer is rounded, to the float32
// of every mesh: its shells may meet again by that much.
//
// Both, Less and Common are the other sums of two solids. Clip cuts small solids by a large one with the same means (beams of a lattice by its clipping mesh).
//
// Promises: volumes of overlapping solids with closed forms (TestUnionVolumes); the same within rounding after turning, moving, scaling
// (TestUnionTurned); nothing is done to parts whose shells are clean or only touch (TestCleanIsNotTouched); the winding of
// random points agrees before and after (TestWindingKept); asserted by others and by the bit solid (TestUnionAssertedByOthers,
// TestUnionAgreesWithBits); no facets whatever make it panic (TestAnyFacets); what is cut
// off and what is left wind as they should and add up (TestClipWinds, TestSumsOfSolids). The same bits on
// any cores (TestUnionOnAnyCores).
//
// Units: mm. Not here: which surfaces are one body (geom/mesh), volumes alone (geom/solid gives the union's within 0.3 %).
// Sources (cited from memory): the scheme is that of Zhou, Grinspun, Zorin, Jacobson, "Mesh arrangements for solid geometry", ACM TOG 35(4), 2016,
// with winding numbers by rays instead of by propagation around edges; constraints enter a triangulation by flips as in Sloan, "A fast
// algorithm for generating constrained Delaunay triangulations", Computers & Structures 47(3), 1993.
package unite
