package faces

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/geom/r3"
)

var seed = flag.Uint64("seed", 1, "of drawn attitudes and points")

// builder puts bodies together face by face, as a mesher does.
type builder struct {
	b    Body
	turn r3.Mat3
	move r3.Vec
}

func newBuilder(q r3.Quat, move r3.Vec) *builder { return &builder{turn: q.Mat(), move: move} }

// face adds the quads (or triangles) of one face, corners counter-clockwise seen from outside, with normals
// from n, turned as the builder says.
func (x *builder) face(n func(r3.Vec) r3.Vec, polygons ...[]r3.Vec) {
	first := len(x.b.Tri) / 3
	index := map[r3.Vec]uint32{}
	node := func(p r3.Vec) uint32 {
		i, ok := index[p]
		if !ok {
			i = uint32(len(x.b.Pos) / 3)
			index[p] = i
			w, m := x.turn.Apply(p).Add(x.move), x.turn.Apply(n(p))
			x.b.Pos = append(x.b.Pos, w.X, w.Y, w.Z)
			x.b.Normal = append(x.b.Normal, m.X, m.Y, m.Z)
		}
		return i
	}
	for _, p := range polygons {
		for i := 2; i < len(p); i++ {
			x.b.Tri = append(x.b.Tri, node(p[0]), node(p[i-1]), node(p[i]))
		}
	}
	x.b.Faces = append(x.b.Faces, Face{first, len(x.b.Tri)/3 - 1})
}

func polar(r float64, i, n int, z float64) r3.Vec {
	s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
	return r3.Vec{X: r * c, Y: r * s, Z: z}
}

// wall adds a cylinder of radius r from z0 to z1 as two half faces, seen from outside or from within.
func (x *builder) wall(r, z0, z1 float64, n int, within bool) {
	for half := range 2 {
		var quads [][]r3.Vec
		for i := half * n / 2; i < (half+1)*n/2; i++ {
			a, b, c, d := polar(r, i, n, z0), polar(r, i+1, n, z0), polar(r, i+1, n, z1), polar(r, i, n, z1)
			if within {
				b, d = d, b
			}
			quads = append(quads, []r3.Vec{a, b, c, d})
		}
		x.face(func(p r3.Vec) r3.Vec {
			u := r3.Vec{X: p.X, Y: p.Y}.Unit()
			if within {
				u = u.Mul(-1)
			}
			return u
		}, quads...)
	}
}

// ring adds the flat ring between two radii (a disc when in is 0) facing up or down.
func (x *builder) ring(in, out, z float64, n int, up bool) {
	var quads [][]r3.Vec
	for i := range n {
		q := []r3.Vec{polar(in, i, n, z), polar(out, i, n, z), polar(out, i+1, n, z), polar(in, i+1, n, z)}
		if in == 0 {
			q = q[:3]
			q[0] = r3.Vec{Z: z}
		}
		if !up {
			for a, b := 0, len(q)-1; a < b; a, b = a+1, b-1 {
				q[a], q[b] = q[b], q[a]
			}
		}
		quads = append(quads, q)
	}
	z1 := -1.0
	if up {
		z1 = 1
	}
	x.face(func(r3.Vec) r3.Vec { return r3.Vec{Z: z1} }, quads...)
}

// tube has radius 10, height 20 and a bore of radius 4 right through.
func tube(x *builder) *Body {
	x.wall(10, 0, 20, 64, false)
	x.wall(4, 0, 20, 64, true)
	x.ring(4, 10, 20, 64, true)
	x.ring(4, 10, 0, 64, false)
	return &x.b
}

// cup has radius 10, height 20 and a bore of radius 4, 15 deep, counterbored to radius 6, 3 deep.
func cup(x *builder) *Body {
	x.wall(10, 0, 20, 64, false)
	x.wall(6, 17, 20, 64, true)
	x.wall(4, 5, 17, 64, true)
	x.ring(6, 10, 20, 64, true)
	x.ring(4, 6, 17, 64, true)
	x.ring(0, 4, 5, 64, true)
	x.ring(0, 10, 0, 64, false)
	return &x.b
}

func attitude(r *rand.Rand) (r3.Quat, r3.Vec) {
	q := r3.Quat{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
	return q, r3.Vec{X: r.Float64()*200 - 100, Y: r.Float64()*200 - 100, Z: r.Float64()*200 - 100}
}

func TestCylinderAnyAttitude(t *testing.T) {
	t.Logf("-seed %d", *seed)
	r := rand.New(rand.NewPCG(*seed, 1))
	for range 50 {
		q, m := attitude(r)
		s := Join(tube(newBuilder(q, m)), 0)
		if s.Ragged != 0 {
			t.Fatalf("%d ragged edges at %v %v", s.Ragged, q, m)
		}
		if len(s.Cylinders) != 4 {
			t.Fatalf("%d cylinder faces", len(s.Cylinders))
		}
		axis := q.Rotate(r3.Vec{Z: 1})
		for i, c := range s.Cylinders {
			want := []float64{10, 10, 4, 4}[i]
			if math.Abs(c.Radius-want) > 5e-7 || math.Abs(math.Abs(c.Axis.Dot(axis))-1) > 1e-12 || c.Concave != (i >= 2) || math.Abs(c.Hi-c.Lo-20) > 1e-6 {
				t.Fatalf("face %d: %+v", i, c)
			}
		}
		if len(s.Holes) != 1 {
			t.Fatalf("holes %+v", s.Holes)
		}
		h := s.Holes[0]
		if !h.Through || math.Abs(h.Diameter-8) > 1e-6 || math.Abs(h.Depth-20) > 1e-6 {
			t.Fatalf("hole %+v", h)
		}
		// A prism of 64 sides each way.
		k := 64 * math.Sin(2*math.Pi/64) / 2
		if v := k * (100 - 16) * 20; math.Abs(s.Volume-v) > 1e-6 || s.Centroid.Dist(q.Rotate(r3.Vec{Z: 10}).Add(m)) > 1e-9 {
			t.Fatalf("volume %v, want %v; centroid %v", s.Volume, v, s.Centroid)
		}
	}
}

func TestCounterboredBlindHole(t *testing.T) {
	q, m := attitude(rand.New(rand.NewPCG(*seed, 2)))
	s := Join(cup(newBuilder(q, m)), 0)
	if len(s.Holes) != 2 {
		t.Fatalf("holes %+v", s.Holes)
	}
	down := q.Rotate(r3.Vec{Z: -1})
	for _, h := range s.Holes {
		depth, mouth := 12.0, 17.0
		if h.Diameter > 10 {
			depth, mouth = 3, 20
		}
		if h.Through || math.Abs(h.Depth-depth) > 1e-6 || h.Axis.Dist(down) > 1e-6 || h.At.Dist(q.Rotate(r3.Vec{Z: mouth}).Add(m)) > 1e-6 {
			t.Errorf("%+v: want depth %v, axis %v", h, depth, down)
		}
	}
}

func TestHoleOrBoss(t *testing.T) {
	for _, c := range []struct {
		name  string
		body  func(*builder) *Body
		holes int
	}{{"tube", tube, 1}, {"cup", cup, 2}} {
		b := c.body(newBuilder(r3.Identity, r3.Vec{}))
		for i := 0; i+2 < len(b.Tri); i += 3 { // inside out
			b.Tri[i+1], b.Tri[i+2] = b.Tri[i+2], b.Tri[i+1]
		}
		s := Join(b, 0)
		if s.Volume >= 0 || len(s.Holes) != c.holes {
			t.Errorf("%s inside out: volume %v, holes %+v", c.name, s.Volume, s.Holes)
		}
		for _, h := range s.Holes {
			if h.Diameter > 13 || h.Through != (c.name == "tube") {
				t.Errorf("%s inside out: %+v", c.name, h)
			}
		}
	}
}

// Half a bore is a slot's end, three quarters of one still a hole.
func TestPartOfABore(t *testing.T) {
	for _, c := range []struct{ part, holes int }{{32, 0}, {44, 0}, {52, 1}, {64, 1}} {
		x := newBuilder(r3.Identity, r3.Vec{})
		var quads [][]r3.Vec
		for i := range c.part {
			quads = append(quads, []r3.Vec{polar(4, i, 64, 0), polar(4, i, 64, 9), polar(4, i+1, 64, 9), polar(4, i+1, 64, 0)})
		}
		x.face(func(p r3.Vec) r3.Vec { return p }, quads...)
		x.ring(5, 6, 9, 64, true) // some more surface, so that the volume's sign is that of a bore
		b := &x.b
		s := Join(b, 0)
		s.Volume = 1
		for i := range s.Cylinders {
			s.Cylinders[i].Concave = s.Cylinders[i].inward
		}
		if h := s.findHoles(newEdges(s.Tri), 5e-3); len(h) != c.holes {
			t.Errorf("%d of 64 segments: %d holes", c.part, len(h))
		}
	}
}

// Cones, spheres and flats are no cylinders.
func TestOtherFacesAreNoCylinders(t *testing.T) {
	x := newBuilder(r3.AxisAngle(r3.Vec{X: 1, Y: 2, Z: 3}, 1), r3.Vec{X: 5})
	n := 48
	up := func(r3.Vec) r3.Vec { return r3.Vec{Z: 1} }
	var cone, ball, flat [][]r3.Vec
	for i := range n {
		cone = append(cone, []r3.Vec{polar(5, i, n, 0), polar(5, i+1, n, 0), polar(4, i+1, n, 10), polar(4, i, n, 10)})
		for k := range 10 {
			lat := func(k int) (r, z float64) {
				s, c := math.Sincos(math.Pi / 2 * float64(k) / 11)
				return 7 * c, 7 * s
			}
			r0, z0 := lat(k)
			r1, z1 := lat(k + 1)
			ball = append(ball, []r3.Vec{polar(r0, i, n, z0), polar(r0, i+1, n, z0), polar(r1, i+1, n, z1), polar(r1, i, n, z1)})
		}
		flat = append(flat, []r3.Vec{{}, polar(9, i, n, 0), polar(9, i+1, n, 0)})
	}
	x.face(up, cone...)
	x.face(up, ball...)
	x.face(up, flat...)
	if s := Join(&x.b, 0); len(s.Cylinders) != 0 {
		t.Errorf("found %+v", s.Cylinders)
	}
}

func TestWeldJoinsAcrossCells(t *testing.T) {
	t.Logf("-seed %d", *seed)
	r := rand.New(rand.NewPCG(*seed, 3))
	const n, tol = 20000, 1e-6
	var pos []float64
	box := r3.EmptyBox()
	for range n { // a node and a twin at less than tol
		p := r3.Vec{X: r.Float64(), Y: r.Float64(), Z: r.Float64()}
		if r.IntN(2) == 0 { // on the sides of many cells
			p = r3.Vec{X: float64(r.IntN(5000)) * 20 * tol, Y: float64(r.IntN(5000)) * 20 * tol, Z: float64(r.IntN(5000)) * 20 * tol}
		}
		d := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit().Mul(0.99 * tol)
		for _, v := range []r3.Vec{p, p.Add(d)} {
			pos = append(pos, v.X, v.Y, v.Z)
			box = box.Add(v)
		}
	}
	index, out := weld(pos, box, tol)
	for i := 0; i < len(index); i += 2 {
		if index[i] != index[i+1] {
			t.Fatalf("pair %d stayed apart", i/2)
		}
	}
	if k := len(out) / 3; k > n || k < n-20 { // few distinct points lie within tol of each other by chance
		t.Errorf("%d vertices of %d pairs", k, n)
	}
}

// The estimate against what is known: a prism of n sides misses 1 - sin θ/θ of its cylinder.
func TestGapOfCylinder(t *testing.T) {
	for _, n := range []int{16, 32, 64} {
		x := newBuilder(r3.Identity, r3.Vec{X: 30})
		x.wall(10, 0, 20, n, false)
		x.ring(0, 10, 20, n, true)
		x.ring(0, 10, 0, n, false)
		th := 2 * math.Pi / float64(n)
		want := th/math.Sin(th) - 1
		if g := Join(&x.b, 0).Gap(&x.b); math.Abs(g-want) > 0.02*want {
			t.Errorf("%d sides: %v, want %v", n, g, want)
		}
	}
}

// loose meshes the cup as loose surfaces are: each face with its own number of nodes along the common circles,
// corners a few thousandths off, some faces the wrong way round.
func loose(q r3.Quat, m r3.Vec) *Body {
	x := newBuilder(q, m)
	x.wall(10, 0, 20, 64, false)
	x.wall(6, 17, 20, 48, true)
	x.wall(4, 5, 17, 40, true)
	x.ring2(6, 10, 20, 36, 80)
	x.ring2(4, 6, 17, 44, 52)
	x.ring(0, 4, 5.001, 44, true)
	x.ring(0, 10, 0, 72, false)
	b := &x.b
	for _, f := range []int{1, 4, 7} {
		for t := b.Faces[f].First; t <= b.Faces[f].Last; t++ {
			b.Tri[3*t+1], b.Tri[3*t+2] = b.Tri[3*t+2], b.Tri[3*t+1]
		}
	}
	return b
}

// ring2 adds a flat ring facing up with n nodes on the inner and k on the outer circle.
func (x *builder) ring2(in, out, z float64, n, k int) {
	var tri [][]r3.Vec
	for i, j := 0, 0; i < n || j < k; {
		if j == k || i < n && (i+1)*k <= (j+1)*n {
			tri = append(tri, []r3.Vec{polar(in, i, n, z), polar(out, j%k, k, z), polar(in, (i+1)%n, n, z)})
			i++
		} else {
			tri = append(tri, []r3.Vec{polar(in, i%n, n, z), polar(out, j, k, z), polar(out, (j+1)%k, k, z)})
			j++
		}
	}
	x.face(func(r3.Vec) r3.Vec { return r3.Vec{Z: 1} }, tri...)
}

func TestSewLooseFaces(t *testing.T) {
	const chord = 10 * (1 - 0.9945) // of the coarsest circle, 40 sides and more on radius 10 and less
	want := math.Pi * (100*20 - 36*3 - 16*12)
	r := rand.New(rand.NewPCG(*seed, 4))
	for range 20 {
		q, m := attitude(r)
		b := loose(q, m)
		if s := Join(b, 0); s.Ragged == 0 || s.Sewn {
			t.Fatal("closed without sewing: the test shows nothing")
		}
		s := Join(b, chord)
		if s.Ragged != 0 || !s.Sewn || math.Abs(s.Volume-want) > 0.01*want {
			t.Fatalf("%d ragged edges, sewn %v, volume %v, want %v", s.Ragged, s.Sewn, s.Volume, want)
		}
		if len(s.Holes) != 2 {
			t.Fatalf("holes %+v", s.Holes)
		}
		for _, h := range s.Holes {
			depth := 12.0
			if h.Diameter > 10 {
				depth = 3
			}
			if h.Through || math.Abs(h.Depth-depth) > 1e-6 {
				t.Errorf("hole %+v", h)
			}
		}
	}
}

// A lid that is missing is not invented.
func TestSewLeavesOpeningsOpen(t *testing.T) {
	b := loose(r3.Identity, r3.Vec{})
	f := b.Faces[len(b.Faces)-1]
	b.Tri = b.Tri[:3*f.First]
	b.Faces = b.Faces[:len(b.Faces)-1]
	n := len(b.Tri)
	if s := Join(b, 0.06); s.Sewn || s.Ragged == 0 || len(s.Tri) != n {
		t.Errorf("sewn %v, %d ragged edges, %d of %d corners", s.Sewn, s.Ragged, len(s.Tri), n)
	}
}

func TestEmptyAndBroken(t *testing.T) {
	for _, b := range []*Body{
		{},
		{Pos: []float64{0, 0, 0}, Tri: []uint32{0, 0, 0}, Faces: []Face{{0, 0}}},
		{Pos: []float64{0, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2}, Faces: []Face{{0, 5}, {-3, 0}, {2, 1}}},
		{Pos: []float64{math.NaN(), 0, 0, 1, 0, math.Inf(1), 0, 1, 0}, Tri: []uint32{0, 1, 2}},
	} {
		for _, chord := range []float64{0, 0.1} {
			if s := Join(b, chord); len(s.Holes) != 0 {
				t.Errorf("%+v", s)
			}
		}
	}
}
