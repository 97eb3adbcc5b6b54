package printability

import "firstoff/part"

// pin: round pins under the smallest feature, and pins longer than ten diameters.
func pin(q *Question) []part.Finding {
	if q.Geometry == nil {
		return nil
	}
	p := q.Process
	var out []part.Finding
	all := q.Geometry.Cylinders()
	thin, slim := 0, 0
	var worst, long *Cylinder
	for i := range all {
		c := &all[i]
		if c.Hole || c.LengthMM < c.DiameterMM {
			continue
		}
		if c.DiameterMM < p.MinWallFreeMM {
			if thin++; worst == nil || c.DiameterMM < worst.DiameterMM {
				worst = c
			}
		} else if c.LengthMM > 10*c.DiameterMM {
			if slim++; long == nil || c.LengthMM/c.DiameterMM > long.LengthMM/long.DiameterMM {
				long = c
			}
		}
	}
	if worst != nil {
		sev := Warning
		if worst.DiameterMM < p.MinFeatureMM {
			sev = Stop
		}
		out = append(out, placed(finding(sev, string(p.Origin), worst.DiameterMM, p.MinWallFreeMM, "mm", "%s under Ø%.2f mm (the thinnest Ø%.2f, %.1f mm long): they break off or do not form; use metal dowels.", many(thin, "pin"), p.MinWallFreeMM, worst.DiameterMM, worst.LengthMM), worst))
	}
	if long != nil {
		out = append(out, placed(finding(Warning, "handbook 2.4: slenderness over 10", long.LengthMM/long.DiameterMM, 10, "", "%s longer than ten diameters (Ø%.2f, %.0f mm): they bend while built and cleaned.", many(slim, "pin"), long.DiameterMM, long.LengthMM), long))
	}
	return out
}
