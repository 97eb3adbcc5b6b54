// Package nest lays pieces into build volumes: a strip, platforms, or a chamber.
//
// Lengths are mm, angles degrees counter-clockwise seen from above. A placement turns the item about its own origin, then moves
// the origin to x, y (and z). A strip is as wide as stated along y and as long as needed along x.
//
// Platform is the quick door for quoting: trays in milliseconds, so that quantity breaks come from real layouts. Solve is the
// thorough door: a good layout at once and better ones with seconds, ended by a count of rounds, by seconds or by its context.
// Verify judges any result against its problem by means that the search does not use.
//
// Promises: no two pieces overlap and spacing is kept (TestVerifyAgreesWithSearch); the same seed and rounds give the same
// result (TestSolveRepeats); pieces of a better priority are never in a later tray than they need be (TestPriorityFirst).
//
// The search itself lives in nest/flat (outlines) and nest/chamber (bit solids).
package nest
