// Package part21 reads the text of a STEP file (ISO 10303-21) without understanding its geometry: who wrote
// it to which schema, in which unit, which shapes it announces, what volume, area and centroid its exporter
// stated, which parts an assembly uses, and whether it merely names other files.
//
// It is what the desk can say about a file before, beside and against the CAD kernel.
//
// Units: lengths come out in mm, areas in mm², volumes in mm³, whatever the file's unit.
// Promises: any bytes give an answer in time linear in their number, never a panic (FuzzScan); a record that
// makes no sense is passed over.
// Not here: geometry (package occt); exchange of several files.
// Sources: ISO 10303-21 for the text, ISO 10303-41 and -43 for properties, units and representations, read as
// the files of several exporters use them; the practice of the CAx interoperability forum for validation
// properties ("geometric validation property", "centre point"), as those files show it.
package part21
