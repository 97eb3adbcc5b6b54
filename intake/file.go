package intake

import (
	"firstoff/digest"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/unit"
)

// File is a client's file read: bodies in mm, placed as the file places them, except that all may be moved by Offset.
type File struct {
	Name      string // as given; inside an archive the path there
	Format    string // as content.Content
	SHA256    digest.Digest
	Unit      Unit
	Bodies    []content.Body  // mm
	Offset    r3.Vec          // mm: position in the file = position in Bodies + Offset; zero unless the part lies far out
	Holes     []content.Hole  // mm
	Stated    *content.Stated // what the exporting program says of volume (mm³), area (mm²), centroid (mm); may be nil
	Warnings  []content.Warning
	Thumbnail []byte // PNG or JPEG; may be nil
	Generator string
}

// Unit is the unit a file's numbers were taken in.
type Unit struct {
	Name       unit.Length
	Stated     bool    // by the file or by a person
	Confidence float64 // 0…1, how sure that Name is right
	Question   string  // to be asked when not sure; else empty
}

// Triangles is the number of facets over all bodies.
func (f *File) Triangles() int {
	n := 0
	for _, b := range f.Bodies {
		n += b.Mesh.Facets()
	}
	return n
}
