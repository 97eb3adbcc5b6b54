package schedule

// A rule orders the operations that compete for a machine when a plan is built from nothing.
type rule int

const (
	mostWork   rule = iota // longest remaining work of the job first
	shortest               // shortest operation
	mostSteps              // most operations left
	leastSlack             // least slack to the due date, else most work
	soonest                // earliest start, ties by most work: close to non-delay
	byChance               // any
	ruleCount
)

// dispatch builds an active plan (Giffler and Thompson 1960): at each step the operation that could end first names the
// machine, and among those that could begin there before that end the rule chooses. With a choice of machines each
// operation counts for the one on which it would end first. blur in [0, 1] mixes chance into the rule.
func (in *instance) dispatch(ru rule, blur float64, rnd *chance) *plan {
	s := &plan{order: make([]int32, 0, in.n), mach: make([]int32, in.n)}
	work := make([]int64, in.n) // shortest work from the operation to the job's end
	for j := range in.jobs {
		sum := int64(0)
		for i := in.first[j+1] - 1; i >= in.first[j]; i-- {
			sum += int64(in.shortest(i))
			work[i] = sum
		}
	}
	next := append([]int32(nil), in.first[:in.jobs]...)
	ready := make([]int64, in.jobs)
	free := make([]int64, in.mach)
	last := make([]int32, in.mach)
	for m := range last {
		last[m] = -1
	}
	load := make([]int64, in.mach)
	for j := range ready {
		ready[j] = int64(in.release[j])
	}
	bestM := make([]int32, in.jobs)
	start := make([]int64, in.jobs)
	end := make([]int64, in.jobs)
	noise := make([]float64, in.jobs)
	for j := range noise {
		noise[j] = rnd.unit()
	}
	open := make([]int32, in.jobs) // jobs with operations left
	for j := range open {
		open[j] = int32(j)
	}
	stale := make([]bool, in.jobs)
	for j := range stale {
		stale[j] = true
	}
	for len(open) > 0 {
		first := int32(-1)
		for _, j := range open {
			if stale[j] || bestM[j] >= 0 && start[j] < free[bestM[j]] {
				i := next[j]
				bestM[j] = -1
				for a := in.altAt[i]; a < in.altAt[i+1]; a++ {
					m := in.altM[a]
					st := free[m]
					if last[m] >= 0 {
						st += int64(in.setup(m, last[m], i))
					}
					st = max(st, ready[j])
					e := st + int64(in.altP[a])
					if b := bestM[j]; b < 0 || e < end[j] || e == end[j] && load[m] < load[b] {
						bestM[j], start[j], end[j] = m, st, e
					}
				}
				stale[j] = false
			}
			if first < 0 || end[j] < end[first] {
				first = j
			}
		}
		m, cut := bestM[first], end[first]
		pick, pickV := int32(-1), 0.0
		for _, j := range open {
			if bestM[j] != m || start[j] >= cut && j != first {
				continue
			}
			i := next[j]
			var v float64
			switch ru {
			case mostWork:
				v = float64(work[i])
			case shortest:
				v = -float64(end[j] - start[j])
			case mostSteps:
				v = float64(in.first[j+1] - i)
			case leastSlack:
				if in.due[j] == noDue {
					v = float64(work[i]) - 1e12
				} else {
					v = -float64(in.due[j] - start[j] - work[i])
					if in.weight[j] > 0 && v < 0 {
						v /= in.weight[j]
					} else {
						v *= in.weight[j]
					}
				}
			case soonest:
				v = -float64(start[j]) + float64(work[i])*1e-9
			case byChance:
				v = rnd.unit()
			}
			if blur > 0 && ru != byChance {
				if v >= 0 {
					v *= 1 + blur*(noise[j]-0.5+0.5*(rnd.unit()-0.5))
				} else {
					v *= 1 - blur*(noise[j]-0.5+0.5*(rnd.unit()-0.5))
				}
			}
			if pick < 0 || v > pickV {
				pick, pickV = j, v
			}
		}
		i := next[pick]
		s.order = append(s.order, i)
		s.mach[i] = m
		free[m], last[m] = end[pick], i
		load[m] += end[pick] - start[pick]
		ready[pick] = end[pick]
		s.value = max(s.value, float64(end[pick]))
		next[pick]++
		stale[pick] = true
		if next[pick] == in.first[pick+1] {
			for x, j := range open {
				if j == pick {
					open = append(open[:x], open[x+1:]...)
					break
				}
			}
		}
		// A machine that has been given work changes what others see there.
		for _, j := range open {
			if in.flex || bestM[j] == m {
				if in.can(next[j], m) {
					stale[j] = true
				}
			}
		}
	}
	return s
}

func (in *instance) can(i, m int32) bool {
	for a := in.altAt[i]; a < in.altAt[i+1]; a++ {
		if in.altM[a] == m {
			return true
		}
	}
	return false
}
