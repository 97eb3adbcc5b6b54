// Package flat lays outlines side by side in rectangles: the plane half of nesting.
//
// It knows nothing of parts, machines or JSON. Outlines are simple polygons in mm, float64, counter-clockwise after
// Clean. An outline is cut into convex pieces once; two outlines collide exactly when the displacement between them lies
// inside one of the Minkowski sums of piece and mirrored piece, so a collision is a handful of half-plane tests and the depth of
// an overlap comes with it (see Map). Spacing is a further Minkowski sum with a disc, drawn as a regular polygon around it:
// kept spacing is never less than asked and at sharp corners at most 2 % more.
//
// Three ways to place, from quick to thorough:
//
//   - Shelf fills trays bottom-left on bit rows and then slides each piece home exactly; milliseconds.
//   - Separate takes a layout with overlaps and removes them by moving one piece at a time, with a weight per pair that
//     grows while the pair overlaps (guided local search: Voudouris and Tsang 1999; for nesting: Egeblad, Nielsen, Odgaard 2007).
//   - Strip shortens a strip again and again and separates what that pushed together; where it gets stuck it swaps large
//     pieces and tries again; at last it shortens in ever finer steps.
//
// All searches draw from a seed, count rounds, and give the same layout for the same seed and rounds (TestStripRepeats).
package flat
