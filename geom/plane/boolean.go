package plane

// Rule says which winding numbers are inside.
type Rule int

// The usual rules.
const (
	NonZero  Rule = iota // not zero
	Positive             // above zero: inside-out paths are empty
	EvenOdd
)

func (r Rule) holds(n int32) bool {
	switch r {
	case NonZero:
		return n != 0
	case Positive:
		return n > 0
	}
	return n&1 != 0
}

// Union is what the paths cover by a rule, as a clean region.
func Union(r Region, rule Rule) Region {
	return operate(r, nil, func(a, _ int32) bool { return rule.holds(a) })
}

// Both is the union of two regions, each by the rule.
func Both(a, b Region, rule Rule) Region {
	return operate(a, b, func(x, y int32) bool { return rule.holds(x) || rule.holds(y) })
}

// Intersection is what both cover.
func Intersection(a, b Region, rule Rule) Region {
	return operate(a, b, func(x, y int32) bool { return rule.holds(x) && rule.holds(y) })
}

// Difference is a without b.
func Difference(a, b Region, rule Rule) Region {
	return operate(a, b, func(x, y int32) bool { return rule.holds(x) && !rule.holds(y) })
}

// Either is what exactly one of them covers.
func Either(a, b Region, rule Rule) Region {
	return operate(a, b, func(x, y int32) bool { return rule.holds(x) != rule.holds(y) })
}

// UnionWithin is Union unless the paths cross more than most times: then it gives up, ok is false. Scribbles of n edges
// may cross n² times; a caller that takes paths from strangers sets a bound.
func UnionWithin(r Region, rule Rule, most int) (u Region, ok bool) {
	return within(r, nil, most, func(a, _ int32) bool { return rule.holds(a) })
}

func operate(a, b Region, inside func(a, b int32) bool) Region {
	r, _ := within(a, b, 0, inside)
	return r
}

func within(a, b Region, most int, inside func(a, b int32) bool) (Region, bool) {
	w := workPool.Get().(*work)
	defer workPool.Put(w)
	w.most = most
	w.load(a, b)
	if len(w.edges) == 0 {
		return nil, true
	}
	if !w.split() {
		return nil, false
	}
	w.keptWhere(inside)
	return w.paths(), true
}
