// Package glb reads glTF 2.0, as one binary file (GLB) or as JSON with its buffers inside or beside it, and writes GLB
// for the web viewer.
//
// Reading: meshes where the node tree places them, in the file's unit (metres by the standard; the door doubts that where
// the size is absurd) and the file's axes (Y up by the standard; not turned). Interleaved, quantised (KHR_mesh_quantization) and
// sparse accessors, strips and fans; colours from materials, corner colours and base colour textures, one a facet.
// Poses of skins and morph targets are passed over with a warning; compressed geometry is refused by name.
//
// Writing: see Write.
//
// Promises: written files read back within half a quantum (TestWriteRead); the same bodies give the same bytes; nothing in
// a file makes it panic (FuzzRead).
//
// Source: Khronos Group, glTF 2.0 Specification 2.0.1, and its extension KHR_mesh_quantization (from memory).
package glb
