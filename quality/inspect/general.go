package inspect

import (
	"fmt"
	"math"
	"strings"

	"firstoff/fault"
)

// step is one range of a general tolerance: sizes over the first bound up to and including the second (0: no end).
type step struct{ over, upTo, tol float64 }

// general is ISO 2768-1 (plus and minus; angles in minutes of arc by the length of the shorter side) and ISO 2768-2
// (width of a zone; withdrawn 2021 for ISO 22081 but still on drawings). The first range of a size begins at 0.5 mm
// itself; smaller sizes must be stated. Run-out has no ranges. Symmetry and run-out stand on one source only.
var general = map[Kind]map[string][]step{
	Linear: {
		"f": {{0.5, 3, 0.05}, {3, 6, 0.05}, {6, 30, 0.1}, {30, 120, 0.15}, {120, 400, 0.2}, {400, 1000, 0.3}, {1000, 2000, 0.5}},
		"m": {{0.5, 3, 0.1}, {3, 6, 0.1}, {6, 30, 0.2}, {30, 120, 0.3}, {120, 400, 0.5}, {400, 1000, 0.8}, {1000, 2000, 1.2}, {2000, 4000, 2}},
		"c": {{0.5, 3, 0.2}, {3, 6, 0.3}, {6, 30, 0.5}, {30, 120, 0.8}, {120, 400, 1.2}, {400, 1000, 2}, {1000, 2000, 3}, {2000, 4000, 4}},
		"v": {{3, 6, 0.5}, {6, 30, 1}, {30, 120, 1.5}, {120, 400, 2.5}, {400, 1000, 4}, {1000, 2000, 6}, {2000, 4000, 8}},
	},
	Radius: {
		"f": {{0.5, 3, 0.2}, {3, 6, 0.5}, {6, 0, 1}},
		"m": {{0.5, 3, 0.2}, {3, 6, 0.5}, {6, 0, 1}},
		"c": {{0.5, 3, 0.4}, {3, 6, 1}, {6, 0, 2}},
		"v": {{0.5, 3, 0.4}, {3, 6, 1}, {6, 0, 2}},
	},
	Angle: {
		"f": {{0, 10, 60}, {10, 50, 30}, {50, 120, 20}, {120, 400, 10}, {400, 0, 5}},
		"m": {{0, 10, 60}, {10, 50, 30}, {50, 120, 20}, {120, 400, 10}, {400, 0, 5}},
		"c": {{0, 10, 90}, {10, 50, 60}, {50, 120, 30}, {120, 400, 15}, {400, 0, 10}},
		"v": {{0, 10, 180}, {10, 50, 120}, {50, 120, 60}, {120, 400, 30}, {400, 0, 20}},
	},
	Flatness: {
		"H": {{0, 10, 0.02}, {10, 30, 0.05}, {30, 100, 0.1}, {100, 300, 0.2}, {300, 1000, 0.3}, {1000, 3000, 0.4}},
		"K": {{0, 10, 0.05}, {10, 30, 0.1}, {30, 100, 0.2}, {100, 300, 0.4}, {300, 1000, 0.6}, {1000, 3000, 0.8}},
		"L": {{0, 10, 0.1}, {10, 30, 0.2}, {30, 100, 0.4}, {100, 300, 0.8}, {300, 1000, 1.2}, {1000, 3000, 1.6}},
	},
	Perpendicularity: {
		"H": {{0, 100, 0.2}, {100, 300, 0.3}, {300, 1000, 0.4}, {1000, 3000, 0.5}},
		"K": {{0, 100, 0.4}, {100, 300, 0.6}, {300, 1000, 0.8}, {1000, 3000, 1}},
		"L": {{0, 100, 0.6}, {100, 300, 1}, {300, 1000, 1.5}, {1000, 3000, 2}},
	},
	Symmetry: {
		"H": {{0, 100, 0.5}, {100, 300, 0.5}, {300, 1000, 0.5}, {1000, 3000, 0.5}},
		"K": {{0, 100, 0.6}, {100, 300, 0.6}, {300, 1000, 0.8}, {1000, 3000, 1}},
		"L": {{0, 100, 0.6}, {100, 300, 1}, {300, 1000, 1.5}, {1000, 3000, 2}},
	},
	RunOut: {
		"H": {{0, 0, 0.1}},
		"K": {{0, 0, 0.2}},
		"L": {{0, 0, 0.5}},
	},
}

// General is the general tolerance of a class for a kind at a nominal size: the value that stands for plus and minus in
// mm or degrees (part 1: f, m, c, v), or the width of the zone (part 2: H, K, L).
func General(kind Kind, class string, nominal float64) (float64, error) {
	k := kind
	switch kind {
	case Diameter:
		k = Linear
	case Straightness:
		k = Flatness
	}
	table, ok := general[k]
	if !ok {
		return 0, fault.New(fault.Unsupported, "general_kind", "kind", "ISO 2768 gives no general tolerance for %s; state the limits", kind)
	}
	steps, ok := table[class]
	if !ok {
		return 0, fault.New(fault.Invalid, "general_class", "class", "ISO 2768 has no class %q for %s; sizes and angles have f, m, c, v, form and position H, K, L", class, kind)
	}
	for i, s := range steps {
		first := i == 0 && s.over > 0 && nominal == s.over && s.over == 0.5
		if (nominal > s.over || first) && (s.upTo == 0 || nominal <= s.upTo) || kind == RunOut {
			if kind == Angle {
				return s.tol / 60, nil
			}
			return s.tol, nil
		}
	}
	return 0, fault.New(fault.Unsupported, "general_size", "nominal", "ISO 2768-%s gives no tolerance for %s at %g mm; state the limits", class, kind, nominal)
}

// around are limits of plus and minus t, without the dust of binary fractions.
func around(nominal, t float64) Limits {
	const parts = 1e6
	return Within(math.Round((nominal-t)*parts)/parts, math.Round((nominal+t)*parts)/parts)
}

// WithGeneral is the characteristic with the limits of a general tolerance such as "ISO 2768-mK" or "mK", or of a grade such as "IT12", put in where
// the drawing gives none. Length is what an angle or a zone goes by; 0 means the nominal size.
func (c Characteristic) WithGeneral(callout string, length float64) (Characteristic, error) {
	if grade := strings.TrimSpace(callout); len(grade) > 2 && strings.EqualFold(grade[:2], "IT") {
		return c.withGrade(grade)
	}
	class := strings.TrimPrefix(strings.TrimSpace(callout), "ISO 2768-")
	pick := ""
	for _, r := range class {
		if s := string(r); strings.Contains("fmcv", s) != c.Kind.Zone() && strings.Contains("fmcvHKL", s) {
			pick = s
		}
	}
	if pick == "" {
		return c, fault.New(fault.Invalid, "general_callout", "callout", "%q says nothing about %s; a callout reads like ISO 2768-m, ISO 2768-mK or IT12", callout, c.Kind)
	}
	by := c.Nominal
	if length > 0 {
		by = length
	}
	t, err := General(c.Kind, pick, by)
	if err != nil {
		return c, fault.At(err, fmt.Sprintf("balloon %d", c.Balloon))
	}
	if c.Kind.Zone() {
		c.Limits = UpTo(t)
	} else {
		c.Limits = around(c.Nominal, t)
	}
	c.Source = "ISO 2768-" + pick
	return c, nil
}

// withGrade puts a tolerance grade's width symmetrically about a size (js of ISO 286-1).
func (c Characteristic) withGrade(grade string) (Characteristic, error) {
	if c.Kind != Linear && c.Kind != Diameter {
		return c, fault.New(fault.Unsupported, "grade_kind", fmt.Sprintf("balloon %d", c.Balloon), "grades are for sizes; state the limits of this %s", c.Kind)
	}
	um, err := GradeUM(c.Nominal, grade)
	if err != nil {
		return c, fault.At(err, fmt.Sprintf("balloon %d", c.Balloon))
	}
	c.Limits, c.Source = around(c.Nominal, um/2000), "js"+strings.TrimPrefix(strings.ToUpper(grade), "IT")+" of ISO 286-1"
	return c, nil
}
