package calibrate

import (
	"math"
	"slices"

	"firstoff/desk/estimate"
)

// Accuracy is how estimates did against actuals, as e = ln(actual/estimate): 0.05 is five per cent too low.
type Accuracy struct {
	Builds  int     `json:"builds"`
	Bias    float64 `json:"bias"`    // mean of e, gross outliers (beyond 4 spreads of the median) left out
	Spread  float64 `json:"spread"`  // standard deviation of e, likewise
	Median  float64 `json:"median"`  // of e, all builds
	P90     float64 `json:"p90"`     // nine of ten actuals lie within so much of the estimate, either way; all builds
	Outside int     `json:"outside"` // gross outliers
}

// Judge holds factors against builds; aborted ones do not count.
func Judge(bs []Build, f estimate.Factors) Accuracy {
	var e []float64
	for _, b := range bs {
		if est := b.Estimated(f); !b.Aborted && est > 0 && b.ActualH > 0 {
			e = append(e, math.Log(b.ActualH/est))
		}
	}
	return accuracy(e)
}

func accuracy(e []float64) Accuracy {
	a := Accuracy{Builds: len(e)}
	if len(e) == 0 {
		return a
	}
	a.Median = median(e)
	off := make([]float64, len(e))
	size := make([]float64, len(e))
	for i, v := range e {
		off[i], size[i] = v-a.Median, math.Abs(v)
	}
	limit := 4 * mad(off)
	if len(e) < 5 || limit == 0 {
		limit = math.Inf(1)
	}
	n := 0
	for i, v := range e {
		if math.Abs(off[i]) <= limit {
			a.Bias += v
			n++
		}
	}
	a.Bias /= float64(n)
	for i, v := range e {
		if math.Abs(off[i]) <= limit {
			a.Spread += (v - a.Bias) * (v - a.Bias)
		}
	}
	if n > 1 {
		a.Spread = math.Sqrt(a.Spread / float64(n-1))
	}
	a.Outside = len(e) - n
	slices.Sort(size)
	a.P90 = size[min(len(size)-1, int(math.Ceil(0.9*float64(len(size))))-1)]
	return a
}

// Quantile is the factor on an estimate that the actual stays below with the chance of standard normal z:
// exp(bias + z·spread).
func (a Accuracy) Quantile(z float64) float64 { return math.Exp(a.Bias + z*a.Spread) }

// Drift watches one machine's log errors for a change: an exponentially weighted mean with limits (lambda 0.2, 3 standard
// deviations of that mean in the long run).
type Drift struct {
	Spread float64 `json:"spread"` // of single errors, as calibrated
	Mean   float64 `json:"mean"`   // the weighted mean now
	Seen   int     `json:"seen"`
	Far    int     `json:"far,omitempty"` // gross errors in a row, signed
	Alarm  int     `json:"alarm"`         // 1 slower than estimated, −1 faster, 0 even
	Since  int     `json:"since"`         // the number of the build that raised it, from 1
}

// Drift settings.
const (
	driftLambda = 0.2
	driftLimit  = 3
	driftFar    = 4 // an error of more spreads than this is a failed build, not a drift, unless the next two are like it
)

// DriftLimit is the distance of the mean from zero that raises the alarm: 3·spread·√(λ/(2−λ)).
func DriftLimit(spread float64) float64 {
	return driftLimit * spread * math.Sqrt(driftLambda/(2-driftLambda))
}

// Next is the watch after one more build with log error e = ln(actual/estimate). An alarm stays until a new set is adopted
// and the watch begins anew.
func (d Drift) Next(e float64) Drift {
	d.Seen++
	if !finite(e) || !(d.Spread > 0) {
		return d
	}
	if math.Abs(e) > driftFar*d.Spread {
		step := 1
		if e < 0 {
			step = -1
		}
		if d.Far*step < 0 {
			d.Far = 0
		}
		if d.Far += step; d.Far*step < 3 {
			return d
		}
		e = float64(step) * driftFar * d.Spread
	} else {
		d.Far = 0
	}
	d.Mean = driftLambda*e + (1-driftLambda)*d.Mean
	if d.Alarm == 0 && math.Abs(d.Mean) > DriftLimit(d.Spread) {
		d.Since = d.Seen
		if d.Alarm = 1; d.Mean < 0 {
			d.Alarm = -1
		}
	}
	return d
}
