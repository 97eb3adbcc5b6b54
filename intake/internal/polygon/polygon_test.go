package polygon

import (
	"math"
	"math/rand/v2"
	"testing"
)

// area sums the triangles signed and unsigned, in the plane z = 0.
func area(pos []float64, face []uint32, tri []int32) (signed, unsigned float64) {
	p := func(i int32) (float64, float64) { return float64(pos[3*face[i]]), float64(pos[3*face[i]+1]) }
	for i := 0; i < len(tri); i += 3 {
		ax, ay := p(tri[i])
		bx, by := p(tri[i+1])
		cx, cy := p(tri[i+2])
		a := ((bx-ax)*(cy-ay) - (by-ay)*(cx-ax)) / 2
		signed += a
		unsigned += math.Abs(a)
	}
	return
}

func flat(xy ...float64) (pos []float64, face []uint32) {
	for i := 0; i < len(xy); i += 2 {
		pos = append(pos, xy[i], xy[i+1], 0)
		face = append(face, uint32(i/2))
	}
	return
}

func TestConcave(t *testing.T) {
	for name, c := range map[string]struct {
		xy   []float64
		area float64
	}{
		"triangle":                            {[]float64{0, 0, 1, 0, 0, 1}, 0.5},
		"square":                              {[]float64{0, 0, 1, 0, 1, 1, 0, 1}, 1},
		"dart, point 1":                       {[]float64{0, 0, 1, 1, 4, 0, 1, 4}, 6 - 0},
		"dart, point 2":                       {[]float64{1, 4, 0, 0, 1, 1, 4, 0}, 6},
		"L":                                   {[]float64{0, 0, 2, 0, 2, 1, 1, 1, 1, 2, 0, 2}, 3},
		"comb":                                {[]float64{0, 0, 7, 0, 7, 5, 6, 5, 6, 1, 5, 1, 5, 5, 4, 5, 4, 1, 3, 1, 3, 5, 2, 5, 2, 1, 1, 1, 1, 5, 0, 5}, 7 + 4*4},
		"with flat spots":                     {[]float64{0, 0, 1, 0, 2, 0, 2, 1, 2, 2, 1, 2, 1, 1, 0, 1}, 3},
		"square with a square hole by a seam": {[]float64{0, 0, 4, 0, 4, 4, 0, 4, 0, 0, 1, 1, 1, 3, 3, 3, 3, 1, 1, 1}, 12},
	} {
		pos, face := flat(c.xy...)
		var k Cutter
		tri := k.Cut(pos, face)
		if len(tri) != 3*(len(face)-2) {
			t.Errorf("%s: %d triangles of %d corners", name, len(tri)/3, len(face))
		}
		s, u := area(pos, face, tri)
		if math.Abs(s-c.area) > 1e-9 || math.Abs(u-c.area) > 1e-9 {
			t.Errorf("%s: area %v, unsigned %v, want %v", name, s, u, c.area)
		}
		// Drawn the other way round, it faces the other way.
		for i, j := 0, len(face)-1; i < j; i, j = i+1, j-1 {
			face[i], face[j] = face[j], face[i]
		}
		if s, u := area(pos, face, k.Cut(pos, face)); math.Abs(s+c.area) > 1e-9 || math.Abs(u-c.area) > 1e-9 {
			t.Errorf("%s reversed: area %v, unsigned %v", name, s, u)
		}
	}
}

// TestAnyPolygon: stars with random radii are simple polygons; every cut covers them exactly once.
func TestAnyPolygon(t *testing.T) {
	const seed = 11
	r := rand.New(rand.NewPCG(seed, 1))
	var k Cutter
	for range 500 {
		n := 3 + r.IntN(60)
		var xy []float64
		for i := range n {
			a, l := 2*math.Pi*float64(i)/float64(n), 0.2+5*r.Float64()
			xy = append(xy, float64(l*math.Cos(a)), float64(l*math.Sin(a)))
		}
		pos, face := flat(xy...)
		want := 0.0
		for i := range n {
			j := (i + 1) % n
			want += (float64(xy[2*i])*float64(xy[2*j+1]) - float64(xy[2*j])*float64(xy[2*i+1])) / 2
		}
		s, u := area(pos, face, k.Cut(pos, face))
		if math.Abs(s-want) > 1e-6*want || math.Abs(u-want) > 1e-6*want {
			t.Fatalf("seed %d: %d corners, area %v, unsigned %v, want %v", seed, n, s, u, want)
		}
	}
}

func FuzzCut(f *testing.F) {
	f.Add([]byte{0, 0, 10, 0, 10, 10, 5, 2, 0, 10})
	f.Fuzz(func(t *testing.T, b []byte) {
		var xy []float64
		for _, c := range b[:len(b)/2*2] {
			xy = append(xy, float64(c))
		}
		pos, face := flat(xy...)
		var k Cutter
		tri := k.Cut(pos, face)
		if len(face) >= 3 && len(tri) != 3*(len(face)-2) {
			t.Fatalf("%d triangles of %d corners", len(tri)/3, len(face))
		}
		for _, i := range tri {
			if int(i) >= len(face) || i < 0 {
				t.Fatal("no such corner")
			}
		}
	})
}
