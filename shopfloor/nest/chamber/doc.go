// Package chamber packs bodies of bits into a box as low as can be: the space half of nesting, for powder processes.
//
// A body is a grid of cells, solid or not. For two bodies in two poses the displacements at which they share a cell form a
// grid of their own, made once by AND of shifted rows; it holds, at each displacement, how far it is to a free one. So the
// search never touches cells again: asking for an overlap costs one look-up.
//
// Displacements that are free but walled in (one body inside the other, or linked like a chain) count as taken: two bodies
// that lie so could never be parted (TestNoTrappedPairs). Trapped by several others together is checked at the end by taking
// the packing apart, see Stuck.
//
// The search is that of nest/flat: lower the lid, let bodies overlap, move one at a time to where its weighted overlap is
// least, let weights of overlapping pairs grow; where that fails, swap two large bodies and go on.
//
// Lengths are cells. Same seed and rounds, same packing (TestPackRepeats).
package chamber
