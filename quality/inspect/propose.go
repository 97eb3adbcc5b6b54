package inspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Hole is a hole found in the part, in mm.
type Hole struct {
	DiameterMM float64
	DepthMM    float64
	Through    bool
}

// Propose makes a first list of characteristics from what the part's file shows: the three sizes of its box, long to
// short, and its holes, like ones taken together (within a hundredth of a mm), each with a general tolerance class (f,
// m, c, v). A person strikes out and adds; nothing here knows the drawing. Sizes the class does not cover are listed
// without limits in skipped.
func Propose(box [3]float64, holes []Hole, class string) (cs []Characteristic, skipped []string, err error) {
	sizes := box
	slices.SortFunc(sizes[:], func(a, b float64) int { return cmp.Compare(b, a) })
	type line struct {
		name   string
		kind   Kind
		v      float64
		places int
		note   string
	}
	var lines []line
	for i, s := range sizes {
		if s > 0 && finite(s) {
			lines = append(lines, line{[]string{"length", "width", "height"}[i], Linear, s, 1, "size of the box around the part"})
		}
	}
	hs := slices.Clone(holes)
	hs = slices.DeleteFunc(hs, func(h Hole) bool { return !(h.DiameterMM > 0) || !finite(h.DiameterMM) })
	slices.SortStableFunc(hs, func(a, b Hole) int {
		through := func(h Hole) int {
			if h.Through {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(math.Round(a.DiameterMM*100), math.Round(b.DiameterMM*100)), cmp.Compare(through(a), through(b)))
	})
	for i := 0; i < len(hs); {
		j := i
		for j < len(hs) && math.Round(hs[j].DiameterMM*100) == math.Round(hs[i].DiameterMM*100) && hs[j].Through == hs[i].Through {
			j++
		}
		name, note := "hole", ""
		if hs[i].Through {
			name = "through hole"
		} else if d := hs[i].DepthMM; d > 0 {
			note = fmt.Sprintf("%.4g deep", d)
		}
		lines = append(lines, line{name, Diameter, math.Round(hs[i].DiameterMM*1000) / 1000, j - i, note})
		i = j
	}
	for _, l := range lines {
		nominal := math.Round(l.v*1000) / 1000
		c := Characteristic{Balloon: len(cs) + 1, Name: l.name, Kind: l.kind, Designator: Minor, Nominal: nominal, Unit: "mm", Places: l.places, Note: l.note}
		t, e := General(l.kind, class, nominal)
		if e != nil {
			if _, bad := general[Linear][class]; !bad {
				return nil, nil, e
			}
			skipped = append(skipped, fmt.Sprintf("%s %g mm: no general tolerance of class %s", l.name, nominal, class))
			continue
		}
		c.Limits, c.Source = around(nominal, t), "ISO 2768-"+class
		cs = append(cs, c)
	}
	return cs, skipped, nil
}
