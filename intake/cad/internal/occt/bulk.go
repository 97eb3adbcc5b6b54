package occt

import (
	"bytes"
	"encoding/binary"

	"github.com/tetratelabs/wazero/api"
)

// bulk hands a whole file to the guest at once.
//
// The guest copies its input from a JavaScript array byte by byte, five calls to the host for each: about
// 0.3 s a megabyte. So it is shown a stand-in of bulkStub bytes that occur nowhere else. When it has copied the
// last of them into its std::vector, the vector (three pointers: begin, end, capacity) is looked for in its
// memory, and is made to point at a block from its own allocator that holds the real file. The vector's
// destructor frees that block like any other.
//
// Where the vector is not found exactly once, the read is done again byte by byte: slower, never wrong.
type bulk struct {
	data  []byte // the real file; nil when it is given byte by byte
	stub  []byte
	armed int // how many more chances there are to find the vector; counted down after the last byte was read
	done  bool
}

const (
	bulkStub = 64
	bulkMin  = 16 << 10 // smaller files are as fast byte by byte
)

// newBulk prepares the stand-in: a run that is not in the file and improbable anywhere else.
func newBulk(data []byte) bulk {
	b := bulk{data: data, stub: make([]byte, bulkStub)}
	x := uint64(len(data)) | 0xf1757ff000000000
	for {
		for i := range b.stub { // xorshift64* (Vigna 2016)
			x ^= x >> 12
			x ^= x << 25
			x ^= x >> 27
			b.stub[i] = byte(x * 0x2545f4914f6cdd1d >> 56)
		}
		if !bytes.Contains(data, b.stub) {
			return b
		}
	}
}

// seen notes that the guest reads byte i.
func (b *bulk) seen(i int) {
	if b.stub != nil && !b.done && i == bulkStub-1 {
		b.armed = 8
	}
}

// swap looks for the vector and exchanges its content. It is called when the guest lets go of a value, which
// it does after storing each byte.
func (s *session) swap(m api.Memory) {
	b := &s.bulk
	b.armed--
	mem, _ := m.Read(0, m.Size())
	at := uint32(0)
	if i := bytes.Index(mem, b.stub); i >= 0 && !bytes.Contains(mem[i+1:], b.stub) {
		at = uint32(i)
	} else {
		return
	}
	var want [8]byte
	binary.LittleEndian.PutUint32(want[:], at)
	binary.LittleEndian.PutUint32(want[4:], at+bulkStub)
	where, found := 0, 0
	for from := 0; ; {
		i := bytes.Index(mem[from:], want[:])
		if i < 0 {
			break
		}
		i += from
		if i%4 == 0 && i+12 <= len(mem) {
			if limit := binary.LittleEndian.Uint32(mem[i+8:]); limit >= at+bulkStub && limit <= at+2*bulkStub {
				where, found = i, found+1
			}
		}
		from = i + 4
	}
	if found != 1 {
		return
	}
	b.armed, b.done = 0, true
	n := uint32(len(b.data))
	p := s.guestMalloc(n)
	if !m.Write(p, b.data) {
		panic(guestFault("a block outside its memory"))
	}
	m.WriteUint32Le(uint32(where), p)
	m.WriteUint32Le(uint32(where)+4, p+n)
	m.WriteUint32Le(uint32(where)+8, p+n)
	s.guestFree(at)
}
