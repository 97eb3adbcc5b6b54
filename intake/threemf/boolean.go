package threemf

import (
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/unite"
	"firstoff/intake/content"
)

// sum is the shape of an object put together from others: united with them, cut by them, or what is common, one after another in the
// file's order (Boolean Operations 1.1, from memory).
type sum struct {
	how  func(a, b *mesh.Mesh) (*unite.Union, error)
	base instance
	by   []instance
	done bool
	open bool // being worked out
}

// maxSummed bounds the facets that all sums of a file go over: some minute's work.
const maxSummed = 20_000_000

func (m *model) booleanShape(o *object) error {
	s := &sum{how: unite.Both}
	for _, a := range m.s.Attrs() {
		if !a.Is("operation") {
			continue
		}
		switch string(a.Value) {
		case "union":
		case "difference":
			s.how = unite.Less
		case "intersection":
			s.how = unite.Common
		default:
			return m.fail("3mf_boolean", "An object is put together in the unknown way %q; export the model as plain meshes.", clip(string(a.Value)))
		}
	}
	var err error
	if s.base, err = m.operand("objectid", "transform", "path", "operation"); err != nil {
		return err
	}
	err = m.children(func() error {
		if !m.s.Is(nsBoolean, "boolean") {
			return m.unknown()
		}
		if len(s.by) >= maxInstances {
			return fault.New(fault.TooLarge, "3mf_instances", m.s.Where(), "An object is put together from more than %s others, which is refused as harmful; send fewer.", content.Thousands(maxInstances))
		}
		b, err := m.operand("objectid", "transform", "path")
		if err == nil {
			s.by = append(s.by, b)
			err = m.s.Skip()
		}
		return err
	})
	if err == nil && len(s.by) == 0 {
		err = m.fail("3mf_boolean", "An object is to be put together from others and names none; export the model again.")
	}
	o.sum = s
	return err
}

// operand is instance; the extension's own path has no prefix.
func (m *model) operand(names ...string) (instance, error) {
	path := ""
	for _, a := range m.s.Attrs() {
		if a.Is("path") {
			path = string(a.Value)
		}
	}
	in, err := m.instance(names...)
	if err == nil && path != "" {
		if in.path, err = resolve(m.name, path); err != nil || !m.isRoot {
			err = m.fail("3mf_path", "The path %q leads out of the package, or from a part that may not refer to others; export the model again.", clip(path))
		}
	}
	return in, err
}

// solid is a mended mesh with the colours of its facets, if it has any.
type solid struct {
	m      *mesh.Mesh
	colors []content.RGBA
}

// sums works out all objects that are put together from others.
func (r *reader) sums() error {
	for _, m := range r.order {
		for _, o := range m.order {
			if err := r.sum(m, o, 1); err != nil {
				return err
			}
		}
	}
	return nil
}

func (r *reader) sum(m *model, o *object, depth int) error {
	s := o.sum
	switch {
	case s == nil || s.done:
		return nil
	case s.open:
		return invalid("3mf_circle", m.name[1:], "Object %d is put together from itself; export the model again.", o.id)
	case depth > r.lim.Depth:
		return r.tooDeep(m)
	}
	s.open = true
	a, err := r.operandOf(m, o, s.base, depth)
	if err != nil || a == nil {
		return err
	}
	for _, in := range s.by {
		b, err := r.operandOf(m, o, in, depth)
		if err != nil || b == nil {
			return err
		}
		if r.summed += a.m.Facets() + b.m.Facets(); r.summed > maxSummed {
			return fault.New(fault.TooLarge, "3mf_boolean", m.name[1:], "The objects to be put together have more than %s facets in all, which is refused as harmful; export the model as plain meshes.", content.Thousands(maxSummed))
		}
		u, err := s.how(a.m, b.m)
		if err != nil {
			return fault.Because(err, fault.KindOf(err), "3mf_boolean", m.name[1:], "Object %d is cut or joined in a way that could not be worked out; export it as a plain mesh.", o.id)
		}
		var colors []content.RGBA
		if a.colors != nil || b.colors != nil {
			colors = make([]content.RGBA, u.Mesh.Facets())
			for f, src := range u.Source {
				colors[f] = a.color(int(src))
				if n := a.m.Facets(); int(src) >= n {
					colors[f] = b.color(int(src) - n)
				}
			}
		}
		a = &solid{u.Mesh, colors}
	}
	s.done = true
	if a.m.Facets() > 0 {
		if r.facets += a.m.Facets(); r.facets > r.lim.Triangles {
			return content.TooManyTriangles(int64(r.facets), r.lim.Triangles)
		}
		o.mesh = a.m
		o.color, o.facetColor = content.OneOrEach(a.colors)
	}
	return nil
}

func (s *solid) color(f int) content.RGBA {
	if f < len(s.colors) {
		return s.colors[f]
	}
	return content.Uncoloured
}

// operandOf is the solid that an object is put together from, placed and mended; nil if it is encrypted.
func (r *reader) operandOf(m *model, o *object, in instance, depth int) (*solid, error) {
	if err := r.ctx.Err(); err != nil {
		return nil, err
	}
	pm, po, encrypted, err := r.find(m, in)
	if err != nil {
		return nil, fault.At(err, m.name[1:])
	}
	if encrypted {
		r.encrypted()
		return nil, nil
	}
	if err := r.sum(pm, po, depth+1); err != nil {
		return nil, err
	}
	if len(po.parts) > 0 {
		return nil, invalid("3mf_boolean", m.name[1:], "Object %d is put together from object %d, which is an assembly, and must be from plain meshes; export the model again.", o.id, po.id)
	}
	if po.mesh == nil {
		return &solid{m: &mesh.Mesh{}}, nil
	}
	s := &solid{}
	n, log := mesh.Mend(placed(po.mesh, in.at, false))
	if s.m = n; n.Facets() > 0 && !n.Topology().Solid() {
		return nil, invalid("3mf_boolean", m.name[1:], "Object %d, from which another is put together, does not close; mend it and export the model again.", po.id)
	}
	if po.color != nil || po.facetColor != nil {
		s.colors = make([]content.RGBA, n.Facets())
		for f, src := range log.Source {
			switch {
			case src < 0:
				s.colors[f] = content.Uncoloured
			case po.color != nil:
				s.colors[f] = *po.color
			default:
				s.colors[f] = po.facetColor[src]
			}
		}
	}
	return s, nil
}
