package occt

import (
	"math"

	"github.com/tetratelabs/wazero/api"
)

// memFile is a file of the guest's: IGES is read through a temporary one.
type memFile struct{ b []byte }

type openFile struct {
	f   *memFile
	pos int
}

const (
	maxFiles = 8
	maxOpen  = 32

	errBadFile = 8 // WASI errno numbers, which Emscripten uses
	errInvalid = 28
	errNoEntry = -44 // negated in system calls
	errNoCall  = -52
	errNoSpace = 51

	openCreate, openTruncate = 64, 512
)

func errno(e int32) uint64 { return uint64(uint32(e)) }

// systemCalls: a file system in memory, and nothing else of the outside.
func systemCalls(t map[string]imported) {
	def := func(name string, params, results int, fn func(s *session, m api.Module, st []uint64)) {
		t[name] = imported{params: i32s(params), results: i32s(results), fn: fn}
	}
	refuse := func(e int32, params int, names ...string) {
		for _, n := range names {
			def(n, params, 1, func(_ *session, _ api.Module, st []uint64) { st[0] = errno(e) })
		}
	}
	refuse(errNoEntry, 1, "___syscall_rmdir")
	refuse(errNoEntry, 2, "___syscall_chmod", "___syscall_fstat64")
	refuse(errNoEntry, 4, "___syscall_faccessat")
	refuse(errNoCall, 3, "___syscall_fcntl64", "___syscall_ioctl")
	refuse(errNoCall, 7, "__munmap_js")
	def("__emscripten_lookup_name", 1, 1, func(_ *session, _ api.Module, st []uint64) { st[0] = 0 })

	def("___syscall_openat", 4, 1, func(s *session, m api.Module, st []uint64) {
		name, flags := cString(m.Memory(), uint32(st[1])), uint32(st[2])
		f := s.files[name]
		switch {
		case len(s.open) >= maxOpen, f == nil && (flags&openCreate == 0 || len(s.files) >= maxFiles):
			st[0] = errno(errNoEntry)
			return
		case f == nil:
			f = &memFile{}
			s.files[name] = f
		case flags&openTruncate != 0:
			f.b = f.b[:0]
		}
		fd := uint32(3)
		for s.open[fd] != nil {
			fd++
		}
		s.open[fd] = &openFile{f: f}
		st[0] = uint64(fd)
	})
	def("___syscall_unlinkat", 3, 1, func(s *session, m api.Module, st []uint64) {
		delete(s.files, cString(m.Memory(), uint32(st[1])))
		st[0] = 0
	})
	stat := func(s *session, m api.Memory, name string, to uint32) uint64 {
		f := s.files[name]
		if f == nil {
			return errno(errNoEntry)
		}
		m.Write(to, make([]byte, 96))
		m.WriteUint32Le(to+4, 0o100666)
		m.WriteUint32Le(to+8, 1)
		m.WriteUint64Le(to+24, uint64(len(f.b)))
		return 0
	}
	for _, n := range []string{"___syscall_stat64", "___syscall_lstat64"} {
		def(n, 2, 1, func(s *session, m api.Module, st []uint64) {
			st[0] = stat(s, m.Memory(), cString(m.Memory(), uint32(st[0])), uint32(st[1]))
		})
	}
	def("___syscall_newfstatat", 4, 1, func(s *session, m api.Module, st []uint64) {
		st[0] = stat(s, m.Memory(), cString(m.Memory(), uint32(st[1])), uint32(st[2]))
	})
	def("_fd_close", 1, 1, func(s *session, _ api.Module, st []uint64) {
		delete(s.open, uint32(st[0]))
		st[0] = 0
	})
	def("_fd_read", 4, 1, fdRead)
	def("_fd_write", 4, 1, fdWrite)
	def("_fd_seek", 5, 1, fdSeek)

	def("_environ_get", 2, 1, func(_ *session, _ api.Module, st []uint64) { st[0] = 0 })
	def("_environ_sizes_get", 2, 1, func(_ *session, m api.Module, st []uint64) {
		m.Memory().WriteUint32Le(uint32(st[0]), 0)
		m.Memory().WriteUint32Le(uint32(st[1]), 0)
		st[0] = 0
	})
	def("_exit", 1, 0, func(*session, api.Module, []uint64) { panic(guestFault("to exit")) })
	def("__abort_js", 0, 0, func(*session, api.Module, []uint64) { panic(guestFault("to abort")) })

	// The guest's clock stands still at 1 January 2000: no answer may depend on the hour. (The kernel's own
	// dates begin in 1979; before that it gives up with an exception.)
	def("__tzset_js", 4, 0, func(_ *session, m api.Module, st []uint64) {
		mem := m.Memory()
		mem.WriteUint32Le(uint32(st[0]), 0)
		mem.WriteUint32Le(uint32(st[1]), 0)
		mem.Write(uint32(st[2]), []byte("UTC\x00"))
		mem.Write(uint32(st[3]), []byte("UTC\x00"))
	})
	def("__localtime_js", 3, 0, func(_ *session, m api.Module, st []uint64) {
		// s, min, h, day, month from 0, years since 1900, weekday, day of the year, summer time, offset
		for i, v := range []uint32{0, 0, 0, 1, 0, 100, 6, 0, 0, 0} {
			m.Memory().WriteUint32Le(uint32(st[2])+uint32(4*i), v)
		}
	})
	t["_emscripten_date_now"] = imported{results: []api.ValueType{f64}, fn: func(_ *session, _ api.Module, st []uint64) {
		st[0] = math.Float64bits(946684800e3) // ms
	}}
	def("__emscripten_get_now_is_monotonic", 0, 1, func(_ *session, _ api.Module, st []uint64) { st[0] = 1 })
	def("_emscripten_get_callstack", 3, 1, func(_ *session, m api.Module, st []uint64) {
		if uint32(st[1]) != 0 && int32(st[2]) > 0 {
			m.Memory().WriteByte(uint32(st[1]), 0)
		}
		st[0] = 1
	})

	def("__emscripten_memcpy_js", 3, 0, func(_ *session, m api.Module, st []uint64) {
		src, ok := m.Memory().Read(uint32(st[1]), uint32(st[2]))
		dst, ok2 := m.Memory().Read(uint32(st[0]), uint32(st[2]))
		if !ok || !ok2 {
			panic(guestFault("a block outside its memory"))
		}
		copy(dst, src)
	})
	// Also what the lowered code calls from time to time: where a deadline is noticed.
	def(yieldImport, 0, 1, func(s *session, _ api.Module, st []uint64) {
		if err := s.ctx.Err(); err != nil {
			panic(err)
		}
		st[0] = uint64(s.memory)
	})
	def("_emscripten_resize_heap", 1, 1, resizeHeap)
}

const yieldImport = "_emscripten_get_heap_max"

// resizeHeap grows in larger steps than asked, up to the cap.
func resizeHeap(s *session, m api.Module, st []uint64) {
	mem, limit := m.Memory(), uint64(s.memory)
	want, have := uint64(uint32(st[0])), uint64(mem.Size())
	st[0] = 0
	if want > limit {
		s.refused = true
		return
	}
	size := min(max(min(have+have/2, want+96<<20), want), limit)
	if pages := (size + pageSize - 1) / pageSize; pages > have/pageSize {
		if _, ok := mem.Grow(uint32(pages - have/pageSize)); !ok {
			s.refused = true
			return
		}
	}
	st[0] = 1
}

const pageSize = 65536

func fdRead(s *session, m api.Module, st []uint64) {
	mem, o := m.Memory(), s.open[uint32(st[0])]
	if o == nil {
		st[0] = errBadFile
		return
	}
	var n uint32
	for i := range uint32(st[2]) {
		dst, ok := mem.Read(readU32(mem, uint32(st[1])+i*8), readU32(mem, uint32(st[1])+i*8+4))
		if !ok || o.pos >= len(o.f.b) {
			break
		}
		c := copy(dst, o.f.b[o.pos:])
		o.pos += c
		n += uint32(c)
		if c < len(dst) {
			break
		}
	}
	mem.WriteUint32Le(uint32(st[3]), n)
	st[0] = 0
}

func fdWrite(s *session, m api.Module, st []uint64) {
	mem, o := m.Memory(), s.open[uint32(st[0])]
	var n uint32
	for i := range uint32(st[2]) {
		b, ok := mem.Read(readU32(mem, uint32(st[1])+i*8), readU32(mem, uint32(st[1])+i*8+4))
		if !ok {
			break
		}
		if o == nil { // standard output and error
			if s.log.Len() < maxLog {
				s.log.Write(b[:min(len(b), maxLog-s.log.Len())])
			}
		} else {
			end := o.pos + len(b)
			if end > int(s.memory)/2 {
				st[0] = errNoSpace
				return
			}
			if end > len(o.f.b) {
				o.f.b = append(o.f.b, make([]byte, end-len(o.f.b))...)
			}
			copy(o.f.b[o.pos:], b)
			o.pos = end
		}
		n += uint32(len(b))
	}
	mem.WriteUint32Le(uint32(st[3]), n)
	st[0] = 0
}

func fdSeek(s *session, m api.Module, st []uint64) {
	o := s.open[uint32(st[0])]
	if o == nil {
		st[0] = errBadFile
		return
	}
	off := int64(uint32(st[1])) | int64(int32(st[2]))<<32
	switch uint32(st[3]) {
	case 1:
		off += int64(o.pos)
	case 2:
		off += int64(len(o.f.b))
	}
	if off < 0 || off > int64(s.memory) {
		st[0] = errInvalid
		return
	}
	o.pos = int(off)
	m.Memory().WriteUint64Le(uint32(st[4]), uint64(off))
	st[0] = 0
}
