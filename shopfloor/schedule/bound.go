package schedule

import (
	"math"
	"sort"
)

// bound gives a value no plan can be below.
func (in *instance) bound() float64 {
	if in.p.Objective == WeightedTardiness {
		return in.boundTardiness()
	}
	heads, tails := in.headsAndTails()
	best := int64(0)
	for i := range int32(in.n) {
		best = max(best, heads[i]+int64(in.shortest(i))+tails[i])
	}
	best = max(best, in.boundMachines(heads, tails))
	return float64(max(best, in.boundLoad(heads, tails)))
}

// headsAndTails are the shortest work before and after each operation within its job.
func (in *instance) headsAndTails() (heads, tails []int64) {
	heads, tails = make([]int64, in.n), make([]int64, in.n)
	for j := range in.jobs {
		t := int64(in.release[j])
		for i := in.first[j]; i < in.first[j+1]; i++ {
			heads[i] = t
			t += int64(in.shortest(i))
		}
		t = 0
		for i := in.first[j+1] - 1; i >= in.first[j]; i-- {
			tails[i] = t
			t += int64(in.shortest(i))
		}
	}
	return
}

// boundMachines is Jackson's preemptive bound (Carlier 1982) of each machine over the operations that have no other,
// and of each set of machines that some operation is confined to, shared as if it were one machine of that speed.
func (in *instance) boundMachines(heads, tails []int64) int64 {
	alone := make([][]int32, in.mach)
	for i := range int32(in.n) {
		if in.altAt[i+1]-in.altAt[i] == 1 {
			m := in.altM[in.altAt[i]]
			alone[m] = append(alone[m], i)
		}
	}
	best := int64(0)
	for m, ops := range alone {
		best = max(best, in.preemptive(ops, int32(m), heads, tails))
	}
	return best
}

// preemptive is the makespan of the best interrupted sequence of ops on one machine: always the ready operation with the
// longest tail. Setups count with the least that any predecessor on the machine would need, but for the first operation.
func (in *instance) preemptive(ops []int32, m int32, heads, tails []int64) int64 {
	if len(ops) == 0 {
		return 0
	}
	least, waived := in.leastSetups(ops, m)
	byHead := append([]int32(nil), ops...)
	sort.SliceStable(byHead, func(a, b int) bool { return heads[byHead[a]] < heads[byHead[b]] })
	left := map[int32]int64{}
	var h tailHeap
	t, next, best := int64(math.MinInt64), 0, int64(0)
	for next < len(byHead) || len(h) > 0 {
		if len(h) == 0 {
			t = max(t, heads[byHead[next]])
		}
		for next < len(byHead) && heads[byHead[next]] <= t {
			i := byHead[next]
			left[i] = int64(in.duration(i, m)) + least[i]
			h.push(tailItem{tails[i], i})
			next++
		}
		i := h[0].i
		run := left[i]
		if next < len(byHead) && t+run > heads[byHead[next]] {
			run = heads[byHead[next]] - t
		}
		t += run
		if left[i] -= run; left[i] == 0 {
			h.pop()
			best = max(best, t+tails[i])
		}
	}
	return best - waived
}

// leastSetups is, for each of ops, the least setup into it on m from any other of all operations that may go there, and the
// largest of these, which the first operation need not pay. The setup may run before the operation is ready, so
// counting it as part of the operation could overstate a head: the bound then subtracts it (see preemptive).
func (in *instance) leastSetups(ops []int32, m int32) (map[int32]int64, int64) {
	least := map[int32]int64{}
	if !in.hasSet || in.setups[m].s == nil {
		return least, 0
	}
	t := &in.setups[m]
	// Families present on the machine.
	present := map[int32]int{}
	for i := range int32(in.n) {
		if in.can(i, m) {
			present[t.of[i]]++
		}
	}
	waived := int64(0)
	for _, i := range ops {
		l := int64(math.MaxInt64)
		for f, count := range present {
			if f == t.of[i] && count == 1 {
				continue
			}
			l = min(l, int64(t.s[f*t.k+t.of[i]]))
		}
		if l == math.MaxInt64 {
			l = 0
		}
		least[i] = l
		waived = max(waived, l)
	}
	return least, waived
}

type tailItem struct {
	tail int64
	i    int32
}

type tailHeap []tailItem

func (h *tailHeap) push(x tailItem) {
	*h = append(*h, x)
	a := *h
	for i := len(a) - 1; i > 0; {
		p := (i - 1) / 2
		if a[p].tail >= a[i].tail {
			break
		}
		a[p], a[i] = a[i], a[p]
		i = p
	}
}

func (h *tailHeap) pop() {
	a := *h
	n := len(a) - 1
	a[0] = a[n]
	a = a[:n]
	*h = a
	for i := 0; ; {
		c := 2*i + 1
		if c >= n {
			return
		}
		if c+1 < n && a[c+1].tail > a[c].tail {
			c++
		}
		if a[i].tail >= a[c].tail {
			return
		}
		a[i], a[c] = a[c], a[i]
		i = c
	}
}

// boundLoad bounds the makespan by the load alone, each operation spread freely over its machines: the dual of that linear
// program gives, for any weights y over the machines that add up to 1, the valid bound
// sum over operations of min over alternatives (y[m] times duration), less what first setups need not cost. The weights
// are improved by a fixed number of multiplicative steps. Before a machine's first operation lies at least the least head
// of those that may go there, behind its last the least tail.
func (in *instance) boundLoad(heads, tails []int64) int64 {
	if !in.flex {
		return 0
	}
	cost := make([]float64, len(in.altP))
	first := make([]float64, in.mach)
	for m := range int32(in.mach) {
		var ops []int32
		for i := range int32(in.n) {
			if in.can(i, m) {
				ops = append(ops, i)
			}
		}
		least, waived := in.leastSetups(ops, m)
		first[m] = float64(waived)
		for _, i := range ops {
			for a := in.altAt[i]; a < in.altAt[i+1]; a++ {
				if in.altM[a] == m {
					cost[a] = float64(in.altP[a]) + float64(least[i])
				}
			}
		}
	}
	// The earliest instant any operation can be on m and the least work after any that is.
	early, late := make([]float64, in.mach), make([]float64, in.mach)
	for m := range early {
		early[m], late[m] = math.Inf(1), math.Inf(1)
	}
	for i := range int32(in.n) {
		for a := in.altAt[i]; a < in.altAt[i+1]; a++ {
			m := in.altM[a]
			early[m] = min(early[m], float64(heads[i]))
			late[m] = min(late[m], float64(tails[i]))
		}
	}
	for m := range early {
		if math.IsInf(early[m], 1) {
			early[m], late[m] = 0, 0
		}
	}
	y := make([]float64, in.mach)
	for m := range y {
		y[m] = 1 / float64(in.mach)
	}
	best := 0.0
	load := make([]float64, in.mach)
	steps := 400
	if len(in.altP) > 50_000 {
		steps = 60
	}
	for k := range steps {
		clear(load)
		value := 0.0
		for i := range in.n {
			ba, bv := in.altAt[i], math.Inf(1)
			for a := in.altAt[i]; a < in.altAt[i+1]; a++ {
				if v := y[in.altM[a]] * cost[a]; v < bv {
					ba, bv = a, v
				}
			}
			value += bv
			load[in.altM[ba]] += cost[ba]
		}
		for m := range y {
			value += y[m] * (early[m] + late[m] - first[m])
		}
		best = max(best, value)
		most := 0.0
		for _, l := range load {
			most = max(most, l)
		}
		if most == 0 {
			break
		}
		step := 2 / math.Sqrt(float64(k)+4)
		sum := 0.0
		for m := range y {
			y[m] *= math.Exp(step * (load[m]/most - 0.5))
			sum += y[m]
		}
		for m := range y {
			y[m] /= sum
		}
	}
	return int64(math.Ceil(best - 1e-6))
}

// boundTardiness adds up what each job is late even when nothing stands in its way.
func (in *instance) boundTardiness() float64 {
	sum := 0.0
	for j := range in.jobs {
		if in.due[j] == noDue {
			continue
		}
		t := int64(in.release[j])
		for i := in.first[j]; i < in.first[j+1]; i++ {
			t += int64(in.shortest(i))
		}
		if t > in.due[j] {
			sum += in.weight[j] * float64(t-in.due[j])
		}
	}
	return sum
}
