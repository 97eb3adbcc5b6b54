package printability

import (
	"math"

	"firstoff/part"
)

// size: a part of less than 3 mm or more than 2 m is more often a wrong unit than a part.
func size(q *Question) []part.Finding {
	s := q.Facts.Max.Sub(q.Facts.Min)
	l := math.Max(s.X, math.Max(s.Y, s.Z))
	switch {
	case l <= 0:
		return nil
	case l < 3:
		return one(finding(Warning, practice, l, 3, "mm", "The part is only %.3g mm long; is the unit right?", l))
	case l > 2000:
		return one(finding(Warning, practice, l, 2000, "mm", "The part is %.0f mm long; is the unit right?", l))
	}
	return nil
}
