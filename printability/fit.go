package printability

import (
	"fmt"
	"slices"

	"firstoff/part"
)

// fit: the part against every envelope of the process, by the sorted sides of its smallest box and, with the shape at hand, in any turn.
func fit(q *Question) []part.Finding {
	o := q.Facts.OrientedMM
	if len(q.Spaces) == 0 || o[0] <= 0 {
		return nil
	}
	var large Space
	for _, s := range q.Spaces {
		e := []float64{s.Envelope.X - 2*s.EdgeMM, s.Envelope.Y - 2*s.EdgeMM, s.Envelope.Z}
		slices.Sort(e)
		b := []float64{o[0], o[1], o[2]}
		slices.Sort(b)
		if b[0] <= e[0]+1e-6 && b[1] <= e[1]+1e-6 && b[2] <= e[2]+1e-6 {
			return nil
		}
		if q.Geometry != nil && q.Geometry.fits(s) {
			return nil
		}
		if s.Envelope.X*s.Envelope.Y*s.Envelope.Z > large.Envelope.X*large.Envelope.Y*large.Envelope.Z {
			large = s
		}
	}
	e := large.Envelope
	f := finding(Stop, practice, o[0], max(e.X, e.Y, e.Z), "mm", "The part (%.0f × %.0f × %.0f mm) goes into the largest space of %s (%s, %.0f × %.0f × %.0f mm) in no pose; split and bond it.",
		o[0], o[1], o[2], q.Process.Name, large.Name, e.X, e.Y, e.Z)
	if q.Geometry != nil {
		if sp, ok := q.Geometry.Splits(q.Spaces); ok {
			f.Message = fmt.Sprintf("The part (%.0f × %.0f × %.0f mm) goes into no space of %s in any pose. In %d pieces it fits %s: %s, %.0f cm² of joint, about %.1f h to bond and blend.",
				o[0], o[1], o[2], q.Process.Name, sp.Pieces, sp.Space.Name, many(len(sp.Cuts), "cut"), sp.JointMM2/100, sp.HandsS/3600)
			f.Severity = Warning
			if q.Process.Code == "PBF-LB/M" || q.Process.Code == "CAST" || q.Process.Code == "CNC" {
				f.Severity = Stop
			}
		}
	}
	return one(f)
}
