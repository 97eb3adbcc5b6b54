package printability

import "firstoff/part"

// stroke: raised or sunk detail whose strokes are narrower than the smallest feature the process builds (handbook 2.4: text, stroke at least the
// smallest feature). The stroke of a flat is taken as twice its area over its outline: exact for long strips of one width.
func stroke(q *Question) []part.Finding {
	p := q.Process
	if q.Geometry == nil || p.MinFeatureMM <= 0 {
		return nil
	}
	var worst *step
	steps := q.Geometry.steps()
	for i := range steps {
		s := &steps[i]
		if s.stroke > 0 && s.stroke < p.MinFeatureMM-1e-3 && (worst == nil || s.stroke < worst.stroke) {
			worst = s
		}
	}
	if worst == nil {
		return nil
	}
	f := finding(Warning, string(p.Origin)+"; handbook 2.4: stroke of text", worst.stroke, p.MinFeatureMM, "mm", "Raised or sunk detail with strokes of %.2f mm is narrower than the %.2f mm that %s builds; it blurs or is left out.", worst.stroke, p.MinFeatureMM, p.Name)
	return one(q.Geometry.spot(f, worst.facets))
}
