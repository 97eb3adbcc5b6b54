package threemf

import (
	"math"

	"firstoff/intake/internal/zipxml"
)

// stack is a slice stack. Its polygons are checked and not kept: the mesh is what is used.
type stack struct {
	slices int
	refs   []sliceRef
}

type sliceRef struct {
	id   uint32
	path string
	tag  int
}

func (m *model) slicestack() error {
	st := &stack{}
	var id uint32
	bottom := 0.0
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		var err error
		switch {
		case a.Is("id"):
			id, err = m.id(a)
		case a.Is("zbottom"):
			bottom, err = m.float(a.Value)
		}
		if err != nil {
			return err
		}
	}
	if id == 0 {
		return m.fail("3mf_attribute", "A slice stack has no id; export the model again.")
	}
	if err := m.newID(id); err != nil {
		return err
	}
	m.stacks[id] = st
	m.stackOrder = append(m.stackOrder, st)
	top := bottom
	return m.children(func() error {
		switch {
		case m.s.Is(nsSlice, "slice"):
			st.slices++
			return m.slice(&top)
		case m.s.Is(nsSlice, "sliceref"):
			ref := sliceRef{tag: m.s.Tag()}
			for i := range m.s.Attrs() {
				a := &m.s.Attrs()[i]
				var err error
				switch {
				case a.Is("slicestackid"):
					ref.id, err = m.id(a)
				case a.Is("slicepath"):
					if ref.path, err = resolve(m.name, string(a.Value)); err != nil {
						err = m.fail("3mf_path", "The path %q leads out of the package; export the model again.", clip(string(a.Value)))
					}
				}
				if err != nil {
					return err
				}
			}
			st.refs = append(st.refs, ref)
			return m.s.Skip()
		}
		return m.unknown()
	})
}

func (m *model) slice(top *float64) error {
	has := false
	for i := range m.s.Attrs() {
		if a := &m.s.Attrs()[i]; a.Is("ztop") {
			z, err := m.float(a.Value)
			if err != nil {
				return err
			}
			if z < *top {
				return m.fail("3mf_slice", "A slice lies below the one before it; export the model again.")
			}
			*top, has = z, true
		}
	}
	if !has {
		return m.fail("3mf_attribute", "A slice has no ztop; export the model again.")
	}
	n := uint32(0)
	corner := func(a *zipxml.Attr) error {
		v, err := m.index(a)
		if err == nil && v >= n {
			err = m.fail("3mf_slice", "A slice uses point %d, of only %d; export the model again.", v, n)
		}
		return err
	}
	return m.children(func() error {
		switch {
		case m.s.Is(nsSlice, "vertices"):
			return m.children(func() error {
				if n == math.MaxInt32 || !m.s.Is(nsSlice, "vertex") {
					return m.unknown()
				}
				n++
				for i := range m.s.Attrs() {
					if a := &m.s.Attrs()[i]; a.Is("x") || a.Is("y") {
						if _, err := m.coordinate(a.Value); err != nil {
							return err
						}
					}
				}
				return m.s.Skip()
			})
		case m.s.Is(nsSlice, "polygon"):
			for i := range m.s.Attrs() {
				if a := &m.s.Attrs()[i]; a.Is("startv") {
					if err := corner(a); err != nil {
						return err
					}
				}
			}
			return m.children(func() error {
				for i := range m.s.Attrs() {
					if a := &m.s.Attrs()[i]; a.Is("v2") {
						if err := corner(a); err != nil {
							return err
						}
					}
				}
				return m.s.Skip()
			})
		}
		return m.unknown()
	})
}

// checkSlices holds references to the rules: a stack has slices or references, what is referred to is there and refers no
// further (Slice 1.0, §2.1).
func (r *reader) checkSlices() error {
	for _, m := range r.order {
		for _, st := range m.stackOrder {
			if st.slices > 0 && len(st.refs) > 0 {
				return invalid("3mf_slice", m.name[1:], "A slice stack has both slices and references to others; export the model again.")
			}
			for _, ref := range st.refs {
				in, known := m, true
				if ref.path != "" {
					in, known = r.models[ref.path]
					if known && in == nil {
						continue // encrypted
					}
					if !known && m.isRoot && r.box.part(ref.path) != nil {
						// In the package, but not listed: common in files with slices, which we only check.
						var err error
						if in, err = r.model(ref.path, m); err != nil {
							return err
						}
						known = true
					}
				}
				if !known || in.stacks[ref.id] == nil {
					return invalid("3mf_slice", m.name[1:]+": "+m.s.LineOf(ref.tag), "A slice stack refers to stack %d, which is not there; export the model again.", ref.id)
				}
				if len(in.stacks[ref.id].refs) > 0 {
					return invalid("3mf_slice", m.name[1:]+": "+m.s.LineOf(ref.tag), "A slice stack refers to one that refers to others, which the standard forbids; export the model again.")
				}
			}
		}
		for _, o := range m.order {
			if o.stack != 0 && m.stacks[o.stack] == nil {
				return invalid("3mf_slice", m.name[1:], "Object %d uses slice stack %d, which is not there; export the model again.", o.id, o.stack)
			}
		}
	}
	return nil
}
