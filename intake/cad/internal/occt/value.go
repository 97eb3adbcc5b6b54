package occt

// kind of a value that the guest holds by handle.
type kind uint8

const (
	kUndefined kind = iota
	kNull
	kBool
	kNumber
	kString
	kObject
	kArray
	kBytes       // the file being read
	kFunction    // only Object.prototype.hasOwnProperty
	kDestructors // memory to free after a call
)

type value struct {
	k kind
	f float64 // of a number; 1 or 0 of a bool
	p any     // string, *object, *array, []byte, []uint32
}

func number(f float64) value { return value{k: kNumber, f: f} }

func boolean(b bool) value {
	if b {
		return value{k: kBool, f: 1}
	}
	return value{k: kBool}
}

// object is a small one: the guest's have at most six properties.
type object struct {
	keys []string
	vals []value
}

func (o *object) get(key string) (value, bool) {
	for i, k := range o.keys {
		if k == key {
			return o.vals[i], true
		}
	}
	return value{}, false
}

func (o *object) set(key string, v value) {
	for i, k := range o.keys {
		if k == key {
			o.vals[i] = v
			return
		}
	}
	o.keys, o.vals = append(o.keys, key), append(o.vals, v)
}

// array keeps numbers unboxed as long as it holds only numbers.
type array struct {
	nums []float64
	vals []value // in use once something else was stored
}

// set stores at i, which is at most one past the end.
func (a *array) set(i int, v value) bool {
	if a.vals == nil && v.k == kNumber {
		switch {
		case i == len(a.nums):
			a.nums = append(a.nums, v.f)
		case i >= 0 && i < len(a.nums):
			a.nums[i] = v.f
		default:
			return false
		}
		return true
	}
	if a.vals == nil {
		a.vals = make([]value, len(a.nums), len(a.nums)+8)
		for j, f := range a.nums {
			a.vals[j] = number(f)
		}
		a.nums = nil
	}
	switch {
	case i == len(a.vals):
		a.vals = append(a.vals, v)
	case i >= 0 && i < len(a.vals):
		a.vals[i] = v
	default:
		return false
	}
	return true
}

// handles is the table of values the guest holds. A handle is
//
//	2 undefined, 4 null, 6 true, 8 false   fixed by Emscripten (since 3.1.58)
//	any other even number                  twice the index of a counted slot
//	an odd number                          a small whole number itself, which needs no slot
//
// The guest treats handles above 8 as opaque, so the odd ones are ours to give meaning.
type handles struct {
	slots []slot
	free  []uint32
}

type slot struct {
	v    value
	refs int32
}

const (
	hUndefined, hNull, hTrue, hFalse = 2, 4, 6, 8
	maxImmediate                     = 1 << 30
	maxSlots                         = 1 << 24
)

func newHandles() *handles {
	h := &handles{slots: make([]slot, 5, 1024)}
	for i, v := range []value{{}, {k: kNull}, {k: kBool, f: 1}, {k: kBool}} {
		h.slots[i+1] = slot{v, 1}
	}
	return h
}

// put gives a handle to v.
func (h *handles) put(v value) uint32 {
	switch v.k {
	case kUndefined:
		return hUndefined
	case kNull:
		return hNull
	case kBool:
		if v.f != 0 {
			return hTrue
		}
		return hFalse
	case kNumber:
		if v.f >= 0 && v.f < maxImmediate {
			if i := uint32(v.f); float64(i) == v.f {
				return i<<1 | 1
			}
		}
	}
	if n := len(h.free); n > 0 {
		x := h.free[n-1]
		h.free = h.free[:n-1]
		h.slots[x/2] = slot{v, 1}
		return x
	}
	if len(h.slots) >= maxSlots {
		panic(guestFault("too many values"))
	}
	h.slots = append(h.slots, slot{v, 1})
	return uint32(len(h.slots)-1) * 2
}

// get is the value of a handle.
func (h *handles) get(x uint32) value {
	if x&1 != 0 {
		return number(float64(x >> 1))
	}
	if i := x / 2; i != 0 && int(i) < len(h.slots) {
		return h.slots[i].v
	}
	panic(guestFault("a bad handle"))
}

func (h *handles) retain(x uint32) {
	if x&1 == 0 && x > hFalse && int(x/2) < len(h.slots) {
		h.slots[x/2].refs++
	}
}

func (h *handles) release(x uint32) {
	if x&1 != 0 || x <= hFalse || int(x/2) >= len(h.slots) {
		return
	}
	s := &h.slots[x/2]
	s.refs--
	if s.refs == 0 {
		s.v = value{}
		h.free = append(h.free, x)
	}
}

// guestFault is what a host function panics with when the guest asks for something out of order. The
// engine turns it into the error of the call.
type guestFault string

func (g guestFault) Error() string { return "occt: the kernel asked for " + string(g) }
