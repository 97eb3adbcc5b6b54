// Package amf reads the Additive Manufacturing File Format, plain or packed in a ZIP archive.
//
// Each volume of an object becomes a body with its material; constellations place objects. Colours (of triangle, vertices, volume,
// object, material in this order) are kept as one a facet; colours given as formulas are passed over. Curved edges are refused by
// name; normals at vertices, which also mean curvature, are passed over with a warning: the facets are taken flat.
//
// Promise: nothing in a file makes it panic or take unbounded room (FuzzRead).
//
// Source: ISO/ASTM 52915:2020 (from memory).
package amf

import (
	"bytes"
	"context"
	"math"
	"strings"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
	"firstoff/intake/internal/zipxml"
	"firstoff/unit"
)

// Read reads an AMF file. Faults: those of zipxml; Invalid amf_…, number_comma; Unsupported amf_curved; TooLarge too_many_triangles,
// too_many_bodies, too_large, amf_depth, amf_instances.
func Read(ctx context.Context, data []byte, lim content.Limits) (*content.Content, error) {
	lim = lim.OrDefault()
	if int64(len(data)) > lim.Bytes {
		return nil, content.TooLarge(int64(len(data)), lim.Bytes)
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) {
		var err error
		if data, err = unpack(data, lim); err != nil {
			return nil, err
		}
	}
	s, err := zipxml.NewScanner(data)
	if err != nil {
		return nil, err
	}
	s.Stop = ctx.Err
	r := &reader{ctx: ctx, s: s, lim: lim, out: &content.Content{Format: "amf", Unit: unit.MM}, things: make(map[string]*thing), materials: make(map[string]*material), warned: make(map[string]bool)}
	if err := r.read(); err != nil {
		return nil, err
	}
	if err := r.place(); err != nil {
		return nil, err
	}
	if len(r.out.Bodies) == 0 {
		return nil, fault.New(fault.Invalid, "amf_empty", "", "The AMF file holds no surface; export the model again.")
	}
	return r.out, nil
}

// unpack takes the one model out of its archive.
func unpack(data []byte, lim content.Limits) ([]byte, error) {
	a, err := zipxml.Open(data, zipxml.NewBudget(lim))
	if err != nil {
		return nil, err
	}
	for _, e := range a.Entries {
		if strings.HasSuffix(strings.ToLower(e.Name), ".amf") || len(a.Entries) == 1 {
			return a.Read(e)
		}
	}
	return nil, fault.New(fault.Invalid, "amf_no_model", "", "The packed AMF file holds no model; export it again.")
}

// thing is an object or a constellation.
type thing struct {
	id        string
	name      string
	bodies    []content.Body // an object's
	instances []instance     // a constellation's
	group     bool
	held      bool // by a constellation
	state     int  // of counting: 0 not yet, 1 being counted, 2 done
	facets    int64
	height    int
}

type instance struct {
	id   string
	turn [3]float64 // degrees about x, then y, then z
	move [3]float64
	tag  int
}

type material struct {
	name  string
	color *content.RGBA
}

type reader struct {
	ctx       context.Context
	s         *zipxml.Scanner
	lim       content.Limits
	out       *content.Content
	things    map[string]*thing
	order     []*thing
	materials map[string]*material
	pending   []pending
	facets    int
	bodies    int
	warned    map[string]bool
}

// pending is a body whose material may come later in the file.
type pending struct {
	of       *thing
	body     int
	material string
	object   *content.RGBA
	none     []bool // facets without a colour of their own; nil if none has one
}

func (r *reader) fail(code, format string, args ...any) error {
	return fault.New(fault.Invalid, code, r.s.Where(), format, args...)
}

func (r *reader) warn(code, message string) {
	if !r.warned[code] {
		r.warned[code] = true
		r.out.Warn(code, "", message)
	}
}

// children calls each for the elements inside the one that began last, until that ends; each must consume its element.
func (r *reader) children(each func(name string) error) error {
	for {
		k, err := r.s.Next()
		if err != nil {
			return err
		}
		switch k {
		case zipxml.End:
			return nil
		case zipxml.Start:
			if err := each(string(r.s.Local())); err != nil {
				return err
			}
		}
	}
}

func (r *reader) attr(name string) string {
	for _, a := range r.s.Attrs() {
		if a.Is(name) {
			return string(a.Value[:min(len(a.Value), 200)])
		}
	}
	return ""
}

// number reads the number that is the content of the element which began last.
func (r *reader) number() (float64, error) {
	k, err := r.s.Next()
	if err != nil {
		return 0, err
	}
	var v float64
	good := false
	if k == zipxml.Text {
		text := bytes.TrimSpace(r.s.Data())
		x, next := decimal.Float64(text, 0)
		good = next > 0 && next == len(text) && !math.IsInf(x, 0)
		if !good && next > 0 && text[next] == ',' {
			return 0, r.fail("number_comma", "A number is written with a comma (%.24q); export with a decimal point.", text)
		}
		v = x
		if !good {
			return 0, r.fail("amf_number", "A finite number is expected here, but %.24q stands there; export the model again.", text)
		}
		if k, err = r.s.Next(); err != nil {
			return 0, err
		}
	}
	if k != zipxml.End || !good {
		return 0, r.fail("amf_number", "A number is missing here; export the model again.")
	}
	return v, nil
}

func (r *reader) read() error {
	if _, err := r.s.Next(); err != nil {
		return err
	}
	if !strings.EqualFold(string(r.s.Local()), "amf") {
		return r.fail("amf_root", "The file does not begin with <amf>; export the model again.")
	}
	if u := r.attr("unit"); u != "" {
		known, err := unit.Parse(u)
		if err != nil {
			return r.fail("amf_unit", "The unit %.24q is not one of AMF's (millimeter, inch, feet, meter, micron); export the model again.", u)
		}
		r.out.Unit = known
	}
	err := r.children(func(name string) error {
		switch name {
		case "object":
			return r.object()
		case "constellation":
			return r.constellation()
		case "material":
			return r.material()
		case "metadata":
			kind := strings.ToLower(r.attr("type"))
			text, err := r.s.Content(200)
			if kind == "cad" || kind == "producer" {
				r.out.Generator = strings.TrimSpace(text)
			}
			return err
		}
		return r.s.Skip() // textures, which need their own coordinates
	})
	if err != nil {
		return err
	}
	k, err := r.s.Next()
	if err == nil && k != zipxml.EOF {
		err = r.fail("amf_root", "Something follows after the model; export it again.")
	}
	return err
}

// add takes a thing's number.
func (r *reader) add(t *thing) error {
	if t.id == "" || r.things[t.id] != nil {
		return r.fail("amf_id", "An object or constellation has no id, or that of another; export the model again.")
	}
	r.things[t.id] = t
	r.order = append(r.order, t)
	return nil
}

func (r *reader) material() error {
	m := &material{}
	if id := r.attr("id"); id != "" {
		r.materials[id] = m
	}
	return r.children(func(name string) error {
		switch name {
		case "metadata":
			kind := strings.ToLower(r.attr("type"))
			text, err := r.s.Content(200)
			if kind == "name" {
				m.name = strings.TrimSpace(text)
			}
			return err
		case "color":
			c, err := r.color()
			m.color = c
			return err
		case "composite":
			r.warn("amf_composite", "Materials mixed by formulas are told by their name only.")
		}
		return r.s.Skip()
	})
}

// color reads r, g, b, a; nil if one is a formula.
func (r *reader) color() (*content.RGBA, error) {
	c := content.RGBA{3: 255}
	formula := false
	err := r.children(func(name string) error {
		i := strings.Index("rgba", name)
		if len(name) != 1 || i < 0 {
			return r.s.Skip()
		}
		text, err := r.s.Content(60)
		if err != nil {
			return err
		}
		b := []byte(strings.TrimSpace(text))
		v, next := decimal.Float32(b, 0)
		if next == 0 || next != len(b) {
			formula = true
			return nil
		}
		c[i] = content.FromShare(float64(v))
		return nil
	})
	if formula {
		r.warn("amf_formula", "Colours given as formulas were left out.")
		return nil, err
	}
	return &c, err
}

// object reads an object: its vertices, then a body for each volume.
func (r *reader) object() error {
	t := &thing{id: r.attr("id")}
	if err := r.add(t); err != nil {
		return err
	}
	var own *content.RGBA
	first := len(r.pending)
	err := r.children(func(name string) error {
		switch name {
		case "metadata":
			kind := strings.ToLower(r.attr("type"))
			text, err := r.s.Content(200)
			if kind == "name" {
				t.name = strings.TrimSpace(text)
			}
			return err
		case "color":
			c, err := r.color()
			own = c
			return err
		case "mesh":
			return r.mesh(t)
		}
		return r.s.Skip()
	})
	for i := range r.pending[first:] {
		p := &r.pending[first+i]
		p.object = own
		if b := &t.bodies[p.body]; b.Name == "" {
			b.Name = t.name
		}
	}
	return err
}

func (r *reader) mesh(t *thing) error {
	var pos []float32
	var colors map[uint32]content.RGBA
	return r.children(func(name string) error {
		switch name {
		case "vertices":
			return r.children(func(name string) error {
				switch name {
				case "vertex":
					c, err := r.vertex(&pos)
					if c != nil {
						if colors == nil {
							colors = make(map[uint32]content.RGBA)
						}
						colors[uint32(len(pos)/3-1)] = *c
					}
					return err
				case "edge":
					return fault.New(fault.Unsupported, "amf_curved", r.s.Where(), "The file bends its facets by curved edges, which is not read here; export it with flat facets.")
				}
				return r.s.Skip()
			})
		case "volume":
			return r.volume(t, pos, colors)
		}
		return r.s.Skip()
	})
}

func (r *reader) vertex(pos *[]float32) (*content.RGBA, error) {
	if len(*pos)&0x3ffff == 0 && r.ctx.Err() != nil {
		return nil, r.ctx.Err()
	}
	if len(*pos) > 9*r.lim.Triangles {
		return nil, content.TooManyTriangles(int64(r.lim.Triangles)+1, r.lim.Triangles)
	}
	var p [3]float32
	var c *content.RGBA
	has := 0
	err := r.children(func(name string) error {
		switch name {
		case "coordinates":
			return r.children(func(name string) error {
				if len(name) != 1 || name[0] < 'x' || name[0] > 'z' {
					return r.s.Skip()
				}
				v, err := r.number()
				p[name[0]-'x'] = float32(v)
				has |= 1 << (name[0] - 'x')
				if err == nil && !decimal.Finite(p[name[0]-'x']) {
					err = r.fail("amf_number", "A coordinate is too large to be meant; export the model again.")
				}
				return err
			})
		case "color":
			var err error
			c, err = r.color()
			return err
		case "normal":
			r.warn("amf_normals", "The file gives normals at its vertices, which mean that facets are curved; they were taken flat.")
		}
		return r.s.Skip()
	})
	if err == nil && has != 7 {
		err = r.fail("amf_vertex", "A vertex lacks a coordinate; export the model again.")
	}
	*pos = append(*pos, p[0], p[1], p[2])
	return c, err
}

func (r *reader) volume(t *thing, pos []float32, vertexColors map[uint32]content.RGBA) error {
	p := pending{of: t, body: len(t.bodies), material: r.attr("materialid")}
	kind := r.attr("type")
	b := content.Body{Mesh: &mesh.Mesh{}}
	n := uint32(len(pos) / 3)
	var own *content.RGBA
	var each []content.RGBA
	colored := false
	err := r.children(func(name string) error {
		switch name {
		case "metadata":
			kind := strings.ToLower(r.attr("type"))
			text, err := r.s.Content(200)
			if kind == "name" {
				b.Name = strings.TrimSpace(text)
			}
			return err
		case "color":
			c, err := r.color()
			own = c
			return err
		case "triangle":
			v, c, err := r.triangle(n)
			if err != nil {
				return err
			}
			if c == nil {
				if x, ok := vertexColors[v[0]]; ok {
					y, okY := vertexColors[v[1]]
					z, okZ := vertexColors[v[2]]
					if okY && okZ {
						m := content.Mean(x, y, z)
						c = &m
					}
				}
			}
			b.Mesh.Tri = append(b.Mesh.Tri, v[0], v[1], v[2])
			if c != nil && !colored {
				colored = true
				each = make([]content.RGBA, len(b.Mesh.Tri)/3-1)
				p.none = make([]bool, len(b.Mesh.Tri)/3-1)
				for i := range p.none {
					p.none[i] = true
				}
			}
			if colored {
				if c == nil {
					c = &content.RGBA{}
					p.none = append(p.none, true)
				} else {
					p.none = append(p.none, false)
				}
				each = append(each, *c)
			}
			return nil
		}
		return r.s.Skip()
	})
	if err != nil || len(b.Mesh.Tri) == 0 {
		return err
	}
	if strings.EqualFold(kind, "support") {
		r.warn("amf_support", "Supports in the file were left out; they are made anew for the machine.")
		return nil
	}
	if len(b.Mesh.Tri) < len(pos)/3 { // few facets of many vertices, which other volumes share
		soup := make([]float32, 0, 3*len(b.Mesh.Tri))
		for _, v := range b.Mesh.Tri {
			soup = append(soup, pos[3*v:3*v+3]...)
		}
		b.Mesh = mesh.FromSoup(soup)
	} else {
		b.Mesh.Pos = append([]float32(nil), pos...)
		b.Mesh = content.Welded(b.Mesh)
	}
	b.Color, b.FacetColor = own, each
	t.bodies = append(t.bodies, b)
	r.pending = append(r.pending, p)
	if r.bodies++; r.bodies > r.lim.Bodies {
		return content.TooManyBodies(r.lim.Bodies)
	}
	return nil
}

func (r *reader) triangle(n uint32) (v [3]uint32, c *content.RGBA, err error) {
	has := 0
	err = r.children(func(name string) error {
		switch name {
		case "v1", "v2", "v3":
			x, err := r.number()
			if err != nil {
				return err
			}
			if x < 0 || x != math.Floor(x) || x >= float64(n) {
				return r.fail("amf_index", "A triangle uses vertex %v, of only %d; export the model again.", x, n)
			}
			v[name[1]-'1'] = uint32(x)
			has |= 1 << (name[1] - '1')
			return nil
		case "color":
			var err error
			c, err = r.color()
			return err
		}
		return r.s.Skip()
	})
	if err == nil && has != 7 {
		err = r.fail("amf_index", "A triangle lacks a corner; export the model again.")
	}
	if r.facets++; err == nil && r.facets > r.lim.Triangles {
		err = content.TooManyTriangles(int64(r.facets), r.lim.Triangles)
	}
	return v, c, err
}

// maxInstances is how many instances a constellation may have.
const maxInstances = 4000

func (r *reader) constellation() error {
	t := &thing{id: r.attr("id"), group: true}
	if err := r.add(t); err != nil {
		return err
	}
	return r.children(func(name string) error {
		switch name {
		case "metadata":
			kind := strings.ToLower(r.attr("type"))
			text, err := r.s.Content(200)
			if kind == "name" {
				t.name = strings.TrimSpace(text)
			}
			return err
		case "instance":
			if len(t.instances) >= maxInstances {
				return fault.New(fault.TooLarge, "amf_instances", r.s.Where(), "A constellation places more than %s instances, which is refused as harmful; send the part once and say how many.", content.Thousands(maxInstances))
			}
			in := instance{id: r.attr("objectid"), tag: r.s.Tag()}
			err := r.children(func(name string) error {
				switch name {
				case "deltax", "deltay", "deltaz":
					var err error
					in.move[name[5]-'x'], err = r.number()
					return err
				case "rx", "ry", "rz":
					var err error
					in.turn[name[1]-'x'], err = r.number()
					return err
				}
				return r.s.Skip()
			})
			t.instances = append(t.instances, in)
			return err
		}
		return r.s.Skip()
	})
}
