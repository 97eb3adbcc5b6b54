package part21

import "strings"

// Stated is what the exporter wrote about the whole part: mm³, mm², mm. Zero and nil where it did not.
type Stated struct {
	Volume, Area float64
	Centroid     *[3]float64
}

// Stated reads the geometric validation properties of the file's one top product, or nil. Where the exporter
// stated them for the product's shape those count; else those of its only solid.
func (f *File) Stated() *Stated {
	p := f.products()
	top := p.top()
	best := map[string]int{} // how good the value is that was taken: 2 of the product, 1 of an aspect of it
	s := &Stated{}
	take := func(what string, rank int) bool {
		if rank <= best[what] {
			return false
		}
		best[what] = rank
		return true
	}
	several := map[string]int{}
	work := maxWork
	f.eachPlain("PROPERTY_DEFINITION_REPRESENTATION", func(_ uint64, a []Value) {
		def := f.args(arg(a, 0).ID)
		if f.word(arg(a, 0).ID) != "PROPERTY_DEFINITION" || !strings.EqualFold(strings.TrimSpace(arg(def, 0).Text), "geometric validation property") {
			return
		}
		rank := f.rank(arg(def, 2).ID, top)
		if rank == 0 {
			return
		}
		rep := f.args(arg(a, 1).ID)
		unit, haveUnit := f.contextLength(arg(rep, 2).ID)
		items := arg(rep, 1).List
		if work -= 1 + len(items); work < 0 {
			return
		}
		for _, item := range items {
			what, v, xyz, ok := f.item(item.ID, unit)
			if !ok || what == "centroid" && !haveUnit {
				continue
			}
			if rank == 1 {
				several[what]++
			}
			if !take(what, rank) {
				continue
			}
			switch what {
			case "volume":
				s.Volume = v
			case "area":
				s.Area = v
			case "centroid":
				s.Centroid = &xyz
			}
		}
	})
	// Several aspects, none of them the whole: say nothing.
	if best["volume"] == 1 && several["volume"] > 1 {
		s.Volume = 0
	}
	if best["area"] == 1 && several["area"] > 1 {
		s.Area = 0
	}
	if best["centroid"] == 1 && several["centroid"] > 1 {
		s.Centroid = nil
	}
	if s.Volume == 0 && s.Area == 0 && s.Centroid == nil {
		return nil
	}
	return s
}

// rank says how directly a property's bearer is the whole part.
func (f *File) rank(bearer, top uint64) int {
	switch f.word(bearer) {
	case "PRODUCT_DEFINITION", "PRODUCT_DEFINITION_WITH_ASSOCIATED_DOCUMENTS":
		if bearer == top {
			return 2
		}
	case "PRODUCT_DEFINITION_SHAPE":
		if top != 0 && arg(f.args(bearer), 2).ID == top {
			return 2
		}
	case "SHAPE_ASPECT":
		if pds := arg(f.args(bearer), 2).ID; f.rank(pds, top) == 2 {
			return 1
		}
	}
	return 0
}

// item reads one value of a validation property's representation.
func (f *File) item(id uint64, contextMM float64) (what string, v float64, xyz [3]float64, ok bool) {
	if a, is := f.get(id, "CARTESIAN_POINT"); is {
		if !strings.EqualFold(strings.TrimSpace(arg(a, 0).Text), "centre point") {
			return "", 0, xyz, false
		}
		c := arg(a, 1).List
		if len(c) != 3 {
			return "", 0, xyz, false
		}
		for i := range xyz {
			xyz[i] = c[i].Num * contextMM
		}
		return "centroid", 0, xyz, true
	}
	// MEASURE_REPRESENTATION_ITEM(name, value, unit), or (… MEASURE_WITH_UNIT(value, unit) …).
	a, is := f.get(id, "MEASURE_REPRESENTATION_ITEM")
	if is && len(a) == 3 {
		a = a[1:]
	} else if a, is = f.get(id, "MEASURE_WITH_UNIT"); !is || len(a) != 2 {
		return "", 0, xyz, false
	}
	switch a[0].Text {
	case "VOLUME_MEASURE", "POSITIVE_VOLUME_MEASURE":
		scale, ok := f.power(a[1].ID, 3)
		return "volume", measure(a[0]) * scale, xyz, ok
	case "AREA_MEASURE", "POSITIVE_AREA_MEASURE":
		scale, ok := f.power(a[1].ID, 2)
		return "area", measure(a[0]) * scale, xyz, ok
	}
	return "", 0, xyz, false
}
