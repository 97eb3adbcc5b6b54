package stl

import (
	"bufio"
	"encoding/binary"
	"io"
	"math"

	"firstoff/fault"
	"firstoff/geom/mesh"
)

// Write writes meshes as one binary STL file, facets in order, with the normals of their corners. The head carries
// name, cut to what fits; it never begins with "solid", which would make readers take the file for text. The same
// meshes give the same bytes. Fault: TooLarge "stl_too_many" above the 2^32-1 facets the format can count.
func Write(w io.Writer, name string, meshes ...*mesh.Mesh) error {
	n := int64(0)
	for _, m := range meshes {
		n += int64(m.Facets())
	}
	if n > math.MaxUint32 {
		return fault.New(fault.TooLarge, "stl_too_many", "", "A binary STL file cannot count more than 4,294,967,295 facets.")
	}
	buf := bufio.NewWriterSize(w, 1<<16)
	var head [headBytes]byte
	copy(head[:headerBytes], "binary stl, mm, "+name)
	binary.LittleEndian.PutUint32(head[headerBytes:], uint32(n))
	buf.Write(head[:])
	var r [recordBytes]byte
	put := func(at int, v float64) {
		binary.LittleEndian.PutUint32(r[at:], math.Float32bits(float32(v)))
	}
	for _, m := range meshes {
		for f := range m.Facets() {
			a, b, c := m.Corners(f)
			// Scaled first, so that neither very small nor very large facets lose their normal.
			u, v := b.Sub(a), c.Sub(a)
			nrm := u.Unit().Cross(v.Unit()).Unit()
			put(0, nrm.X)
			put(4, nrm.Y)
			put(8, nrm.Z)
			for j, t := range m.Tri[3*f : 3*f+3] {
				for k, x := range m.Pos[3*t : 3*t+3] {
					binary.LittleEndian.PutUint32(r[12+12*j+4*k:], math.Float32bits(x))
				}
			}
			buf.Write(r[:])
		}
	}
	if err := buf.Flush(); err != nil {
		return fault.Because(err, fault.Internal, "write_failed", "", "The file could not be written.")
	}
	return nil
}
