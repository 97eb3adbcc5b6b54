package threemf

import (
	"context"
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/unite"
	"firstoff/intake/content"
)

// capMode is how a beam ends.
type capMode int

const (
	capSphere capMode = iota
	capHemisphere
	capButt
)

type beam struct {
	v      [2]uint32
	radius [2]float64
	cap    [2]capMode
}

// lattice is a beam lattice. It becomes a closed surface a beam and a ball, overlapping where they meet: solid by the
// winding rule, not by union of the surfaces.
type lattice struct {
	beams []beam
	balls []ball
	// by is the body that the lattice is cut by, and inside which side stays.
	by     *mesh.Mesh
	inside bool
	whole  bool // it was to be cut and was not
}

type ball struct {
	v      uint32
	radius float64
}

func (m *model) beamlattice(o *object, sh *shape) error {
	if o.lattice != nil || sh.pos == nil {
		return m.fail("3mf_lattice", "A mesh has two lattices, or one before its vertices; export the model again.")
	}
	la := &lattice{}
	var radius, ballRadius float64
	var ends capMode
	mode, clip, passed := "none", "", false
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		var err error
		switch string(a.Local) {
		case "radius":
			radius, err = m.radius(a.Value)
		case "minlength", "precision":
			_, err = m.float(a.Value)
		case "cap":
			ends, err = m.cap(a.Value)
		case "clippingmode", "clipping":
			clip = string(a.Value)
		case "clippingmesh", "representationmesh":
			var id uint32
			id, err = m.id(a)
			switch {
			case err != nil:
			case !m.wholeMesh(id):
				m.r.warn("3mf_lattice", m.name[1:], "A lattice refers to a body to be clipped or shown by that is not a plain mesh before it in the file; the reference was passed over.")
				passed = true
			case string(a.Local) == "clippingmesh":
				la.by = m.objects[id].mesh // the mesh that only represents the lattice is of no use: the beams themselves are made
			}
		case "ballmode":
			mode = string(a.Value)
		case "ballradius":
			ballRadius, err = m.radius(a.Value)
		}
		if err != nil {
			return err
		}
	}
	switch {
	case passed || clip != "inside" && clip != "outside":
		la.by = nil
	case la.by == nil:
		la.whole = true
	default:
		la.inside = clip == "inside"
	}
	n := uint32(len(sh.pos) / 3)
	used := make(map[uint32]bool)
	explicit := make(map[uint32]bool)
	err := m.children(func() error {
		switch string(m.s.Local()) {
		case "beams":
			return m.children(func() error {
				if string(m.s.Local()) != "beam" {
					return m.unknown()
				}
				b, err := m.beam(radius, ends, n)
				if err != nil {
					return err
				}
				if 50*len(la.beams) > m.r.lim.Triangles {
					return content.TooManyTriangles(int64(50*len(la.beams)), m.r.lim.Triangles)
				}
				la.beams = append(la.beams, b)
				used[b.v[0]], used[b.v[1]] = true, true
				return m.s.Skip()
			})
		case "balls":
			return m.children(func() error {
				b := ball{radius: ballRadius}
				has := false
				for i := range m.s.Attrs() {
					a := &m.s.Attrs()[i]
					var err error
					switch {
					case a.Is("vindex"):
						b.v, err = m.index(a)
						has = true
					case a.Is("r"):
						b.radius, err = m.radius(a.Value)
					}
					if err != nil {
						return err
					}
				}
				if !has || b.v >= n {
					return m.fail("3mf_lattice", "A lattice's ball has no vertex, or one that is not there; export the model again.")
				}
				if b.radius > 0 {
					la.balls = append(la.balls, b)
					explicit[b.v] = true
				}
				return m.s.Skip()
			})
		case "beamsets":
			return m.s.Skip() // names for groups of beams
		}
		return m.unknown()
	})
	if err != nil {
		return err
	}
	if mode == "all" && ballRadius > 0 {
		for v := range n {
			if used[v] && !explicit[v] {
				la.balls = append(la.balls, ball{v, ballRadius})
			}
		}
	}
	around, along := la.fineness()
	facets := 2*around*(2*along)*len(la.beams) + 2*around*along*len(la.balls)
	if m.r.facets += facets; m.r.facets > m.r.lim.Triangles {
		return content.TooManyTriangles(int64(m.r.facets), m.r.lim.Triangles)
	}
	o.lattice = la
	return nil
}

// wholeMesh says whether an object before this one is a mesh without a lattice.
func (m *model) wholeMesh(id uint32) bool {
	o := m.objects[id]
	return o != nil && o.mesh != nil && o.lattice == nil
}

func (m *model) radius(v []byte) (float64, error) {
	x, err := m.float(v)
	if err == nil && !(x > 0) {
		err = m.fail("3mf_lattice", "A lattice has the radius %q, and must have a positive one; export the model again.", clip(string(v)))
	}
	return x, err
}

func (m *model) cap(v []byte) (capMode, error) {
	switch string(v) {
	case "sphere":
		return capSphere, nil
	case "hemisphere":
		return capHemisphere, nil
	case "butt":
		return capButt, nil
	}
	return 0, m.fail("3mf_lattice", "Beams end in the unknown way %q; export the model again.", clip(string(v)))
}

func (m *model) beam(radius float64, ends capMode, n uint32) (beam, error) {
	b := beam{cap: [2]capMode{ends, ends}}
	var has [2]bool
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		var err error
		switch {
		case a.Is("v1"), a.Is("v2"):
			k := a.Local[1] - '1'
			b.v[k], err = m.index(a)
			has[k] = true
		case a.Is("r1"), a.Is("r2"):
			b.radius[a.Local[1]-'1'], err = m.radius(a.Value)
		case a.Is("cap1"), a.Is("cap2"):
			b.cap[a.Local[3]-'1'], err = m.cap(a.Value)
		}
		if err != nil {
			return b, err
		}
	}
	if !has[0] || !has[1] || b.v[0] >= n || b.v[1] >= n || b.v[0] == b.v[1] {
		return b, m.fail("3mf_lattice", "A beam lacks an end, or ends at a vertex that is not there or at its own beginning; export the model again.")
	}
	// r1 stands for both unless r2 is given, which needs r1; the lattice's radius for none (Beam Lattice 1.2, §2.2).
	if b.radius[0] == 0 {
		b.radius[0] = radius
		if b.radius[1] == 0 {
			b.radius[1] = radius
		}
	}
	if b.radius[1] == 0 {
		b.radius[1] = b.radius[0]
	}
	if b.radius[0] == 0 {
		return b, m.fail("3mf_lattice", "A beam has no radius; export the model again.")
	}
	return b, nil
}

// fineness is the number of sides and the number of rings of a rounded end; fewer in large lattices.
func (la *lattice) fineness() (around, along int) {
	if len(la.beams) > 20_000 {
		return 8, 2
	}
	return 16, 4
}

// build adds the surfaces of beams and balls to the mesh, each cut if the lattice is. Radii are widened so that the many-sided shapes have
// the section of round ones.
func (la *lattice) build(ctx context.Context, sh *shape) error {
	from := [2]int{len(sh.pos), len(sh.tri)}
	var cut *unite.Clip
	if la.by != nil {
		var err error
		if cut, err = unite.NewClip(la.by, la.reach(sh)); err != nil {
			la.whole, cut = true, nil
		}
	}
	around, along := la.fineness()
	n := float64(around)
	widen := math.Sqrt(2 * math.Pi / (n * math.Sin(2*math.Pi/n)))
	at := func(v uint32) r3.Vec {
		return r3.Vec{X: float64(sh.pos[3*v]), Y: float64(sh.pos[3*v+1]), Z: float64(sh.pos[3*v+2])}
	}
	turned := func(origin, axis r3.Vec, outline [][2]float64) {
		if cut == nil {
			sh.turned(origin, axis, outline, around, widen)
			return
		}
		var one shape
		one.turned(origin, axis, outline, around, widen)
		a := &mesh.Mesh{Pos: one.pos, Tri: one.tri}
		b, err := cut.Keep(a, la.inside)
		if err != nil {
			la.whole, cut = true, nil
			return
		}
		base := uint32(len(sh.pos) / 3)
		sh.pos = append(sh.pos, b.Pos...)
		for _, v := range b.Tri {
			sh.tri = append(sh.tri, base+v)
		}
	}
	for _, b := range la.beams {
		if err := ctx.Err(); err != nil {
			return err
		}
		from, to := at(b.v[0]), at(b.v[1])
		axis := to.Sub(from)
		length := axis.Norm()
		if length == 0 {
			continue
		}
		var outline [][2]float64 // place along the axis, radius; from pole to pole
		outline = append(outline, end(b.radius[0], b.cap[0], along, 0, -1)...)
		rest := end(b.radius[1], b.cap[1], along, length, 1)
		for i := range rest {
			outline = append(outline, rest[len(rest)-1-i])
		}
		turned(from, axis.Mul(1/length), outline)
	}
	for _, b := range la.balls {
		var outline [][2]float64
		for i := range 2*along + 1 {
			s, c := math.Sincos(math.Pi * float64(i) / float64(2*along))
			outline = append(outline, [2]float64{-b.radius * c, b.radius * s})
		}
		turned(at(b.v), r3.Vec{Z: 1}, outline)
	}
	if la.by != nil && la.whole { // not all could be cut: all are taken whole
		sh.pos, sh.tri, la.by = sh.pos[:from[0]], sh.tri[:from[1]], nil
		return la.build(ctx, sh)
	}
	return nil
}

// reach is how far the lattice and what cuts it reach along any axis.
func (la *lattice) reach(sh *shape) float64 {
	far, r := 0.0, 0.0
	for _, x := range sh.pos {
		far = max(far, math.Abs(float64(x)))
	}
	for _, b := range la.beams {
		r = max(r, b.radius[0], b.radius[1])
	}
	for _, b := range la.balls {
		r = max(r, b.radius)
	}
	return far + 2*r
}

// end is the outline of a beam's end from its pole to its full radius. A sphere sticks out as far as a hemisphere does.
func end(radius float64, kind capMode, along int, at, out float64) (o [][2]float64) {
	if kind == capButt {
		return [][2]float64{{at, 0}, {at, radius}}
	}
	for i := range along + 1 {
		s, c := math.Sincos(math.Pi / 2 * float64(i) / float64(along))
		o = append(o, [2]float64{at + out*radius*c, radius * s})
	}
	return o
}

// turned adds the closed surface of an outline turned about an axis; its first and last points lie on the axis.
func (sh *shape) turned(origin, axis r3.Vec, outline [][2]float64, around int, widen float64) {
	side := r3.Vec{X: 1}
	if math.Abs(axis.X) > 0.8 {
		side = r3.Vec{Y: 1}
	}
	u := axis.Cross(side).Unit()
	v := axis.Cross(u)
	base := uint32(len(sh.pos) / 3)
	add := func(p r3.Vec) { sh.pos = append(sh.pos, float32(p.X), float32(p.Y), float32(p.Z)) }
	last := len(outline) - 1
	add(origin.Add(axis.Mul(outline[0][0])))
	for _, o := range outline[1:last] {
		for i := range around {
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(around))
			add(origin.Add(axis.Mul(o[0])).Add(u.Mul(c * o[1] * widen)).Add(v.Mul(s * o[1] * widen)))
		}
	}
	add(origin.Add(axis.Mul(outline[last][0])))
	ring := func(k, i int) uint32 { return base + 1 + uint32(k*around+i%around) }
	pole := base + 1 + uint32((last-1)*around)
	for i := range around {
		sh.tri = append(sh.tri, base, ring(0, i+1), ring(0, i))
		for k := range last - 2 {
			a, b, c, d := ring(k, i), ring(k, i+1), ring(k+1, i+1), ring(k+1, i)
			sh.tri = append(sh.tri, a, b, c, a, c, d)
		}
		sh.tri = append(sh.tri, pole, ring(last-2, i), ring(last-2, i+1))
	}
}
