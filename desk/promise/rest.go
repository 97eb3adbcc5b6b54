package promise

import (
	"math"

	"firstoff/shop/capacity"
)

// Progress says where a job stands on the floor.
type Progress struct {
	Op       int    // index of the operation it is at
	Begun    int64  // when that began to run, s since 1970; 0: it waits
	Resource string // that holds it; empty for hand work and waits
	Over     bool   // the run has ended, it waits to be unloaded
}

// Rest is what is left of a job at the instant now. A run under way is expected to take, and to spread, as a lognormal
// duration does that is known to exceed the time run so far. A rejected job is then repeated from what is left at the
// most, since what was done before is no longer in it.
func Rest(j capacity.Job, at Progress, now int64) capacity.Job {
	j.Ops = append([]capacity.Op(nil), j.Ops[at.Op:]...)
	j.RedoFrom = max(0, j.RedoFrom-at.Op)
	j.Release = 0
	if at.Begun == 0 {
		return j
	}
	op := &j.Ops[0]
	mean := op.Seconds
	for k, id := range op.Resource {
		if id == at.Resource && op.Each != nil {
			mean = op.Each[k]
		}
	}
	if mean == 0 {
		mean = op.PeopleSeconds
	}
	switch ran := float64(now - at.Begun); {
	case at.Resource == "":
		// Hand work may have been broken off for the night: at least half is taken to be left.
		op.Seconds = max(mean/2, mean-math.Max(0, ran))
	case at.Over:
		op.Seconds, op.Each, op.CV, op.FailProb = 1, nil, 0, 0
		op.RunningOn = at.Resource
	case ran <= 0:
		op.Seconds, op.Each, op.RunningOn = mean-ran, nil, at.Resource
	default:
		cv := math.Sqrt((1+op.CV*op.CV)*(1+j.CV*j.CV) - 1)
		left, sd := beyond(mean, cv, ran)
		op.FailProb *= left / (left + ran)
		op.Seconds, op.Each, op.RunningOn = left, nil, at.Resource
		op.CV = sd / left
	}
	return j
}

// beyond gives mean and standard deviation of what is left of a lognormal duration that has run for x.
func beyond(mean, cv, x float64) (left, sd float64) {
	least := math.Max(60, 0.01*mean)
	if cv == 0 || mean <= 0 {
		return math.Max(mean-x, least), 0
	}
	s := math.Sqrt(math.Log1p(cv * cv))
	z := (math.Log(mean/x) + s*s/2) / s // of the first moment's tail
	tail := func(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
	p := tail(z - s)
	if p < 1e-9 {
		return least, least
	}
	m1 := mean * tail(z) / p
	m2 := mean * mean * (1 + cv*cv) * tail(z+s) / p
	left = math.Max(m1-x, least)
	return left, math.Sqrt(math.Max(m2-m1*m1, 0))
}
