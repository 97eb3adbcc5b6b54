package part21

import "math"

var prefixes = map[string]float64{"EXA": 1e18, "PETA": 1e15, "TERA": 1e12, "GIGA": 1e9, "MEGA": 1e6, "KILO": 1e3,
	"HECTO": 1e2, "DECA": 1e1, "DECI": 1e-1, "CENTI": 1e-2, "MILLI": 1e-3, "MICRO": 1e-6, "NANO": 1e-9,
	"PICO": 1e-12, "FEMTO": 1e-15, "ATTO": 1e-18}

// length is what one of the unit is in mm, if it is a length (ISO 10303-41: SI unit with a prefix, or defined
// by conversion from another).
func (f *File) length(id uint64, depth int) (mm float64, ok bool) {
	if depth > 8 {
		return 0, false
	}
	if a, si := f.get(id, "SI_UNIT"); si {
		// In a complex record (… SI_UNIT(prefix, name)); alone SI_UNIT(*, prefix, name).
		if len(a) == 3 {
			a = a[1:]
		}
		if arg(a, 1).Text != "METRE" {
			return 0, false
		}
		mm = 1000
		if p := arg(a, 0); p.Kind == Enum {
			scale, known := prefixes[p.Text]
			if !known {
				return 0, false
			}
			// 1000 and the prefixes are powers of ten: rounding keeps them so.
			mm = math.Pow10(int(math.Round(math.Log10(mm * scale))))
		}
		return mm, true
	}
	if a, by := f.get(id, "CONVERSION_BASED_UNIT"); by {
		for _, v := range a {
			if v.Kind != Ref {
				continue
			}
			m, ok := f.get(v.ID, "LENGTH_MEASURE_WITH_UNIT")
			if !ok {
				m, ok = f.get(v.ID, "MEASURE_WITH_UNIT")
			}
			if !ok {
				continue
			}
			if one, ok := f.length(arg(m, 1).ID, depth+1); ok {
				return one * measure(arg(m, 0)), true
			}
		}
	}
	return 0, false
}

// power is what one of a derived unit is in mm to the given power: 2 for an area, 3 for a volume.
func (f *File) power(id uint64, want float64) (float64, bool) {
	var elements []Value
	for _, w := range []string{"DERIVED_UNIT", "AREA_UNIT", "VOLUME_UNIT"} { // the latter two are derived units as well
		if a, ok := f.get(id, w); ok && len(arg(a, 0).List) > 0 {
			elements = a[0].List
			break
		}
	}
	if elements == nil {
		return 0, false
	}
	scale, total := 1.0, 0.0
	for _, e := range elements {
		el, ok := f.get(e.ID, "DERIVED_UNIT_ELEMENT")
		if !ok {
			return 0, false
		}
		mm, ok := f.length(arg(el, 0).ID, 0)
		if !ok {
			return 0, false
		}
		n := measure(arg(el, 1))
		scale *= math.Pow(mm, n)
		total += n
	}
	return scale, total == want
}

// measure is a number, or the number in a typed one such as LENGTH_MEASURE(25.4).
func measure(v Value) float64 {
	if v.Kind == Typed {
		v = arg(v.List, 0)
	}
	return v.Num
}

// contextLength is the length unit of a representation context, in mm.
func (f *File) contextLength(context uint64) (float64, bool) {
	a, ok := f.get(context, "GLOBAL_UNIT_ASSIGNED_CONTEXT")
	if !ok {
		return 0, false
	}
	for _, u := range arg(a, 0).List {
		if mm, ok := f.length(u.ID, 0); ok {
			return mm, true
		}
	}
	return 0, false
}

// Lengths are the length units of the file's representation contexts in mm, each once, in order of record, at most 16.
func (f *File) Lengths() []float64 {
	var all []float64
	f.each("GLOBAL_UNIT_ASSIGNED_CONTEXT", func(id uint64, _ []Value) {
		mm, ok := f.contextLength(id)
		ok = ok && len(all) < 16
		for _, have := range all {
			ok = ok && have != mm
		}
		if ok {
			all = append(all, mm)
		}
	})
	return all
}
