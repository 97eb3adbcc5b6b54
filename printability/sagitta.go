package printability

import (
	"math"
	"sort"

	"firstoff/part"
)

// Sagitta is the error e = r·(1 − cos(π/n)) of an n-gon on radius r (handbook 2.4). For a chord of length c turning by
// θ to the next it is c/2·tan(θ/4), which needs no radius.
func Sagitta(chord, turn float64) float64 { return chord / 2 * math.Tan(math.Abs(turn)/4) }

// sagitta: facets that stray from the curve by more than a fifth of the tolerance decide the size of the part, not the machine.
func sagitta(q *Question) []part.Finding {
	if q.Geometry == nil {
		return nil
	}
	tol := q.Requirement.ToleranceMM
	said := tol > 0
	if !said {
		tol = 0.5 // nothing asked: a fifth of it is what an eye sees
	}
	type at struct {
		e, w float64
		i    int
	}
	var all []at
	var total float64
	edges := q.Geometry.sharp()
	// between a fair curve and a corner that is meant: 2° to 40°
	fair := func(x *edge) bool {
		t := math.Abs(x.turn)
		return t >= 2*math.Pi/180 && t <= 40*math.Pi/180
	}
	// a face of a curve goes on as a curve to two sides at least; a bevel between flats does not
	sides := map[int32]int{}
	for i := range edges {
		if x := &edges[i]; fair(x) {
			sides[x.a]++
			sides[x.b]++
		}
	}
	for i := range edges {
		x := &edges[i]
		if !fair(x) || sides[x.a] < 2 || sides[x.b] < 2 {
			continue
		}
		w := x.length * x.across
		all = append(all, at{Sagitta(x.across, x.turn), w, i})
		total += w
	}
	if len(all) < 8 {
		return nil
	}
	sort.Slice(all, func(i, j int) bool { return all[i].e < all[j].e || all[i].e == all[j].e && all[i].i < all[j].i })
	var run float64
	var worst at
	for _, a := range all {
		run += a.w
		worst = a
		if run >= 0.95*total {
			break
		}
	}
	if worst.e <= tol/5 {
		return nil
	}
	p := edges[worst.i].at
	sev, why := Note, "what shows"
	if said {
		sev, why = Warning, "a fifth of the tolerance asked"
	}
	f := finding(sev, "handbook 2.4: mesh resolution, e = r(1 − cos(π/n))", worst.e, tol/5, "mm",
		"The facets stray %.3f mm from the curves they stand for, more than %s (%.3f mm); export finer.", worst.e, why, tol/5)
	f.At = &p
	return one(f)
}
