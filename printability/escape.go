package printability

import (
	"fmt"
	"math"

	"firstoff/part"
)

// drainMM is the opening that lets a process's powder, resin or support out; 0 where nothing has to get out.
func drainMM(q *Question) float64 {
	p := q.Process
	switch {
	case p.EscapeHoleMM > 0:
		return p.EscapeHoleMM
	case p.Code == "MEX" && p.NeedsSupport:
		return 5 // for soluble support (process_limits.csv)
	case p.Code == "MJT":
		return 10 // water-jet access to cavities, 10 to 15 mm (process_limits.csv)
	}
	return 0
}

// escape: hollows that powder, resin or support cannot leave, with the openings they have: fewer than two of the process's drain size.
func escape(q *Question) []part.Finding {
	if q.Geometry == nil {
		return nil
	}
	gate := drainMM(q)
	if gate == 0 {
		return nil
	}
	chambers, ok := q.Geometry.chambers(gate)
	if !ok {
		return nil
	}
	p := q.Process
	var sealed, held, total float64
	var at *part.Finding
	n := 0
	for i := range chambers {
		c := &chambers[i]
		if c.VolumeMM3 < 100 || c.WidestMM < 2 { // a crease, not a hollow
			continue
		}
		n++
		total += c.VolumeMM3
		if c.Sealed {
			sealed += c.VolumeMM3
		} else {
			held += c.VolumeMM3
		}
		if at == nil {
			f := part.Finding{At: &c.At}
			at = &f
		}
	}
	if n == 0 {
		return single(q, gate)
	}
	// sealed hollows are shells of their own: their volume is exact where the bits found the same ones
	if exact := q.Geometry.cavities(); sealed > 0 && math.Abs(exact-sealed) < 0.1*exact {
		total += exact - sealed
		sealed = exact
	}
	what := "powder or resin"
	sev := Warning
	if p.EscapeHoleMM == 0 {
		what, sev = "support material", Note
		if p.Code == "MEX" {
			what = "soluble support"
		}
	}
	msg := fmt.Sprintf("%s in %s (%.2f cm³", what, many(n, "hollow"), total/1000)
	if sealed > 0 {
		msg += fmt.Sprintf(", %.2f cm³ of it sealed", sealed/1000)
	}
	f := finding(sev, string(p.Origin)+"; handbook 2.4", total/1000, 0, "cm3", "There is no way out for %s): give each two openings of %.1f mm or more at opposite ends.", msg, gate)
	f.At = at.At
	return one(f)
}

// single: a hollow with one way out only is hard to blow or rinse through.
func single(q *Question, gate float64) []part.Finding {
	p := q.Process
	if p.EscapeHoleMM == 0 {
		return nil
	}
	wide, ok := q.Geometry.chambers(2.5 * gate)
	if !ok {
		return nil
	}
	for i := range wide {
		c := &wide[i]
		if c.Sealed || c.VolumeMM3 < 1000 || len(c.Openings) != 1 {
			continue
		}
		f := finding(Note, string(p.Origin)+"; handbook 2.4: openings at opposite ends", c.Openings[0].DiameterMM, gate, "mm", "A hollow of %.1f cm³ has one way out only (about Ø%.1f mm); a second of %.1f mm at its far end lets powder or resin flow.",
			c.VolumeMM3/1000, c.Openings[0].DiameterMM, gate)
		f.At = &c.Openings[0].At
		return one(f)
	}
	return nil
}
