package printability

import "firstoff/part"

// openSurface: a surface that does not close encloses nothing; what was mended is a guess.
func openSurface(q *Question) []part.Finding {
	if q.Facts.Closed || q.Facts.Triangles == 0 {
		return nil
	}
	if q.Facts.VolumeMM3 <= 0 {
		return one(finding(Stop, "handbook 2.4: mesh health", 0, 0, "", "The surface is open and encloses no volume; send a closed body."))
	}
	return one(finding(Warning, "handbook 2.4: mesh health", 0, 0, "", "The surface is not closed as received; volume, price and shape rest on how we closed it."))
}
