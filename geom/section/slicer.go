package section

import (
	"math"

	"firstoff/fault"
	"firstoff/geom/cores"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// MaxLayers is the most layers a part may have; beyond it New refuses rather than fill the memory.
const MaxLayers = 1 << 21

// MaxPieces is the most pieces of contour, in all layers together, that New accepts: some minutes of work.
const MaxPieces = 1 << 31

// mostEntries bounds the index (4 bytes each). When long facets would need more, several layers share a list.
const mostEntries = 96 << 20

// Slicer is a part in a pose, indexed for cutting at any of its layers. It is read-only after New and may be used by
// several goroutines, each with its own Work.
type Slicer struct {
	Box    r3.Box  // of the posed part, mm
	Height float64 // layer height h, mm

	pos   []float64 // posed vertices, x y z
	tri   []uint32
	level []int32   // per vertex: how many planes lie at or below it
	z     []float64 // the planes
	fresh []bool    // per layer: some vertex lies between this plane and the one below, so chains may differ

	share int      // layers that share one list
	off   []int64  // per list: where it starts in facets
	list  []uint32 // facets crossing a layer of the list, in facet order
}

// piece sizes of the parallel passes; fixed, so that results do not depend on the number of cores.
const (
	vertexGrain = 1 << 15
	facetGrain  = 1 << 17
)

// New poses the mesh and sorts its facets into layers of height h (mm). It refuses a layer height that is not a
// positive number, coordinates that are not finite, and parts of more than MaxLayers layers or MaxPieces pieces of contour.
func New(m *mesh.Mesh, pose r3.Quat, h float64) (*Slicer, error) {
	if !(h > 0) || math.IsInf(h, 0) {
		return nil, fault.New(fault.Invalid, "layer_height", "", "the layer height is %g mm; it must be more than zero", h)
	}
	s := &Slicer{Height: h, tri: m.Tri, share: 1}
	s.pos, s.Box = Posed(m, pose)
	if s.Box.Empty() || len(m.Tri) == 0 {
		s.Box = r3.EmptyBox()
		s.off = []int64{0}
		return s, nil
	}
	for _, v := range []r3.Vec{s.Box.Min, s.Box.Max} {
		if n := v.Norm(); math.IsNaN(n) || math.IsInf(n, 0) {
			return nil, fault.New(fault.Invalid, "not_finite", "", "the part has coordinates that are not finite numbers")
		}
	}
	if n := s.Box.Size().Z / h; n > MaxLayers {
		return nil, fault.New(fault.TooLarge, "too_many_layers", "", "a height of %.4g mm in layers of %.4g mm makes more than %d layers", s.Box.Size().Z, h, MaxLayers)
	}
	s.z = planes(s.Box.Min.Z, s.Box.Max.Z, h)
	s.levels()
	if n := s.index(); n > MaxPieces {
		return nil, fault.New(fault.TooLarge, "too_many_pieces", "", "%d facets in %d layers of %.4g mm make %d pieces of contour, more than %d; use thicker layers or a coarser surface", len(m.Tri)/3, len(s.z), h, n, int64(MaxPieces))
	}
	return s, nil
}

// Posed gives the vertices turned by the pose, x y z in float64, and their box. The identity changes no bit.
// The box also covers vertices that no facet uses.
func Posed(m *mesh.Mesh, pose r3.Quat) ([]float64, r3.Box) {
	n := m.Vertices()
	pos := make([]float64, 3*n)
	boxes := make([]r3.Box, cores.Pieces(n, vertexGrain))
	r := pose.Unit().Mat()
	same := pose == r3.Identity
	cores.Each(n, vertexGrain, func(piece, from, to int) {
		src, dst := m.Pos[3*from:3*to], pos[3*from:3*to]
		lo := [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
		hi := [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
		for len(src) >= 3 && len(dst) >= 3 {
			x, y, z := float64(src[0]), float64(src[1]), float64(src[2])
			if !same {
				x, y, z = r[0]*x+r[1]*y+r[2]*z, r[3]*x+r[4]*y+r[5]*z, r[6]*x+r[7]*y+r[8]*z
			}
			dst[0], dst[1], dst[2] = x, y, z
			lo[0], lo[1], lo[2] = min(lo[0], x), min(lo[1], y), min(lo[2], z)
			hi[0], hi[1], hi[2] = max(hi[0], x), max(hi[1], y), max(hi[2], z)
			src, dst = src[3:], dst[3:]
		}
		boxes[piece] = r3.Box{Min: r3.FromArray(lo), Max: r3.FromArray(hi)}
	})
	box := r3.EmptyBox()
	for _, b := range boxes {
		box = box.Union(b)
	}
	return pos, box
}

// planes are the layer planes zmin + (i+½)h below zmax.
func planes(zmin, zmax, h float64) []float64 {
	z := make([]float64, 0, int((zmax-zmin)/h)+2)
	for i := 0; ; i++ {
		q := zmin + (float64(i)+0.5)*h
		if q >= zmax {
			return z
		}
		z = append(z, q)
	}
}

// levels finds for each vertex how many planes lie at or below it.
func (s *Slicer) levels() {
	nv, L := len(s.pos)/3, len(s.z)
	s.level = make([]int32, nv)
	s.fresh = make([]bool, L+1)
	zmin, inv := s.Box.Min.Z, 1/s.Height
	seen := make([][]bool, cores.Pieces(nv, vertexGrain))
	cores.Each(nv, vertexGrain, func(piece, from, to int) {
		mine := make([]bool, L+1)
		lv := s.level[from:to]
		pos := s.pos[3*from : 3*to]
		for i := range lv {
			v := pos[3*i+2]
			k := min(int((v-zmin)*inv+0.5), L)
			for k > 0 && s.z[k-1] > v {
				k--
			}
			for k < L && s.z[k] <= v {
				k++
			}
			lv[i] = int32(k)
			mine[k] = true
		}
		seen[piece] = mine
	})
	for _, mine := range seen {
		for k, b := range mine {
			if b {
				s.fresh[k] = true
			}
		}
	}
}

// index sorts facets into the lists of the layers they cross: count, prefix, fill, all in facet order. It gives the
// number of pieces of contour, and leaves off when there are too many.
func (s *Slicer) index() (total int64) {
	nf, L := len(s.tri)/3, len(s.z)
	grain := max(facetGrain, L)
	pieces := cores.Pieces(nf, grain)
	var at [][]int64
	for {
		lists := (L + s.share - 1) / s.share
		counts := make([][]int32, pieces)
		cores.Each(nf, grain, func(piece, from, to int) {
			counts[piece] = s.count(from, to, lists)
		})
		s.off = make([]int64, lists+1)
		at = make([][]int64, pieces)
		for p := range at {
			at[p] = make([]int64, lists)
		}
		var sum int64
		for i := range lists {
			s.off[i] = sum
			for p, c := range counts {
				at[p][i] = sum
				sum += int64(c[i])
			}
		}
		s.off[lists] = sum
		if s.share == 1 {
			if total = sum; total > MaxPieces {
				return total
			}
		}
		if sum <= mostEntries || s.share >= L {
			s.list = make([]uint32, sum)
			break
		}
		s.share *= 4
	}
	cores.Each(nf, grain, func(piece, from, to int) { s.fill(from, to, at[piece]) })
	return total
}

// count says how many facets of from..to each list will hold.
func (s *Slicer) count(from, to, lists int) []int32 {
	step := make([]int32, lists+1)
	lv := s.level
	tri := s.tri[3*from : 3*to]
	for len(tri) >= 3 {
		a, b, c := lv[tri[0]], lv[tri[1]], lv[tri[2]]
		tri = tri[3:]
		lo, hi := min(a, b, c), max(a, b, c)
		if lo == hi {
			continue
		}
		if s.share > 1 {
			lo, hi = lo/int32(s.share), (hi-1)/int32(s.share)+1
		}
		step[lo]++
		step[hi]--
	}
	var n int32
	for i := range lists {
		n += step[i]
		step[i] = n
	}
	return step[:lists]
}

// fill writes facets from..to into their lists, starting at the given places.
func (s *Slicer) fill(from, to int, at []int64) {
	lv, list := s.level, s.list
	tri := s.tri[3*from : 3*to]
	for f := uint32(from); len(tri) >= 3; f++ {
		a, b, c := lv[tri[0]], lv[tri[1]], lv[tri[2]]
		tri = tri[3:]
		lo, hi := min(a, b, c), max(a, b, c)
		if lo == hi {
			continue
		}
		if s.share > 1 {
			lo, hi = lo/int32(s.share), (hi-1)/int32(s.share)+1
		}
		mine := at[lo:hi]
		for i, k := range mine {
			list[k] = f
			mine[i] = k + 1
		}
	}
}

// Layers is how many layers the part has.
func (s *Slicer) Layers() int { return len(s.z) }

// Z is the plane of layer i, mm.
func (s *Slicer) Z(i int) float64 { return s.z[i] }

// Positions are the posed vertices, x y z each; not to be changed.
func (s *Slicer) Positions() []float64 { return s.pos }
