package main

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"syscall"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// mapped is a file's bytes as the page cache holds them.
func mapped(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if st.Size() == 0 {
		return nil, nil
	}
	return syscall.Mmap(int(f.Fd()), 0, int(st.Size()), syscall.PROT_READ, syscall.MAP_PRIVATE|syscall.MAP_POPULATE)
}

// records is the facet records of a binary STL file.
func records(b []byte) ([]byte, error) {
	if len(b) < 84 || len(b) != 84+mesh.RecordBytes*int(binary.LittleEndian.Uint32(b[80:])) {
		return nil, fmt.Errorf("not a binary STL file of the stated length")
	}
	return b[84:], nil
}

// load reads and welds outside the clock.
func load(path string) (*mesh.Mesh, error) {
	b, err := mapped(path)
	if err != nil {
		return nil, err
	}
	r, err := records(b)
	if err != nil {
		return nil, err
	}
	m := mesh.FromSTLRecords(r)
	return m, syscall.Munmap(b)
}

// points reads a point file.
func points(path string) ([]r3.Vec, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if len(b) < 8 || uint64(len(b)-8)/24 < binary.LittleEndian.Uint64(b) {
		return nil, fmt.Errorf("%s: cut off", path)
	}
	p := make([]r3.Vec, binary.LittleEndian.Uint64(b))
	at := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[8+8*i:])) }
	for i := range p {
		p[i] = r3.Vec{X: at(3 * i), Y: at(3*i + 1), Z: at(3*i + 2)}
	}
	return p, nil
}
