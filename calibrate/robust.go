package calibrate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Tuning of the robust fit (95 % as sharp as least squares where errors are normal).
const (
	huber   = 1.345
	tukey   = 4.685
	fitRuns = 60
)

// robust fits y to x with coefficients that are not negative, pulled to prior with weight shrink builds; age weights fade
// old builds. It gives the coefficients, the final weight of every row (0 for gross outliers; age not included), and the
// scale of the errors.
//
// First Huber's weights from the prior, then Tukey's, which forget what lies far off. Rows of uncommon terms are held
// back by their leverage.
func robust(x [][]float64, y, age, prior []float64, shrink float64) (beta, weight []float64, scale float64) {
	n, p := len(x), len(prior)
	guard := leverageGuard(x, age)
	// The shrinkage counts as shrink rows like the mean one that say prior. A part of it goes to each coefficient alone, so
	// that terms which always grow together are not pulled apart by noise.
	const alone = 0.2
	ridge := mat.NewSymDense(p, nil)
	total := 0.0
	for i := range n {
		total += age[i]
	}
	for j := range p {
		for k := j; k < p; k++ {
			sum := 0.0
			for i := range n {
				sum += age[i] * x[i][j] * x[i][k]
			}
			if k > j {
				sum *= 1 - alone
			}
			ridge.SetSym(j, k, shrink*sum/math.Max(total, 1e-300))
		}
	}
	weight = make([]float64, n)
	beta = slices.Clone(prior)
	resid := make([]float64, n)
	measure := func() {
		for i := range n {
			resid[i] = y[i]
			for j := range p {
				resid[i] -= x[i][j] * beta[j]
			}
		}
		scale = mad(resid)
	}
	// Begin with the level alone, so that a machine that is slow in everything is not taken for a row of outliers.
	measure()
	ratio := make([]float64, 0, n)
	for i := range n {
		if f := y[i] - resid[i]; f > 0 {
			ratio = append(ratio, y[i]/f)
		}
	}
	if len(ratio) >= 3 {
		level := median(ratio)
		for j := range p {
			beta[j] *= level
		}
	}
	solve := func() {
		a, b := mat.NewSymDense(p, nil), make([]float64, p)
		a.CopySym(ridge)
		for j := range p {
			for k := range p {
				b[j] += ridge.At(j, k) * prior[k]
			}
		}
		for i := range n {
			w := age[i] * weight[i]
			for j := range p {
				for k := j; k < p; k++ {
					a.SetSym(j, k, a.At(j, k)+w*x[i][j]*x[i][k])
				}
				b[j] += w * x[i][j] * y[i]
			}
		}
		if next, ok := nonNegative(a, b); ok {
			beta = next
		}
	}
	for run := range fitRuns {
		measure()
		s := math.Max(scale, 1e-9)
		for i, r := range resid {
			u := math.Abs(r) / s
			switch {
			case run < 15:
				weight[i] = math.Min(1, huber/math.Max(u, 1e-12)) * guard[i]
			case u < tukey:
				weight[i] = (1 - u*u/(tukey*tukey)) * (1 - u*u/(tukey*tukey)) * guard[i]
			default:
				weight[i] = 0
			}
		}
		old := slices.Clone(beta)
		solve()
		moved := 0.0
		for j := range p {
			moved = math.Max(moved, math.Abs(beta[j]-old[j]))
		}
		if run >= 15 && moved < 1e-10 {
			break
		}
	}
	measure()
	return beta, weight, scale
}

// leverageGuard is at most 1, and less for rows whose terms are unlike the others': 2p/n over their leverage.
func leverageGuard(x [][]float64, age []float64) []float64 {
	n, p := len(x), len(x[0])
	g := make([]float64, n)
	a := mat.NewSymDense(p, nil)
	for j := range p {
		for k := j; k < p; k++ {
			s := 0.0
			for i := range n {
				s += x[i][j] * x[i][k] * age[i]
			}
			if j == k {
				s += 1e-12
			}
			a.SetSym(j, k, s)
		}
	}
	var c mat.Cholesky
	for i := range g {
		g[i] = 1
	}
	if n <= 2*p || !c.Factorize(a) {
		return g
	}
	total := 0.0
	for _, v := range age {
		total += v
	}
	for i := range n {
		v, s := mat.NewVecDense(p, slices.Clone(x[i])), mat.NewVecDense(p, nil)
		if err := c.SolveVecTo(s, v); err != nil {
			if _, poor := err.(mat.Condition); !poor {
				continue
			}
		}
		if h := mat.Dot(v, s); h > 0 {
			g[i] = math.Min(1, 3*float64(p)/total/h)
		}
	}
	return g
}

// nonNegative solves a·beta = b with no coefficient below zero: the best of all choices of which are held at zero. There
// are few coefficients, so all choices are tried.
func nonNegative(a *mat.SymDense, b []float64) ([]float64, bool) {
	p := len(b)
	best, found, value := make([]float64, p), false, math.Inf(1)
	for choice := 0; choice < 1<<p; choice++ {
		var use []int
		for j := range p {
			if choice&(1<<j) != 0 {
				use = append(use, j)
			}
		}
		beta := make([]float64, p)
		if len(use) > 0 {
			s, r := mat.NewSymDense(len(use), nil), mat.NewVecDense(len(use), nil)
			for i, j := range use {
				r.SetVec(i, b[j])
				for k := i; k < len(use); k++ {
					s.SetSym(i, k, a.At(j, use[k]))
				}
			}
			var c mat.Cholesky
			if !c.Factorize(s) {
				continue
			}
			v := mat.NewVecDense(len(use), nil)
			if err := c.SolveVecTo(v, r); err != nil {
				if _, poor := err.(mat.Condition); !poor {
					continue
				}
			}
			good := true
			for i, j := range use {
				beta[j] = v.AtVec(i)
				good = good && beta[j] >= 0 && finite(beta[j])
			}
			if !good {
				continue
			}
		}
		f := 0.0
		for j := range p {
			f -= 2 * b[j] * beta[j]
			for k := range p {
				f += beta[j] * beta[k] * a.At(j, k)
			}
		}
		if f < value {
			best, value, found = beta, f, true
		}
	}
	return best, found
}

func median(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	n := len(s)
	if n == 0 {
		return math.NaN()
	}
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// mad is the median size of residuals as a standard deviation.
func mad(r []float64) float64 {
	a := make([]float64, len(r))
	for i, v := range r {
		a[i] = math.Abs(v)
	}
	return 1.4826 * median(a)
}
