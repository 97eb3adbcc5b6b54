package calibrate

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"firstoff/fault"
)

// Regression is an ordinary least squares fit.
type Regression struct {
	Coef       []float64
	SE         []float64 // standard errors
	Residual   []float64
	Leverage   []float64 // diagonal of the hat matrix
	ResidualSD float64
	SSResidual float64
	SSModel    float64 // about the mean with an intercept, about zero without
	R2         float64
	F          float64
	DF         int // n − p
}

// Regress fits y to the columns of x (one row an observation) by Householder QR of the columns scaled to like size, with
// one round of refinement. about says that the model has an intercept among its columns, so that sums of squares are
// taken about the mean.
func Regress(x [][]float64, y []float64, about bool) (Regression, error) {
	n := len(x)
	if n == 0 || len(y) != n || len(x[0]) == 0 || n <= len(x[0])-1 {
		return Regression{}, fault.New(fault.Invalid, "regress_shape", "", "a fit needs at least as many observations as coefficients")
	}
	p := len(x[0])
	scale := make([]float64, p)
	for i := range x {
		if len(x[i]) != p || !finite(y[i]) {
			return Regression{}, fault.New(fault.Invalid, "regress_values", "", "observation %d is not complete", i+1)
		}
		for j, v := range x[i] {
			if !finite(v) {
				return Regression{}, fault.New(fault.Invalid, "regress_values", "", "observation %d is not complete", i+1)
			}
			scale[j] = math.Max(scale[j], math.Abs(v))
		}
	}
	a := mat.NewDense(n, p, nil)
	for i := range x {
		for j, v := range x[i] {
			if scale[j] > 0 {
				a.Set(i, j, v/scale[j])
			}
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	if c := qr.Cond(); math.IsInf(c, 1) || c > 1e15 {
		return Regression{}, fault.New(fault.Invalid, "regress_dependent", "", "the terms cannot be told apart in these observations; leave one out")
	}
	b := mat.NewVecDense(n, append([]float64(nil), y...))
	beta, fix, r := mat.NewVecDense(p, nil), mat.NewVecDense(p, nil), mat.NewVecDense(n, nil)
	// A poorly conditioned system is solved all the same; its condition was judged above.
	_ = qr.SolveVecTo(beta, false, b)
	out := Regression{Coef: make([]float64, p), SE: make([]float64, p), Residual: make([]float64, n), Leverage: make([]float64, n), DF: n - p}
	residual := func() {
		for i := range n {
			v := y[i]
			c := 0.0
			for j := range p {
				// fused multiply-add keeps the product's last digits
				t := math.FMA(-a.At(i, j), beta.AtVec(j), v)
				c += math.FMA(-a.At(i, j), beta.AtVec(j), v-t)
				v = t
			}
			r.SetVec(i, v+c)
		}
	}
	for range 2 {
		residual()
		_ = qr.SolveVecTo(fix, false, r)
		beta.AddVec(beta, fix)
	}
	residual()
	var q, rr mat.Dense
	qr.QTo(&q)
	qr.RTo(&rr)
	mean := 0.0
	for i := range n {
		mean += y[i] / float64(n)
	}
	total := 0.0
	for i := range n {
		e := r.AtVec(i)
		out.Residual[i] = e
		out.SSResidual += e * e
		m := y[i]
		if about {
			m -= mean
		}
		total += m * m
		for j := range p {
			out.Leverage[i] += q.At(i, j) * q.At(i, j)
		}
	}
	dfModel := p
	if about {
		dfModel--
	}
	// The model's own sum of squares directly: as a difference it would lose digits where the fit is close.
	for i := range n {
		f := y[i] - out.Residual[i]
		if about {
			f -= mean
		}
		out.SSModel += f * f
	}
	if total > 0 {
		out.R2 = 1 - out.SSResidual/total
	}
	if out.DF > 0 {
		out.ResidualSD = math.Sqrt(out.SSResidual / float64(out.DF))
		if dfModel > 0 && out.SSResidual > 0 {
			out.F = out.SSModel / float64(dfModel) / (out.SSResidual / float64(out.DF))
		}
	}
	up := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			up.SetTri(i, j, rr.At(i, j))
		}
	}
	var inv mat.TriDense
	if err := inv.InverseTri(up); err != nil {
		if _, poor := err.(mat.Condition); !poor {
			return Regression{}, fault.New(fault.Invalid, "regress_dependent", "", "the terms cannot be told apart in these observations; leave one out")
		}
	}
	for j := range p {
		s := 0.0
		for k := j; k < p; k++ {
			s += inv.At(j, k) * inv.At(j, k)
		}
		out.Coef[j] = beta.AtVec(j)
		out.SE[j] = out.ResidualSD * math.Sqrt(s)
		if scale[j] > 0 {
			out.Coef[j] /= scale[j]
			out.SE[j] /= scale[j]
		}
	}
	return out, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
