package printability

import "firstoff/part"

// wall: the local thickness, its 5th percentile by area.
func wall(q *Question) []part.Finding {
	w, p := q.Facts.MinWallMM, q.Process
	if w <= 0 {
		return nil
	}
	src := string(p.Origin)
	one := func(f part.Finding) []part.Finding { return one(at(f, q.Facts.Thin)) }
	switch {
	case q.RoadMM > 0 && w < q.RoadMM:
		return one(finding(Stop, src, w, q.RoadMM, "mm", "Walls of %.2f mm are thinner than one road (%.2f mm).", w, q.RoadMM))
	case w < p.MinFeatureMM:
		return one(finding(Stop, src, w, p.MinFeatureMM, "mm", "Walls of %.2f mm are thinner than anything %s builds (%.2f mm).", w, p.Name, p.MinFeatureMM))
	case w < p.MinWallHeldMM:
		return one(finding(Warning, src, w, p.MinWallHeldMM, "mm", "Walls of %.2f mm are below the %.2f mm that hold when supported on two sides.", w, p.MinWallHeldMM))
	case w < p.MinWallFreeMM:
		return one(finding(Note, src, w, p.MinWallFreeMM, "mm", "Walls of %.2f mm hold where ribs carry them; free-standing ones want %.2f mm.", w, p.MinWallFreeMM))
	}
	return nil
}

// at gives a finding its place, if it has one.
func at(f part.Finding, p *part.Place) part.Finding {
	if p != nil {
		at := p.At
		f.At, f.Facets = &at, few(p.Facets)
	}
	return f
}
