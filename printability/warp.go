package printability

import "firstoff/part"

// warp: long flat parts curl off the plate, most of all from an unheated chamber; thick lumps beside thin walls shrink unevenly.
func warp(q *Question) []part.Finding {
	o, p := q.Facts.OrientedMM, q.Process
	var out []part.Finding
	if o[0] > 100 && o[2] > 0 && o[1] > 40 && o[2] < o[0]/20 {
		sev, limit := Warning, 100.0
		if p.Code == "CNC" || p.Code == "CAST" || q.Heated && o[0] < 250 {
			sev = Note
		}
		out = append(out, finding(sev, practice+"; handbook 2.4: flat large base", o[0], limit, "mm", "A flat of %.0f × %.0f mm and %.1f mm thickness may curl by %s; ribs or a thicker plate help.", o[0], o[1], o[2], p.Name))
	}
	if med, v, a := q.Facts.MedianWallMM, q.Facts.VolumeMM3, q.Facts.AreaMM2; med > 0 && v > 0 && a > 0 && p.Code != "CNC" {
		// twice the volume over the surface is the mean thickness: far above the usual wall means lumps
		if mean := 2 * v / a; mean > 3*med {
			out = append(out, finding(Note, "handbook 2.4: thick section over 3 × median wall", mean, 3*med, "mm", "Thick lumps (about %.1f mm) beside walls of %.1f mm shrink unevenly; hollow them.", mean, med))
		}
	}
	return out
}
