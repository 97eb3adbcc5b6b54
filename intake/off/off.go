// Package off reads Object File Format: vertices, then polygons, as text, without a unit.
//
// Variants with normals, texture coordinates and colours at the vertices (any of ST, C, N before OFF) are read, their colours kept as
// one a facet; faces may have colours too. Four-dimensional, n-dimensional and binary variants are refused by name.
//
// Promise: nothing in a file makes it panic or take more than some tens of bytes for each of the file's (FuzzRead).
//
// Source: the format's description in the Geomview manual, 1996 (from memory).
package off

import (
	"bytes"
	"context"
	"math"
	"strings"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
	"firstoff/intake/internal/polygon"
)

// Read reads a surface. Faults: Invalid off_syntax, off_truncated, off_index, off_nan, off_empty, number_comma; Unsupported off_variant;
// TooLarge too_many_triangles, too_large.
func Read(ctx context.Context, data []byte, lim content.Limits) (*content.Content, error) {
	lim = lim.OrDefault()
	if int64(len(data)) > lim.Bytes {
		return nil, content.TooLarge(int64(len(data)), lim.Bytes)
	}
	r := &reader{ctx: ctx, text: bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")), lim: lim}
	if err := r.read(); err != nil {
		return nil, err
	}
	if len(r.tri) == 0 {
		return nil, fault.New(fault.Invalid, "off_empty", "", "The OFF file holds no surface; export the model again.")
	}
	b := content.Body{}
	if r.colour != nil {
		for len(r.colour) < len(r.tri)/3 {
			r.colour = append(r.colour, content.Uncoloured)
		}
		b.Color, b.FacetColor = content.OneOrEach(r.colour)
	} else if r.vertexColour != nil {
		var each []content.RGBA
		for i := 0; i < len(r.tri); i += 3 {
			each = append(each, content.Mean(r.vertexColour[r.tri[i]], r.vertexColour[r.tri[i+1]], r.vertexColour[r.tri[i+2]]))
		}
		b.Color, b.FacetColor = content.OneOrEach(each)
	}
	m, offset := mesh.FromIndexed(r.pos, r.tri)
	b.Mesh = m
	return &content.Content{Format: "off", Bodies: []content.Body{b}, Offset: offset}, nil
}

type reader struct {
	ctx  context.Context
	text []byte
	at   int
	lim  content.Limits

	pos          []float64
	tri          []uint32
	vertexColour []content.RGBA
	colour       []content.RGBA // of facets, from the first that has one
}

func (r *reader) fail(code string, at int, format string, args ...any) error {
	return fault.New(fault.Invalid, code, content.Place("line", content.Line(r.text, at)), format, args...)
}

// blank passes white space and comments; where line is set it stops at the line's end.
func (r *reader) blank(line bool) {
	for r.at < len(r.text) {
		switch c := r.text[r.at]; {
		case c == '#':
			for r.at < len(r.text) && r.text[r.at] != '\n' && r.text[r.at] != '\r' {
				r.at++
			}
		case c == ' ' || c == '\t':
			r.at++
		case (c == '\n' || c == '\r' || c == '\f' || c == '\v') && !line:
			r.at++
		default:
			return
		}
	}
}

func (r *reader) word() []byte {
	start := r.at
	for r.at < len(r.text) && r.text[r.at] > ' ' {
		r.at++
	}
	return r.text[start:r.at]
}

func (r *reader) truncated() error {
	return fault.New(fault.Invalid, "off_truncated", "", "The file ends before all the vertices and faces that it states; it was probably cut off on its way, send it again.")
}

// number reads a decimal number.
func (r *reader) number() (float64, error) {
	r.blank(false)
	if r.at >= len(r.text) {
		return 0, r.truncated()
	}
	start := r.at
	v, next := decimal.Float64(r.text, start)
	if next > start && (next == len(r.text) || r.text[next] <= ' ' || r.text[next] == '#') {
		r.at = next
		return v, nil
	}
	w := r.word()
	low := strings.ToLower(string(w[:min(len(w), 24)]))
	switch {
	case strings.Contains(low, "nan") || strings.Contains(low, "inf"):
		return 0, r.fail("off_nan", start, "A coordinate is not a finite number; repair or export the model again.")
	case next > start && r.text[next] == ',':
		return 0, r.fail("number_comma", start, "A number is written with a comma (%q); export with a decimal point.", low)
	}
	return 0, r.fail("off_syntax", start, "A number is expected here, but %q stands there; export the model again.", low)
}

// count reads a non-negative whole number.
func (r *reader) count() (int, error) {
	r.blank(false)
	if r.at >= len(r.text) {
		return 0, r.truncated()
	}
	start := r.at
	v, next := decimal.Uint(r.text, start)
	if next == start || next < len(r.text) && r.text[next] > ' ' && r.text[next] != '#' {
		w := r.word()
		return 0, r.fail("off_syntax", start, "A whole number is expected here, but %.24q stands there; export the model again.", w)
	}
	r.at = next
	return int(v), nil
}

func (r *reader) read() error {
	r.blank(false)
	start := r.at
	var normals, texture, colours bool
	// The word may be left out altogether.
	if w := string(r.word()); strings.HasSuffix(w, "OFF") {
		rest := strings.TrimSuffix(w, "OFF")
		rest, texture = strings.CutPrefix(rest, "ST")
		rest, colours = strings.CutPrefix(rest, "C")
		rest, normals = strings.CutPrefix(rest, "N")
		if rest != "" {
			return fault.New(fault.Unsupported, "off_variant", "", "The file is of the OFF variant %.12q with other than three dimensions; export it as plain OFF.", w)
		}
		r.blank(true)
		if bytes.HasPrefix(r.text[r.at:], []byte("BINARY")) {
			return fault.New(fault.Unsupported, "off_variant", "", "The file is of the binary OFF variant, which is not read here; export it as plain OFF.")
		}
	} else {
		r.at = start
	}
	nv, err := r.count()
	if err != nil {
		return err
	}
	nf, err := r.count()
	if err != nil {
		return err
	}
	// The number of edges is often wrong or left out; it stands on the same line.
	r.blank(true)
	if r.at < len(r.text) && r.text[r.at] > ' ' {
		r.word()
	}
	room := len(r.text) - r.at
	if nv > room/6+1 || nf > room/4+1 {
		return fault.New(fault.Invalid, "off_truncated", content.Place("line", content.Line(r.text, start)), "The file states %s vertices and %s faces but is far too short for them; it was cut off or is damaged, send it again.", content.Thousands(int64(nv)), content.Thousands(int64(nf)))
	}
	if err := r.vertices(nv, normals, texture, colours); err != nil {
		return err
	}
	return r.faces(nv, nf)
}

func (r *reader) vertices(n int, normals, texture, colours bool) error {
	r.pos = make([]float64, 0, 3*n)
	for i := range n {
		if i&0xffff == 0 && r.ctx.Err() != nil {
			return r.ctx.Err()
		}
		for range 3 {
			v, err := r.number()
			if err != nil {
				return err
			}
			if math.Abs(v) > math.MaxFloat32 {
				return r.fail("off_nan", r.at-1, "A coordinate is too large to be meant; repair or export the model again.")
			}
			r.pos = append(r.pos, v)
		}
		if normals {
			for range 3 {
				if _, err := r.number(); err != nil {
					return err
				}
			}
		}
		if colours {
			c, _, err := r.paint()
			if err != nil {
				return err
			}
			r.vertexColour = append(r.vertexColour, c)
		}
		if texture && !colours {
			for range 2 {
				if _, err := r.number(); err != nil {
					return err
				}
			}
		}
		// Whatever else stands on the line.
		r.blank(true)
		for r.at < len(r.text) && r.text[r.at] > ' ' && (texture || colours || normals) {
			r.word()
			r.blank(true)
		}
	}
	return nil
}

// paint reads the numbers up to the line's end as a colour: three or four, whole ones to 255 or fractions to 1. One number alone is
// a place in a table of colours that nobody has; it gives none.
func (r *reader) paint() (c content.RGBA, ok bool, err error) {
	var v [4]float32
	n, whole := 0, true
	for {
		r.blank(true)
		if r.at >= len(r.text) || r.text[r.at] <= ' ' {
			break
		}
		x, next := decimal.Float32(r.text, r.at)
		w := r.word()
		if next != r.at || len(w) == 0 {
			break // not a number: passed over
		}
		whole = whole && !bytes.ContainsAny(w, ".eE")
		if n < 4 {
			v[n] = x
			n++
		}
	}
	if n < 3 {
		return content.Uncoloured, false, nil
	}
	if n == 3 {
		v[3] = 1
		if whole {
			v[3] = 255
		}
	}
	for i := range c {
		x := float64(v[i])
		if whole {
			x /= 255
		}
		c[i] = content.FromShare(x)
	}
	return c, true, nil
}

func (r *reader) faces(nv, nf int) error {
	var face []uint32
	var cutter polygon.Cutter
	r.tri = make([]uint32, 0, min(3*nf, 3*r.lim.Triangles))
	for i := range nf {
		if i&0xffff == 0 && r.ctx.Err() != nil {
			return r.ctx.Err()
		}
		k, err := r.count()
		if err != nil {
			return err
		}
		if k > (len(r.text)-r.at)/2+1 {
			return r.truncated()
		}
		face = face[:0]
		for range k {
			v, err := r.count()
			if err != nil {
				return err
			}
			if v >= nv {
				return r.fail("off_index", r.at-1, "A face uses vertex %d, but the last is %d; export the model again.", v, nv-1)
			}
			face = append(face, uint32(v))
		}
		if len(r.tri)/3+max(k-2, 0) > r.lim.Triangles {
			return content.TooManyTriangles(int64(r.lim.Triangles)+1, r.lim.Triangles)
		}
		if len(face) > 256 && r.ctx.Err() != nil { // large polygons take their time
			return r.ctx.Err()
		}
		cut := cutter.Cut(r.pos, face)
		before := len(r.tri) / 3
		for _, p := range cut {
			r.tri = append(r.tri, face[p])
		}
		c, has, err := r.paint()
		if err != nil {
			return err
		}
		if has {
			for len(r.colour) < before {
				r.colour = append(r.colour, content.Uncoloured)
			}
			for range len(cut) / 3 {
				r.colour = append(r.colour, c)
			}
		}
	}
	return nil
}
