// Package occt runs the CAD kernel: a build of Open CASCADE for WebAssembly, as a guest of wazero.
//
// The guest gets a file's bytes and gives triangles, with the exact face each came from, the names and the
// colours. It sees no file system but a small one in memory, no clock that matters, no environment and no
// network; its memory is capped, and it is asked for a sign of life often enough that a context ends it.
//
// The build speaks to its host through embind, Emscripten's bridge to JavaScript values. What such a build
// imports is provided here in Go: handles to values (value.go), types and calls (embind.go), files and the
// few system calls (system.go). The imports' short names are read from the loader script that is fetched
// with the build (glue.go), so another build of the same interface can take its place.
//
// The build's exception handling is rewritten first (package eh).
//
// Units: a STEP or IGES file's lengths come out in mm whatever the file's unit; a BREP file has none and
// comes out as written. Angles in rad. Colours are linear RGB, 0 to 1.
// Promises: a file gets an instance of its own, nothing of one file is seen by the next
// (TestFreshInstanceEachFile); the guest's memory stays under its cap (TestMemoryCap); a context ends a
// running guest (TestContextEndsTheGuest).
// Sources: embind and emval of Emscripten 3.1 (system/include/emscripten/{bind,val}.h, src/embind) for the
// calling conventions, from memory and by trial; node running the same build is the reference.
package occt
