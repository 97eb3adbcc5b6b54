// Package roads is the reference for extrusion: it lays every road of a part and drives along it move by move.
//
// For each layer the exact contours are inset for the outline roads (offset.go), raster lines are cut from the inner region line by
// line, split into solid skin and sparse fill by intersecting the same line with the layers above and below (fill.go), supports are
// rastered from their bits, and the whole is driven in a greedy nearest-first order with look-ahead over corner speeds (drive.go).
// It is slow on purpose and answers with the same Roads as desk/estimate, which is held to it (TestEstimatorAgainstRoads).
//
// Conventions shared with desk/estimate (handbook 3.1): outline roads are closed loops from rest to rest with corner speeds by
// junction deviation; raster lines run from rest to rest; the way to the next road is a travel move; a road that does not begin
// within two pitches of where the last ended costs a start.
//
// Units: mm, s. Promises: block, cylinder wall and cone against closed forms under 0.5 % (TestClosedForms).
package roads
