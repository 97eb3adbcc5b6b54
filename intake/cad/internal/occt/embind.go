package occt

import (
	"context"
	"math"
	"strings"

	"github.com/tetratelabs/wazero/api"
)

// imported is one function the guest may import, by its C name.
type imported struct {
	params, results []api.ValueType
	fn              func(s *session, m api.Module, st []uint64)
}

const (
	i32 = api.ValueTypeI32
	f64 = api.ValueTypeF64
)

func i32s(n int) []api.ValueType {
	r := make([]api.ValueType, n)
	for i := range r {
		r[i] = i32
	}
	return r
}

// imports lists everything the host provides.
func imports() map[string]imported {
	t := map[string]imported{}
	embindTypes(t)
	embindValues(t)
	systemCalls(t)
	return t
}

// embindTypes: the guest names its types and functions when it starts.
func embindTypes(t map[string]imported) {
	register := func(name string, params int, f func(m api.Memory, st []uint64) cType) {
		t["__embind_register_"+name] = imported{params: i32s(params), results: nil, fn: func(s *session, m api.Module, st []uint64) {
			s.types = append(s.types, namedType{uint32(st[0]), f(m.Memory(), st)})
		}}
	}
	register("void", 2, func(api.Memory, []uint64) cType { return cType{k: tVoid, name: "void"} })
	register("bool", 4, func(api.Memory, []uint64) cType { return cType{k: tBool, name: "bool", size: 1} })
	register("integer", 5, func(m api.Memory, st []uint64) cType { // id, name, size, lowest, highest
		return cType{k: tInt, name: cString(m, uint32(st[1])), size: uint32(st[2]), signed: int32(st[3]) != 0}
	})
	register("float", 3, func(m api.Memory, st []uint64) cType {
		return cType{k: tFloat, name: cString(m, uint32(st[1])), size: uint32(st[2])}
	})
	register("emval", 1, func(api.Memory, []uint64) cType { return cType{k: tHandle, name: "val"} })
	register("std_string", 2, func(m api.Memory, st []uint64) cType {
		return cType{k: tString, name: cString(m, uint32(st[1]))}
	})
	register("std_wstring", 3, func(m api.Memory, st []uint64) cType {
		return cType{k: tOther, name: cString(m, uint32(st[2]))}
	})
	register("memory_view", 3, func(m api.Memory, st []uint64) cType {
		return cType{k: tOther, name: cString(m, uint32(st[2]))}
	})
	// 64-bit integers cross in a form that depends on the build; no function here takes one.
	t["__embind_register_bigint"] = imported{fn: func(*session, api.Module, []uint64) {}}
	t["__embind_register_function"] = imported{params: i32s(8), results: nil, fn: func(s *session, m api.Module, st []uint64) {
		name, _, _ := strings.Cut(cString(m.Memory(), uint32(st[0])), "(")
		s.funcs[name] = &boundFunc{args: int(uint32(st[1])), invoker: uint32(st[4]), fn: uint32(st[5])}
	}}
}

// embindValues: the guest builds its answer out of values it holds by handle.
func embindValues(t map[string]imported) {
	def := func(name string, params, results int, fn func(s *session, m api.Module, st []uint64)) {
		t["__emval_"+name] = imported{params: i32s(params), results: i32s(results), fn: fn}
	}
	def("incref", 1, 0, func(s *session, _ api.Module, st []uint64) { s.h.retain(uint32(st[0])) })
	def("decref", 1, 0, func(s *session, m api.Module, st []uint64) {
		s.h.release(uint32(st[0]))
		if s.bulk.armed > 0 {
			s.swap(m.Memory())
		}
	})
	def("new_array", 0, 1, func(s *session, _ api.Module, st []uint64) {
		st[0] = uint64(s.h.put(value{k: kArray, p: &array{}}))
	})
	def("new_object", 0, 1, func(s *session, _ api.Module, st []uint64) {
		st[0] = uint64(s.h.put(value{k: kObject, p: &object{}}))
	})
	def("new_cstring", 1, 1, func(s *session, m api.Module, st []uint64) {
		st[0] = uint64(s.h.put(value{k: kString, p: cString(m.Memory(), uint32(st[0]))}))
	})
	def("take_value", 2, 1, func(s *session, m api.Module, st []uint64) {
		st[0] = uint64(s.h.put(s.fromWire(m.Memory(), s.typ(uint32(st[0])), uint32(st[1]))))
	})
	def("get_property", 2, 1, func(s *session, _ api.Module, st []uint64) {
		st[0] = uint64(s.h.put(s.property(s.h.get(uint32(st[0])), s.h.get(uint32(st[1])))))
	})
	def("set_property", 3, 0, func(s *session, _ api.Module, st []uint64) {
		s.setProperty(s.h.get(uint32(st[0])), s.h.get(uint32(st[1])), s.h.get(uint32(st[2])))
	})
	t["__emval_as"] = imported{params: i32s(3), results: []api.ValueType{f64}, fn: func(s *session, m api.Module, st []uint64) {
		v := s.h.get(uint32(st[0]))
		st[0] = math.Float64bits(s.toWire(m.Memory(), s.typ(uint32(st[1])), v, uint32(st[2])))
	}}
	def("run_destructors", 1, 0, func(s *session, _ api.Module, st []uint64) {
		if list, ok := s.h.get(uint32(st[0])).p.([]uint32); ok {
			for _, p := range list {
				s.guestFree(p)
			}
		}
		s.h.release(uint32(st[0]))
	})
	// The only global asked for is Object, for Object.prototype.hasOwnProperty.call(params, key).
	def("get_global", 1, 1, func(s *session, _ api.Module, st []uint64) {
		proto, global := &object{}, &object{}
		proto.set("hasOwnProperty", value{k: kFunction})
		global.set("prototype", value{k: kObject, p: proto})
		st[0] = uint64(s.h.put(value{k: kObject, p: global}))
	})
	def("get_method_caller", 3, 1, func(s *session, m api.Module, st []uint64) {
		var c caller
		if uint32(st[0]) > 16 || len(s.calls) > 1<<16 {
			panic(guestFault("a call with too many arguments"))
		}
		for i := range uint32(st[0]) {
			t := *s.typ(readU32(m.Memory(), uint32(st[1])+4*i))
			if i == 0 {
				c.result = t
			} else {
				c.args = append(c.args, t)
			}
		}
		s.calls = append(s.calls, c)
		st[0] = uint64(len(s.calls) - 1)
	})
	t["__emval_call_method"] = imported{params: i32s(5), results: []api.ValueType{f64}, fn: func(s *session, m api.Module, st []uint64) {
		if uint64(uint32(st[0])) >= uint64(len(s.calls)) {
			panic(guestFault("a call it never prepared"))
		}
		c, mem := &s.calls[uint32(st[0])], m.Memory()
		of, name := s.h.get(uint32(st[1])), cString(mem, uint32(st[2]))
		var args []value
		for i := range c.args {
			args = append(args, s.fromWire(mem, &c.args[i], uint32(st[4])+uint32(8*i)))
		}
		if of.k != kFunction || name != "call" || len(args) != 2 {
			panic(guestFault("the method " + name))
		}
		has := false
		if o, ok := args[0].p.(*object); ok {
			k, _ := args[1].p.(string)
			_, has = o.get(k)
		}
		st[0] = math.Float64bits(s.toWire(mem, &c.result, boolean(has), uint32(st[3])))
	}}
}

// bind makes a wazero function out of an imported one, for whichever session is running.
func (k *Kernel) bind(f imported) api.GoModuleFunc {
	return func(_ context.Context, m api.Module, st []uint64) { f.fn(k.session, m, st) }
}
