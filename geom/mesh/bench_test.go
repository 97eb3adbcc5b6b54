package mesh_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"testing"

	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
)

// The way from a file's records to the answer, by size.
func BenchmarkSurface(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 500_000} {
		m := geomtest.Gyroid(40, 20, 2, n).Mesh
		var rec []byte
		for s := m.Soup(); len(s) > 0; s = s[9:] {
			rec = append(rec, make([]byte, 12)...)
			for _, v := range s[:9] {
				rec = binary.LittleEndian.AppendUint32(rec, math.Float32bits(v))
			}
			rec = append(rec, 0, 0)
		}
		for _, f := range []struct {
			name string
			run  func()
		}{
			{"weld", func() { mesh.FromSTLRecords(rec) }},
			{"topology", func() { m.Topology() }},
			{"measure", func() { m.Measure() }},
			{"bodies", func() { m.Bodies() }},
			{"check", func() { mesh.Check(m) }},
			{"mend", func() { mesh.Mend(m) }},
		} {
			b.Run(fmt.Sprintf("%s/%d", f.name, n), func(b *testing.B) {
				b.SetBytes(int64(len(rec)))
				b.ReportAllocs()
				for b.Loop() {
					f.run()
				}
				b.ReportMetric(float64(m.Facets())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mfacets/s")
			})
		}
	}
}

func ExampleMend() {
	whole := geomtest.Box(10, 20, 30).Mesh
	open := whole.Pick([]uint32{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}) // one side is missing
	mended, log := mesh.Mend(open)
	for _, s := range log.Steps {
		fmt.Printf("%s %.0f -> %.0f mm³\n", s.Message, s.VolumeBefore, s.VolumeAfter)
	}
	fmt.Println(mesh.CheckTopology(mended).Closed)
	// Output:
	// 1 openings as wide as the part itself were closed: check that nothing is missing. 4625 -> 6000 mm³
	// true
}
