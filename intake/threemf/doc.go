// Package threemf reads and writes 3MF packages.
//
// Read: the core specification with components, transforms, units and build items; materials (base, colours, textures,
// composites, several at once: one colour a facet); production (parts in several files); beam lattices (made into
// surfaces, cut by the clipping mesh; a mesh that only represents a lattice is not needed); boolean operations (worked out exactly); slices (checked, the mesh is used); secure content (told, not deciphered). Other extensions are passed
// over unless the file requires them: then it is refused by the extension's name. The package's rules (content types,
// relationships, part names) and the XML are held strictly.
//
// Coordinates come in the file's unit, bodies where the build places them; objects that nothing places are left out.
//
// Promises: every case of the outside collection is answered as its manifest says, exceptions argued
// (intake: TestManifest3MF); what is written reads back the same (TestWriteRead); nothing in a file makes it panic
// (FuzzRead).
//
// Sources: 3MF Consortium, 3MF Core Specification 1.3 and the extensions Materials and Properties 1.2, Production 1.1, Beam
// Lattice 1.2, Slice 1.0, Secure Content 1.0, Boolean Operations 1.1 (rules from memory and from the published schemas); ECMA-376-2, Open
// Packaging Conventions (from memory).
package threemf
