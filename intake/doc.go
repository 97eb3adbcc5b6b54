// Package intake is the door: whatever a client sends becomes bodies in mm, or one plain sentence saying why not.
//
// A file is told by what is in it, never by its name alone. Where it does not state its unit, the unit is inferred
// from hints in the file and its name and from what size a part can sensibly have, with a confidence and, below
// certainty, a question to ask. A ZIP archive is taken apart (ReadAll). Everything is bounded by content.Limits.
//
// Units: what comes out is in mm; before that, in content, in the file's own unit.
//
// Promises: the ten usual kinds of broken file each get their own stable code and sentence (TestTenBroken); nothing
// in a file makes it panic (FuzzRead); the client's bytes are never changed.
//
// Not here: what is wrong with a surface (geom/mesh), what can be made (printability).
package intake
