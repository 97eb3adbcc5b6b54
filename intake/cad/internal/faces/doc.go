// Package faces makes one surface out of a body that was meshed exact face by exact face, and reads off it what
// the exact faces still tell: cylinders, and among them holes with their diameter and depth.
//
// Nodes the mesher puts on a face lie on the exact surface, and neighbours share the nodes of their common
// edge to the last digits. So nodes are welded within a millionth of a millimetre, and a cylinder is found by
// fitting one to a face's nodes: it fits to a few thousandths of a millimetre or it is none.
//
// Units: whatever the nodes are in; tolerances are stated for mm and shrink with bodies under 100 of the unit.
// Promises: a cylinder's diameter is found within 1e-6 of it on clean nodes, under any rotation
// (TestCylinderAnyAttitude); winding tells hole from boss, in bodies turned inside out as well (TestHoleOrBoss).
// Loose faces that meet are sewn when that closes the body, and never otherwise (TestSewLooseFaces,
// TestSewLeavesOpeningsOpen).
// Not here: other mending; flat sides of slots; threads; cones and countersinks.
package faces
