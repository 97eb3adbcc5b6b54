package capacity

import (
	"context"
	"math"
	"slices"
	"sort"
	"sync"

	"firstoff/fault"
)

// Run plays the load forward from now, opt.Replications times.
func Run(ctx context.Context, load Load, shop Shop, now int64, opt Options) (*Result, error) {
	m, err := compile(load, shop, now, opt)
	if err != nil {
		return nil, err
	}
	n, threads := max(1, opt.Replications), max(1, opt.Threads)
	if opt.Arrive != nil && n > 1 {
		return nil, fault.New(fault.Invalid, "capacity_arrive", "options", "Due dates given at arrival need a single replication.")
	}
	threads = min(threads, n)
	r := &Result{Jobs: make([]Outcome, len(m.jobs)), Makespan: make([]int64, n)}
	if opt.Record {
		r.Tapes = make([]Tape, n)
	}
	ends := make([]int64, n*len(m.jobs))
	for i := range r.Jobs {
		r.Jobs[i].ID = m.jobIDs[i]
		r.Jobs[i].Ends = ends[i*n : (i+1)*n]
	}
	worlds := make([]*world, threads)
	var wg sync.WaitGroup
	for t := range worlds {
		w := newWorld(m)
		if opt.Record {
			w.rec = newRecorder(m, load)
		}
		worlds[t] = w
		wg.Go(func() {
			for rep := t; rep < n && ctx.Err() == nil; rep += threads {
				w.play(rep)
				for i := range r.Jobs {
					r.Jobs[i].Ends[rep] = w.jobEnd[i]
					r.Makespan[rep] = max(r.Makespan[rep], w.jobEnd[i])
				}
				if w.rec != nil {
					r.Tapes[rep] = w.rec.tape(m)
				}
			}
		})
	}
	wg.Wait()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	m.sum(r, worlds, n)
	return r, nil
}

// sum adds up what the workers counted; all counts are whole seconds, so the order of adding does not matter.
func (m *model) sum(r *Result, worlds []*world, n int) {
	width := m.nRes + 2*m.nSkill + 1
	wait := worlds[0].wait
	for _, w := range worlds[1:] {
		for i, x := range w.wait {
			wait[i] += x
		}
		for i := range w.busyRes {
			worlds[0].busyRes[i] += w.busyRes[i]
			worlds[0].served[i] += w.served[i]
		}
		for i := range w.busyPerson {
			worlds[0].busyPerson[i] += w.busyPerson[i]
			worlds[0].tasks[i] += w.tasks[i]
		}
	}
	resWait := make([]int64, m.nRes)
	for j := range m.jobs {
		row := wait[j*width : (j+1)*width]
		var list []Wait
		for k, x := range row {
			if x == 0 {
				continue
			}
			v := Wait{Seconds: float64(x) / float64(n)}
			switch {
			case k < m.nRes:
				v.Kind, v.ID = ForResource, m.res[k].ID
				resWait[k] += x
			case k < m.nRes+m.nSkill:
				v.Kind, v.ID = ForPeople, m.skills[k-m.nRes]
			case k < m.nRes+2*m.nSkill:
				v.Kind, v.ID = ForHours, m.skills[k-m.nRes-m.nSkill]
			default:
				v.Kind = ForHours
			}
			list = append(list, v)
		}
		sort.SliceStable(list, func(a, b int) bool { return list[a].Seconds > list[b].Seconds })
		r.Jobs[j].Waits = list
	}
	for i := range m.res {
		r.Resources = append(r.Resources, Usage{ID: m.res[i].ID, BusySeconds: float64(worlds[0].busyRes[i]) / float64(n),
			Served: float64(worlds[0].served[i]) / float64(n), WaitSeconds: float64(resWait[i]) / float64(n)})
	}
	for i := range m.staff {
		r.People = append(r.People, Usage{ID: m.staff[i].ID, BusySeconds: float64(worlds[0].busyPerson[i]) / float64(n),
			Served: float64(worlds[0].tasks[i]) / float64(n)})
	}
}

// Kinds of event; at one instant they come in this order, so that what ends frees before what begins looks.
const (
	evDone     = iota // an operation's run is over (arg: op)
	evPerson          // a person comes free (arg: person)
	evReady           // a job's next operation may start (arg: op)
	evPersonOn        // a waited-for person's shift opens
	evSlotOn          // a waited-for resource opens
)

type event struct {
	t    int64
	kind int32
	arg  int32
}

func (a event) before(b event) bool {
	if a.t != b.t {
		return a.t < b.t
	}
	if a.kind != b.kind {
		return a.kind < b.kind
	}
	return a.arg < b.arg
}

// waiting is an operation in a queue; the least key is taken first.
type waiting struct {
	key   int64
	op    int32
	since int64
}

func (a waiting) before(b waiting) bool {
	if a.key != b.key {
		return a.key < b.key
	}
	return a.op < b.op
}

// ordered is a binary heap of things that know which comes first.
type ordered[T interface{ before(T) bool }] []T

func (h *ordered[T]) push(x T) {
	*h = append(*h, x)
	a := *h
	i := len(a) - 1
	for i > 0 {
		p := (i - 1) / 2
		if !x.before(a[p]) {
			break
		}
		a[i] = a[p]
		i = p
	}
	a[i] = x
}

func (h *ordered[T]) pop() T {
	a := *h
	top := a[0]
	n := len(a) - 1
	x := a[n]
	a = a[:n]
	*h = a
	i := 0
	for {
		c := 2*i + 1
		if c >= n {
			break
		}
		if c+1 < n && a[c+1].before(a[c]) {
			c++
		}
		if !a[c].before(x) {
			break
		}
		a[i] = a[c]
		i = c
	}
	if n > 0 {
		a[i] = x
	}
	return top
}

type slotState struct {
	busy   bool
	loaded int32
	since  int64
	left   int32 // operations of the batch still in it
	wake   int64
}

type personState struct {
	busy bool
	wake int64
}

// world is one replication at work; it is reused from one to the next.
type world struct {
	m       *model
	t       int64
	rep     uint64
	events  ordered[event]
	queue   []ordered[waiting] // by class
	unload  []ordered[waiting] // by skill
	slots   []slotState
	people  []personState
	opSlot  []int32
	opWho   []int32 // person to free at the end of an attended run or hand work; -1
	attempt []int32
	failed  []bool
	jobEnd  []int64
	jobMul  []float64
	redone  []int32
	pending []int32 // by job: jobs it still waits for
	touched []int32 // classes that got work at this instant
	at      []int32 // by job: the operation it is at; notHere before its release, gone after its end
	ran     []bool  // by operation: its run is over, it waits to be unloaded
	begun   []int64 // by operation: when its run began (hands before it included in what came earlier); 0 while it waits

	wait       []int64 // job x (resources, skills busy, skills off, resource closed)
	busyRes    []int64
	served     []int64
	busyPerson []int64
	tasks      []int64
	rec        *recorder // nil unless the replication is to be written down
}

func newWorld(m *model) *world {
	return &world{m: m,
		queue: make([]ordered[waiting], len(m.classes)), unload: make([]ordered[waiting], m.nSkill),
		slots: make([]slotState, len(m.slots)), people: make([]personState, len(m.people)),
		opSlot: make([]int32, len(m.ops)), opWho: make([]int32, len(m.ops)), attempt: make([]int32, len(m.ops)), failed: make([]bool, len(m.ops)),
		at: make([]int32, len(m.jobs)), begun: make([]int64, len(m.ops)), ran: make([]bool, len(m.ops)),
		jobEnd: make([]int64, len(m.jobs)), jobMul: make([]float64, len(m.jobs)), redone: make([]int32, len(m.jobs)), pending: make([]int32, len(m.jobs)),
		wait:    make([]int64, len(m.jobs)*(m.nRes+2*m.nSkill+1)),
		busyRes: make([]int64, m.nRes), served: make([]int64, m.nRes),
		busyPerson: make([]int64, len(m.people)), tasks: make([]int64, len(m.people)),
	}
}

func (w *world) luck(key uint64, salt uint64) uint64 {
	return draw(w.m.opt.Seed, w.rep, key, salt)
}

func draw(seed, rep, key, salt uint64) uint64 {
	return mix(mix(seed+rep*0xd1342543de82ef95) ^ mix(key+salt))
}

// play runs replication rep from now until the last job is done.
func (w *world) play(rep int) {
	m := w.m
	w.rep = uint64(rep)
	w.t = m.now
	for i := range w.slots {
		w.slots[i] = slotState{loaded: m.slots[i].loaded}
	}
	clear(w.people)
	clear(w.attempt)
	clear(w.redone)
	clear(w.begun)
	for i := range w.at {
		w.at[i] = notHere
	}
	for i := range w.jobMul {
		w.jobMul[i] = 1
		if sd := m.jobs[i].sd; sd > 0 && !m.opt.Exact {
			w.jobMul[i] = math.Exp(sd*normal(w.luck(m.jobs[i].key, 0x517)) - sd*sd/2)
		}
	}
	w.events = w.events[:0]
	for ji := range m.jobs {
		j := &m.jobs[ji]
		w.pending[ji] = j.after
		if m.ops[j.first].running >= 0 {
			w.resume(j.first)
		} else if j.after == 0 {
			w.events.push(event{j.release, evReady, j.first})
		}
	}
	for len(w.events) > 0 {
		e := w.events.pop()
		w.t = e.t
		switch e.kind {
		case evDone:
			w.done(e.arg)
		case evPerson:
			w.people[e.arg].busy = false
			w.serve(e.arg, m.nRes)
		case evReady:
			// What becomes ready at one instant competes before anything starts.
			w.touched = w.touched[:0]
			w.ready(e.arg)
			for len(w.events) > 0 && w.events[0].t == e.t && w.events[0].kind == evReady {
				w.ready(w.events.pop().arg)
			}
			w.settle()
		case evPersonOn:
			if w.people[e.arg].wake == e.t {
				w.people[e.arg].wake = 0
			}
			if !w.people[e.arg].busy {
				w.serve(e.arg, m.nRes+m.nSkill)
			}
		case evSlotOn:
			if w.slots[e.arg].wake == e.t {
				w.slots[e.arg].wake = 0
			}
			if !w.slots[e.arg].busy {
				w.feed(e.arg, m.nRes+2*m.nSkill)
			}
		}
	}
}

// resume takes up an operation that is at work at the beginning.
func (w *world) resume(o int32) {
	m := w.m
	p := &m.ops[o]
	c := &m.classes[p.class]
	a, s := p.running, c.slots[p.running]
	for i := a; int(i) < len(c.slots) && m.slots[c.slots[i]].res == m.slots[s].res; i++ {
		// Several may run at once where there are several units alike.
		if !w.slots[c.slots[i]].busy {
			a, s = i, c.slots[i]
			break
		}
	}
	st := &w.slots[s]
	if st.busy && m.slots[s].batch == 1 && !m.slots[s].endless {
		// More operations were said to run than there are units; the later one queues.
		w.events.push(event{w.t, evReady, o})
		return
	}
	if !st.busy {
		st.since, st.left = w.t, 0
	}
	st.busy, st.left = true, st.left+1
	if c.family >= 0 {
		st.loaded = c.family
	}
	w.opSlot[o], w.opWho[o] = s, -1
	w.at[p.job], w.begun[o], w.ran[o] = o, w.t, false
	d := w.length(o, int(a))
	end := m.slots[s].hours.After(w.t, d)
	if c.mode == modeAttended {
		for _, who := range m.bySkill[c.skill] {
			if !w.people[who].busy {
				end = w.works(who, d)
				w.hold(who, end, o, Attending)
				w.opWho[o] = who
				break
			}
		}
	}
	if w.rec != nil {
		w.rec.begun(s, 0, w.t)
	}
	w.events.push(event{end, evDone, o})
}

// length draws how long operation o takes on its alternative a.
func (w *world) length(o int32, a int) int64 {
	m := w.m
	p := &m.ops[o]
	d := p.mean
	if p.each != nil && a >= 0 {
		d = p.each[a]
	}
	if m.opt.Exact {
		return int64(d + 0.5)
	}
	d *= w.jobMul[p.job]
	salt := uint64(w.attempt[o]) << 8
	if p.law == Exponential {
		d *= -math.Log(unit(w.luck(p.key, salt)))
	} else if p.sd > 0 {
		d *= math.Exp(p.sd*normal(w.luck(p.key, salt)) - p.sd*p.sd/2)
	}
	w.failed[o] = false
	if p.fail > 0 {
		if u := unit(w.luck(p.key, salt+1)); u < p.fail {
			w.failed[o] = true
			d *= u / p.fail // found at a moment spread evenly over the run
		}
	}
	return int64(d + 0.5)
}

// repair is the time lost to breakdowns in a run of d on slot s.
func (w *world) repair(s *slot, o int32, d int64) int64 {
	if s.mtbf <= 0 || s.mttr <= 0 || w.m.opt.Exact {
		return 0
	}
	salt := uint64(w.attempt[o])<<8 + 2
	p := &w.m.ops[o]
	var lost float64
	// Poisson breakdowns over d: exponential gaps.
	at := 0.0
	for k := uint64(0); k < 8; k++ {
		at += -math.Log(unit(w.luck(p.key, salt+2*k))) * s.mtbf
		if at > float64(d) {
			break
		}
		lost += -math.Log(unit(w.luck(p.key, salt+2*k+1))) * s.mttr
	}
	return int64(lost + 0.5)
}

func (w *world) key(o int32) int64 {
	m := w.m
	p := &m.ops[o]
	switch m.opt.Rule {
	case FirstCome:
		return w.t
	case AsPlanned:
		if p.planned > 0 {
			return p.planned
		}
	}
	return m.jobs[p.job].due
}

// ready puts an operation in its queue and starts it if it can.
func (w *world) ready(o int32) {
	m := w.m
	if j := m.ops[o].job; w.at[j] == notHere && m.opt.Arrive != nil {
		if due := m.opt.Arrive(Floor{w}, int(j)); due > 0 {
			m.jobs[j].due = due
		}
	}
	w.at[m.ops[o].job], w.begun[o] = o, 0
	if t := m.ops[o].notBefore; t > w.t {
		w.events.push(event{t, evReady, o})
		return
	}
	c := m.ops[o].class
	if m.classes[c].mode == modeWait {
		w.begun[o] = w.t
		w.opSlot[o], w.opWho[o] = -1, -1
		w.events.push(event{w.t + w.length(o, -1), evDone, o})
		return
	}
	w.queue[c].push(waiting{w.key(o), o, w.t})
	w.touched = append(w.touched, c)
}

// settle starts what it can of the touched classes, the most urgent first.
func (w *world) settle() {
	if len(w.touched) == 1 {
		w.try(w.touched[0])
		return
	}
	slices.Sort(w.touched)
	w.touched = slices.Compact(w.touched)
	for {
		best, bestKey, bestA, bestWho := int32(-1), int64(math.MaxInt64), -1, int32(-1)
		var best0 waiting
		for _, c := range w.touched {
			if len(w.queue[c]) == 0 {
				continue
			}
			cl, top := &w.m.classes[c], w.queue[c][0]
			a, k := -1, top.key
			if len(cl.slots) > 0 {
				if a = w.room(c); a < 0 {
					continue
				}
				s := cl.slots[a]
				k += int64(w.m.campaign * float64(w.m.changeover(&w.m.slots[s], w.slots[s].loaded, cl.family)))
			}
			if best >= 0 && (k > bestKey || k == bestKey && !top.before(best0)) {
				continue
			}
			who := int32(-1)
			if cl.skill >= 0 {
				if who = w.handAt(c, a); who < 0 {
					continue
				}
			}
			best, bestKey, bestA, bestWho, best0 = c, k, a, who, top
		}
		if best < 0 {
			return
		}
		w.begin(best, bestA, bestWho, w.m.nRes+2*w.m.nSkill)
	}
}

// handAt finds a person for the first of class c on its alternative a (-1: none needed).
func (w *world) handAt(c int32, a int) int32 {
	if a < 0 {
		return w.hand(c, nil, -1)
	}
	s := w.m.classes[c].slots[a]
	return w.hand(c, &w.m.slots[s], w.slots[s].loaded)
}

// try starts the first of class c as long as there is room and hands.
func (w *world) try(c int32) {
	for len(w.queue[c]) > 0 {
		cl := &w.m.classes[c]
		a := -1
		if len(cl.slots) > 0 {
			if a = w.room(c); a < 0 {
				return
			}
		}
		who := int32(-1)
		if cl.skill >= 0 {
			if who = w.handAt(c, a); who < 0 {
				return
			}
		}
		w.begin(c, a, who, w.m.nRes+2*w.m.nSkill)
	}
}

// room finds the alternative of class c that is free and open now and would be done first; -1 if none.
func (w *world) room(c int32) int {
	cl := &w.m.classes[c]
	best, bestCost := -1, math.Inf(1)
	p := &w.m.ops[w.queue[c][0].op]
	for a, s := range cl.slots {
		sl := &w.m.slots[s]
		st := &w.slots[s]
		if st.busy && !sl.endless {
			continue
		}
		if !w.open(s) {
			continue
		}
		d := p.mean
		if p.each != nil {
			d = p.each[a]
		}
		if cost := d + float64(w.m.changeover(sl, st.loaded, cl.family)); cost < bestCost {
			best, bestCost = a, cost
		}
	}
	return best
}

// open says whether slot s is in its hours; if not it will be asked again when they begin.
func (w *world) open(s int32) bool {
	h := w.m.slots[s].hours
	if h == nil {
		return true
	}
	start, _ := h.Next(w.t)
	if start == w.t {
		return true
	}
	if st := &w.slots[s]; st.wake == 0 || st.wake > start {
		st.wake = start
		w.events.push(event{start, evSlotOn, s})
	}
	return false
}

// need is the hand time with which work of class c would begin on slot s, nil for hand work alone.
func (w *world) need(c int32, s *slot, loaded int32) int64 {
	cl := &w.m.classes[c]
	if cl.mode != modeRun {
		return 0 // may be broken off at the end of a shift
	}
	n := w.m.ops[w.queue[c][0].op].hands
	if s != nil {
		n += w.m.changeover(s, loaded, cl.family)
	}
	return n
}

func (w *world) hand(c int32, s *slot, loaded int32) int32 {
	return w.anyone(w.m.classes[c].skill, w.need(c, s, loaded))
}

// anyone finds a free person with the skill who is on shift and can finish need seconds in it; -1 if none now. Those
// off shift are asked again when theirs begins.
func (w *world) anyone(skill int32, need int64) int32 {
	for _, p := range w.m.bySkill[skill] {
		if !w.people[p].busy && w.onShift(p, need) {
			return p
		}
	}
	return -1
}

func (w *world) onShift(p int32, need int64) bool {
	h := w.m.people[p].hours
	if h == nil {
		return true
	}
	start, end := w.shift(p, w.t)
	if start == w.t && w.t+need <= end {
		return true
	}
	if start == w.t {
		// What is left of this shift is too short. Wait for the next one, unless that would be too short as well:
		// then begin now and break off.
		next, until := w.shift(p, end)
		if until-next < need {
			return true
		}
		start = next
	}
	if st := &w.people[p]; st.wake == 0 || st.wake > start {
		st.wake = start
		w.events.push(event{start, evPersonOn, p})
	}
	return false
}

// shift is the first opening at or after t on a day the person comes.
func (w *world) shift(p int32, t int64) (start, end int64) {
	d := &w.m.people[p]
	if d.absent == 0 || w.m.opt.Exact {
		return d.hours.Next(t)
	}
	for range 1000 {
		start, end = d.hours.opening(t)
		if !w.away(p, start) {
			return start, end
		}
		t = end
	}
	return start, end
}

func (w *world) away(p int32, start int64) bool {
	return !w.m.opt.Exact && Away(w.m.opt.Seed, int(w.rep), int(p), start, w.m.people[p].absent)
}

// Away says whether the person-th of a shop's people stays away from the shift that starts at start, with the chance
// given, in replication rep of a run with that seed: what comes after a run can meet the same absences.
func Away(seed uint64, rep, person int, start int64, chance float64) bool {
	return chance > 0 && unit(draw(seed, uint64(rep), uint64(person)<<32^uint64(start/86400), 0xab5e)) < chance
}

// works is when person p has done work seconds begun now.
func (w *world) works(p int32, work int64) int64 {
	d := &w.m.people[p]
	if d.hours == nil {
		return w.t + work
	}
	if d.absent == 0 || w.m.opt.Exact {
		return d.hours.After(w.t, work)
	}
	t := w.t
	for {
		s, e := w.shift(p, t)
		if s+work <= e {
			return s + work
		}
		work -= e - s
		t = e
	}
}

// begin starts the first of class c on its alternative a (-1: none) with person who (-1: none); cause says what it waited for.
func (w *world) begin(c int32, a int, who int32, cause int) {
	m := w.m
	cl := &m.classes[c]
	q := w.queue[c].pop()
	o := q.op
	w.blame(o, q.since, cause)
	w.opWho[o] = -1
	w.begun[o], w.ran[o] = w.t, false
	if a < 0 {
		w.opSlot[o] = -1
		end := w.works(who, w.length(o, -1))
		w.hold(who, end, o, HandWork)
		w.opWho[o] = who
		w.events.push(event{end, evDone, o})
		return
	}
	s := cl.slots[a]
	sl, st := &m.slots[s], &w.slots[s]
	w.served[sl.res]++
	w.opSlot[o] = s
	change := m.changeover(sl, st.loaded, cl.family)
	d := w.length(o, a)
	d += w.repair(sl, o, d)
	hands := m.ops[o].hands
	var more []int32
	if !sl.endless {
		st.busy, st.since, st.left = true, w.t, 1
		if cl.family >= 0 {
			st.loaded = cl.family
		}
		// An oven takes along what fits of the same family and waits in the same queue.
		for n := int32(1); n < sl.batch && len(w.queue[c]) > 0; n++ {
			x := w.queue[c].pop()
			w.blame(x.op, x.since, cause)
			w.served[sl.res]++
			w.opSlot[x.op], w.opWho[x.op] = s, -1
			dx := w.length(x.op, a)
			d = max(d, dx)
			hands += m.ops[x.op].hands
			st.left++
			more = append(more, x.op)
		}
	}
	var end int64
	begun := w.t
	switch cl.mode {
	case modeMachine:
		end = sl.hours.After(w.t, change+d)
	case modeRun:
		ready := w.works(who, change+hands)
		w.hold(who, ready, o, Starting)
		w.events.push(event{ready, evPerson, who})
		begun = ready
		end = sl.hours.After(ready, d)
	case modeAttended:
		end = w.works(who, change+d)
		w.hold(who, end, o, Attending)
		w.opWho[o] = who
	}
	if w.rec != nil {
		w.rec.begun(s, change, begun)
	}
	w.begun[o] = begun
	w.events.push(event{end, evDone, o})
	for _, x := range more {
		w.begun[x], w.ran[x] = begun, false
		w.events.push(event{end, evDone, x})
	}
}

// hold takes person who until then for a task of operation o.
func (w *world) hold(who int32, until int64, o int32, task string) {
	w.people[who].busy = true
	w.tasks[who]++
	if w.rec != nil {
		w.rec.person(w.m, who, o, w.t, until, task)
	}
	if h := w.m.people[who].hours; h != nil {
		w.busyPerson[who] += h.Between(w.t, until)
	} else {
		w.busyPerson[who] += until - w.t
	}
}

// blame books the wait of o since the instant it was ready on what let it start.
func (w *world) blame(o int32, since int64, cause int) {
	if w.t == since {
		return
	}
	m := w.m
	width := m.nRes + 2*m.nSkill + 1
	w.wait[int(m.ops[o].job)*width+cause] += w.t - since
}

// done ends the run of o; it may still have to be unloaded.
func (w *world) done(o int32) {
	m := w.m
	p := &m.ops[o]
	cl := &m.classes[p.class]
	if s := w.opSlot[o]; s >= 0 && w.rec != nil {
		w.rec.ended(s, w.t)
	}
	if p.unload > 0 && w.opSlot[o] >= 0 && cl.skill >= 0 && cl.mode == modeRun {
		w.ran[o] = true
		if who := w.anyone(cl.skill, p.unload); who >= 0 {
			w.takeOut(o, who)
		} else {
			w.unload[cl.skill].push(waiting{w.t, o, w.t})
		}
		return
	}
	w.finish(o)
}

// takeOut has person who unload o. The unloading ends as an event of its own: the operation is done a second time,
// marked by opSlot below -1.
func (w *world) takeOut(o, who int32) {
	end := w.works(who, w.m.ops[o].unload)
	w.hold(who, end, o, Unloading)
	w.opWho[o] = who
	s := w.opSlot[o]
	w.opSlot[o] = -2 - s
	w.events.push(event{end, evDone, o})
}

// finish frees what o held, sends the job on, and hands out what came free.
func (w *world) finish(o int32) {
	m := w.m
	p := &m.ops[o]
	s := w.opSlot[o]
	if s < -1 {
		s = -2 - s
	}
	who := w.opWho[o]
	if s >= 0 && !m.slots[s].endless {
		st := &w.slots[s]
		st.left--
		if st.left <= 0 {
			st.busy = false
			w.busyRes[m.slots[s].res] += w.t - st.since
			if w.rec != nil {
				w.rec.slot(m, s, o, st.since, w.t, st.loaded)
			}
		} else {
			s = -1
		}
	} else {
		s = -1
	}
	if who >= 0 {
		w.people[who].busy = false
	}
	next := int32(-1)
	switch {
	case w.failed[o] && !m.opt.Exact:
		w.failed[o] = false
		w.attempt[o] = min(w.attempt[o]+1, 1<<20)
		next = o
	case o < m.jobs[p.job].last:
		next = o + 1
	default:
		j := &m.jobs[p.job]
		if j.fail > 0 && !m.opt.Exact && w.redone[p.job] < 3 && unit(w.luck(j.key, 0xfa11+uint64(w.redone[p.job]))) < j.fail {
			w.redone[p.job]++
			for k := j.redo; k <= j.last; k++ {
				w.attempt[k]++
			}
			next = j.redo
		} else {
			w.jobEnd[p.job] = w.t
			w.at[p.job] = gone
			for _, b := range j.before {
				if w.pending[b]--; w.pending[b] == 0 {
					w.events.push(event{max(w.t, m.jobs[b].release), evReady, m.jobs[b].first})
				}
			}
		}
	}
	if next >= 0 {
		w.at[p.job], w.begun[next] = next, 0
	}
	// The next operation joins its queue before anything is handed out, so that it competes.
	c := int32(-1)
	if next >= 0 {
		c = m.ops[next].class
		if m.classes[c].mode == modeWait || m.ops[next].notBefore > w.t {
			w.ready(next) // only starts its clock
			c = -1
		} else {
			w.queue[c].push(waiting{w.key(next), next, w.t})
		}
	}
	if s >= 0 {
		w.feed(s, int(m.slots[s].res))
	}
	if who >= 0 && !w.people[who].busy {
		w.serve(who, m.nRes)
	}
	if c >= 0 {
		w.try(c)
	}
}

// feed gives slot s, free and possibly open, the most urgent of what waits for it. cause is the index under which
// the wait is booked.
func (w *world) feed(s int32, cause int) {
	m := w.m
	sl, st := &m.slots[s], &w.slots[s]
	for !st.busy {
		best, bestKey, bestWho := int32(-1), int64(math.MaxInt64), int32(-1)
		var best0 waiting
		for _, c := range sl.classes {
			if len(w.queue[c]) == 0 {
				continue
			}
			cl := &m.classes[c]
			top := w.queue[c][0]
			k := top.key + int64(m.campaign*float64(m.changeover(sl, st.loaded, cl.family)))
			if best >= 0 && (k > bestKey || k == bestKey && !top.before(best0)) {
				continue
			}
			if !w.open(s) {
				return
			}
			who := int32(-1)
			if cl.skill >= 0 {
				if who = w.hand(c, sl, st.loaded); who < 0 {
					continue
				}
			}
			best, bestKey, bestWho, best0 = c, k, who, top
		}
		if best < 0 {
			return
		}
		w.begin(best, w.place(best, s), bestWho, cause)
		if sl.endless {
			return
		}
	}
}

func (w *world) place(c, s int32) int {
	for a, x := range w.m.classes[c].slots {
		if x == s {
			return a
		}
	}
	return -1
}

// serve gives person p, free, the most urgent of what waits for hands: unloading first, since it frees a resource.
// kind is m.nRes when hands were busy, m.nRes+m.nSkill when the shift had to begin first.
func (w *world) serve(p int32, kind int) {
	m := w.m
	d := &m.people[p]
	for !w.people[p].busy {
		// Unloading.
		took := false
		for _, s := range d.skills {
			if len(w.unload[s]) == 0 {
				continue
			}
			if !w.onShift(p, m.ops[w.unload[s][0].op].unload) {
				continue
			}
			x := w.unload[s].pop()
			w.blame(x.op, x.since, kind+int(s))
			w.takeOut(x.op, p)
			took = true
			break
		}
		if took {
			return
		}
		best, bestKey, bestA := int32(-1), int64(math.MaxInt64), -1
		var best0 waiting
		for _, c := range d.classes {
			if len(w.queue[c]) == 0 {
				continue
			}
			cl := &m.classes[c]
			top := w.queue[c][0]
			a, k := -1, top.key
			var sl *slot
			loaded := int32(-1)
			if len(cl.slots) > 0 {
				if a = w.room(c); a < 0 {
					continue
				}
				sl, loaded = &m.slots[cl.slots[a]], w.slots[cl.slots[a]].loaded
				k += int64(m.campaign * float64(m.changeover(sl, loaded, cl.family)))
			}
			if best >= 0 && (k > bestKey || k == bestKey && !top.before(best0)) {
				continue
			}
			if !w.onShift(p, w.need(c, sl, loaded)) {
				continue
			}
			best, bestKey, bestA, best0 = c, k, a, top
		}
		if best < 0 {
			return
		}
		w.begin(best, bestA, p, kind+int(m.classes[best].skill))
	}
}
