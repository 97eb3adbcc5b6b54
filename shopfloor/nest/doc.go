// Package nest lays pieces into build volumes: a strip, platforms, or a chamber.
//
// Lengths are mm, angles degrees counter-clockwise seen from above. A placement turns the item about its own origin, then moves
// the origin to x, y (and z). A strip is as wide as stated along y and as long as needed along x.
//
// Platform is the quick door for quoting: trays in milliseconds, so that quantity breaks come from real layouts; BestPoses chooses
// poses together with places. Solve (for chambers also Chamber) is the thorough door: a good layout at once and better ones with seconds, ended by a count of rounds, by seconds or by its context.
// Verify judges any result against its problem by means that the search does not use.
//
// Promises: no two pieces overlap and spacing is kept (TestVerifyAgreesWithSearch); the same seed and rounds give the same
// result on one processor or many (TestSolveRepeats); pieces of a better priority are never in a later tray than they need be (TestPriorityFirst).
//
// A pose of a mesh seen from above is as drawn; poses are chosen by geom/pose. In a chamber "free" means the 24 turns onto the
// axes; no part is walled in by or linked with another, and parts that could not be taken out one after the other are lifted out.
//
// The search itself lives in nest/flat (outlines) and nest/chamber (bit solids).
package nest
