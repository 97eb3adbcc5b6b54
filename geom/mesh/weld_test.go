package mesh

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"firstoff/geom/r3"
)

// cube is the unit cube, corners counter-clockwise from outside.
func cube() *Mesh {
	return &Mesh{
		Pos: []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 0, 0, 1, 1, 0, 1, 1, 1, 1, 0, 1, 1},
		Tri: []uint32{0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7, 0, 1, 5, 0, 5, 4, 1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0, 4, 3, 4, 7},
	}
}

var (
	identity = r3.Identity
	zero     = r3.Vec{}
)

func moved(m *Mesh, x, y, z float64) *Mesh {
	return m.Transformed(r3.Identity, 1, r3.Vec{X: x, Y: y, Z: z})
}

// records writes m as binary STL facet records.
func records(m *Mesh) []byte {
	var b []byte
	for s := m.Soup(); len(s) > 0; s = s[9:] {
		b = append(b, make([]byte, 12)...)
		for _, v := range s[:9] {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
		}
		b = append(b, 0, 0)
	}
	return b
}

func TestWeldByBothDoors(t *testing.T) {
	c := cube()
	for name, m := range map[string]*Mesh{"soup": FromSoup(c.Soup()), "records": FromSTLRecords(records(c))} {
		if m.Vertices() != 8 || m.Facets() != 12 || !m.Topology().Closed() {
			t.Errorf("%s: %d vertices, %d facets", name, m.Vertices(), m.Facets())
		}
		if !slices.Equal(m.Soup(), c.Soup()) {
			t.Errorf("%s: facets changed", name)
		}
	}
}

func TestMinusZeroIsZero(t *testing.T) {
	z := float32(math.Copysign(0, -1))
	m := FromSoup([]float32{0, 0, 0, 1, 0, 0, 0, 1, 0, z, z, 0, 0, 1, z, 0, 0, 1})
	if m.Vertices() != 4 {
		t.Fatalf("%d vertices, want 4", m.Vertices())
	}
}

// Every corner of its own: the table must grow far beyond its first guess.
func TestWeldGrows(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	s := make([]float32, 9*20000)
	want := map[[3]float32]bool{}
	for i := range s {
		s[i] = float32(r.IntN(4000))
	}
	for i := 0; i < len(s); i += 3 {
		want[[3]float32(s[i:i+3])] = true
	}
	m := FromSoup(s)
	if m.Vertices() != len(want) {
		t.Fatalf("%d vertices, want %d", m.Vertices(), len(want))
	}
	if !slices.Equal(m.Soup(), s) {
		t.Fatal("corners changed")
	}
}
