package chamber

import "testing"

// blob is a random body with holes.
func blob(r *rng, nx, ny, nz int, share float64) *Bits {
	b := New(nx, ny, nz)
	for z := 0; z < nz; z++ {
		for y := 0; y < ny; y++ {
			for x := 0; x < nx; x++ {
				if r.float() < share {
					b.Set(x, y, z)
				}
			}
		}
	}
	return b
}

func TestFitAgreesWithCells(t *testing.T) {
	r := newRNG(3)
	for k := 0; k < 12; k++ {
		m := blob(&r, 1+r.intn(70), 1+r.intn(6), 1+r.intn(6), 0.2)
		l := blob(&r, 1+r.intn(70), 1+r.intn(6), 1+r.intn(6), 0.2)
		f := newFit(m, l)
		for z := -8; z <= 8; z++ {
			for y := -8; y <= 8; y++ {
				for x := -80; x <= 80; x++ {
					if Meet(l, m, x, y, z) && f.at(x, y, z) == 0 {
						t.Fatalf("case %d: cells shared at %d %d %d but called free", k, x, y, z)
					}
				}
			}
		}
	}
}

// Solid boxes: depth is the way out along the nearest axis.
func TestFitDepthOfBoxes(t *testing.T) {
	box := func(nx, ny, nz int) *Bits { r := newRNG(1); return blob(&r, nx, ny, nz, 2) }
	f := newFit(box(4, 6, 8), box(10, 10, 10))
	for _, c := range [][4]int{{-4, 0, 0, 0}, {-3, 2, 2, 4}, {10, 0, 0, 0}, {9, 3, 3, 4}, {3, 2, 1, 28}, {3, -5, 1, 4}, {-2, 9, 9, 4}} {
		if d := f.at(c[0], c[1], c[2]); int(d) != c[3] {
			t.Errorf("at %v: depth %d, want %d quarter cells", c[:3], d, c[3])
		}
	}
}

// A bead inside a closed box is walled in: no displacement there is free. With an opening wide enough, it is.
func TestNoTrappedPairs(t *testing.T) {
	hollow := func(open bool) *Bits {
		b := New(9, 9, 9)
		for z := 0; z < 9; z++ {
			for y := 0; y < 9; y++ {
				for x := 0; x < 9; x++ {
					shell := x == 0 || y == 0 || z == 0 || x == 8 || y == 8 || z == 8
					if shell && !(open && z == 8 && x > 2 && x < 6 && y > 2 && y < 6) {
						b.Set(x, y, z)
					}
				}
			}
		}
		return b
	}
	r := newRNG(1)
	bead := blob(&r, 3, 3, 3, 2)
	if newFit(bead, hollow(false)).at(3, 3, 3) == 0 {
		t.Error("a bead in a closed box is called free")
	}
	if newFit(bead, hollow(true)).at(3, 3, 3) != 0 {
		t.Error("a bead in an open box is called taken")
	}
}

func TestPosesAreTurns(t *testing.T) {
	if len(Poses) != 24 || len(Upright) != 4 {
		t.Fatalf("%d poses, %d upright", len(Poses), len(Upright))
	}
	r := newRNG(8)
	b := blob(&r, 5, 4, 3, 0.4)
	for _, p := range Poses {
		m := p.Matrix()
		det := m[0]*(m[4]*m[8]-m[5]*m[7]) - m[1]*(m[3]*m[8]-m[5]*m[6]) + m[2]*(m[3]*m[7]-m[4]*m[6])
		if det != 1 {
			t.Errorf("%v has determinant %g", p, det)
		}
		if !p.inverse().Turn(p.Turn(b)).Equal(b) {
			t.Errorf("%v undone is not the body", p)
		}
		for _, q := range Poses {
			if !p.Turn(q.Turn(b)).Equal(p.times(q).Turn(b)) {
				t.Errorf("%v after %v", p, q)
			}
		}
	}
}

func TestGrow(t *testing.T) {
	b := New(1, 1, 1)
	b.Set(0, 0, 0)
	for _, c := range []struct {
		r            float64
		shift, cells int
	}{
		{0, 0, 1}, {0.5, 1, 27}, {1, 1, 27}, // neighbours touch
		{1.2, 2, 125 - 8 - 12*3}, // offsets of two along one axis are 1 away, along two 1.41, along three 1.73
		{1.5, 2, 125 - 8}, {2, 2, 125},
	} {
		g, n := b.Grow(c.r)
		if n != c.shift || g.Count() != c.cells || !g.Has(n, n, n) {
			t.Errorf("grown by %g: %d cells, shift %d; want %d, %d", c.r, g.Count(), n, c.cells, c.shift)
		}
	}
}

func BenchmarkNewFit(b *testing.B) {
	r := newRNG(5)
	m, l := blob(&r, 20, 39, 19, 0.5), blob(&r, 20, 30, 19, 0.5)
	for i := 0; i < b.N; i++ {
		newFit(m, l)
	}
}
