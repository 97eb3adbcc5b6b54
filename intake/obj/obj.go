// Package obj reads Wavefront OBJ: polygons over shared vertices, with objects, groups and material libraries, without a
// unit.
//
// Objects become bodies (groups do where there are no objects); those that are only patches of one surface are joined.
// Polygons of any shape are cut into triangles. Colours come from the materials (a picture is looked up at each facet's middle) or
// from the vertices (an extension in wide use). Free-form curves and surfaces are passed over with a warning.
//
// Promises: numbers are rounded correctly; nothing in a file makes it panic (FuzzRead).
//
// Source: the format's description in the manual of its first program, 1995 (from memory); vertex colours and texts
// in UTF-16 are common practice.
package obj

import (
	"bytes"
	"context"
	"math"
	"unicode/utf16"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
	"firstoff/intake/internal/polygon"
)

// Read reads an OBJ file. beside gives material libraries and pictures; it may be nil.
// Faults: Invalid obj_empty, obj_syntax, obj_index, obj_nan, number_comma, not_a_model; TooLarge too_many_triangles, too_many_bodies,
// too_large.
func Read(ctx context.Context, data []byte, beside content.Beside, lim content.Limits) (*content.Content, error) {
	lim = lim.OrDefault()
	if int64(len(data)) > lim.Bytes {
		return nil, content.TooLarge(int64(len(data)), lim.Bytes)
	}
	text, err := plain(data)
	if err != nil {
		return nil, err
	}
	r := &reader{ctx: ctx, text: text, lim: lim, beside: beside, out: &content.Content{Format: "obj"}, label: -1, look: -1}
	if err := r.read(); err != nil {
		return nil, err
	}
	return r.out, r.finish()
}

// plain brings UTF-16, told by its mark or its zeros, to UTF-8.
func plain(data []byte) ([]byte, error) {
	big := false
	switch {
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		return data[3:], nil
	case bytes.HasPrefix(data, []byte("\xff\xfe")):
		data = data[2:]
	case bytes.HasPrefix(data, []byte("\xfe\xff")):
		data, big = data[2:], true
	case len(data) >= 4 && data[0] != 0 && data[1] == 0 && data[2] != 0 && data[3] == 0:
	case len(data) >= 4 && data[0] == 0 && data[1] != 0 && data[2] == 0 && data[3] != 0:
		big = true
	default:
		return data, nil
	}
	units := make([]uint16, len(data)/2)
	for i := range units {
		lo, hi := data[2*i], data[2*i+1]
		if big {
			lo, hi = hi, lo
		}
		units[i] = uint16(hi)<<8 | uint16(lo)
	}
	out := make([]byte, 0, len(units))
	for _, r := range utf16.Decode(units) {
		out = append(out, string(r)...)
	}
	return out, nil
}

type reader struct {
	ctx    context.Context
	text   []byte
	lim    content.Limits
	beside content.Beside
	out    *content.Content

	pos []float64
	rgb []float32 // three a vertex, from the start once one has a colour; -1 where there is none
	uv  []float32
	vn  int
	tri []uint32
	of  []int32 // label of each facet

	names    []string
	size     []int // facets of each label
	groups   map[string]int32
	byObject bool
	label    int32 // of the facets to come, -1 before any name

	materials map[string]int32
	library   []material
	look      int32          // material of the facets to come, -1 for none
	used      []int32        // material of each facet, from the first that has one
	facet     []content.RGBA // colour of each facet, from the first that has one

	face, faceUV []uint32
	cutter       polygon.Cutter
	warned       map[string]bool
}

func (r *reader) warn(code string, at int, message string) {
	if r.warned[code] {
		return
	}
	if r.warned == nil {
		r.warned = make(map[string]bool)
	}
	r.warned[code] = true
	r.out.Warn(code, content.Place("line", content.Line(r.text, at)), message)
}

func (r *reader) fail(code string, at int, format string, args ...any) error {
	return fault.New(fault.Invalid, code, content.Place("line", content.Line(r.text, at)), format, args...)
}

// blank passes over spaces and joined lines (a backslash before the line's end); it stops at the line's end.
func blank(t []byte, p int) int {
	for p < len(t) {
		switch {
		case t[p] == ' ' || t[p] == '\t':
			p++
		case t[p] == '\\' && p+2 < len(t) && t[p+1] == '\r' && t[p+2] == '\n':
			p += 3
		case t[p] == '\\' && p+1 < len(t) && (t[p+1] == '\n' || t[p+1] == '\r'):
			p += 2
		default:
			return p
		}
	}
	return p
}

// wordEnd is where the word at p ends.
func wordEnd(t []byte, p int) int {
	for p < len(t) && t[p] > ' ' && !(t[p] == '\\' && p+1 < len(t) && (t[p+1] == '\n' || t[p+1] == '\r')) {
		p++
	}
	return p
}

// lineEnd is the end of the line, or of the last of lines that are joined.
func lineEnd(t []byte, p int) int {
	for {
		start := p
		for p < len(t) && t[p] != '\n' && t[p] != '\r' {
			p++
		}
		if p == len(t) || p == start || t[p-1] != '\\' {
			return p
		}
		if t[p] == '\r' && p+1 < len(t) && t[p+1] == '\n' {
			p++
		}
		p++
	}
}

func (r *reader) read() error {
	t, p := r.text, 0
	strange := 0
	for n := 0; ; n++ {
		if n&0xffff == 0 && r.ctx.Err() != nil {
			return r.ctx.Err()
		}
		p = blank(t, p)
		for p < len(t) && (t[p] <= ' ' || t[p] == 0x1a) {
			if t[p] == 0 {
				return r.fail("obj_syntax", p, "Here the text ends and something else begins; the file is damaged, send it again.")
			}
			p = blank(t, p+1)
		}
		if p >= len(t) {
			break
		}
		start := p
		p = wordEnd(t, p)
		var err error
		switch word := t[start:p]; string(word) {
		case "v":
			p, err = r.vertex(p)
		case "f", "fo":
			p, err = r.polygon(p)
		case "vt":
			p, err = r.texture(p)
		case "vn":
			r.vn++
		case "o":
			r.name(p, true)
		case "g":
			r.name(p, false)
		case "usemtl":
			r.useMaterial(p)
		case "mtllib":
			if err := r.libraries(p); err != nil {
				return err
			}
		case "curv", "curv2", "surf", "parm", "cstype":
			r.warn("obj_free_form", start, "Free-form curves and surfaces were passed over; only polygons are read.")
		case "l", "p":
			r.warn("obj_not_surface", start, "Points or lines were passed over; only surfaces are parts.")
		case "vp", "s", "end", "deg", "bmat", "step", "trim", "hole", "scrv", "sp", "con", "mg", "bevel", "c_interp", "d_interp", "lod", "shadow_obj", "trace_obj",
			"ctech", "stech", "maplib", "usemap", "call", "csh":
		default:
			if word[0] != '#' {
				if strange++; len(r.pos) == 0 && strange > 20 {
					return fault.New(fault.Invalid, "not_a_model", "", "The file is named as a model but holds only other text; send the model itself.")
				}
				r.warn("obj_strange_line", start, "Lines of unknown meaning were passed over.")
			}
		}
		if err != nil {
			return err
		}
		p = lineEnd(t, p)
	}
	return nil
}

// number reads a coordinate at p.
func (r *reader) number(p int) (float64, int, error) {
	v, next := decimal.Float64(r.text, p)
	if next > p && (next == len(r.text) || r.text[next] <= ' ' || r.text[next] == '\\') {
		return v, next, nil
	}
	end := wordEnd(r.text, p)
	word := bytes.ToLower(r.text[p:end])
	switch {
	case p >= end:
		return 0, p, r.fail("obj_syntax", p, "A coordinate is missing; export the part again.")
	case bytes.Contains(word, []byte("nan")) || bytes.Contains(word, []byte("inf")) || bytes.Contains(word, []byte("#ind")):
		return 0, p, r.fail("obj_nan", p, "A coordinate is not a finite number; repair or export the part again.")
	case next > p && r.text[next] == ',':
		return 0, p, r.fail("number_comma", p, "A number is written with a comma (%q); export with a decimal point.", word[:min(len(word), 24)])
	}
	return 0, p, r.fail("obj_syntax", p, "A coordinate is expected here, but %q stands there; export the part again.", word[:min(len(word), 24)])
}

func (r *reader) vertex(p int) (int, error) {
	var v [3]float64
	var err error
	for i := range v {
		p = blank(r.text, p)
		if v[i], p, err = r.number(p); err != nil {
			return p, err
		}
		if math.Abs(v[i]) > math.MaxFloat32 {
			return p, r.fail("obj_nan", p, "A coordinate is too large to be meant; repair or export the part again.")
		}
	}
	r.pos = append(r.pos, v[0], v[1], v[2])
	// One number more is a weight, three are a colour, four a colour after a weight or with an opacity.
	p = blank(r.text, p)
	if p < len(r.text) && r.text[p] > ' ' && r.text[p] != '#' {
		var more [4]float32
		n := 0
		for n < 4 {
			p = blank(r.text, p)
			x, next := decimal.Float32(r.text, p)
			if next == p {
				break
			}
			more[n], p = x, next
			n++
		}
		if n >= 3 {
			for len(r.rgb) < len(r.pos)-3 {
				r.rgb = append(r.rgb, -1)
			}
			r.rgb = append(r.rgb, more[0], more[1], more[2])
		}
	}
	return p, nil
}

func (r *reader) texture(p int) (int, error) {
	var uv [2]float32
	for i := range uv {
		p = blank(r.text, p)
		v, next := decimal.Float32(r.text, p)
		if next == p {
			break
		}
		uv[i], p = v, next
	}
	r.uv = append(r.uv, uv[0], uv[1])
	return p, nil
}

// index reads a possibly negative number; next == p if there is none.
func index(t []byte, p int) (v int, next int) {
	neg := p < len(t) && t[p] == '-'
	q := p
	if neg {
		q++
	}
	u, next := decimal.Uint(t, q)
	if next == q {
		return 0, p
	}
	v = int(u)
	if neg {
		v = -v
	}
	return v, next
}

func (r *reader) polygon(p int) (int, error) {
	t := r.text
	start := p
	r.face, r.faceUV = r.face[:0], r.faceUV[:0]
	n := len(r.pos) / 3
	for {
		p = blank(t, p)
		if p >= len(t) || t[p] <= ' ' || t[p] == '#' {
			break
		}
		v, next := index(t, p)
		if next == p {
			return p, r.fail("obj_syntax", p, "A vertex number is expected here, but %q stands there; export the part again.", t[p:min(wordEnd(t, p), p+24)])
		}
		if v < 0 {
			v += n + 1
		}
		if v < 1 || v > n {
			return p, r.fail("obj_index", p, "A polygon uses vertex %s, but only %d have been given; export the part again.", t[p:next], n)
		}
		r.face = append(r.face, uint32(v-1))
		p = next
		uv := 0
		if p < len(t) && t[p] == '/' {
			if uv, next = index(t, p+1); uv < 0 {
				uv += len(r.uv)/2 + 1
			}
			p = max(p+1, next)
			for p < len(t) && (t[p] == '/' || t[p] == '-' || t[p]-'0' <= 9) {
				p++
			}
		}
		if uv < 1 || uv > len(r.uv)/2 {
			uv = 0
		}
		r.faceUV = append(r.faceUV, uint32(uv))
		if p < len(t) && t[p] > ' ' && t[p] != '\\' {
			return p, r.fail("obj_syntax", p, "A polygon's corner is written in an unknown way; export the part again.")
		}
	}
	if len(r.face) < 3 {
		r.warn("obj_short_polygon", start, "Polygons with fewer than three corners were passed over.")
		return p, nil
	}
	if len(r.tri)/3+len(r.face)-2 > r.lim.Triangles {
		return p, content.TooManyTriangles(int64(r.lim.Triangles)+1, r.lim.Triangles)
	}
	if r.label < 0 {
		r.label = 0
		r.names, r.size = append(r.names, ""), append(r.size, 0)
	}
	r.size[r.label] += len(r.face) - 2
	if len(r.face) > 256 && r.ctx.Err() != nil { // large polygons take their time
		return p, r.ctx.Err()
	}
	cut := r.cutter.Cut(r.pos, r.face)
	for i := 0; i < len(cut); i += 3 {
		a, b, c := cut[i], cut[i+1], cut[i+2]
		r.tri = append(r.tri, r.face[a], r.face[b], r.face[c])
		r.of = append(r.of, r.label)
		r.colour([3]uint32{r.faceUV[a], r.faceUV[b], r.faceUV[c]})
	}
	return p, nil
}

// name begins a new object or group.
func (r *reader) name(p int, object bool) {
	name := text(r.text[p:lineEnd(r.text, p)])
	if object && !r.byObject {
		// Names so far were groups outside of any object: one label for them.
		r.byObject = true
		clear(r.of)
		r.names, r.size, r.groups = r.names[:min(len(r.names), 1)], []int{len(r.of)}, nil
		r.label = int32(len(r.names)) - 1
	}
	if !object {
		if r.byObject {
			return
		}
		if i, ok := r.groups[name]; ok { // a group may go on later
			r.label = i
			return
		}
	}
	if n := int32(len(r.names)); n > 0 && r.label == n-1 && r.size[n-1] == 0 {
		delete(r.groups, r.names[n-1])
		r.names[n-1] = name // nothing came under the name before
	} else {
		r.names, r.size = append(r.names, name), append(r.size[:n], 0)
		r.label = n
	}
	if !object {
		if r.groups == nil {
			r.groups = make(map[string]int32)
		}
		r.groups[name] = r.label
	}
}

// text is what stands at the end of a line, trimmed and cut.
func text(b []byte) string {
	b = bytes.TrimSpace(b)
	return string(bytes.ToValidUTF8(b[:min(len(b), 200)], []byte("?")))
}

// finish welds, splits and colours.
func (r *reader) finish() error {
	if len(r.tri) == 0 {
		if len(r.pos) > 0 {
			return fault.New(fault.Invalid, "obj_empty", "", "The OBJ file holds points but no surface; export the part again as a solid or mesh.")
		}
		return fault.New(fault.Invalid, "obj_empty", "", "The OBJ file holds no surface; export the part again.")
	}
	facet := r.facet
	switch {
	case facet != nil:
		for len(facet) < len(r.of) {
			facet = append(facet, content.Uncoloured)
		}
	case r.rgb != nil:
		facet = r.vertexColours()
	}
	m, offset := mesh.FromIndexed(r.pos, r.tri)
	r.out.Offset = offset
	bodies, facets, joined := content.Split(m, r.of, r.names)
	if len(bodies) > r.lim.Bodies {
		return content.TooManyBodies(r.lim.Bodies)
	}
	if joined > 0 {
		r.out.Warn("patches_joined", "", "Groups that are patches of one surface were joined into one body.")
	}
	for i := range bodies {
		if facet != nil {
			bodies[i].Color, bodies[i].FacetColor = content.OneOrEach(content.Pick(facet, facets[i]))
		}
		bodies[i].Material = r.materialOf(facets[i])
	}
	r.out.Bodies = bodies
	return nil
}

// vertexColours gives each facet the mean of its corners' colours. Values above 1 show that the file counts to 255.
func (r *reader) vertexColours() []content.RGBA {
	scale := float32(1)
	for _, v := range r.rgb {
		if v > 1 {
			scale = 1.0 / 255
			break
		}
	}
	at := func(v uint32) content.RGBA {
		if int(3*v) >= len(r.rgb) || r.rgb[3*v] < 0 {
			return content.Uncoloured
		}
		c := r.rgb[3*v : 3*v+3]
		return content.RGBA{content.FromShare(float64(c[0] * scale)), content.FromShare(float64(c[1] * scale)), content.FromShare(float64(c[2] * scale)), 255}
	}
	out := make([]content.RGBA, 0, len(r.of))
	for i := 0; i < len(r.tri); i += 3 {
		out = append(out, content.Mean(at(r.tri[i]), at(r.tri[i+1]), at(r.tri[i+2])))
	}
	return out
}
