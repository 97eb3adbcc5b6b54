package eh

// frame is one open block of the source while its new form is written.
//
// Levels count open labels in the new code from the outside: 0 is the function itself.
type frame struct {
	op       byte // 0 for the function, else block, loop, if, try
	level    int  // the new label that a branch to this frame means
	landing  int  // of a try while in its body: the label where its exceptions go
	slot     uint32
	catching bool // of a try: past its body
	all      bool // of a try: in catch_all
	delegate bool // of a try: ends with delegate, opened no landing block
}

// emitter writes one function.
type emitter struct {
	*lowering
	o      []byte
	frames []frame
	depth  int    // open labels in the new code, the function's own included
	saved  uint32 // first of the locals that keep what was caught: two a nesting depth of catches
	catch  uint32 // catches open now
	deep   uint32 // most ever open
}

// loops copies the body of a function that neither raises nor tries, with a yield in its loops.
func (l *lowering) loops(o, b []byte) []byte {
	r := &reader{b: b}
	skipLocals(r)
	e := &emitter{lowering: l, o: append(o, b[:r.p]...)}
	from := r.p
	for r.more() {
		op := r.byte()
		skipImmediates(r, op)
		if op == opLoop {
			e.o = append(e.o, b[from:r.p]...)
			from = r.p
			e.turn()
		}
	}
	return append(e.o, b[from:]...)
}

// body writes a function that raises or tries, as
//
//	block        ;; level 1: where exceptions nobody here catches go
//	  (the source's instructions)
//	  return
//	end
//	zeros of the result types
func (l *lowering) body(o, b []byte, t funcType) []byte {
	r := &reader{b: b}
	locals := skipLocals(r)
	start := r.p
	delegates := delegatesOf(&reader{b: b, p: start})
	e := &emitter{lowering: l, saved: uint32(len(t.params)) + locals}
	e.o = append(make([]byte, 0, len(b)+len(b)/3), opBlock, typeEmpty)
	e.frames = append(e.frames, frame{})
	e.depth = 2
	for r.more() {
		at := r.p
		op := r.byte()
		switch op {
		case opBlock, opLoop, opIf:
			skipImmediates(r, op)
			e.o = append(e.o, b[at:r.p]...)
			e.open(frame{op: op, level: e.depth})
			if op == opLoop {
				e.turn()
			}
		case opElse:
			if e.top().op != opIf {
				fail("an else without its if")
			}
			e.o = append(e.o, op)
		case opTry:
			e.try(r, &delegates)
		case opCatch:
			e.arm(int64(l.tag(r.u32())))
		case opCatchAll:
			e.arm(-1)
		case opDelegate:
			r.skipLEB()
			if f := e.top(); f.op != opTry || !f.delegate {
				fail("a delegate without its try")
			}
			e.close()
		case opEnd:
			if len(e.frames) == 1 {
				if r.more() {
					fail("code after the end of a function")
				}
				e.o = append(e.o, opReturn, opEnd)
				e.zeros(t.results)
				e.o = append(e.o, opEnd)
				e.frames = e.frames[:0]
				break
			}
			e.end()
		case opBr, opBrIf:
			e.branch(op, e.label(r.u32()).level)
		case opBrTable:
			n := r.u32()
			e.o = putU32(append(e.o, op), n)
			for i := uint64(0); i <= uint64(n); i++ {
				e.o = putU32(e.o, uint32(e.depth-1-e.label(r.u32()).level))
			}
		case opThrow:
			l.stats.Throws++
			tag := l.tag(r.u32())
			e.globalSet(l.value)
			e.i32(int32(tag) + 1)
			e.globalSet(l.flag)
			e.branch(opBr, e.handler(len(e.frames)-1))
		case opRethrow:
			f := e.label(r.u32())
			if f.op != opTry || !f.catching {
				fail("a rethrow outside its catch")
			}
			e.localGet(f.slot + 1)
			e.globalSet(l.value)
			e.localGet(f.slot)
			e.globalSet(l.flag)
			e.branch(opBr, e.handler(len(e.frames)-1))
		case opCall:
			c := l.callee(r.u32())
			e.o = append(e.o, b[at:r.p]...)
			if l.raises[c] {
				e.check()
			}
		case opCallIndirect:
			skipImmediates(r, op)
			e.o = append(e.o, b[at:r.p]...)
			e.check()
		case opTailCall, opTailIndirect:
			// The frame is gone when the callee runs: what it raises is the caller's business.
			skipImmediates(r, op)
			e.o = append(e.o, b[at:r.p]...)
		default:
			skipImmediates(r, op)
			e.o = append(e.o, b[at:r.p]...)
		}
		if len(e.frames) == 0 && r.more() {
			fail("code after the end of a function")
		}
	}
	if len(e.frames) != 0 {
		fail("a function without its end")
	}
	// The declarations, with one more group when something was caught, then the code.
	d := &reader{b: b}
	groups := d.u32()
	if e.deep > 0 {
		o = putU32(o, groups+1)
		o = append(o, b[d.p:start]...)
		o = append(putU32(o, 2*e.deep), typeI32)
	} else {
		o = append(o, b[:start]...)
	}
	return append(o, e.o...)
}

// delegatesOf lists, for each try in order of opening, the label its delegate names, or -1 when it ends otherwise.
func delegatesOf(r *reader) []int64 {
	var list []int64
	var open []int // index into list, -1 for other blocks
	for r.more() {
		switch op := r.byte(); op {
		case opBlock, opLoop, opIf:
			open = append(open, -1)
			skipImmediates(r, op)
		case opTry:
			open = append(open, len(list))
			list = append(list, -1)
			skipImmediates(r, op)
		case opEnd:
			if len(open) > 0 {
				open = open[:len(open)-1]
			}
		case opDelegate:
			to := r.u32()
			if len(open) == 0 || open[len(open)-1] < 0 {
				fail("a delegate without its try")
			}
			list[open[len(open)-1]] = int64(to)
			open = open[:len(open)-1]
		default:
			skipImmediates(r, op)
		}
	}
	return list
}

func (e *emitter) top() *frame { return &e.frames[len(e.frames)-1] }

// label is the frame that a branch of the given depth names.
func (e *emitter) label(depth uint32) *frame {
	if uint64(depth) >= uint64(len(e.frames)) {
		fail("a branch leaves its function")
	}
	return &e.frames[len(e.frames)-1-int(depth)]
}

// handler is the label where an exception goes that is raised in frame i.
func (e *emitter) handler(i int) int {
	for ; i >= 0; i-- {
		if f := &e.frames[i]; f.op == opTry && !f.catching {
			return f.landing
		}
	}
	return 1
}

func (e *emitter) open(f frame) {
	e.frames = append(e.frames, f)
	e.depth++
}

// close ends the innermost frame's own label.
func (e *emitter) close() {
	e.o = append(e.o, opEnd)
	e.depth--
	e.frames = e.frames[:len(e.frames)-1]
}

func (e *emitter) try(r *reader, delegates *[]int64) {
	e.stats.Tries++
	at := r.p
	r.skipLEB()
	bt := r.b[at:r.p]
	if len(bt) > 1 || bt[0] < typeEmpty { // not a value type and not empty: the index of a function type
		q := reader{b: bt}
		if len(e.types[e.typeIndex(q.u32())].params) > 0 {
			fail("a try with parameters")
		}
	}
	f := frame{op: opTry, level: e.depth}
	to := (*delegates)[0]
	*delegates = (*delegates)[1:]
	e.o = append(append(e.o, opBlock), bt...)
	if to >= 0 {
		f.delegate = true
		if to >= int64(len(e.frames)) {
			fail("a delegate leaves its function")
		}
		f.landing = e.handler(len(e.frames) - 1 - int(to))
		e.open(f)
		return
	}
	f.landing = e.depth + 1
	e.open(f)
	e.o = append(e.o, opBlock, typeEmpty)
	e.depth++
}

// arm begins the catch of a tag, or catch_all for -1.
func (e *emitter) arm(tag int64) {
	f := e.top()
	if f.op != opTry || f.delegate || f.all {
		fail("a catch without its try")
	}
	// The end of the body, or of the arm before: its values go out.
	e.branch(opBr, f.level)
	e.o = append(e.o, opEnd)
	e.depth--
	if !f.catching {
		f.catching = true
		f.slot = e.saved + 2*e.catch
		e.catch++
		e.deep = max(e.deep, e.catch)
		e.globalGet(e.flag)
		e.localSet(f.slot)
		e.globalGet(e.value)
		e.localSet(f.slot + 1)
	}
	if tag < 0 {
		f.all = true
		e.o = append(e.o, opBlock, typeEmpty)
	} else {
		e.localGet(f.slot)
		e.i32(int32(tag) + 1)
		e.o = append(e.o, opI32Eq, opIf, typeEmpty)
	}
	e.depth++
	e.i32(0)
	e.globalSet(e.flag)
	if tag >= 0 {
		e.localGet(f.slot + 1)
	}
}

// end closes a block, loop, if or try.
func (e *emitter) end() {
	f := *e.top()
	if f.op == opTry {
		if f.delegate {
			fail("a delegate without its try")
		}
		e.branch(opBr, f.level)
		e.o = append(e.o, opEnd) // of the last arm, or of the body when there was no catch
		e.depth--
		if f.all {
			e.o = append(e.o, opUnreachable)
		} else { // not caught here: the flag still stands, on outwards
			e.branch(opBr, e.handler(len(e.frames)-2))
		}
		if f.catching {
			e.catch--
		}
	}
	e.close()
}

func (e *emitter) branch(op byte, level int) {
	e.o = putU32(append(e.o, op), uint32(e.depth-1-level))
}

func (e *emitter) globalGet(g uint32) { e.o = putU32(append(e.o, opGlobalGet), g) }
func (e *emitter) globalSet(g uint32) { e.o = putU32(append(e.o, opGlobalSet), g) }
func (e *emitter) localGet(l uint32)  { e.o = putU32(append(e.o, opLocalGet), l) }
func (e *emitter) localSet(l uint32)  { e.o = putU32(append(e.o, opLocalSet), l) }
func (e *emitter) i32(v int32)        { e.o = putS32(append(e.o, opI32Const), v) }

// check follows a call that may have raised.
func (e *emitter) check() {
	e.stats.Checks++
	e.globalGet(e.flag)
	e.branch(opBrIf, e.handler(len(e.frames)-1))
}

// turn counts one turn of a loop down and yields at zero.
func (e *emitter) turn() {
	if e.yield < 0 {
		return
	}
	e.globalGet(e.turns)
	e.i32(1)
	e.o = append(e.o, opI32Sub)
	e.globalSet(e.turns)
	e.globalGet(e.turns)
	e.o = append(e.o, opI32Eqz, opIf, typeEmpty)
	e.i32(e.every)
	e.globalSet(e.turns)
	e.o = putU32(append(e.o, opCall), uint32(e.yield))
	e.o = append(e.o, opDrop, opEnd)
}

// zeros pushes a zero of each type.
func (e *emitter) zeros(types []byte) {
	for _, t := range types {
		switch t {
		case typeI32:
			e.o = append(e.o, opI32Const, 0)
		case typeI64:
			e.o = append(e.o, opI64Const, 0)
		case typeF32:
			e.o = append(e.o, opF32Const, 0, 0, 0, 0)
		case typeF64:
			e.o = append(e.o, opF64Const, 0, 0, 0, 0, 0, 0, 0, 0)
		case typeV128:
			e.o = append(append(e.o, opVector, 12), make([]byte, 16)...)
		case typeFuncRef, typeExternRef:
			e.o = append(e.o, opRefNull, t)
		default:
			fail("a result of type %#x is not supported", t)
		}
	}
}
