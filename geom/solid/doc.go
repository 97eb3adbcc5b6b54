// Package solid is the part in bits: one bit a cell, 64 cells a word, one plane a layer.
//
// A cell is solid when its centre lies inside the surface by the winding rule (winding number above zero), so
// overlapping and nested shells are right and inside-out shells are empty. Layer k holds the plane z = zmin + (k+½)·h,
// the same planes that geom/section cuts, and is filled from those exact contours.
//
// The surface is the judge of totals: areas, perimeters and volumes reported here are scaled so that they agree with
// the exact contours. Bits answer questions of neighbourhood: skins are a layer AND-NOT its neighbours, supports are
// columns under overhangs, walls and gaps come from erosion, opening and the distance transform, trapped voids and
// drains from flood fill, footprints from OR down the layers, collisions from AND.
//
// Doors: Summarise (what an estimator needs of each layer), Rasterise (the whole solid), Stream (planes of parts too
// large to hold), Supports, Skins, Dilate/Erode/Open/Close, Distances, Chambers, Footprint, Outline, Collides.
//
// Units: mm, mm², mm³, degrees from the horizontal. Promises: the same bits on one core or many (TestSameBitsOnAnyCores);
// unions of overlapping shells within 0.3 % (TestOverlappingBalls); a metre-sized part streams in bounded memory
// (TestStreamEqualsWhole).
//
// Not here: contours (geom/section), the choice of pose (geom/pose).
package solid
