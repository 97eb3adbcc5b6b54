// Package register lays measured points onto the surface they were measured on, and says how far they stand off it.
//
// Align finds the turn and move without a start guess: the points' own pose means nothing. Many starts (the principal
// axes in all their assignments, and turns spread evenly over all rotations, each with several moves) slide down a
// coarse grid that knows the nearest surface point of each of its nodes; what is left is refined against the true
// surface with the worst pairs left out, point to plane; the best is refined with more points until it stands still.
// Deviations then measures every point.
//
// Units: whatever points and surface share (mm); nothing is scaled. Angles in rad.
//
// Promises:
//   - moved copies come back within 0.1 % of the part's size, whole or seen from one side, with noise and strays
//     (TestFromAnyPose, TestOneSide, TestStrays; outside data in TestRangeScan and TestMovedCloud);
//   - of a part that fits in several ways any may be taken, and Fit says so (TestSymmetricParts);
//   - the same points give the same bits, on one core or many (TestSameBits);
//   - deviations are positive outside the material, also where edges and corners are nearest (TestSignedDeviations).
//
// Best fit hides errors of place: for acceptance align by datum points (Pairs, with three or more places named on
// both sides) and say in the report which was used.
//
// Not here: reading files (intake), tolerance and verdict words (quality/inspect).
//
// Sources: trimmed closest points, Chetverikov, Svirko, Stepanov, Krsek, ICPR 2002; point to plane, Chen and Medioni
// 1992; even rotations, Alexa, "Super-Fibonacci spirals", CVPR 2022; signs by angle-weighted normals, Bærentzen and
// Aanæs, IEEE TVCG 11(3), 2005; free motions, Gelfand et al., 3DIM 2003; pairs, Horn, JOSA A 4(4), 1987. All from
// memory; the starts on a grid of nearest points are our own reasoning.
package register
