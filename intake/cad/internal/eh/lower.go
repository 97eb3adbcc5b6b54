package eh

// Names of the globals a lowered module exports: which tag is in flight plus one (0: none), and its value.
// A host finds Flag set after a call when an exception left the function it called.
const (
	Flag  = "__eh_flag"
	Value = "__eh_value"
)

// Options of Lower.
type Options struct {
	// Yield names an imported function () -> (one value) that the lowered code calls every Every turns of
	// its loops, so that a deadline is noticed and the host's own scheduler gets its turn. Empty: none.
	Yield string
	Every int32 // at least 1; 0 means 20,000
}

// Stats says what Lower met.
type Stats struct {
	Functions, Raising, Tries, Throws, Checks int
}

// Lower returns the rewritten module. It fails on a malformed module and on what the package comment
// lists as its limits.
func Lower(src []byte, opt Options) (out []byte, st Stats, err error) {
	defer func() {
		switch e := recover().(type) {
		case nil:
		case malformed:
			out, err = nil, e
		default:
			panic(e)
		}
	}()
	if opt.Every <= 0 {
		opt.Every = 20000
	}
	m := parse(src, opt.Yield)
	if opt.Yield != "" && m.yield < 0 {
		fail("no import is called %q", opt.Yield)
	}
	l := &lowering{module: m, every: opt.Every}
	l.flag, l.value, l.turns = m.globals, m.globals+1, m.globals+2
	var tries []bool
	l.raises, tries = m.raising()
	l.stats.Functions = len(m.bodies)
	for _, r := range l.raises {
		if r {
			l.stats.Raising++
		}
	}
	code := putU32(make([]byte, 0, len(src)+len(src)/3), uint32(len(m.bodies)))
	var buf []byte
	for i, b := range m.bodies {
		f := m.imported + uint32(i)
		switch {
		case l.raises[f] || tries[f]:
			buf = l.body(buf[:0], b, m.types[m.funcs[f]])
		case m.yield >= 0:
			buf = l.loops(buf[:0], b)
		default:
			buf = append(buf[:0], b...)
		}
		code = putU32(code, uint32(len(buf)))
		code = append(code, buf...)
	}
	return l.assemble(code), l.stats, nil
}

// lowering is one run of the pass.
type lowering struct {
	*module
	every              int32
	flag, value, turns uint32 // the added globals
	raises             []bool
	stats              Stats
}

// assemble puts the module together again around the new code.
func (l *lowering) assemble(code []byte) []byte {
	out := append(make([]byte, 0, len(code)+1<<20), magic...)
	emit := func(id byte, body []byte) {
		out = append(out, id)
		out = putU32(out, uint32(len(body)))
		out = append(out, body...)
	}
	globals, exports := false, false
	for _, s := range l.sections {
		// Sections that come after the two that grow: make sure those exist. Data count stands before code.
		if s.id > secGlobal && s.id <= secDataCount && !globals {
			globals = true
			emit(secGlobal, l.globalSection(nil))
		}
		if s.id > secExport && s.id <= secDataCount && !exports {
			exports = true
			emit(secExport, l.exportSection(nil))
		}
		switch s.id {
		case secTag: // tags are gone
		case secGlobal:
			globals = true
			emit(s.id, l.globalSection(s.body))
		case secExport:
			exports = true
			emit(s.id, l.exportSection(s.body))
		case secCode:
			emit(s.id, code)
		default:
			emit(s.id, s.body)
		}
	}
	return out
}

// globalSection is the old one plus the three new globals, i32, mutable, zero; turns starts at every.
func (l *lowering) globalSection(old []byte) []byte {
	var n uint32
	q := &reader{b: old}
	if len(old) > 0 {
		n = q.u32()
	}
	b := putU32(nil, n+3)
	b = append(b, old[q.p:]...)
	for _, init := range []int32{0, 0, l.every} {
		b = append(b, typeI32, 1)
		b = append(putS32(append(b, opI32Const), init), opEnd)
	}
	return b
}

// exportSection is the old one without tags, plus flag and value.
func (l *lowering) exportSection(old []byte) []byte {
	var kept []byte
	var n uint32
	if len(old) > 0 {
		q := &reader{b: old}
		for c := q.u32(); c > 0; c-- {
			at := q.p
			q.take(q.u32())
			kind := q.byte()
			q.skipLEB()
			if kind != 4 {
				kept = append(kept, old[at:q.p]...)
				n++
			}
		}
	}
	b := append(putU32(nil, n+2), kept...)
	for i, name := range []string{Flag, Value} {
		b = putU32(b, uint32(len(name)))
		b = append(b, name...)
		b = putU32(append(b, 3), l.flag+uint32(i))
	}
	return b
}
