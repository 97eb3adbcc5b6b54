package chamber

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"os"
	"reflect"
	"testing"

	"firstoff/checks"
)

// set is an instance of the outside voxel sets; format in their SOURCES.md.
type set struct {
	Container [2]float64 `json:"container_model_units"`
	Edge      float64    `json:"voxel_edge_model_units"`
	Pieces    []struct {
		ID   string `json:"id"`
		Qty  int    `json:"qty"`
		Dims [3]int `json:"dims"`
		RLE  []int  `json:"rle"`
	} `json:"pieces"`
}

func readSet(t testing.TB, name string) (kinds []Kind, order []int, s set) {
	t.Helper()
	f, err := os.Open(checks.Path(t, "opt/raw/pack3d/"+name+".json.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.NewDecoder(z).Decode(&s); err != nil {
		t.Fatal(err)
	}
	for k, p := range s.Pieces {
		b := New(p.Dims[0], p.Dims[2], p.Dims[1]) // the second axis stands up: chess men of 50 in a base of 49
		at, solid := 0, false
		for _, n := range p.RLE {
			for ; n > 0; n-- {
				if solid {
					b.Set(at/(p.Dims[1]*p.Dims[2]), p.Dims[2]-1-at%p.Dims[2], at/p.Dims[2]%p.Dims[1])
				}
				at++
			}
			solid = !solid
		}
		if at != p.Dims[0]*p.Dims[1]*p.Dims[2] {
			t.Fatalf("%s: %d cells of %v", p.ID, at, p.Dims)
		}
		kinds = append(kinds, Kind{Bodies: []*Bits{b}})
		for range p.Qty {
			order = append(order, k)
		}
	}
	return kinds, order, s
}

// checkPacking asks the cells themselves.
func checkPacking(t testing.TB, kinds []Kind, order []int, box Box, p Packing) {
	t.Helper()
	world := New(box.NX, box.NY, p.Height)
	for i, k := range order {
		b := p.Spots[i].Pose.Turn(kinds[k].Bodies[p.Spots[i].Body])
		s := p.Spots[i]
		if s.X < 0 || s.Y < 0 || s.Z < 0 || s.X+b.NX > box.NX || s.Y+b.NY > box.NY || s.Z+b.NZ > p.Height {
			t.Fatalf("body %d leaves the box: %+v", i, s)
		}
		grown, n := b.Grow(box.Gap)
		grown.each(func(x, y, z int) {
			if world.Has(x+s.X-n, y+s.Y-n, z+s.Z-n) {
				t.Fatalf("body %d comes too near another at %d %d %d", i, x, y, z)
			}
		})
		b.each(func(x, y, z int) { world.Set(x+s.X, y+s.Y, z+s.Z) })
	}
}

func small() ([]Kind, []int) {
	r := newRNG(6)
	var kinds []Kind
	var order []int
	for k := 0; k < 5; k++ {
		b, _, _, _ := blob(&r, 3+r.intn(4), 3+r.intn(4), 3+r.intn(4), 0.6).Trim()
		kinds = append(kinds, Kind{[]*Bits{b}, Poses})
		order = append(order, k, k, k)
	}
	return kinds, order
}

func TestPackIsFree(t *testing.T) {
	kinds, order := small()
	for _, gap := range []float64{0, 1, 2} {
		box := Box{NX: 16, NY: 14, Gap: gap}
		first, _ := Pack(context.Background(), kinds, order, box, Limits{Rounds: 1})
		checkPacking(t, kinds, order, box, first)
		p, ok := Pack(context.Background(), kinds, order, box, Limits{Rounds: 400, Searchers: 2, Seed: 2})
		if !ok {
			t.Fatal("not packed")
		}
		checkPacking(t, kinds, order, box, p)
		if p.Height > first.Height || gap > 0 && p.Height == first.Height {
			t.Errorf("gap %g: %d high from %d", gap, p.Height, first.Height)
		}
		t.Logf("gap %g: %d from %d", gap, p.Height, first.Height)
	}
}

func TestPackRepeats(t *testing.T) {
	kinds, order := small()
	box := Box{NX: 16, NY: 14, Gap: 1}
	a, _ := Pack(context.Background(), kinds, order, box, Limits{Rounds: 60, Searchers: 2, Seed: 2})
	b, _ := Pack(context.Background(), kinds, order, box, Limits{Rounds: 60, Searchers: 2, Seed: 2})
	if !reflect.DeepEqual(a, b) {
		t.Error("two runs differ")
	}
}

// Voxel sets of Lamas-Fernandez, Bennell, Martinez-Sykora (Operations Research 71(4)); best published heights in voxels without
// turning: chess 128, shapes 52.
func TestVoxelSets(t *testing.T) {
	for _, c := range []struct {
		name   string
		nx, ny int
		rounds int
		most   int
	}{
		{"chess", 49, 49, 300, 160},
		{"shapes", 20, 20, 600, 62},
	} {
		kinds, order, _ := readSet(t, c.name)
		box := Box{NX: c.nx, NY: c.ny}
		p, ok := Pack(context.Background(), kinds, order, box, Limits{Rounds: c.rounds, Searchers: 2, Seed: 1})
		if !ok {
			t.Fatal("not packed")
		}
		checkPacking(t, kinds, order, box, p)
		t.Logf("%s: %d after %d rounds", c.name, p.Height, p.Rounds)
		if p.Height > c.most {
			t.Errorf("%s: %d high, want at most %d", c.name, p.Height, c.most)
		}
	}
}

// Two halves of a shell around a bead: each pair can be parted, so all three come apart; glue the halves' rims with a band around and
// the bead with its shell is stuck to nothing but what holds it.
func TestStuck(t *testing.T) {
	half := New(5, 5, 3)
	for z := range 3 {
		for y := range 5 {
			for x := range 5 {
				if z == 0 || x == 0 || x == 4 || y == 0 || y == 4 {
					half.Set(x, y, z)
				}
			}
		}
	}
	bead := New(1, 1, 1)
	bead.Set(0, 0, 0)
	flip := Pose{[3]int{0, 1, 2}, [3]bool{false, true, true}}
	// a band with hooks over both faces: a ring 9 wide, 8 tall, its opening narrower than the shell at top and bottom
	band := New(9, 9, 8)
	for z := range 8 {
		for y := range 9 {
			for x := range 9 {
				if x == 0 || y == 0 || x == 8 || y == 8 || (z == 0 || z == 7) && (x < 3 || y < 3 || x > 5 || y > 5) {
					band.Set(x, y, z)
				}
			}
		}
	}
	kinds := []Kind{{[]*Bits{half}, []Pose{Poses[0], flip}}, {[]*Bits{bead}, nil}, {[]*Bits{band}, nil}}
	p := Packing{Spots: []Spot{{0, Poses[0], 2, 2, 1}, {0, flip, 2, 2, 4}, {0, Poses[0], 4, 4, 3}, {0, Poses[0], 0, 0, 0}}, Height: 8}
	if s := Stuck(kinds, []int{0, 0, 1}, p); s != nil {
		t.Errorf("without the band %v are stuck", s)
	}
	if s := Stuck(kinds, []int{0, 0, 1, 2}, p); len(s) != 4 {
		t.Errorf("with the band %v are stuck, want all", s)
	}
}
