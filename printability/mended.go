package printability

import (
	"strings"

	"firstoff/part"
)

// mended: what was changed to make the surface sound is told, so that the client can object.
func mended(q *Question) []part.Finding {
	if len(q.Facts.Mended) == 0 {
		return nil
	}
	list := q.Facts.Mended
	more := ""
	if len(list) > 4 {
		list, more = list[:4], " …"
	}
	return one(finding(Note, "handbook 2.4: mesh health", float64(len(q.Facts.Mended)), 0, "steps", "The surface was mended on our copy: %s%s", strings.Join(list, " "), more))
}
