package printability

import "firstoff/part"

// warp: long flat parts curl off the plate, most of all from an unheated chamber. Castings and milled parts have no plate to curl off.
func warp(q *Question) []part.Finding {
	o, p := q.Facts.OrientedMM, q.Process
	if p.Code == "CNC" || p.Code == "CAST" || !(o[0] > 100 && o[2] > 0 && o[1] > 40 && o[2] < o[0]/20) {
		return nil
	}
	sev := Warning
	if p.Code == "MJT" || p.Code == "VPP" || q.Heated && o[0] < 250 {
		sev = Note // little heat goes in, or it is kept warm
	}
	return one(finding(sev, practice+"; handbook 2.4: flat large base", o[0], 100, "mm", "A flat of %.0f × %.0f mm and %.1f mm thickness may curl by %s; ribs or a thicker plate help.", o[0], o[1], o[2], p.Name))
}
