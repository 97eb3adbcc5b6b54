package printability

import "firstoff/part"

// hole: round holes under the smallest that comes out open, and such as are too deep to be cleaned.
func hole(q *Question) []part.Finding {
	if q.Geometry == nil {
		return nil
	}
	p := q.Process
	var out []part.Finding
	small, deep := 0, 0
	var worst, long *Cylinder
	all := q.Geometry.Cylinders()
	for i := range all {
		c := &all[i]
		if !c.Hole {
			continue
		}
		if c.DiameterMM < p.MinHoleMM-1e-3 {
			if small++; worst == nil || c.DiameterMM < worst.DiameterMM {
				worst = c
			}
		}
		if p.EscapeHoleMM > 0 && c.LengthMM > 10*c.DiameterMM {
			if deep++; long == nil || c.LengthMM/c.DiameterMM > long.LengthMM/long.DiameterMM {
				long = c
			}
		}
	}
	if worst != nil {
		f := finding(Warning, string(p.Origin), worst.DiameterMM, p.MinHoleMM, "mm", "%s under Ø%.2f mm (the smallest Ø%.2f): closed or undersize by %s; drill afterwards.", many(small, "hole"), p.MinHoleMM, worst.DiameterMM, p.Name)
		out = append(out, placed(f, worst))
	}
	if long != nil {
		f := finding(Note, "handbook 2.4: depth/diameter up to 10 for blow-out", long.LengthMM/long.DiameterMM, 10, "", "%s deeper than ten diameters (Ø%.2f, %.0f mm): what is left inside is hard to clear.", many(deep, "hole"), long.DiameterMM, long.LengthMM)
		out = append(out, placed(f, long))
	}
	return out
}

func placed(f part.Finding, c *Cylinder) part.Finding {
	f.At, f.Facets = &c.At, few(c.Facets)
	return f
}
