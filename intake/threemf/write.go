package threemf

import (
	"archive/zip"
	"bufio"
	"compress/flate"
	"io"
	"math"
	"strconv"
	"time"

	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

// Build is what a 3MF file of ours holds: bodies once each, and where the build places them.
type Build struct {
	Title   string
	Objects []content.Body // mm
	Items   []Item
}

// Item places an object: turned first, then moved (mm).
type Item struct {
	Object     int // in Build.Objects
	Turn       r3.Quat
	Move       r3.Vec
	PartNumber string
}

// Place is one item an object, as it lies.
func Place(bodies []content.Body) Build {
	b := Build{Objects: bodies}
	for i := range bodies {
		b.Items = append(b.Items, Item{Object: i, Turn: r3.Identity})
	}
	return b
}

// Write writes a build as a 3MF package (core, with colours by the materials extension) in millimetres. Coordinates are written with
// as many digits as float32 needs, so that they read back the same. The same build gives the same bytes.
// Faults: Invalid "3mf_item" for an item of an object that is not there or has no facets; Internal "write_failed".
func Write(w io.Writer, b Build) error {
	for i, it := range b.Items {
		if it.Object < 0 || it.Object >= len(b.Objects) || b.Objects[it.Object].Mesh == nil || b.Objects[it.Object].Mesh.Facets() == 0 {
			return fault.New(fault.Invalid, "3mf_item", content.Place("item", i+1), "The item places something without a surface.")
		}
	}
	z := zip.NewWriter(w)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.DefaultCompression) })
	for _, part := range []struct {
		name  string
		write func(*bufio.Writer)
	}{
		{"[Content_Types].xml", func(w *bufio.Writer) {
			w.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" + `<Types xmlns="` + nsTypes + `"><Default Extension="rels" ContentType="` + typeRels + `"/><Default Extension="model" ContentType="` + typeModel + `"/></Types>` + "\n")
		}},
		{"_rels/.rels", func(w *bufio.Writer) {
			w.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" + `<Relationships xmlns="` + nsRels + `"><Relationship Id="rel0" Target="/3D/3dmodel.model" Type="` + relModel + `"/></Relationships>` + "\n")
		}},
		{"3D/3dmodel.model", func(w *bufio.Writer) { b.model(w) }},
	} {
		f, err := z.CreateHeader(&zip.FileHeader{Name: part.name, Method: zip.Deflate, Modified: time.Time{}})
		if err != nil {
			return writeFailed(err)
		}
		buf := bufio.NewWriterSize(f, 1<<16)
		part.write(buf)
		if err := buf.Flush(); err != nil {
			return writeFailed(err)
		}
	}
	if err := z.Close(); err != nil {
		return writeFailed(err)
	}
	return nil
}

func writeFailed(err error) error {
	return fault.Because(err, fault.Internal, "write_failed", "", "The file could not be written.")
}

// escaped writes text for an attribute or element; what XML cannot hold becomes a question mark.
func escaped(w *bufio.Writer, s string) {
	for _, r := range s {
		switch {
		case r == '&':
			w.WriteString("&amp;")
		case r == '<':
			w.WriteString("&lt;")
		case r == '>':
			w.WriteString("&gt;")
		case r == '"':
			w.WriteString("&quot;")
		case r == '\t' || r == '\n' || r == '\r':
			w.WriteByte(' ')
		case r < ' ' || r == 0xfffe || r == 0xffff:
			w.WriteByte('?')
		default:
			w.WriteRune(r)
		}
	}
}

const hexDigits = "0123456789ABCDEF"

func hexColour(w *bufio.Writer, c content.RGBA) {
	w.WriteByte('#')
	n := 4
	if c[3] == 255 {
		n = 3
	}
	for _, v := range c[:n] {
		w.WriteByte(hexDigits[v>>4])
		w.WriteByte(hexDigits[v&15])
	}
}

// painting is how an object's colours are written: a group number and, for colours facet by facet, the index of each colour.
type painting struct {
	group int
	index map[content.RGBA]int
}

func (b Build) model(w *bufio.Writer) {
	w.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" + `<model unit="millimeter" xml:lang="en-US" xmlns="` + nsCore + `" xmlns:m="` + nsMaterial + `">` + "\n")
	if b.Title != "" {
		w.WriteString(`<metadata name="Title">`)
		escaped(w, b.Title)
		w.WriteString("</metadata>\n")
	}
	w.WriteString("<resources>\n")
	next := 1
	paint := make([]painting, len(b.Objects))
	for i, o := range b.Objects {
		if o.Mesh == nil || o.Mesh.Facets() == 0 {
			continue
		}
		switch {
		case len(o.FacetColor) == o.Mesh.Facets():
			p := painting{next, make(map[content.RGBA]int)}
			w.WriteString(`<m:colorgroup id="` + strconv.Itoa(next) + `">`)
			for _, c := range o.FacetColor {
				if _, ok := p.index[c]; !ok {
					p.index[c] = len(p.index)
					w.WriteString(`<m:color color="`)
					hexColour(w, c)
					w.WriteString(`"/>`)
				}
			}
			w.WriteString("</m:colorgroup>\n")
			paint[i] = p
			next++
		case o.Color != nil || o.Material != "":
			c := content.Uncoloured
			if o.Color != nil {
				c = *o.Color
			}
			name := o.Material
			if name == "" {
				name = "colour"
			}
			w.WriteString(`<basematerials id="` + strconv.Itoa(next) + `"><base name="`)
			escaped(w, name)
			w.WriteString(`" displaycolor="`)
			hexColour(w, c)
			w.WriteString("\"/></basematerials>\n")
			paint[i] = painting{group: next}
			next++
		}
	}
	id := make([]int, len(b.Objects))
	for i, o := range b.Objects {
		if o.Mesh == nil || o.Mesh.Facets() == 0 {
			continue
		}
		id[i] = next
		next++
		writeObject(w, o, id[i], paint[i])
	}
	w.WriteString("</resources>\n<build>\n")
	var num []byte
	for _, it := range b.Items {
		w.WriteString(`<item objectid="` + strconv.Itoa(id[it.Object]) + `"`)
		r := it.Turn.Unit().Mat()
		if it.Turn.Unit() != r3.Identity || it.Move != (r3.Vec{}) {
			w.WriteString(` transform="`)
			// Points are rows here, so the matrix is written by columns.
			for k, v := range [12]float64{r[0], r[3], r[6], r[1], r[4], r[7], r[2], r[5], r[8], it.Move.X, it.Move.Y, it.Move.Z} {
				if k > 0 {
					w.WriteByte(' ')
				}
				num = strconv.AppendFloat(num[:0], v, 'g', 12, 64)
				w.Write(num)
			}
			w.WriteByte('"')
		}
		if it.PartNumber != "" {
			w.WriteString(` partnumber="`)
			escaped(w, it.PartNumber)
			w.WriteByte('"')
		}
		w.WriteString("/>\n")
	}
	w.WriteString("</build>\n</model>\n")
}

func writeObject(w *bufio.Writer, o content.Body, id int, p painting) {
	w.WriteString(`<object id="` + strconv.Itoa(id) + `" type="`)
	if o.Open {
		w.WriteString("surface")
	} else {
		w.WriteString("model")
	}
	w.WriteByte('"')
	if o.Name != "" {
		w.WriteString(` name="`)
		escaped(w, o.Name)
		w.WriteByte('"')
	}
	if p.group > 0 {
		w.WriteString(` pid="` + strconv.Itoa(p.group) + `" pindex="0"`)
	}
	w.WriteString("><mesh><vertices>\n")
	var num []byte
	coordinate := func(x float32) {
		if math.Abs(float64(x)) < 1e15 && x == float32(int64(x)) {
			num = strconv.AppendInt(num[:0], int64(x), 10)
		} else {
			num = strconv.AppendFloat(num[:0], float64(x), 'g', -1, 32)
		}
		w.Write(num)
	}
	for v := o.Mesh.Pos; len(v) >= 3; v = v[3:] {
		w.WriteString(`<vertex x="`)
		coordinate(v[0])
		w.WriteString(`" y="`)
		coordinate(v[1])
		w.WriteString(`" z="`)
		coordinate(v[2])
		w.WriteString("\"/>\n")
	}
	w.WriteString("</vertices><triangles>\n")
	index := func(n uint32) {
		num = strconv.AppendUint(num[:0], uint64(n), 10)
		w.Write(num)
	}
	for f, t := 0, o.Mesh.Tri; len(t) >= 3; f, t = f+1, t[3:] {
		w.WriteString(`<triangle v1="`)
		index(t[0])
		w.WriteString(`" v2="`)
		index(t[1])
		w.WriteString(`" v3="`)
		index(t[2])
		if p.index != nil {
			if k := p.index[o.FacetColor[f]]; k != 0 {
				w.WriteString(`" pid="`)
				index(uint32(p.group))
				w.WriteString(`" p1="`)
				index(uint32(k))
			}
		}
		w.WriteString("\"/>\n")
	}
	w.WriteString("</triangles></mesh></object>\n")
}
