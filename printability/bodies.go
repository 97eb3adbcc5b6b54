package printability

import "firstoff/part"

// bodies: several bodies in one file may be meant as an assembly, as several parts or as one.
func bodies(q *Question) []part.Finding {
	if n := q.Facts.Bodies; n > 1 {
		return one(finding(Note, practice, float64(n), 1, "bodies", "The file holds %d bodies; they are quoted as one part as they lie.", n))
	}
	return nil
}
