package glb

import (
	"encoding/binary"
	"math"

	"firstoff/fault"
	"firstoff/intake/content"
)

var (
	componentBytes = map[int]int64{typeByte: 1, typeUbyte: 1, typeShort: 2, typeUshort: 2, typeUint: 4, typeFloat: 4}
	components     = map[string]int64{"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}
)

// array is an accessor resolved to bytes.
type array struct {
	data   []byte // from the first element; nil means all zero
	stride int64
	count  int
	width  int // components an element
	kind   int
	norm   bool
	over   map[int][]byte // sparse: elements that replace others
}

// access resolves accessor i and checks that all of it lies inside its buffer.
func (r *reader) access(i int, where string) (array, error) {
	if i < 0 || i >= len(r.doc.Accessors) {
		return array{}, reference(where)
	}
	a := r.doc.Accessors[i]
	size, width := componentBytes[a.ComponentType], components[a.Type]
	if size == 0 || width == 0 || a.Count < 0 || a.ByteOffset < 0 {
		return array{}, reference(content.Place("accessor", i))
	}
	element := size * width
	out := array{stride: element, width: int(width), kind: a.ComponentType, norm: a.Normalized}
	switch {
	case a.BufferView != nil:
		b, stride, err := r.view(*a.BufferView, content.Place("accessor", i))
		if err != nil {
			return array{}, err
		}
		if stride != 0 {
			out.stride = stride
		}
		if a.Count > 0 {
			room := int64(len(b)) - a.ByteOffset - element
			if room < 0 || (a.Count-1) > room/out.stride {
				return array{}, reference(content.Place("accessor", i))
			}
		}
		out.data = b[min(a.ByteOffset, int64(len(b))):]
	case a.Count > 3*int64(r.lim.Triangles) || a.Count > 1<<20 && a.Sparse == nil:
		return array{}, content.TooManyTriangles(a.Count/3, r.lim.Triangles)
	}
	out.count = int(a.Count)
	if s := a.Sparse; s != nil {
		wrong := func() (array, error) { return array{}, reference(content.Place("accessor", i)) }
		isize := componentBytes[s.Indices.ComponentType]
		at, _, err := r.view(s.Indices.BufferView, content.Place("accessor", i))
		if err != nil {
			return array{}, err
		}
		val, _, err := r.view(s.Values.BufferView, content.Place("accessor", i))
		if err != nil {
			return array{}, err
		}
		if isize == 0 || s.Count < 0 || s.Indices.ByteOffset < 0 || s.Values.ByteOffset < 0 || s.Indices.ByteOffset > int64(len(at)) || s.Values.ByteOffset > int64(len(val)) {
			return wrong()
		}
		at, val = at[s.Indices.ByteOffset:], val[s.Values.ByteOffset:]
		if s.Count > int64(len(at))/isize || s.Count > int64(len(val))/element {
			return wrong()
		}
		out.over = make(map[int][]byte, s.Count)
		for j := range s.Count {
			k := integer(at[j*isize:], s.Indices.ComponentType)
			if k >= a.Count {
				return wrong()
			}
			out.over[int(k)] = val[j*element : (j+1)*element]
		}
	}
	return out, nil
}

// at is the bytes of element i, nil if it is zero throughout.
func (a *array) at(i int) []byte {
	if a.over != nil {
		if b, ok := a.over[i]; ok {
			return b
		}
	}
	if a.data == nil {
		return nil
	}
	return a.data[int64(i)*a.stride:]
}

// integer reads an unsigned index.
func integer(b []byte, kind int) int64 {
	switch kind {
	case typeUbyte:
		return int64(b[0])
	case typeUshort:
		return int64(binary.LittleEndian.Uint16(b))
	case typeUint:
		return int64(binary.LittleEndian.Uint32(b))
	}
	return math.MaxInt64 // not a kind that indices may have
}

// value is component c of element i; integers marked as normalised become -1…1 or 0…1.
func (a *array) value(i, c int) float64 {
	b := a.at(i)
	if b == nil {
		return 0
	}
	switch a.kind {
	case typeFloat:
		return float64(math.Float32frombits(binary.LittleEndian.Uint32(b[4*c:])))
	case typeShort:
		v := float64(int16(binary.LittleEndian.Uint16(b[2*c:])))
		if a.norm {
			return max(v/32767, -1)
		}
		return v
	case typeUshort:
		v := float64(binary.LittleEndian.Uint16(b[2*c:]))
		if a.norm {
			return v / 65535
		}
		return v
	case typeByte:
		v := float64(int8(b[c]))
		if a.norm {
			return max(v/127, -1)
		}
		return v
	case typeUbyte:
		v := float64(b[c])
		if a.norm {
			return v / 255
		}
		return v
	}
	return float64(binary.LittleEndian.Uint32(b[4*c:]))
}

// indices gives the vertex numbers of a primitive as triangles, checked against n vertices.
func (r *reader) indices(p primitive, n int, where string) ([]uint32, error) {
	mode := modeTriangles
	if p.Mode != nil {
		mode = *p.Mode
	}
	var list []uint32
	if p.Indices == nil {
		if n > 3*r.lim.Triangles+3 {
			return nil, content.TooManyTriangles(int64(n/3), r.lim.Triangles)
		}
		list = make([]uint32, n)
		for i := range list {
			list[i] = uint32(i)
		}
	} else {
		a, err := r.access(*p.Indices, where)
		if err != nil {
			return nil, err
		}
		if a.width != 1 {
			return nil, reference(where)
		}
		if a.count > 3*r.lim.Triangles+3 {
			return nil, content.TooManyTriangles(int64(a.count/3), r.lim.Triangles)
		}
		list = make([]uint32, a.count)
		for i := range list {
			v := int64(0)
			if b := a.at(i); b != nil {
				v = integer(b, a.kind)
			}
			if v >= int64(n) {
				return nil, fault.New(fault.Invalid, "glb_reference", where, "A triangle uses vertex %d, but there are only %d; export the model again.", v, n)
			}
			list[i] = uint32(v)
		}
	}
	switch mode {
	case modeTriangles:
		return list[:len(list)/3*3], nil
	case modeStrip, modeFan:
		var tri []uint32
		for i := 2; i < len(list); i++ {
			a, b, c := list[i-2], list[i-1], list[i]
			if mode == modeFan {
				a = list[0]
			} else if i%2 == 1 {
				a, b = b, a
			}
			if a != b && b != c && c != a { // strips are stitched together with flat triangles
				tri = append(tri, a, b, c)
			}
		}
		return tri, nil
	}
	return nil, nil // points and lines
}
