package threemf

import (
	"slices"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
)

// find resolves an instance of m. encrypted says that the part which holds the object cannot be read.
func (r *reader) find(m *model, in instance) (in2 *model, o *object, encrypted bool, err error) {
	in2 = m
	if in.path != "" {
		var known bool
		if in2, known = r.models[in.path]; known && in2 == nil {
			return nil, nil, true, nil
		}
		if in2 == nil {
			return nil, nil, false, invalid("3mf_path", m.s.LineOf(in.tag), "Something is placed from %q, which is not among the model's relationships; export the model again.", clip(in.path))
		}
	}
	if o = in2.objects[in.id]; o == nil {
		return nil, nil, false, invalid("3mf_object", m.s.LineOf(in.tag), "Object %d is placed, but not in the file; export the model again.", in.id)
	}
	return in2, o, false, nil
}

// count adds up the facets that placing an object once would give, and refuses objects that hold themselves, nest too
// deep, or refer to what is not there.
func (r *reader) count(m *model, o *object, depth int) (int64, error) {
	if depth > r.lim.Depth {
		return 0, r.tooDeep(m)
	}
	if o.height > 0 {
		if o.total < 0 {
			return 0, invalid("3mf_circle", m.name[1:], "Object %d is a component of itself; export the model again.", o.id)
		}
		if depth+o.height-1 > r.lim.Depth {
			return 0, r.tooDeep(m)
		}
		return o.total, nil
	}
	o.height, o.total = 1, -1
	n := int64(0)
	if o.mesh != nil {
		n = int64(o.mesh.Facets())
	}
	for _, p := range o.parts {
		pm, po, encrypted, err := r.find(m, p)
		if err != nil {
			return 0, fault.At(err, m.name[1:])
		}
		if encrypted {
			continue
		}
		sub, err := r.count(pm, po, depth+1)
		if err != nil {
			return 0, err
		}
		n = min(n+sub, 1<<50)
		o.height = max(o.height, po.height+1)
	}
	o.total = n
	return n, nil
}

func (r *reader) tooDeep(m *model) error {
	return fault.New(fault.TooLarge, "3mf_depth", m.name[1:], "Components are nested more than %d deep; export the model flat.", r.lim.Depth)
}

// build places what the build says.
func (r *reader) build() error {
	// Every object is looked at, placed or not: a file is not sound by parts.
	for _, m := range r.order {
		for _, o := range m.order {
			if _, err := r.count(m, o, 1); err != nil {
				return err
			}
		}
	}
	total := int64(0)
	for i, item := range r.root.items {
		m, o, encrypted, err := r.find(r.root, item)
		if err != nil {
			return fault.At(err, r.root.name[1:])
		}
		if encrypted {
			continue
		}
		if o.kind == "other" {
			return invalid("3mf_object_type", r.root.name[1:]+": "+r.root.s.LineOf(item.tag), "Item %d of the build places an object of type \"other\", which may not be built; export the model again.", i+1)
		}
		if total += o.total; total > int64(r.lim.Triangles) {
			return content.TooManyTriangles(total, r.lim.Triangles)
		}
		r.tally(m, o)
	}
	for _, item := range r.root.items {
		m, o, encrypted, _ := r.find(r.root, item)
		if encrypted {
			r.encrypted()
			continue
		}
		if err := r.place(m, o, item.at, "", true); err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) encrypted() {
	r.warn("3mf_encrypted", "", "Objects in the file are encrypted and were left out; ask for the model unencrypted.")
}

// tally counts how often each mesh is placed, so that one placed once need not be copied.
func (r *reader) tally(m *model, o *object) {
	o.used++
	if o.used > 1 {
		return // its components are known to be used more than once through it
	}
	for _, p := range o.parts {
		if pm, po, encrypted, err := r.find(m, p); err == nil && !encrypted {
			r.tally(pm, po)
		}
	}
}

// place makes bodies of an object and its components. once says that no other path leads here.
func (r *reader) place(m *model, o *object, at place, path string, once bool) error {
	if o.kind == "support" || o.kind == "solidsupport" {
		r.warn("3mf_support", m.name[1:], "Supports in the file were left out; they are made anew for the machine.")
		return nil
	}
	if err := r.ctx.Err(); err != nil {
		return err
	}
	once = once && o.used == 1
	if o.stack != 0 {
		if !at.flat() {
			r.warn("3mf_slice_transform", m.name[1:], "An object with ready slices is tilted, so that the slices no longer fit; its mesh was used.")
		}
		if o.coarse {
			r.warn("3mf_slice_coarse", m.name[1:], "The file carries ready slices and only a coarse mesh, which was used; ask for the full model where fine detail matters.")
		}
	}
	if o.mesh != nil {
		if len(r.out.Bodies) >= r.lim.Bodies {
			return content.TooManyBodies(r.lim.Bodies)
		}
		b := content.Body{Name: o.name, Color: o.color, FacetColor: o.facetColor, Material: o.material, Instance: path, Open: o.kind == "surface"}
		b.Mesh = placed(o.mesh, at, once)
		if i := decimal.AllFinite(b.Mesh.Pos); i >= 0 {
			return invalid("3mf_transform", m.name[1:], "A transform throws an object out to infinity; export the model again.")
		}
		r.out.Bodies = append(r.out.Bodies, b)
	}
	if o.lattice != nil && o.lattice.whole {
		r.warn("3mf_lattice_clip", m.name[1:], "A lattice is to be clipped by another body, and could not be; it was taken whole, so its volume is somewhat too large.")
	}
	if path != "" || o.name != "" {
		path += "/" + o.name
	}
	for _, p := range o.parts {
		pm, po, encrypted, err := r.find(m, p)
		if err != nil {
			return err
		}
		if encrypted {
			r.encrypted()
			continue
		}
		if err := r.place(pm, po, p.at.then(at), path, once); err != nil {
			return err
		}
	}
	return nil
}

// placed is the mesh moved; the mesh itself where nothing else needs it.
func placed(m *mesh.Mesh, at place, once bool) *mesh.Mesh {
	if at == unmoved {
		if once {
			return m
		}
		return m.Clone()
	}
	out := m
	if !once {
		out = &mesh.Mesh{Pos: make([]float32, len(m.Pos)), Tri: m.Tri}
	}
	src, dst := m.Pos, out.Pos
	for len(src) >= 3 && len(dst) >= 3 {
		x, y, z := at.apply(float64(src[0]), float64(src[1]), float64(src[2]))
		dst[0], dst[1], dst[2] = float32(x), float32(y), float32(z)
		src, dst = src[3:], dst[3:]
	}
	if !once {
		out.Tri = slices.Clone(m.Tri)
	}
	if at.mirrors() {
		for t := out.Tri; len(t) >= 3; t = t[3:] {
			t[1], t[2] = t[2], t[1]
		}
	}
	return out
}
