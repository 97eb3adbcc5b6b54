package eh

// raising finds which functions may end with an exception in flight (raises) and which hold a try (tries).
func (m *module) raising() (raises, tries []bool) {
	raises, tries = make([]bool, len(m.funcs)), make([]bool, len(m.funcs))
	callers := make([][]uint32, len(m.funcs))
	var todo []uint32
	for i, b := range m.bodies {
		f := m.imported + uint32(i)
		r := &reader{b: b}
		skipLocals(r)
		for r.more() {
			switch op := r.byte(); op {
			case opCall, opTailCall:
				if c := m.callee(r.u32()); c >= m.imported {
					if l := callers[c]; len(l) == 0 || l[len(l)-1] != f {
						callers[c] = append(l, f)
					}
				}
			case opTry:
				tries[f] = true
				skipImmediates(r, op)
			case opCallIndirect, opTailIndirect, opThrow, opRethrow:
				raises[f] = true
				skipImmediates(r, op)
			default:
				skipImmediates(r, op)
			}
		}
		if raises[f] {
			todo = append(todo, f)
		}
	}
	for len(todo) > 0 {
		f := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, c := range callers[f] {
			if !raises[c] {
				raises[c] = true
				todo = append(todo, c)
			}
		}
	}
	return raises, tries
}
