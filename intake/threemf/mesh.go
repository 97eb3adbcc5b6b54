package threemf

import (
	"slices"

	"firstoff/geom/mesh"
	"firstoff/intake/content"
	"firstoff/intake/internal/zipxml"
)

// look is how a facet is painted: a group of properties and one index a corner.
type look struct {
	pid uint32
	p   [3]uint32
	has bool
}

// shape gathers a mesh while it is read.
type shape struct {
	pos   []float32
	tri   []uint32
	base  look // of the object
	facet []content.RGBA
	mat   string // material of all facets so far
	mixed bool   // they have different ones
}

func (m *model) mesh(o *object, base look) error {
	if err := m.allow(); err != nil {
		return err
	}
	sh := &shape{base: base}
	order := 0
	err := m.children(func() error {
		switch {
		case m.s.Is(m.core, "vertices"):
			if order++; order != 1 {
				return m.fail("3mf_structure", "A mesh must have its vertices once, before its triangles; export the model again.")
			}
			return m.vertices(sh)
		case m.s.Is(m.core, "triangles"):
			if order++; order != 2 {
				return m.fail("3mf_structure", "A mesh must have its vertices once, before its triangles; export the model again.")
			}
			return m.triangles(sh)
		case m.s.Is(nsBeam, "beamlattice"):
			return m.beamlattice(o, sh)
		}
		return m.unknown()
	})
	if err != nil {
		return err
	}
	if order != 2 {
		return m.fail("3mf_structure", "A mesh lacks its vertices or its triangles; export the model again.")
	}
	if o.lattice != nil {
		if err := o.lattice.build(m.r.ctx, sh); err != nil {
			return err
		}
		if n := len(sh.tri) / 3; n > m.r.lim.Triangles {
			return content.TooManyTriangles(int64(n), m.r.lim.Triangles)
		}
	}
	if len(sh.tri) == 0 {
		return nil
	}
	o.mesh = content.Welded(&mesh.Mesh{Pos: sh.pos, Tri: sh.tri})
	if sh.facet != nil {
		for len(sh.facet) < len(sh.tri)/3 {
			sh.facet = append(sh.facet, content.Uncoloured)
		}
		o.color, o.facetColor = content.OneOrEach(sh.facet)
	}
	if !sh.mixed {
		o.material = sh.mat
	}
	return nil
}

// sample is how many elements are read before room is made for the rest by their size.
const sample = 1024

// room is how many numbers to make room for: three an element, rest bytes being left where sample elements took ahead - rest.
func room(ahead, rest int) int {
	each := max(1, (ahead-rest)/sample)
	return 3 * (rest/each + rest/each/32 + 1)
}

var vertexKeys = []string{"x", "y", "z"}

func (m *model) vertices(sh *shape) error {
	if err := m.allow(); err != nil {
		return err
	}
	var v [3][]byte
	var p [3]float32
	fast, ahead := m.s.Prefix("") == m.core, 0
	for n := 0; ; n++ {
		if n&0xffff == 0 && m.r.ctx.Err() != nil {
			return m.r.ctx.Err()
		}
		if !fast || m.s.Leaf("vertex", vertexKeys, 3, v[:]) == 0 {
			k, err := m.s.Next()
			if err != nil {
				return err
			}
			switch k {
			case zipxml.End:
				return nil
			case zipxml.Text:
				continue
			}
			if !m.s.Is(m.core, "vertex") {
				if err := m.unknown(); err != nil {
					return err
				}
				continue
			}
			if err := m.allow(vertexKeys...); err != nil {
				return err
			}
			v = [3][]byte{}
			for i := range m.s.Attrs() {
				if a := &m.s.Attrs()[i]; a.Space == "" {
					v[a.Local[0]-'x'] = a.Value
				}
			}
			for i := range v {
				if v[i] == nil {
					return m.fail("3mf_attribute", "A vertex lacks a coordinate; export the model again.")
				}
			}
			for i := range v {
				if p[i], err = m.coordinate(v[i]); err != nil {
					return err
				}
			}
			if err := m.s.Skip(); err != nil {
				return err
			}
		} else {
			for i := range v {
				var err error
				if p[i], err = m.coordinate(v[i]); err != nil {
					return err
				}
			}
		}
		if len(sh.pos) >= 9*m.r.lim.Triangles+9 {
			return content.TooManyTriangles(int64(m.r.lim.Triangles)+1, m.r.lim.Triangles)
		}
		sh.pos = append(sh.pos, p[0], p[1], p[2])
		if n == 0 {
			ahead = m.s.Ahead("vertices")
		} else if n == sample {
			rest := m.s.Ahead("vertices")
			sh.pos = slices.Grow(sh.pos, min(room(ahead, rest), 3*m.r.lim.Triangles))
		}
	}
}

var triangleKeys = []string{"v1", "v2", "v3", "pid", "p1", "p2", "p3"}

func (m *model) triangles(sh *shape) error {
	if err := m.allow(); err != nil {
		return err
	}
	var v [7][]byte
	fast, ahead := m.s.Prefix("") == m.core, 0
	n := uint32(len(sh.pos) / 3)
	for count := 0; ; count++ {
		if count&0xffff == 0 && m.r.ctx.Err() != nil {
			return m.r.ctx.Err()
		}
		got := 0
		if fast {
			got = m.s.Leaf("triangle", triangleKeys, 3, v[:])
			clear(v[got:])
		}
		leaf := got > 0
		if !leaf {
			k, err := m.s.Next()
			if err != nil {
				return err
			}
			switch k {
			case zipxml.End:
				return nil
			case zipxml.Text:
				continue
			}
			if !m.s.Is(m.core, "triangle") {
				if err := m.unknown(); err != nil {
					return err
				}
				continue
			}
			if err := m.allow(triangleKeys...); err != nil {
				return err
			}
			clear(v[:])
			for i := range m.s.Attrs() {
				if a := &m.s.Attrs()[i]; a.Space == "" {
					for j, name := range triangleKeys {
						if string(a.Local) == name {
							v[j] = a.Value
						}
					}
				}
			}
		}
		var t [3]uint32
		for i := range t {
			w, ok := number(v[i])
			if !ok {
				return m.fail("3mf_number", "A triangle lacks a corner or has %q as one; export the model again.", clip(string(v[i])))
			}
			if w >= n {
				return m.fail("3mf_index", "A triangle uses vertex %d, but the mesh has only %d; export the model again.", w, n)
			}
			t[i] = w
		}
		if m.r.facets++; m.r.facets > m.r.lim.Triangles {
			return content.TooManyTriangles(int64(m.r.facets), m.r.lim.Triangles)
		}
		sh.tri = append(sh.tri, t[0], t[1], t[2])
		if count == 0 {
			ahead = m.s.Ahead("triangles")
		} else if count == sample {
			rest := m.s.Ahead("triangles")
			sh.tri = slices.Grow(sh.tri, min(room(ahead, rest), 3*m.r.lim.Triangles))
		}
		if v[3] != nil || v[4] != nil || sh.base.has || sh.facet != nil || sh.mat != "" {
			if err := m.paint(sh, v[3], v[4], v[5], v[6]); err != nil {
				return err
			}
		}
		if !leaf {
			if err := m.s.Skip(); err != nil {
				return err
			}
		}
	}
}

// paint colours the facet just read from its own properties, else from the object's.
func (m *model) paint(sh *shape, pid, p1, p2, p3 []byte) error {
	l := sh.base
	if pid != nil {
		n, ok := number(pid)
		if !ok {
			return m.fail("3mf_number", "A triangle's pid %q is not a number; export the model again.", clip(string(pid)))
		}
		l.pid, l.has = n, true
	}
	if p1 != nil {
		if !l.has {
			return m.fail("3mf_property", "A triangle names a property without the group it is in (pid); export the model again.")
		}
		for i, v := range [3][]byte{p1, p2, p3} {
			if v == nil {
				l.p[i] = l.p[0]
				continue
			}
			n, ok := number(v)
			if !ok {
				return m.fail("3mf_number", "A triangle's property %q is not an index; export the model again.", clip(string(v)))
			}
			l.p[i] = n
		}
	}
	if !l.has {
		sh.name("")
		return nil
	}
	if !m.ids[l.pid] {
		// Files in use refer to groups that were dropped on the way; the shape is whole without.
		m.r.warn("3mf_property", m.name[1:], "Facets refer to a group of properties that is not in the file; their colours are left out.")
		sh.name("")
		return nil
	}
	if err := m.checkLook(l); err != nil {
		return err
	}
	c, material, ok := m.groups[l.pid].facet(m, l.p)
	sh.name(material)
	if !ok {
		return nil
	}
	facets := len(sh.tri) / 3
	for len(sh.facet) < facets-1 {
		sh.facet = append(sh.facet, content.Uncoloured)
	}
	sh.facet = append(sh.facet, c)
	return nil
}

// name notes the material of the facet just read.
func (sh *shape) name(material string) {
	if len(sh.tri) == 3 {
		sh.mat = material
	} else if sh.mat != material {
		sh.mixed = true
	}
}

// checkLook refuses groups that are not there and indices beyond their end.
func (m *model) checkLook(l look) error {
	g := m.groups[l.pid]
	if g == nil {
		return m.fail("3mf_property", "Resource %d is used as a group of properties, which it is not; export the model again.", l.pid)
	}
	for _, p := range l.p {
		if int(p) >= g.size {
			return m.fail("3mf_property", "Property %d of group %d is used, which has only %d; export the model again.", p, l.pid, g.size)
		}
	}
	return nil
}
