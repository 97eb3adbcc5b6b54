package mesh

import (
	"encoding/binary"
	"math"
)

// FromSoup welds a soup of triangles, nine floats a facet, into an indexed mesh. Corners become one vertex
// exactly when their three coordinates are equal as numbers (so minus zero equals zero). Vertices are numbered
// in order of first use, facets keep their order. Coordinates must be finite; readers see to that.
func FromSoup(corners []float32) *Mesh {
	n := len(corners) / 9
	w := newWelder(n)
	tri := make([]uint32, 3*n)
	var key [3 * block][3]uint32
	for f := 0; f < n; f += block {
		k := 3 * min(block, n-f)
		src := corners[9*f : 9*f+3*k]
		for j := range key[:k] {
			p := src[3*j : 3*j+3 : 3*j+3]
			key[j] = [3]uint32{plain(math.Float32bits(p[0])), plain(math.Float32bits(p[1])), plain(math.Float32bits(p[2]))}
		}
		w.add(key[:k], tri[3*f:3*f+k])
	}
	return &Mesh{Pos: w.floats(), Tri: tri}
}

// RecordBytes is the size of one facet record of a binary STL file.
const RecordBytes = 50

// FromSTLRecords welds straight from the facet records of a binary STL file (RecordBytes each: stored normal, three
// corners, two attribute bytes; little endian). Stored normals are not read: the corners' order says the same.
// A cut last record is left out. Otherwise as FromSoup.
func FromSTLRecords(b []byte) *Mesh {
	n := len(b) / RecordBytes
	w := newWelder(n)
	tri := make([]uint32, 3*n)
	var key [3 * block][3]uint32
	for f := 0; f < n; f += block {
		k := min(block, n-f)
		for j := range k {
			r := b[RecordBytes*(f+j)+12:][:36:36]
			for c := range 3 {
				u, z := binary.LittleEndian.Uint64(r[12*c:]), binary.LittleEndian.Uint32(r[12*c+8:])
				key[3*j+c] = [3]uint32{plain(uint32(u)), plain(uint32(u >> 32)), plain(z)}
			}
		}
		w.add(key[:3*k], tri[3*f:3*(f+k)])
	}
	return &Mesh{Pos: w.floats(), Tri: tri}
}

// plain folds minus zero into zero.
func plain(b uint32) uint32 {
	if b == 1<<31 {
		b = 0
	}
	return b
}

// block is how many facets are hashed ahead of being looked up, so that their table lines are fetched together.
const block = 32

// welder is an open-addressing table from the bits of three coordinates to a vertex number.
type welder struct {
	slot []uint32 // vertex number + 1; 0 is free
	pos  [][3]uint32
	room int // vertices that may still come before the table grows
}

func newWelder(facets int) *welder {
	size := 1 << 10
	for size < facets { // a closed surface has half as many vertices as facets
		size <<= 1
	}
	return &welder{slot: make([]uint32, size), pos: make([][3]uint32, 0, facets/2+64), room: size * 5 / 8}
}

func hash(k [3]uint32) uint64 {
	h := uint64(k[0])*0x9e3779b97f4a7c15 ^ uint64(k[1])*0xc2b2ae3d27d4eb4f ^ uint64(k[2])*0x165667b19e3779f9
	h ^= h >> 32
	return h * 0xd6e8feb86659fd93 >> 20
}

func (w *welder) add(keys [][3]uint32, out []uint32) {
	var at [3 * block]uint64
	mask := uint64(len(w.slot) - 1)
	for i := range keys {
		at[i] = hash(keys[i])
	}
	for i := range keys {
		k := keys[i]
		h := at[i] & mask
		for {
			s := w.slot[h]
			if s == 0 {
				w.pos = append(w.pos, k)
				w.slot[h] = uint32(len(w.pos))
				out[i] = uint32(len(w.pos) - 1)
				if w.room--; w.room == 0 {
					w.grow()
					mask = uint64(len(w.slot) - 1)
				}
				break
			}
			if w.pos[s-1] == k {
				out[i] = s - 1
				break
			}
			h = (h + 1) & mask
		}
	}
}

func (w *welder) grow() {
	old := len(w.slot)
	w.slot = make([]uint32, 2*old)
	w.room = old * 5 / 8
	mask := uint64(len(w.slot) - 1)
	for i, k := range w.pos {
		h := hash(k) & mask
		for w.slot[h] != 0 {
			h = (h + 1) & mask
		}
		w.slot[h] = uint32(i + 1)
	}
}

func (w *welder) floats() []float32 {
	pos := make([]float32, 3*len(w.pos))
	for i, k := range w.pos {
		p := pos[3*i : 3*i+3 : 3*i+3]
		p[0], p[1], p[2] = math.Float32frombits(k[0]), math.Float32frombits(k[1]), math.Float32frombits(k[2])
	}
	return pos
}
