package eh

// section ids of the binary format
const (
	secType, secImport, secFunction, secGlobal = 1, 2, 3, 6
	secExport, secCode, secDataCount, secTag   = 7, 10, 12, 13
)

type section struct {
	id   byte
	body []byte
}

type funcType struct{ params, results []byte }

// module is what the pass needs to know of the source.
type module struct {
	sections []section
	types    []funcType
	funcs    []uint32 // type of each function, the imported ones first
	imported uint32   // how many of them are imported
	tags     uint32
	globals  uint32
	yield    int // index of the imported function to yield to, or -1
	bodies   [][]byte
}

const magic = "\x00asm\x01\x00\x00\x00"

func parse(src []byte, yield string) *module {
	m := &module{yield: -1}
	r := &reader{b: src}
	if string(r.take(uint32(len(magic)))) != magic {
		fail("not a WebAssembly module")
	}
	for r.more() {
		id := r.byte()
		s := section{id, r.take(r.u32())}
		m.sections = append(m.sections, s)
		q := &reader{b: s.body}
		switch id {
		case secType:
			for n := q.u32(); n > 0; n-- {
				if form := q.byte(); form != 0x60 {
					fail("type form %#x is not supported", form)
				}
				m.types = append(m.types, funcType{q.take(q.u32()), q.take(q.u32())})
			}
		case secImport:
			m.imports(q, yield)
		case secFunction:
			for n := q.u32(); n > 0; n-- {
				m.funcs = append(m.funcs, m.typeIndex(q.u32()))
			}
		case secTag:
			for n := q.u32(); n > 0; n-- {
				q.byte()
				if p := m.types[m.typeIndex(q.u32())].params; len(p) != 1 || p[0] != typeI32 {
					fail("a tag with other than one i32")
				}
				m.tags++
			}
		case secGlobal:
			m.globals += q.u32()
		case secCode:
			for n := q.u32(); n > 0; n-- {
				m.bodies = append(m.bodies, q.take(q.u32()))
			}
		}
	}
	if int(m.imported)+len(m.bodies) != len(m.funcs) {
		fail("%d functions but %d bodies", len(m.funcs), len(m.bodies))
	}
	return m
}

func (m *module) imports(q *reader, yield string) {
	for n := q.u32(); n > 0; n-- {
		q.take(q.u32())
		name := string(q.take(q.u32()))
		switch kind := q.byte(); kind {
		case 0:
			t := m.typeIndex(q.u32())
			if yield != "" && name == yield {
				if len(m.types[t].params) != 0 || len(m.types[t].results) != 1 {
					fail("the function %q to yield to must take nothing and give one value", name)
				}
				m.yield = int(m.imported)
			}
			m.funcs = append(m.funcs, t)
			m.imported++
		case 1:
			q.byte()
			skipLimits(q)
		case 2:
			skipLimits(q)
		case 3:
			q.byte()
			q.byte()
			m.globals++
		default:
			fail("an import of kind %d is not supported", kind)
		}
	}
}

func (m *module) typeIndex(i uint32) uint32 {
	if int(i) >= len(m.types) {
		fail("type %d does not exist", i)
	}
	return i
}

func (m *module) callee(i uint32) uint32 {
	if int(i) >= len(m.funcs) {
		fail("function %d does not exist", i)
	}
	return i
}

func (m *module) tag(i uint32) uint32 {
	if i >= m.tags {
		fail("tag %d does not exist", i)
	}
	return i
}

func skipLimits(q *reader) {
	flags := q.byte()
	q.skipLEB()
	if flags&1 != 0 {
		q.skipLEB()
	}
}

// skipLocals passes over a body's declarations and counts them.
func skipLocals(q *reader) uint32 {
	var total uint64
	for n := q.u32(); n > 0; n-- {
		total += uint64(q.u32())
		q.byte()
		if total > 1<<20 {
			fail("too many locals")
		}
	}
	return uint32(total)
}
