package part21

import (
	"math"
	"strings"
)

// Signature begins every file of the format.
const Signature = "ISO-10303-21"

// Header is what the file says of itself.
type Header struct {
	Schema    []string // as written, e.g. "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }"
	Name      string
	Generator string // originating system and preprocessor
}

// ReadHeader parses the header section.
func (f *File) ReadHeader() Header {
	var h Header
	s := &scanner{b: f.Header}
	for {
		s.space()
		if s.p >= len(s.b) {
			return h
		}
		at := s.p
		w := string(s.word())
		s.space()
		if s.p < len(s.b) && s.b[s.p] == '(' {
			a := s.list(0)
			switch w {
			case "FILE_SCHEMA":
				for _, v := range arg(a, 0).List {
					h.Schema = append(h.Schema, v.Text)
				}
			case "FILE_NAME":
				h.Name = arg(a, 0).Text
				var by []string
				for _, i := range []int{5, 4} { // originating system, then the preprocessor
					if t := strings.Join(strings.Fields(arg(a, i).Text), " "); t != "" && (len(by) == 0 || by[0] != t) {
						by = append(by, t)
					}
				}
				h.Generator = strings.Join(by, "; ")
			}
		}
		s.statement()
		if s.p == at {
			s.p++
		}
	}
}

// Shapes counts what could become bodies, by the kinds of ISO 10303-42 that exporters write.
type Shapes struct {
	Solids      int // boundary representations of solids
	Surfaces    int // shells and surface sets outside a solid
	Tessellated int // triangles only
	Curves      int // wireframe
}

// Shapes counts the announced shapes.
func (f *File) Shapes() Shapes {
	byWord := make([]int, len(f.words))
	for i := range f.records {
		byWord[f.records[i].word]++
	}
	var s Shapes
	for i, w := range f.words {
		switch n := byWord[i]; w {
		case "MANIFOLD_SOLID_BREP", "BREP_WITH_VOIDS", "FACETED_BREP", "EXTRUDED_AREA_SOLID", "REVOLVED_AREA_SOLID",
			"CSG_SOLID", "SWEPT_DISK_SOLID", "BLOCK", "RIGHT_CIRCULAR_CYLINDER", "SPHERE", "TORUS":
			s.Solids += n
		case "SHELL_BASED_SURFACE_MODEL", "FACE_BASED_SURFACE_MODEL", "GEOMETRIC_SET":
			s.Surfaces += n
		case "TESSELLATED_SOLID", "TESSELLATED_SHELL", "COMPLEX_TRIANGULATED_FACE", "TRIANGULATED_FACE",
			"COMPLEX_TRIANGULATED_SURFACE_SET", "TRIANGULATED_SURFACE_SET":
			s.Tessellated += n
		case "GEOMETRIC_CURVE_SET", "EDGE_BASED_WIREFRAME_MODEL", "SHELL_BASED_WIREFRAME_MODEL":
			s.Curves += n
		}
	}
	return s
}

// Extent estimates the longest edge of a box around the part in mm, from its corner points (else from all
// points), without placements: good for choosing how fine to mesh, for nothing else. 0 when there are none.
func (f *File) Extent() float64 {
	unit := 1.0
	if l := f.Lengths(); len(l) > 0 {
		unit = l[0]
	}
	lo, hi := [3]float64{}, [3]float64{}
	n := 0
	add := func(args []Value) {
		c := arg(args, 1).List
		if len(c) != 3 {
			return
		}
		for i := range c {
			if x := c[i].Num; n == 0 {
				lo[i], hi[i] = x, x
			} else {
				lo[i], hi[i] = min(lo[i], x), max(hi[i], x)
			}
		}
		n++
	}
	f.eachPlain("VERTEX_POINT", func(_ uint64, a []Value) { add(f.args(arg(a, 1).ID)) })
	if n < 4 { // bodies of revolution have few corners
		n = 0
		f.eachPlain("CARTESIAN_POINT", func(_ uint64, a []Value) { add(a) })
	}
	d := 0.0
	for i := range lo {
		d = max(d, hi[i]-lo[i])
	}
	if d *= unit; d > 1e9 || math.IsNaN(d) {
		return 0
	}
	return d
}

// External lists the names of other files this one refers to, each once, at most 20.
func (f *File) External() []string {
	var names []string
	add := func(n string) {
		n = strings.TrimSpace(n)
		if n == "" || len(names) >= 20 {
			return
		}
		for _, have := range names {
			if have == n {
				return
			}
		}
		names = append(names, n)
	}
	f.eachPlain("APPLIED_EXTERNAL_IDENTIFICATION_ASSIGNMENT", func(_ uint64, a []Value) { add(arg(a, 0).Text) })
	f.eachPlain("EXTERNAL_IDENTIFICATION_ASSIGNMENT", func(_ uint64, a []Value) { add(arg(a, 0).Text) })
	f.eachPlain("DOCUMENT_FILE", func(_ uint64, a []Value) { add(arg(a, 0).Text) })
	return names
}
