package solid

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"maps"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// Bits of a part turned, moved and in another unit: volume, what is trapped, and what opening and closing leave agree within the share
// of cells that the surface passes through; a part, its cells and its layers twice as large give the very same bits.
func TestBitsTurned(t *testing.T) {
	const seed = 20240229
	t.Log("seed", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	parts := map[string]*mesh.Mesh{
		"hollow ball":       mesh.Merge(sphere(v(0, 0, 0), 10, 60), flipped(sphere(v(1, 0, 0), 6, 60))),
		"overlapping balls": mesh.Merge(sphere(v(0, 0, 0), 8, 60), sphere(v(7, 2, 1), 6, 60)),
		"ring":              torus(14, 4, 90),
		"hollow block":      mesh.Merge(box(v(0, 0, 0), v(16, 12, 9)), flipped(box(v(3, 3, 3), v(13, 9, 6)))),
	}
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		m := parts[name]
		look := func(m *mesh.Mesh, pose r3.Quat, unit float64) (all [4]float64) {
			s, err := Rasterise(m, pose, 0.2*unit, 0.2*unit, 8)
			if err != nil {
				t.Fatal(err)
			}
			s = s.Padded(0, 8)
			all = [4]float64{s.Volume(), s.Trapped().Volume(), s.Open(1 * unit).Volume(), s.Close(1 * unit).Volume()}
			for i := range all {
				all[i] /= unit * unit * unit
			}
			return all
		}
		want := look(m, r3.Identity, 1)
		for _, unit := range []float64{1, 25.4, 0.001} {
			q := r3.Quat{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
			got := look(m.Transformed(q, unit, v(31, -7, 2).Mul(unit)), r3.Identity, unit)
			posed := look(m.Transformed(r3.Identity, unit, r3.Vec{}), q, unit)
			for i, what := range []string{"volume", "trapped", "opened", "closed"} {
				// Sharp edges lose a little more to a ball of cells when they lie across the cells.
				bound := 0.02*want[i] + 1
				if math.Abs(got[i]-want[i]) > bound || math.Abs(posed[i]-got[i]) > 2e-3*want[i]+0.2 {
					t.Errorf("%s, unit %g: %s %g, turned %g, posed %g", name, unit, what, want[i], got[i], posed[i])
				}
			}
		}
		a, _ := Rasterise(m, r3.Identity, 0.25, 0.5, 1)
		b, _ := Rasterise(m.Transformed(r3.Identity, 2, r3.Vec{}), r3.Identity, 0.5, 1, 1)
		same(t, name+" twice as large", b, a)
	}
}

// The bits, what morphology makes of them, distances and chambers are the same on one core and on several.
func TestBitsOnAnyCores(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	m := mesh.Merge(sphere(v(0, 0, 0), 10, 60), flipped(sphere(v(1, 0, 0), 6, 60)), torus(14, 4, 90))
	want := ""
	for _, n := range []int{1, 2, 5} {
		runtime.GOMAXPROCS(n)
		s, err := Rasterise(m, r3.AxisAngle(v(1, 2, 3), 1), 0.2, 0.15, 4)
		if err != nil {
			t.Fatal(err)
		}
		h := fnv.New64a()
		for _, x := range []*Solid{s, s.Dilate(1), s.Erode(0.7), s.Open(1), s.Close(1.3), s.Trapped(), Supports(s, m, r3.AxisAngle(v(1, 2, 3), 1), 45)} {
			binary.Write(h, binary.LittleEndian, x.Bits)
		}
		binary.Write(h, binary.LittleEndian, Distances(s, true).MM)
		fmt.Fprint(h, Chambers(s, 3))
		if got := fmt.Sprint(h.Sum64()); want == "" {
			want = got
		} else if got != want {
			t.Fatalf("%d cores give other bits", n)
		}
	}
}
