package printability

import "firstoff/part"

// lump: the largest ball that fits inside against the usual wall. Over three times as thick, and the body thin on the whole, it shrinks late:
// castings sink, sintered parts warp, metal tears (handbook 2.4). Processes that put little heat in do not mind.
func lump(q *Question) []part.Finding {
	p, f := q.Process, q.Facts
	sev := ""
	switch p.Code {
	case "PBF-LB/M", "CAST", "BJT":
		sev = Warning
	case "PBF-LB/P", "PBF-IrL/P":
		sev = Note
	}
	if sev == "" || q.Geometry == nil || f.MedianWallMM <= 0 || f.AreaMM2 <= 0 {
		return nil
	}
	most := f.OrientedMM[2] // no ball is wider than the box
	if limit := max(12, 3*f.MedianWallMM, 4*2*f.VolumeMM3/f.AreaMM2); most > 0 && most <= limit {
		return nil
	}
	d, at, ok := q.Geometry.widest()
	// a block has walls of a third of its width by volume over half its surface: only bodies that are thin elsewhere count
	if !ok || d < 12 || d <= 3*f.MedianWallMM || d <= 4*2*f.VolumeMM3/f.AreaMM2 {
		return nil
	}
	out := finding(sev, "handbook 2.4: inscribed sphere over 3 × median wall", d, 3*f.MedianWallMM, "mm", "A lump of %.1f mm beside walls of %.1f mm: hollow it or even it out.", d, f.MedianWallMM)
	out.At = &at
	return one(out)
}
