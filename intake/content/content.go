// Package content is what a client's file turns out to hold, whatever its format: bodies, colours, a unit.
package content

import (
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/unit"
)

// RGBA is a colour, 8-bit sRGB.
type RGBA [4]uint8

// Body is one named piece of geometry, placed where the file places it, in the file's own unit.
type Body struct {
	Name string
	Mesh *mesh.Mesh
	// Color is the body's colour; nil if the file gives none.
	Color *RGBA
	// FacetColor has one entry a facet when colours differ over the body, else nil.
	FacetColor []RGBA
	// Material is the file's own word for the material, if any.
	Material string
	// Instance is the path of the assembly instance this body came from, if any.
	Instance string
	// Open says the file itself calls this a surface, not a solid.
	Open bool
}

// Hole is a cylindrical hole known from the file's exact faces (CAD formats only), in the file's unit.
type Hole struct {
	Diameter float64
	Depth    float64 // of the cylindrical part
	Axis     r3.Vec  // unit, from the mouth into the hole
	At       r3.Vec  // middle of the mouth
	Through  bool    // open at both ends
	Body     int     // index into Bodies
}

// Warning is something the reader had to pass over or assume. Code is stable.
type Warning struct {
	Code, Message, Where string
}

// Stated is a value the exporting program wrote about the whole file (validation properties), in the file's unit.
type Stated struct {
	Volume, Area float64 // 0 when not stated
	Centroid     *r3.Vec
}

// Content is a file read, still in the file's own unit.
//
// Positions in the bodies' meshes lie Offset away from those in the file (file = mesh + Offset, one for all bodies), so that a small
// part far from the origin keeps its detail in float32; usually it is zero. Holes and Stated are in the file's own positions.
type Content struct {
	Format    string      // "stl", "stl-ascii", "obj", "3mf", "ply", "off", "amf", "glb", "step", "iges", "brep"
	Unit      unit.Length // "" when the format or the file does not say
	Bodies    []Body
	Offset    r3.Vec
	Holes     []Hole
	Stated    *Stated
	Warnings  []Warning
	Thumbnail []byte // PNG or JPEG, if the file carries one
	Generator string // what the file says made it, if anything
}

// Warn appends a warning.
func (c *Content) Warn(code, where, message string) {
	c.Warnings = append(c.Warnings, Warning{Code: code, Message: message, Where: where})
}

// Limits bounds what a reader may take. The zero value of a field means the default of DefaultLimits.
type Limits struct {
	Bytes     int64 // of the file, and of everything unpacked from it
	Triangles int
	Entries   int     // of an archive
	Ratio     float64 // unpacked to packed
	Depth     int     // archives inside archives, component nesting
	Bodies    int
}

// DefaultLimits are the caps used unless the caller gives others: 2 GiB, 20 M triangles, 2,000 entries, ratio 200
// (counted above 16 MiB unpacked), depth 16, 10,000 bodies.
var DefaultLimits = Limits{Bytes: 2 << 30, Triangles: 20_000_000, Entries: 2000, Ratio: 200, Depth: 16, Bodies: 10_000}

// OrDefault fills zero fields from DefaultLimits.
func (l Limits) OrDefault() Limits {
	d := DefaultLimits
	if l.Bytes == 0 {
		l.Bytes = d.Bytes
	}
	if l.Triangles == 0 {
		l.Triangles = d.Triangles
	}
	if l.Entries == 0 {
		l.Entries = d.Entries
	}
	if l.Ratio == 0 {
		l.Ratio = d.Ratio
	}
	if l.Depth == 0 {
		l.Depth = d.Depth
	}
	if l.Bodies == 0 {
		l.Bodies = d.Bodies
	}
	return l
}
