package mesh

import (
	"math"
	"math/rand/v2"
	"testing"

	"firstoff/geom/r3"
)

func blockOf(x, y, z float64) *Mesh {
	m := cube()
	for i := range m.Pos {
		m.Pos[i] *= float32([3]float64{x, y, z}[i%3])
	}
	return m
}

func randomTurn(r *rand.Rand) r3.Quat {
	return r3.Quat{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
}

func checkFit(t *testing.T, name string, m *Mesh, env r3.Vec, margin float64, want bool) {
	t.Helper()
	h := ConvexHull(m)
	f := Fit(h, env, margin)
	if f.Fits != want {
		t.Errorf("%s: fits %v (needs %.5f, proved %v), want %v", name, f.Fits, f.Over, f.Proved, want)
		return
	}
	if f.Fits {
		s := m.Transformed(f.Turn, 1, zero).Box().Size()
		if tol := 1 + 1e-6; s.X > (env.X-2*margin)*tol || s.Y > (env.Y-2*margin)*tol || s.Z > (env.Z-2*margin)*tol {
			t.Errorf("%s: turned it is %v in %v", name, s, env)
		}
	} else if !f.Proved {
		t.Errorf("%s: the refusal is not proved (needs %.5f)", name, f.Over)
	}
}

func TestFitKnown(t *testing.T) {
	cube100 := r3.Vec{X: 100, Y: 100, Z: 100}
	checkFit(t, "as it is", blockOf(90, 80, 100), cube100, 0, true)
	checkFit(t, "quarter turn", blockOf(30, 20, 150), r3.Vec{X: 160, Y: 25, Z: 35}, 0, true)
	checkFit(t, "margin", blockOf(95, 95, 95), cube100, 3, false)
	checkFit(t, "margin enough", blockOf(93, 93, 93), cube100, 3, true)
	checkFit(t, "rod on the space diagonal", blockOf(169, 1, 1), cube100, 0, true)
	checkFit(t, "rod longer than the diagonal", blockOf(174, 1, 1), cube100, 0, false)
	checkFit(t, "too thick everywhere", blockOf(101, 101, 5), r3.Vec{X: 100, Y: 100, Z: 5.01}, 0, false)
	checkFit(t, "flat square on edge across a cube", blockOf(105, 105, 0.5), cube100, 0, true)
	if f := Fit(ConvexHull(cube()), r3.Vec{X: 1, Y: 1, Z: 1}, 1); f.Fits || !f.Proved {
		t.Error("no room left by the margin")
	}
}

// A rectangle p × q, p >= a >= b >= q, fits in a × b exactly if b >= (2pqa + (p²-q²)·√(p²+q²-a²)) / (p²+q²)
// (Carver, "Rectangles in rectangles", Mathematics Magazine 30(4), 1957; from memory). Plates that fill the height obey the same rule.
func TestFitPlatesAgainstCarver(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 3))
	yes, no := 0, 0
	for range 60 {
		a := 100.0
		p := a * (1 + 0.25*r.Float64())
		q := 5 + 30*r.Float64()
		b := (2*p*q*a + (p*p-q*q)*math.Sqrt(p*p+q*q-a*a)) / (p*p + q*q)
		if b < q || b > a {
			continue
		}
		const h = 40.0
		yes++
		checkFit(t, "plate just fits", blockOf(p, q, h), r3.Vec{X: a, Y: b * 1.005, Z: h * 1.0005}, 0, true)
		if q < 20 && p < 110 {
			no++
			checkFit(t, "plate just does not", blockOf(p, q, h*1.2), r3.Vec{X: a * 0.99, Y: b * 0.98, Z: h * 1.2}, 0, false)
		}
	}
	if yes < 20 || no < 3 {
		t.Fatalf("only %d and %d cases", yes, no)
	}
}

// What was cut to the envelope and then turned away must be found to fit again.
func TestFitFindsWhatWasTurned(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 4))
	for range 12 {
		env := r3.Vec{X: 50 + 200*r.Float64(), Y: 50 + 200*r.Float64(), Z: 50 + 200*r.Float64()}
		m := &Mesh{}
		for range 60 {
			m.Pos = append(m.Pos, float32(env.X*0.99*r.Float64()), float32(env.Y*0.99*r.Float64()), float32(env.Z*0.99*r.Float64()))
		}
		turned := m.Transformed(randomTurn(r), 1, r3.Vec{X: 7, Y: -3, Z: 9})
		checkFit(t, "turned cloud", turned, env, 0, true)
	}
}

func TestSmallestBox(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 5))
	b := SmallestBox(ConvexHull(blockOf(10, 40, 20).Transformed(randomTurn(r), 1, r3.Vec{X: 5})))
	if math.Abs(b.Size.X-40) > 1e-4 || math.Abs(b.Size.Y-20) > 1e-4 || math.Abs(b.Size.Z-10) > 1e-4 {
		t.Errorf("block's box is %v", b.Size)
	}
	for range 6 {
		m := &Mesh{}
		for range 4 + r.IntN(40) {
			m.Pos = append(m.Pos, float32(3*r.NormFloat64()), float32(r.NormFloat64()), float32(2*r.NormFloat64()))
		}
		h := ConvexHull(m)
		o := SmallestBox(h)
		p := corners(h)
		// It is a box around the part, in the turn it says.
		for _, v := range p {
			d := o.Turn.Rotate(v.Sub(o.Center))
			if math.Abs(d.X) > o.Size.X/2+1e-9 || math.Abs(d.Y) > o.Size.Y/2+1e-9 || math.Abs(d.Z) > o.Size.Z/2+1e-9 {
				t.Fatalf("%v lies outside", v)
			}
		}
		if o.Size.X < o.Size.Y || o.Size.Y < o.Size.Z {
			t.Errorf("sides %v are not in order", o.Size)
		}
		best, vol := r3.Identity, math.Inf(1)
		cost := func(q r3.Quat) float64 { s, _ := extent(p, q); return s.X * s.Y * s.Z }
		for range 20000 {
			q := randomTurn(r)
			if c := cost(q); c < vol {
				best, vol = q, c
			}
		}
		if _, vol = descend(best, 0.05, cost); o.VolumeMM3() > vol*1.01 {
			t.Errorf("box of %v mm³, found by chance one of %v", o.VolumeMM3(), vol)
		}
	}
}

// A proved "no" stands against chance: the best of many turns, refined, does not fit the smaller envelope either.
func TestProvedNoIsNo(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 6))
	no := 0
	for range 40 {
		m := &Mesh{}
		for range 5 + r.IntN(20) {
			m.Pos = append(m.Pos, float32(30*r.Float64()), float32(70*r.Float64()), float32(100*r.Float64()))
		}
		h := ConvexHull(m)
		o := SmallestBox(h)
		env := r3.Vec{X: o.Size.X * (0.9 + 0.1*r.Float64()), Y: o.Size.Y * (0.95 + 0.1*r.Float64()), Z: o.Size.Z * (0.97 + 0.1*r.Float64())}
		f := Fit(h, env, 0)
		if f.Fits {
			continue
		}
		if !f.Proved {
			t.Errorf("not proved: needs %v", f.Over)
			continue
		}
		no++
		p := corners(h)
		cost := func(q r3.Quat) float64 {
			s, _ := extent(p, q)
			return max(s.X/env.X, s.Y/env.Y, s.Z/env.Z)
		}
		for range 30 {
			if q, c := descend(randomTurn(r), 0.3, cost); c < 1-FitSlack {
				t.Fatalf("said not to fit, but %v needs only %v", q, c)
			}
		}
	}
	if no < 8 {
		t.Fatalf("only %d refusals", no)
	}
}
