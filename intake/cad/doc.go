// Package cad reads exact files: STEP, IGES and BREP become bodies of triangles with their names, colours and
// places in the assembly, and the round holes are read off the exact faces.
//
// The work is done by a CAD kernel (Open CASCADE built for WebAssembly, LGPL-2.1 with exception; see Notice)
// that never runs inside this process: the program starts itself again as a child, hands the file over, and
// ends the child at the deadline. In the child the kernel is a guest with a memory cap, without files, clock,
// environment or network.
//
//	Read -> sniff, Part 21 text (internal/part21) -> child: kernel (internal/occt, its exceptions lowered by
//	internal/eh) -> weld, cylinders, holes (internal/faces) -> back over a pipe -> content.Content
//
// A program that calls Read must call ChildMain first thing in its main, and so must the TestMain of its
// tests. The kernel is fetched by npm and copied by tools/fetchkernel before building; without it everything
// builds, and Available says what is missing.
//
// Units: STEP and IGES come out in mm whatever the file's unit (the kernel converts, exactly); BREP files
// state none. Options in mm and rad.
// Promises: a file that crashes the kernel, runs forever or eats memory costs one child, not this process
// (TestMutatedFiles, TestDeadline, TestMemoryCap); volumes of round parts are met within 0.1 % by meshing finer
// where the first mesh was too coarse (TestGenerated); the exporter's own volume and area are compared with
// ours and a difference is said (TestStatedDisagreement).
// Loose surfaces that meet, as IGES files hold, are sewn into a solid where that closes it, and it is said
// (TestLooseSurfaces).
// Not here: other mending; tolerances and notes (PMI) in the file.
package cad
