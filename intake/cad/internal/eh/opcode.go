package eh

// The instructions this pass must know by name; all others are copied.
const (
	opUnreachable  = 0x00
	opBlock        = 0x02
	opLoop         = 0x03
	opIf           = 0x04
	opElse         = 0x05
	opTry          = 0x06
	opCatch        = 0x07
	opThrow        = 0x08
	opRethrow      = 0x09
	opThrowRef     = 0x0a
	opEnd          = 0x0b
	opBr           = 0x0c
	opBrIf         = 0x0d
	opBrTable      = 0x0e
	opReturn       = 0x0f
	opCall         = 0x10
	opCallIndirect = 0x11
	opTailCall     = 0x12
	opTailIndirect = 0x13
	opDelegate     = 0x18
	opCatchAll     = 0x19
	opDrop         = 0x1a
	opSelectTyped  = 0x1c
	opTryTable     = 0x1f
	opLocalGet     = 0x20
	opLocalSet     = 0x21
	opGlobalGet    = 0x23
	opGlobalSet    = 0x24
	opTableSet     = 0x26
	opLoadFirst    = 0x28
	opStoreLast    = 0x3e
	opMemorySize   = 0x3f
	opMemoryGrow   = 0x40
	opI32Const     = 0x41
	opI64Const     = 0x42
	opF32Const     = 0x43
	opF64Const     = 0x44
	opI32Eqz       = 0x45
	opI32Eq        = 0x46
	opI32Sub       = 0x6b
	opRefNull      = 0xd0
	opRefFunc      = 0xd2
	opMisc         = 0xfc
	opVector       = 0xfd
	opAtomic       = 0xfe

	typeI32, typeI64, typeF32, typeF64, typeV128 = 0x7f, 0x7e, 0x7d, 0x7c, 0x7b
	typeFuncRef, typeExternRef                   = 0x70, 0x6f
	typeEmpty                                    = 0x40
)

// skipImmediates passes over what follows opcode op in the code.
func skipImmediates(r *reader, op byte) {
	switch {
	case op == opBlock, op == opLoop, op == opIf, op == opTry, // a block type
		op == opBr, op == opBrIf, op == opCall, op == opTailCall,
		op == opThrow, op == opCatch, op == opRethrow, op == opDelegate,
		op >= opLocalGet && op <= opTableSet,
		op == opMemorySize, op == opMemoryGrow, op == opI32Const, op == opI64Const,
		op == opRefNull, op == opRefFunc:
		r.skipLEB()
	case op == opBrTable:
		for n := r.u32(); n > 0; n-- {
			r.skipLEB()
		}
		r.skipLEB()
	case op == opCallIndirect, op == opTailIndirect:
		r.skipLEB()
		r.skipLEB()
	case op == opSelectTyped:
		r.take(r.u32())
	case op >= opLoadFirst && op <= opStoreLast:
		skipMemArg(r)
	case op == opF32Const:
		r.take(4)
	case op == opF64Const:
		r.take(8)
	case op == opMisc:
		switch s := r.u32(); {
		case s <= 7: // saturating truncation
		case s == 9, s == 11, s == 13, s >= 15 && s <= 17:
			r.skipLEB()
		case s == 8, s == 10, s == 12, s == 14:
			r.skipLEB()
			r.skipLEB()
		default:
			fail("instruction fc %d is not known", s)
		}
	case op == opVector:
		switch s := r.u32(); {
		case s <= 11, s == 92, s == 93: // loads and stores
			skipMemArg(r)
		case s == 12, s == 13: // constant, shuffle
			r.take(16)
		case s >= 21 && s <= 34: // lanes
			r.byte()
		case s >= 84 && s <= 91: // loads and stores of a lane
			skipMemArg(r)
			r.byte()
		}
	case op == opAtomic, op == opTryTable, op == opThrowRef:
		fail("instruction %#x is not supported", op)
	}
}

func skipMemArg(r *reader) {
	if r.u32()&0x40 != 0 { // a memory index follows
		r.skipLEB()
	}
	r.skipLEB()
}
