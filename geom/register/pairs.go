package register

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"firstoff/fault"
	"firstoff/geom/r3"
)

// PairFit is how an alignment by named places came out.
type PairFit struct {
	Kept []int   `json:"kept"` // indices of the pairs used
	RMS  float64 `json:"rms"`  // of those
	Max  float64 `json:"max"`
}

// Pairs is the motion that best takes from[i] to to[i], for places named on both sides: datum points, feature centres.
// Pairs off by more than within are taken for mistakes and left out; 0 uses all. Least squares over what is kept.
func Pairs(from, to []r3.Vec, within float64) (Rigid, PairFit, error) {
	if len(from) != len(to) || len(from) < 3 {
		return Stay, PairFit{}, fault.New(fault.Invalid, "register_few_pairs", "", "%d and %d places do not fix a pose; name at least 3 on both sides", len(from), len(to))
	}
	for i := range from {
		if s := from[i].X + from[i].Y + from[i].Z + to[i].X + to[i].Y + to[i].Z; math.IsNaN(s) || math.IsInf(s, 0) {
			return Stay, PairFit{}, fault.New(fault.Invalid, "register_point", "", "pair %d has a coordinate that is no number; measure it again", i)
		}
	}
	kept := make([]int, len(from))
	for i := range kept {
		kept[i] = i
	}
	if within > 0 {
		kept = agreeing(from, to, within)
		if len(kept) < 3 {
			return Stay, PairFit{}, fault.New(fault.Invalid, "register_pairs_disagree", "", "fewer than 3 pairs agree within %g; check which place belongs to which", within)
		}
	}
	g, ok := horn(from, to, kept)
	for range 5 { // let pairs join that the final motion brings close
		if !ok || within <= 0 {
			break
		}
		var next []int
		for i := range from {
			if g.Apply(from[i]).Dist(to[i]) <= within {
				next = append(next, i)
			}
		}
		if len(next) < 3 || slices.Equal(next, kept) {
			break
		}
		kept = next
		g, ok = horn(from, to, kept)
	}
	if !ok {
		return Stay, PairFit{}, fault.New(fault.Invalid, "register_pairs_in_line", "", "the places lie in one line; name one beside it")
	}
	fit := PairFit{Kept: kept}
	for _, i := range kept {
		d := g.Apply(from[i]).Dist(to[i])
		fit.RMS += d * d / float64(len(kept))
		fit.Max = math.Max(fit.Max, d)
	}
	fit.RMS = math.Sqrt(fit.RMS)
	return g, fit, nil
}

// agreeing are the pairs that go together: two pairs agree when the distance between their places is the same on both
// sides. Grown greedily from every pair, those that agree with most first; the largest set counts, the earliest of equals.
func agreeing(from, to []r3.Vec, within float64) []int {
	n := len(from)
	ok := make([][]bool, n)
	degree := make([]int, n)
	for i := range ok {
		ok[i] = make([]bool, n)
	}
	for i := range n {
		for j := i + 1; j < n; j++ {
			if math.Abs(from[i].Dist(from[j])-to[i].Dist(to[j])) <= 2*within {
				ok[i][j], ok[j][i] = true, true
				degree[i]++
				degree[j]++
			}
		}
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(degree[b], degree[a]) })
	var best []int
	for _, s := range order {
		if degree[s]+1 <= len(best) {
			continue
		}
		// Of those that agree with s, repeatedly the one that agrees with most of the rest.
		left := []int{}
		for _, j := range order {
			if ok[s][j] {
				left = append(left, j)
			}
		}
		set := []int{s}
		for len(left) > 0 && len(set)+len(left) > len(best) {
			pick, most := 0, -1
			for k, j := range left {
				c := 0
				for _, l := range left {
					if ok[j][l] {
						c++
					}
				}
				if c > most {
					pick, most = k, c
				}
			}
			j := left[pick]
			set = append(set, j)
			rest := left[:0]
			for _, l := range left {
				if l != j && ok[j][l] {
					rest = append(rest, l)
				}
			}
			left = rest
		}
		if len(set) > len(best) {
			best = set
		}
	}
	slices.Sort(best)
	return best
}

// horn is the least squares motion over the pairs in use: the eigenvector of the greatest eigenvalue of Horn's matrix.
// False if the places lie in one line, so that a turn about it is free.
func horn(from, to []r3.Vec, use []int) (Rigid, bool) {
	var a, b r3.Vec
	for _, i := range use {
		a, b = a.Add(from[i]), b.Add(to[i])
	}
	a, b = a.Mul(1/float64(len(use))), b.Mul(1/float64(len(use)))
	var s [3][3]float64
	spreadA := 0.0
	for _, i := range use {
		p, q := from[i].Sub(a).Array(), to[i].Sub(b).Array()
		for r := range 3 {
			spreadA += p[r] * p[r]
			for c := range 3 {
				s[r][c] += p[r] * q[c]
			}
		}
	}
	n := mat.NewSymDense(4, []float64{
		s[0][0] + s[1][1] + s[2][2], s[1][2] - s[2][1], s[2][0] - s[0][2], s[0][1] - s[1][0],
		0, s[0][0] - s[1][1] - s[2][2], s[0][1] + s[1][0], s[2][0] + s[0][2],
		0, 0, -s[0][0] + s[1][1] - s[2][2], s[1][2] + s[2][1],
		0, 0, 0, -s[0][0] - s[1][1] + s[2][2],
	})
	var e mat.EigenSym
	if !e.Factorize(n, true) {
		return Stay, false
	}
	v := e.Values(nil)
	if !(v[3]-v[2] > 1e-9*spreadA) || spreadA == 0 {
		return Stay, false
	}
	var q mat.Dense
	e.VectorsTo(&q)
	turn := r3.Quat{W: q.At(0, 3), X: q.At(1, 3), Y: q.At(2, 3), Z: q.At(3, 3)}.Unit()
	return Rigid{turn, b.Sub(turn.Rotate(a))}, true
}
