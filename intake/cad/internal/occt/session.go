package occt

import (
	"context"
	"strings"
	"unicode/utf8"

	"github.com/tetratelabs/wazero/api"
)

// session is the host's side of one instance: everything the guest can reach for one file.
type session struct {
	ctx    context.Context
	h      *handles
	types  []namedType
	calls  []caller
	funcs  map[string]*boundFunc
	log    strings.Builder
	malloc api.Function
	free   api.Function
	bulk   bulk

	files map[string]*memFile
	open  map[uint32]*openFile

	memory  uint32 // cap, bytes
	refused bool   // the guest wanted more
	numbers int64  // how many more numbers the answer may hold
	tooMuch bool   // it wanted more
}

const maxLog = 64 << 10

// typeKind of a C++ type the guest registered.
type typeKind uint8

const (
	tVoid typeKind = iota
	tBool
	tInt
	tFloat
	tString
	tHandle
	tOther
)

type cType struct {
	k      typeKind
	name   string
	size   uint32
	signed bool
}

type namedType struct {
	id uint32
	t  cType
}

// caller is a prepared method call.
type caller struct {
	result cType
	args   []cType
}

// boundFunc is a C++ function offered to the host.
type boundFunc struct {
	args    int    // with the result, as registered
	invoker uint32 // indices into the function table
	fn      uint32
}

// typ finds a registered type. The guest uses about forty, a few of them very often: those move to the front.
func (s *session) typ(id uint32) *cType {
	for i := range s.types {
		if s.types[i].id == id {
			if i > 3 {
				j := i / 2
				s.types[i], s.types[j] = s.types[j], s.types[i]
				i = j
			}
			return &s.types[i].t
		}
	}
	panic(guestFault("a type it never named"))
}

func cString(m api.Memory, p uint32) string {
	n := m.Size()
	if p >= n {
		panic(guestFault("text outside its memory"))
	}
	b, _ := m.Read(p, min(n-p, 1<<16))
	for i, c := range b {
		if c == 0 {
			return string(b[:i])
		}
	}
	panic(guestFault("text without an end"))
}

func readU32(m api.Memory, p uint32) uint32 {
	v, ok := m.ReadUint32Le(p)
	if !ok {
		panic(guestFault("a word outside its memory"))
	}
	return v
}

// fromWire reads one argument that the guest packed in memory (eight bytes apart).
func (s *session) fromWire(m api.Memory, t *cType, p uint32) value {
	switch t.k {
	case tVoid:
		return value{}
	case tBool:
		b, _ := m.ReadByte(p)
		return boolean(b&1 != 0)
	case tInt:
		v := readU32(m, p)
		switch {
		case t.size == 1 && t.signed:
			return number(float64(int8(v)))
		case t.size == 1:
			return number(float64(uint8(v)))
		case t.size == 2 && t.signed:
			return number(float64(int16(v)))
		case t.size == 2:
			return number(float64(uint16(v)))
		case t.signed:
			return number(float64(int32(v)))
		}
		return number(float64(v))
	case tFloat:
		if t.size == 4 {
			f, _ := m.ReadFloat32Le(p)
			return number(float64(f))
		}
		f, ok := m.ReadFloat64Le(p)
		if !ok {
			panic(guestFault("a number outside its memory"))
		}
		return number(f)
	case tHandle:
		x := readU32(m, p)
		v := s.h.get(x)
		s.h.release(x)
		return v
	case tString:
		return value{k: kString, p: s.takeString(m, readU32(m, p))}
	}
	panic(guestFault("a value of type " + t.name))
}

// takeString reads a string the guest handed over (length, then bytes) and frees it.
func (s *session) takeString(m api.Memory, base uint32) string {
	b, ok := m.Read(base+4, readU32(m, base))
	if !ok {
		panic(guestFault("text outside its memory"))
	}
	v := string(b)
	if !utf8.ValidString(v) {
		v = strings.ToValidUTF8(v, "\uFFFD")
	}
	s.guestFree(base)
	return v
}

// giveString puts a string into the guest's memory.
func (s *session) giveString(m api.Memory, v string) uint32 {
	base := s.guestMalloc(uint32(len(v) + 5))
	m.WriteUint32Le(base, uint32(len(v)))
	m.Write(base+4, append([]byte(v), 0))
	return base
}

func (s *session) guestMalloc(n uint32) uint32 {
	r, err := s.malloc.Call(s.ctx, uint64(n))
	if err != nil {
		panic(err)
	}
	if uint32(r[0]) == 0 {
		s.refused = true
		panic(guestFault("more memory than its cap"))
	}
	return uint32(r[0])
}

func (s *session) guestFree(p uint32) {
	if _, err := s.free.Call(s.ctx, uint64(p)); err != nil {
		panic(err)
	}
}

// toWire gives v as the double in which embind passes everything.
func (s *session) toWire(m api.Memory, t *cType, v value, destructors uint32) float64 {
	switch t.k {
	case tVoid:
		return 0
	case tHandle:
		return float64(s.h.put(v))
	case tBool, tInt, tFloat:
		return v.f
	case tString:
		str, _ := v.p.(string)
		base := s.giveString(m, str)
		if destructors != 0 {
			m.WriteUint32Le(destructors, s.h.put(value{k: kDestructors, p: []uint32{base}}))
		}
		return float64(base)
	}
	panic(guestFault("a value of type " + t.name))
}

// property is what object[key] gives the guest.
func (s *session) property(o, key value) value {
	switch o.k {
	case kBytes:
		b := o.p.([]byte)
		if key.k == kNumber {
			if i := int(key.f); i >= 0 && i < len(b) {
				s.bulk.seen(i)
				return number(float64(b[i]))
			}
			return value{}
		}
		if key.p == "length" {
			return number(float64(len(b)))
		}
	case kObject:
		if k, ok := key.p.(string); ok {
			v, _ := o.p.(*object).get(k)
			return v
		}
	}
	return value{}
}

func (s *session) setProperty(o, key, v value) {
	switch o.k {
	case kArray:
		if s.numbers--; s.numbers < 0 {
			s.tooMuch = true
			panic(guestFault("a larger answer than its cap"))
		}
		if key.k != kNumber || !o.p.(*array).set(int(key.f), v) {
			panic(guestFault("a place outside an array"))
		}
	case kObject:
		k, _ := key.p.(string)
		o.p.(*object).set(k, v)
	default:
		panic(guestFault("a property of no object"))
	}
}
