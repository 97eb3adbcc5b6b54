package printability

import "firstoff/part"

// lump: the largest ball that fits inside against the usual wall: over three times as thick, it shrinks late, warps and, in metal, tears
// (handbook 2.4).
func lump(q *Question) []part.Finding {
	p := q.Process
	if q.Geometry == nil || p.Code == "CNC" || q.Facts.MedianWallMM <= 0 {
		return nil
	}
	d, at, ok := q.Geometry.widest()
	if !ok || d < 12 || d <= 3*q.Facts.MedianWallMM {
		return nil
	}
	sev := Note
	if p.Code == "PBF-LB/M" || p.Code == "CAST" {
		sev = Warning
	}
	f := finding(sev, "handbook 2.4: inscribed sphere over 3 × median wall", d, 3*q.Facts.MedianWallMM, "mm", "A lump of %.1f mm beside walls of %.1f mm: hollow it or even it out.", d, q.Facts.MedianWallMM)
	f.At = &at
	return one(f)
}
