package printability

import "firstoff/part"

// slender: a part ten times as long as thick bends while it is built, handled and measured.
func slender(q *Question) []part.Finding {
	o := q.Facts.OrientedMM
	if o[1] <= 0 || o[0] < 30 {
		return nil
	}
	if r := o[0] / o[1]; r > 10 {
		return one(finding(Warning, practice+": slenderness over 10", r, 10, "", "The part is %.0f times as long as wide; it bends and tips. Lay it down, and agree how it is measured.", r))
	}
	return nil
}
