package printability

import "firstoff/part"

// gap: clearance between faces that must come apart or move.
func gap(q *Question) []part.Finding {
	g, p := q.Facts.MinGapMM, q.Process
	if g <= 0 || p.MinGapMM <= 0 || g >= p.MinGapMM {
		return nil
	}
	sev := Warning
	if q.Facts.Bodies > 1 {
		sev = Stop
	}
	return one(at(finding(sev, string(p.Origin), g, p.MinGapMM, "mm", "Gaps of %.2f mm fuse or clog by %s; leave %.2f mm.", g, p.Name, p.MinGapMM), q.Facts.Narrow))
}
