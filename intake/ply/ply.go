// Package ply reads polygon files (PLY): text or binary in either byte order, elements in any order, lists of any type.
//
// Read gives a surface; faces of any number of corners and triangle strips are cut into triangles; colours come from faces or
// vertices. ReadPoints gives the points alone, of a scan. Elements and properties that neither knows are passed over.
// PLY has no unit.
//
// Promises: nothing in a file makes it panic or take more than some tens of bytes for each of the file's (FuzzRead).
//
// Source: G. Turk, The PLY Polygon File Format, Stanford 1994 (from memory); later names of types by common practice.
package ply

import (
	"context"
	"encoding/binary"
	"math"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
	"firstoff/intake/internal/polygon"
)

// Read reads a surface. Faults: Invalid ply_syntax, ply_truncated, ply_index, ply_nan, ply_points (only points in it), ply_empty;
// Unsupported ply_format; TooLarge too_many_triangles, too_large.
func Read(ctx context.Context, data []byte, lim content.Limits) (*content.Content, error) {
	r, err := load(ctx, data, lim, true)
	if err != nil {
		return nil, err
	}
	if len(r.corners) == 0 {
		if len(r.pos) > 0 {
			return nil, fault.New(fault.Invalid, "ply_points", "", "The PLY file holds only points, as of a scan, and no surface; send the model itself.")
		}
		return nil, fault.New(fault.Invalid, "ply_empty", "", "The PLY file holds no surface; export the model again.")
	}
	c := &content.Content{Format: "ply", Generator: r.h.generator}
	b, err := r.body(c)
	if err != nil {
		return nil, err
	}
	c.Bodies = []content.Body{b}
	return c, nil
}

// Points are the points of a scan, in the file's unit.
type Points struct {
	At     []r3.Vec
	Normal []r3.Vec       // one a point, or nil
	Color  []content.RGBA // one a point, or nil
}

// ReadPoints reads the points of a scan; a surface in the file is passed over. Points with a coordinate that is not finite
// (range scanners mark misses so) are left out. Faults as Read, with ply_empty for a file without points.
func ReadPoints(ctx context.Context, data []byte, lim content.Limits) (*Points, error) {
	r, err := load(ctx, data, lim, false)
	if err != nil {
		return nil, err
	}
	p := &Points{}
	for i, v := range r.exact {
		if !finite(v.X) || !finite(v.Y) || !finite(v.Z) {
			continue
		}
		p.At = append(p.At, v)
		if r.normal != nil {
			p.Normal = append(p.Normal, r.normal[i])
		}
		if r.color != nil {
			p.Color = append(p.Color, r.color[i])
		}
	}
	if len(p.At) == 0 {
		return nil, fault.New(fault.Invalid, "ply_empty", "", "The PLY file holds no points; export the scan again.")
	}
	return p, nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

type reader struct {
	ctx     context.Context
	lim     content.Limits
	h       *header
	data    []byte
	at      int
	surface bool

	pos    []float64 // of a surface
	exact  []r3.Vec  // of points
	normal []r3.Vec
	color  []content.RGBA // of vertices

	corners   []uint32 // of all polygons in a row
	size      []uint32 // corners of each polygon; nil while all are triangles
	polygons  int
	triangles int
	faceColor []content.RGBA

	values []float64 // of the element being read: single numbers, by property
	list   []int64   // of the list that matters
}

func load(ctx context.Context, data []byte, lim content.Limits, surface bool) (*reader, error) {
	lim = lim.OrDefault()
	if int64(len(data)) > lim.Bytes {
		return nil, content.TooLarge(int64(len(data)), lim.Bytes)
	}
	h, err := readHeader(data)
	if err != nil {
		return nil, err
	}
	r := &reader{ctx: ctx, lim: lim, h: h, data: data, at: h.body, surface: surface}
	for i := range h.elements {
		e := &h.elements[i]
		if !surface && e.name != "vertex" && i > 0 && r.exact != nil {
			break // the points are had
		}
		if err := r.element(e); err != nil {
			return nil, err
		}
	}
	return r, nil
}

func (r *reader) truncated(e *element) error {
	return fault.New(fault.Invalid, "ply_truncated", "", "The header states %s of %.40q but the file ends before; it was probably cut off on its way, send it again.", content.Thousands(e.count), e.name)
}

// element reads all elements of a kind.
func (r *reader) element(e *element) error {
	// The least that the elements take shows whether the count can be true.
	least := int64(0)
	for _, p := range e.props {
		switch {
		case r.h.ascii:
			least += 2
		case p.count != 0:
			least += int64(p.count.bytes())
		default:
			least += int64(p.kind.bytes())
		}
	}
	if room := int64(len(r.data)-r.at) + 1; least > 0 && e.count > room/least {
		return r.truncated(e)
	}
	if least == 0 {
		return nil // nothing to read
	}
	isVertex, isFace, isStrip := e.name == "vertex", e.name == "face" && r.surface, e.name == "tristrips" && r.surface
	var take takes
	which := -1
	switch {
	case isVertex:
		take = newTakes(e)
		if take.xyz[0] < 0 || take.xyz[1] < 0 || take.xyz[2] < 0 {
			return fault.New(fault.Invalid, "ply_syntax", "", "The vertices in the PLY file have no x, y and z; export the model again.")
		}
		if r.surface {
			r.pos = make([]float64, 0, 3*e.count)
		} else {
			r.exact = make([]r3.Vec, 0, e.count)
		}
	case isFace, isStrip:
		take = newTakes(e)
		if which = e.find("vertex_indices", "vertex_index"); which >= 0 && e.props[which].count == 0 {
			which = -1
		}
		r.corners = make([]uint32, 0, min(3*e.count, int64(3*r.lim.Triangles)))
	}
	if cap(r.values) < len(e.props) {
		r.values = make([]float64, len(e.props))
	}
	r.values = r.values[:len(e.props)]
	for i := range e.count {
		if i&0xffff == 0 && r.ctx.Err() != nil {
			return r.ctx.Err()
		}
		var err error
		if r.h.ascii {
			err = r.text(e, which)
		} else {
			err = r.binary(e, which)
		}
		if err != nil {
			return err
		}
		switch {
		case isVertex:
			err = r.vertex(&take)
		case isFace && which >= 0:
			err = r.polygon(&take)
		case isStrip && which >= 0:
			err = r.strip()
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// text reads one element of a text file.
func (r *reader) text(e *element, which int) error {
	word := func() (float64, error) {
		for r.at < len(r.data) && (r.data[r.at] == ' ' || r.data[r.at]-'\t' < 5) {
			r.at++
		}
		if r.at >= len(r.data) {
			return 0, r.truncated(e)
		}
		start := r.at
		v, next := decimal.Float64(r.data, start)
		if next > start && (next == len(r.data) || r.data[next] <= ' ') {
			r.at = next
			return v, nil
		}
		end := start
		for end < len(r.data) && r.data[end] > ' ' {
			end++
		}
		r.at = end
		switch string(r.data[start:min(end, start+9)]) {
		case "nan", "NaN", "NAN", "-nan", "inf", "-inf", "Inf", "-Inf", "1.#QNAN", "-1.#IND", "infinity", "-infinity":
			return math.NaN(), nil
		}
		code := "ply_syntax"
		if next > start && r.data[next] == ',' {
			code = "number_comma"
		}
		return 0, fault.New(fault.Invalid, code, content.Place("line", content.Line(r.data, start)), "A number is expected here, but %.24q stands there; export the model again.", r.data[start:end])
	}
	for i := range e.props {
		v, err := word()
		if err != nil {
			return err
		}
		if e.props[i].count == 0 {
			r.values[i] = v
			continue
		}
		if i == which {
			r.list = r.list[:0]
		}
		if !(v >= 0) || v > float64(len(r.data)) {
			return r.truncated(e)
		}
		for range int(v) {
			x, err := word()
			if err != nil {
				return err
			}
			if i == which {
				if !(math.Abs(x) < 1<<53) {
					x = math.MaxInt32 // of no vertex
				}
				r.list = append(r.list, int64(x))
			}
		}
	}
	return nil
}

// binary reads one element of a binary file.
func (r *reader) binary(e *element, which int) error {
	for i := range e.props {
		p := &e.props[i]
		if p.count == 0 {
			n := p.kind.bytes()
			if len(r.data)-r.at < n {
				return r.truncated(e)
			}
			r.values[i] = number(r.data[r.at:], p.kind, r.h.big)
			r.at += n
			continue
		}
		if len(r.data)-r.at < p.count.bytes() {
			return r.truncated(e)
		}
		n := int64(number(r.data[r.at:], p.count, r.h.big))
		r.at += p.count.bytes()
		size := int64(p.kind.bytes())
		if n < 0 || n > int64(len(r.data)-r.at)/size {
			return r.truncated(e)
		}
		if i == which {
			r.list = r.list[:0]
			for j := range n {
				x := number(r.data[int64(r.at)+j*size:], p.kind, r.h.big)
				if !(math.Abs(x) < 1<<53) {
					x = math.MaxInt32
				}
				r.list = append(r.list, int64(x))
			}
		}
		r.at += int(n * size)
	}
	return nil
}

// number reads one number; there are enough bytes.
func number(b []byte, k kind, big bool) float64 {
	switch k {
	case i8:
		return float64(int8(b[0]))
	case u8:
		return float64(b[0])
	case i16, u16:
		v := binary.LittleEndian.Uint16(b)
		if big {
			v = binary.BigEndian.Uint16(b)
		}
		if k == i16 {
			return float64(int16(v))
		}
		return float64(v)
	case f64:
		v := binary.LittleEndian.Uint64(b)
		if big {
			v = binary.BigEndian.Uint64(b)
		}
		return math.Float64frombits(v)
	}
	v := binary.LittleEndian.Uint32(b)
	if big {
		v = binary.BigEndian.Uint32(b)
	}
	switch k {
	case i32:
		return float64(int32(v))
	case u32:
		return float64(v)
	}
	return float64(math.Float32frombits(v))
}

// takes are the places of the properties that matter, -1 for those that are absent.
type takes struct {
	xyz, normal [3]int
	rgba        [4]int
	scale       float64 // to 0…255
}

func newTakes(e *element) (t takes) {
	plain := func(names ...string) int {
		i := e.find(names...)
		if i >= 0 && e.props[i].count != 0 {
			return -1
		}
		return i
	}
	t.xyz = [3]int{plain("x"), plain("y"), plain("z")}
	t.normal = [3]int{plain("nx"), plain("ny"), plain("nz")}
	t.rgba = [4]int{plain("red", "r", "diffuse_red"), plain("green", "g", "diffuse_green"), plain("blue", "b", "diffuse_blue"), plain("alpha", "a", "diffuse_alpha")}
	if t.rgba[0] >= 0 {
		switch e.props[t.rgba[0]].kind {
		case f32, f64:
			t.scale = 255
		case u16, i16:
			t.scale = 1.0 / 257
		default:
			t.scale = 1
		}
	}
	return t
}

func (t *takes) colour(values []float64) content.RGBA {
	c := content.RGBA{3: 255}
	for k, i := range t.rgba {
		if i >= 0 {
			c[k] = content.FromShare(values[i] * t.scale / 255)
		}
	}
	return c
}

func (t *takes) hasColour() bool { return t.rgba[0] >= 0 && t.rgba[1] >= 0 && t.rgba[2] >= 0 }

func (r *reader) vertex(t *takes) error {
	x, y, z := r.values[t.xyz[0]], r.values[t.xyz[1]], r.values[t.xyz[2]]
	if r.surface {
		r.pos = append(r.pos, x, y, z)
	} else {
		r.exact = append(r.exact, r3.Vec{X: x, Y: y, Z: z})
		if t.normal[0] >= 0 && t.normal[1] >= 0 && t.normal[2] >= 0 {
			r.normal = append(r.normal, r3.Vec{X: r.values[t.normal[0]], Y: r.values[t.normal[1]], Z: r.values[t.normal[2]]})
		}
	}
	if t.hasColour() {
		r.color = append(r.color, t.colour(r.values))
	}
	return nil
}

// corner takes a vertex number, to be checked against the vertices when all are read.
func corner(v int64) uint32 {
	if v < 0 || v > math.MaxUint32 {
		return math.MaxUint32
	}
	return uint32(v)
}

func (r *reader) polygon(t *takes) error {
	n := len(r.list)
	if n < 3 {
		return nil
	}
	if r.triangles += n - 2; r.triangles > r.lim.Triangles {
		return content.TooManyTriangles(int64(r.triangles), r.lim.Triangles)
	}
	if n != 3 && r.size == nil {
		for range r.polygons {
			r.size = append(r.size, 3)
		}
	}
	if n != 3 || r.size != nil {
		r.size = append(r.size, uint32(n))
	}
	r.polygons++
	for _, v := range r.list {
		r.corners = append(r.corners, corner(v))
	}
	if t.hasColour() {
		r.faceColor = append(r.faceColor, t.colour(r.values))
	}
	return nil
}

// strip takes a strip of triangles; a negative number ends one and begins the next.
func (r *reader) strip() error {
	var none takes
	none.rgba = [4]int{-1, -1, -1, -1}
	list := r.list
	from := 0
	for i := 0; i <= len(list); i++ {
		if i < len(list) && list[i] >= 0 {
			continue
		}
		for j := from + 2; j < i; j++ {
			a, b, c := list[j-2], list[j-1], list[j]
			if (j-from)%2 == 1 {
				a, b = b, a
			}
			if a == b || b == c || c == a { // strips are stitched together with flat triangles
				continue
			}
			r.list = []int64{a, b, c}
			if err := r.polygon(&none); err != nil {
				return err
			}
		}
		from = i + 1
	}
	r.list = list
	return nil
}

// body cuts the polygons and welds.
func (r *reader) body(c *content.Content) (content.Body, error) {
	var b content.Body
	n := uint32(len(r.pos) / 3)
	for i, v := range r.corners {
		if v >= n {
			return b, fault.New(fault.Invalid, "ply_index", content.Place("corner", i+1), "A face uses a vertex that is not there (there are %s); export the model again.", content.Thousands(int64(n)))
		}
	}
	for i, v := range r.pos {
		if !(math.Abs(v) <= math.MaxFloat32) {
			return b, fault.New(fault.Invalid, "ply_nan", content.Place("vertex", i/3+1), "A coordinate is not a finite number; repair or export the model again.")
		}
	}
	tri := r.corners
	var facet []content.RGBA
	each := len(r.faceColor) == r.polygons
	if r.size == nil {
		if each {
			facet = r.faceColor
		}
	} else {
		var cutter polygon.Cutter
		tri = make([]uint32, 0, 3*r.triangles)
		rest := r.corners
		for i, k := range r.size {
			face := rest[:k]
			rest = rest[k:]
			if len(face) > 256 && r.ctx.Err() != nil { // large polygons take their time
				return b, r.ctx.Err()
			}
			cut := cutter.Cut(r.pos, face)
			for j, p := range cut {
				tri = append(tri, face[p])
				if each && j%3 == 0 {
					facet = append(facet, r.faceColor[i])
				}
			}
		}
	}
	if facet == nil && len(r.color) == int(n) {
		for i := 0; i < len(tri); i += 3 {
			facet = append(facet, content.Mean(r.color[tri[i]], r.color[tri[i+1]], r.color[tri[i+2]]))
		}
	}
	b.Mesh, c.Offset = mesh.FromIndexed(r.pos, tri)
	b.Color, b.FacetColor = content.OneOrEach(facet)
	return b, nil
}
