package occt

import (
	"syscall"

	"github.com/tetratelabs/wazero/experimental"
)

// reserve keeps the guest's memory in one mapping that never moves: growth copies nothing, and pages the
// guest never touches cost nothing.
type reserve struct{ b []byte }

func newMemory(_, limit uint64) experimental.LinearMemory {
	b, err := syscall.Mmap(-1, 0, int(limit), syscall.PROT_READ|syscall.PROT_WRITE,
		syscall.MAP_PRIVATE|syscall.MAP_ANON|syscall.MAP_NORESERVE)
	if err != nil {
		panic(guestFault("more memory than there is"))
	}
	return &reserve{b}
}

// Reallocate gives the first size bytes, or nil when they are more than the reserve.
func (r *reserve) Reallocate(size uint64) []byte {
	if size > uint64(len(r.b)) {
		return nil
	}
	return r.b[:size:len(r.b)]
}

// Free gives the mapping back.
func (r *reserve) Free() {
	_ = syscall.Munmap(r.b)
	r.b = nil
}

const ownMemory = true
