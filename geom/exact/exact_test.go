package exact

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"firstoff/geom/r3"
)

func rat(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }

func det2(ax, ay, bx, by, cx, cy float64) int {
	s := func(a, b float64) *big.Rat { return new(big.Rat).Sub(rat(a), rat(b)) }
	l := new(big.Rat).Mul(s(ax, cx), s(by, cy))
	return l.Sub(l, new(big.Rat).Mul(s(ay, cy), s(bx, cx))).Sign()
}

func det3(a, b, c, d r3.Vec) int {
	s := func(p, q r3.Vec) [3]*big.Rat {
		return [3]*big.Rat{new(big.Rat).Sub(rat(p.X), rat(q.X)), new(big.Rat).Sub(rat(p.Y), rat(q.Y)), new(big.Rat).Sub(rat(p.Z), rat(q.Z))}
	}
	u, v, w := s(b, a), s(c, a), s(d, a)
	t := new(big.Rat)
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		m := new(big.Rat).Mul(u[j], v[k])
		m.Sub(m, new(big.Rat).Mul(u[k], v[j]))
		t.Add(t, m.Mul(m, w[i]))
	}
	return t.Sign()
}

// Signs are held against exact rational arithmetic on points that are nearly or exactly in line.
func TestSignsAgainstRationals(t *testing.T) {
	const seed = 7
	r := rand.New(rand.NewPCG(seed, 1))
	zeros, hard := 0, 0
	coord := func(kind int) float64 {
		switch kind {
		case 0: // a coarse grid: exact ties are common
			return float64(float32(r.IntN(5)) * 0.1)
		case 1: // float32 of any size
			return float64(float32(math.Ldexp(r.Float64()-0.5, r.IntN(60)-30)))
		case 2: // just off a grid, by a step of float32
			return float64(math.Nextafter32(float32(r.IntN(4)), float32(r.IntN(9)-4)))
		}
		return r.Float64()*1e3 + 1e9 // full float64, cancelling
	}
	for i := range 40000 {
		k := i % 4
		v := func() r3.Vec { return r3.Vec{X: coord(k), Y: coord(k), Z: coord(k)} }
		a, b, c, d := v(), v(), v(), v()
		if i%3 == 0 { // d in the plane of the others, up to rounding
			p, q := float64(r.IntN(9))/8, float64(r.IntN(9))/8
			d = a.Add(b.Sub(a).Mul(p)).Add(c.Sub(a).Mul(q))
			c2 := a.Add(b.Sub(a).Mul(p))
			hard++
			if got, want := Orient2D(a.X, a.Y, b.X, b.Y, c2.X, c2.Y), det2(a.X, a.Y, b.X, b.Y, c2.X, c2.Y); got != want {
				t.Fatalf("seed %d, turn %v %v %v: %d, want %d", seed, a, b, c2, got, want)
			}
		}
		want := det3(a, b, c, d)
		if want == 0 {
			zeros++
		}
		if got := Orient3D(a, b, c, d); got != want {
			t.Fatalf("seed %d, case %d: %v %v %v %v: %d, want %d", seed, i, a, b, c, d, got, want)
		}
		if got, want := Orient2D(a.X, a.Y, b.X, b.Y, c.X, c.Y), det2(a.X, a.Y, b.X, b.Y, c.X, c.Y); got != want {
			t.Fatalf("seed %d, turn %v %v %v: %d, want %d", seed, a, b, c, got, want)
		}
	}
	if zeros < 1000 || hard < 1000 {
		t.Fatalf("only %d exact ties and %d near ties were tried", zeros, hard)
	}
}

func BenchmarkOrient3D(b *testing.B) {
	p := [4]r3.Vec{{X: 0.1, Y: 0.2, Z: 0.3}, {X: 1.1, Y: 0.2, Z: 0.7}, {X: 0.1, Y: 1.3, Z: 0.9}, {X: 0.5, Y: 0.5, Z: 0.5}}
	b.Run("clear", func(b *testing.B) {
		for b.Loop() {
			Orient3D(p[0], p[1], p[2], p[3])
		}
	})
	q := p[0].Add(p[1].Sub(p[0]).Mul(0.25)).Add(p[2].Sub(p[0]).Mul(0.25))
	b.Run("tied", func(b *testing.B) {
		for b.Loop() {
			Orient3D(p[0], p[1], p[2], q)
		}
	})
}
