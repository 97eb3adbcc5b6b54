package eh

import "math/rand/v2"

// drawn is a module drawn at random: functions (i32, i32) -> i32 that nest blocks, loops, tries, catches and
// delegates, throw, rethrow and call each other directly and through a table. Its exports are "f0", "t0",
// "t1" (the tags) and "fuel"; it imports "h"."log" (i32) -> (). It always ends: functions only call those
// after them, and a loop without fuel returns.
func drawn(seed uint64) []byte {
	const functions = 5
	g := &drawer{r: rand.New(rand.NewPCG(seed, 17)), functions: functions}
	var code []byte
	code = putU32(code, functions)
	for i := range functions {
		g.fn, g.labels, g.budget = uint32(i), nil, 60
		var b []byte
		b = append(b, 1, 4, typeI32) // four locals besides the two parameters
		b = g.statements(b, 4)
		b = g.expr(b, 2)
		b = append(b, opEnd)
		code = putU32(code, uint32(len(b)))
		code = append(code, b...)
	}
	name := func(b []byte, s string) []byte { return append(putU32(b, uint32(len(s))), s...) }
	out := []byte(magic)
	sec := func(id byte, b []byte) {
		out = append(out, id)
		out = append(putU32(out, uint32(len(b))), b...)
	}
	sec(secType, []byte{3,
		0x60, 2, typeI32, typeI32, 1, typeI32,
		0x60, 1, typeI32, 0,
		0x60, 0, 1, typeI32})
	imp := []byte{2}
	imp = append(name(name(imp, "h"), "log"), 0, 1)
	imp = append(name(name(imp, "h"), "yield"), 0, 2)
	sec(secImport, imp)
	fn := []byte{functions}
	for range functions {
		fn = append(fn, 0)
	}
	sec(secFunction, fn)
	sec(4, []byte{1, typeFuncRef, 0, functions})
	sec(secTag, []byte{2, 0, 1, 0, 1})
	sec(secGlobal, append(putS32([]byte{1, typeI32, 1, opI32Const}, 200), opEnd))
	ex := []byte{3}
	ex = append(name(ex, "f0"), 0, 2)
	ex = append(name(ex, "t0"), 4, 0)
	ex = append(name(ex, "t1"), 4, 1)
	sec(secExport, ex)
	el := []byte{1, 0, opI32Const, 0, opEnd, functions}
	for i := range functions {
		el = append(el, byte(2+i))
	}
	sec(9, el)
	sec(secCode, code)
	return out
}

type drawer struct {
	r         *rand.Rand
	functions int
	fn        uint32
	labels    []byte // opcode of each open block; opCatch for a try in a catch
	budget    int
}

func (g *drawer) local() uint32 { return uint32(g.r.IntN(6)) }

func (g *drawer) put(b []byte, op byte, v uint32) []byte { return putU32(append(b, op), v) }

// expr leaves one i32.
func (g *drawer) expr(b []byte, depth int) []byte {
	g.budget--
	if depth <= 0 || g.budget < 0 {
		if g.r.IntN(2) == 0 {
			return g.put(b, opLocalGet, g.local())
		}
		return putS32(append(b, opI32Const), int32(g.r.IntN(9)-2))
	}
	switch g.r.IntN(6) {
	case 0, 1: // an operand waits on the stack while the other may raise
		b = g.expr(b, depth-1)
		b = g.expr(b, depth-1)
		return append(b, []byte{0x6a, opI32Sub, 0x73, 0x46}[g.r.IntN(4)])
	case 2:
		return g.call(b, depth-1)
	case 3: // try (result i32) … catch … end
		b = append(b, opTry, typeI32)
		g.labels = append(g.labels, opTry)
		b = g.statements(b, depth-1)
		b = g.expr(b, depth-1)
		g.labels[len(g.labels)-1] = opCatch
		if g.r.IntN(2) == 0 {
			b = g.put(b, opCatch, uint32(g.r.IntN(2)))
		} else {
			b = append(b, opCatchAll)
			b = g.statements(b, depth-1)
			b = g.expr(b, depth-1)
		}
		g.labels = g.labels[:len(g.labels)-1]
		return append(b, opEnd)
	default:
		return g.expr(b, 0)
	}
}

func (g *drawer) call(b []byte, depth int) []byte {
	left := g.functions - 1 - int(g.fn)
	if left == 0 {
		return g.expr(b, 0)
	}
	to := g.fn + 1 + uint32(g.r.IntN(left))
	b = g.expr(b, depth)
	b = g.expr(b, depth)
	if g.r.IntN(3) == 0 {
		b = putS32(append(b, opI32Const), int32(to))
		return append(b, opCallIndirect, 0, 0)
	}
	return g.put(b, opCall, 2+to)
}

func (g *drawer) statements(b []byte, depth int) []byte {
	for n := 1 + g.r.IntN(3); n > 0 && g.budget > 0; n-- {
		b = g.statement(b, depth)
	}
	return b
}

func (g *drawer) statement(b []byte, depth int) []byte {
	g.budget--
	if depth <= 0 {
		b = g.expr(b, 1)
		return g.put(b, opCall, 0) // log
	}
	in := func(op byte) { g.labels = append(g.labels, op) }
	out := func() { g.labels = g.labels[:len(g.labels)-1] }
	switch g.r.IntN(14) {
	case 0, 1:
		b = g.expr(b, 2)
		return g.put(b, opLocalSet, g.local())
	case 2:
		b = append(b, opBlock, typeEmpty)
		in(opBlock)
		b = g.statements(b, depth-1)
		out()
		return append(b, opEnd)
	case 3:
		b = append(b, opLoop, typeEmpty)
		in(opLoop)
		b = g.put(b, opGlobalGet, 0)
		b = append(b, opI32Const, 1, opI32Sub)
		b = g.put(b, opGlobalSet, 0)
		b = g.put(b, opGlobalGet, 0)
		b = append(b, opI32Const, 0, 0x4c, opIf, typeEmpty, opI32Const, 42, opReturn, opEnd) // le_s
		b = g.statements(b, depth-1)
		b = g.expr(b, 1)
		b = append(b, opBrIf, 0)
		out()
		return append(b, opEnd)
	case 4:
		b = g.expr(b, 1)
		b = append(b, opIf, typeEmpty)
		in(opIf)
		b = g.statements(b, depth-1)
		if g.r.IntN(2) == 0 {
			b = append(b, opElse)
			b = g.statements(b, depth-1)
		}
		out()
		return append(b, opEnd)
	case 5, 6, 7:
		b = append(b, opTry, typeEmpty)
		in(opTry)
		b = g.statements(b, depth-1)
		if g.r.IntN(4) == 0 { // delegate names a label outside the try, the function's own included
			out()
			return g.put(b, opDelegate, uint32(g.r.IntN(len(g.labels)+1)))
		}
		g.labels[len(g.labels)-1] = opCatch
		for n := g.r.IntN(3); n > 0; n-- {
			b = g.put(b, opCatch, uint32(g.r.IntN(2)))
			b = g.put(b, opLocalSet, g.local())
			b = g.statements(b, depth-1)
		}
		if g.r.IntN(2) == 0 {
			b = append(b, opCatchAll)
			b = g.statements(b, depth-1)
		}
		out()
		return append(b, opEnd)
	case 8, 9: // sometimes throw
		b = g.expr(b, 1)
		b = append(b, opIf, typeEmpty)
		b = g.expr(b, 1)
		b = g.put(b, opThrow, uint32(g.r.IntN(2)))
		return append(b, opEnd)
	case 10: // rethrow from any catch around
		for i := range g.labels {
			if d := len(g.labels) - 1 - i; g.labels[d] == opCatch && g.r.IntN(2) == 0 {
				b = g.expr(b, 1)
				b = append(b, opIf, typeEmpty)
				b = g.put(b, opRethrow, uint32(i+1))
				return append(b, opEnd)
			}
		}
	case 11: // branch out, past loops too
		if n := len(g.labels); n > 0 {
			d := g.r.IntN(n)
			if g.labels[n-1-d] != opLoop && !g.valued(n-1-d) {
				b = g.expr(b, 1)
				return g.put(b, opBrIf, uint32(d))
			}
		}
	case 12:
		b = g.call(b, 1)
		return g.put(b, opLocalSet, g.local())
	}
	b = g.expr(b, 1)
	return g.put(b, opCall, 0)
}

// valued says whether the label may want a value: tries may be of either sort, so none is branched to by
// the statements; TestLowerByHand covers those.
func (g *drawer) valued(i int) bool { return g.labels[i] == opTry || g.labels[i] == opCatch }
