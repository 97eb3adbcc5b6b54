package schedule

import (
	"fmt"
	"math"
	"sort"

	"firstoff/fault"
	"firstoff/shop/capacity"
)

// bMode is a way of working, as in shop/capacity.
type bMode uint8

const (
	bWait bMode = iota
	bHands
	bMachine
	bRun
	bAttended
)

type bOp struct {
	task     int32
	mode     bMode
	units    []int32
	secs     []int64 // by position in units; for hands and waits one value
	hands    int64
	unload   int64
	skill    int32
	family   int32
	fixed    bool  // has a place already: pinned to an instant, frozen or running
	only     int32 // resource it is pinned to; −1
	pinned   bool
	oldRes   int32
	oldStart int64
}

type bTask struct {
	first, last int32 // ops
	after       []int32
	ready       int64
	due         int64
	weight      float64
	alone       int64 // end in an empty shop
}

type bUnit struct {
	res     int32
	index   int32
	endless bool
	batch   int32
	loaded  int32
}

// place is where the decoder put an operation.
type place struct {
	unit, person, unloader       int32
	start, begin, end, out, free int64
	change                       int64
	leader                       int32 // the operation whose run it shares, counted from 1; 0: its own
}

// floor is the shop and its work in numbers, shared by all decoders.
type floor struct {
	w        *Work
	ops      []bOp
	tasks    []bTask
	units    []bUnit
	people   []int32 // only their number matters here
	bySkill  [][]int32
	change   []map[[2]int32]int64
	changeOf []int64
	family   []string
	base     []timeline // units, then people: what is taken before anything is planned
	given    []place    // fixed operations
	isGiven  []bool
	sharing  []int32
	old      []place // places in the plan in force, to be kept where possible
	hasOld   []bool
	lower    float64
	opt      BoardOptions
	oldFree  int
}

func compileFloor(w *Work, opt BoardOptions, again bool) (*floor, error) {
	f := &floor{w: w, opt: opt}
	def := func(p *float64, x float64) {
		switch {
		case *p < 0:
			*p = 0
		case *p == 0:
			*p = x
		}
	}
	def(&f.opt.ChangeCost, 0.05)
	def(&f.opt.MachineCost, 0.005)
	def(&f.opt.SoonCost, 0.02)
	if again {
		def(&f.opt.Stay, 300)
	}
	bad := func(code, where, format string, args ...any) error {
		return fault.New(fault.Invalid, code, where, format, args...)
	}
	resource, family, skill := map[string]int32{}, map[string]int32{}, map[string]int32{}
	familyOf := func(s string) int32 {
		if s == "" {
			return -1
		}
		i, ok := family[s]
		if !ok {
			i = int32(len(f.family))
			family[s] = i
			f.family = append(f.family, s)
		}
		return i
	}
	unitsOf := make([][]int32, len(w.Shop.Resources))
	for i, r := range w.Shop.Resources {
		where := fmt.Sprintf("resource %q", r.ID)
		if _, twice := resource[r.ID]; twice || r.ID == "" {
			return nil, bad("resource_id", where, "Every resource needs a name of its own; this one is empty or used twice.")
		}
		if err := r.Calendar.Check(where); err != nil {
			return nil, err
		}
		if r.Units < 0 || r.Units > 1000 || r.Batch < 0 || !(r.ChangeSeconds >= 0) {
			return nil, bad("resource_range", where, "Units (up to 1000), batch and changeover must not be negative.")
		}
		resource[r.ID] = int32(i)
		h := capacity.NewHours(r.Calendar)
		n := max(1, r.Units)
		if r.Unlimited {
			n = 1
		}
		for k := range n {
			unitsOf[i] = append(unitsOf[i], int32(len(f.units)))
			f.units = append(f.units, bUnit{res: int32(i), index: int32(k), endless: r.Unlimited, batch: int32(max(1, r.Batch)), loaded: familyOf(r.Family)})
			f.base = append(f.base, timeline{hours: h})
		}
		var ch map[[2]int32]int64
		for _, c := range r.Changes {
			if !(c.Seconds >= 0) {
				return nil, bad("resource_range", where, "The changeover from %q to %q is negative.", c.From, c.To)
			}
			if ch == nil {
				ch = map[[2]int32]int64{}
			}
			ch[[2]int32{familyOf(c.From), familyOf(c.To)}] = int64(c.Seconds)
		}
		f.change = append(f.change, ch)
		f.changeOf = append(f.changeOf, int64(r.ChangeSeconds))
	}
	person := map[string]int32{}
	for i, p := range w.Shop.People {
		where := fmt.Sprintf("person %q", p.ID)
		if _, twice := person[p.ID]; twice || p.ID == "" {
			return nil, bad("person_id", where, "Every person needs a name of their own; this one is empty or used twice.")
		}
		if err := p.Calendar.Check(where); err != nil {
			return nil, err
		}
		person[p.ID] = int32(i)
		f.people = append(f.people, int32(len(f.base)))
		f.base = append(f.base, timeline{hours: capacity.NewHours(p.Calendar)})
		for _, s := range p.Skills {
			k, ok := skill[s]
			if !ok {
				k = int32(len(f.bySkill))
				skill[s] = k
				f.bySkill = append(f.bySkill, nil)
			}
			f.bySkill[k] = append(f.bySkill[k], int32(i))
		}
	}
	for _, l := range f.bySkill {
		sort.SliceStable(l, func(a, b int) bool { return len(w.Shop.People[l[a]].Skills) < len(w.Shop.People[l[b]].Skills) })
	}
	for i, d := range w.Down {
		where := fmt.Sprintf("downtime %d", i+1)
		if d.End <= d.Start {
			return nil, bad("downtime", where, "It ends before it starts; give start and end in order.")
		}
		s := span{from: d.Start, to: d.End, tag: -1, op: -1}
		if d.Resource != "" {
			r, ok := resource[d.Resource]
			if !ok {
				return nil, bad("resource_unknown", where, "The resource %q is not in the shop; correct the name.", d.Resource)
			}
			for _, u := range unitsOf[r] {
				f.base[u].add(s)
			}
		}
		if d.Person != "" {
			p, ok := person[d.Person]
			if !ok {
				return nil, bad("person_unknown", where, "The person %q is not in the shop; correct the name.", d.Person)
			}
			f.base[f.people[p]].add(s)
		}
		if d.Resource == "" && d.Person == "" {
			return nil, bad("downtime", where, "Say which resource or person is not there.")
		}
	}
	// Tasks.
	task := map[string]int32{}
	for i := range w.Tasks {
		t := &w.Tasks[i]
		if _, twice := task[t.ID]; twice || t.ID == "" {
			return nil, bad("task_id", fmt.Sprintf("task %d", i+1), "Every task needs a name of its own; %q is empty or used twice.", t.ID)
		}
		task[t.ID] = int32(i)
	}
	type key struct{ task, op string }
	pins := map[key]Pin{}
	for _, p := range w.Pins {
		if _, ok := task[p.Task]; !ok {
			continue // the work is done or gone; the decision with it
		}
		if p.Resource != "" {
			if _, ok := resource[p.Resource]; !ok {
				return nil, bad("resource_unknown", fmt.Sprintf("pin of task %q", p.Task), "The resource %q is not in the shop; correct the name.", p.Resource)
			}
		}
		pins[key{p.Task, p.Op}] = p
	}
	before := map[key]Entry{}
	if w.Previous != nil {
		for _, e := range w.Previous.Entries {
			before[key{e.Task, e.Op}] = e
		}
	}
	type fixing struct {
		op    int32
		start int64
		unit  int32 // −1: any allowed
		entry *Entry
	}
	var fixed []fixing
	type older struct {
		op int32
		e  Entry
	}
	var olds []older
	for ti := range w.Tasks {
		t := &w.Tasks[ti]
		where := fmt.Sprintf("task %q", t.ID)
		bt := bTask{first: int32(len(f.ops)), ready: max(t.Release, w.Now), due: t.Due, weight: t.Weight}
		if bt.weight == 0 {
			bt.weight = 1
		}
		if !(bt.weight > 0) {
			return nil, bad("task_weight", where, "The weight must not be negative.")
		}
		for _, a := range t.After {
			k, ok := task[a]
			if !ok {
				continue // done already
			}
			bt.after = append(bt.after, k)
		}
		names := map[string]bool{}
		for oi := range t.Ops {
			o := &t.Ops[oi]
			where := fmt.Sprintf("task %q, operation %q", t.ID, OpName(o, oi))
			if names[OpName(o, oi)] {
				return nil, bad("operation_id", where, "Two operations of the task have this name.")
			}
			names[OpName(o, oi)] = true
			if !(o.Seconds >= 0 && o.Seconds <= 1e9 && o.PeopleSeconds >= 0 && o.PeopleSeconds <= 1e9 && o.UnloadSeconds >= 0 && o.UnloadSeconds <= 1e9 && o.CV >= 0 && o.FailProb >= 0 && o.FailProb < 1) {
				return nil, bad("operation_range", where, "A duration, spread or chance of failure is negative, not a number or beyond reason.")
			}
			if o.Each != nil && len(o.Each) != len(o.Resource) {
				return nil, bad("operation_each", where, "There are %d durations for %d resources; give one for each.", len(o.Each), len(o.Resource))
			}
			b := bOp{task: int32(ti), skill: -1, family: familyOf(o.Family), hands: round(o.PeopleSeconds), only: -1, oldRes: -1}
			if o.People != "" {
				k, ok := skill[o.People]
				if !ok {
					return nil, bad("skill_unknown", where, "Nobody in the shop has the skill %q; add it to a person or change the operation.", o.People)
				}
				b.skill = k
			}
			pin, isPinned := pins[key{t.ID, OpName(o, oi)}]
			pinRes := int32(-1)
			if isPinned {
				b.pinned = true
				if pin.Resource != "" {
					pinRes = resource[pin.Resource]
				}
			}
			if o.RunningOn != "" {
				r, ok := resource[o.RunningOn]
				if !ok {
					return nil, bad("resource_unknown", where, "It is said to run on %q, which is not in the shop; correct the name.", o.RunningOn)
				}
				pinRes = r
			}
			allowed := false
			for a, id := range o.Resource {
				r, ok := resource[id]
				if !ok {
					return nil, bad("resource_unknown", where, "The resource %q is not in the shop; correct the name.", id)
				}
				if pinRes >= 0 && r != pinRes {
					continue
				}
				allowed = true
				d := o.Seconds
				if o.Each != nil {
					d = o.Each[a]
				}
				if !(d >= 0 && d <= 1e9) {
					return nil, bad("operation_range", where, "The duration on %q is negative, not a number or beyond reason.", id)
				}
				for _, u := range unitsOf[r] {
					b.units = append(b.units, u)
					b.secs = append(b.secs, round(d))
				}
			}
			if len(o.Resource) > 0 && !allowed {
				return nil, bad("pin_resource", where, "It is pinned to, or said to run on, a resource it cannot run on; release it or choose another.")
			}
			switch {
			case len(o.Resource) == 0 && b.skill < 0:
				b.mode = bWait
				b.secs = []int64{round(o.Seconds)}
			case len(o.Resource) == 0:
				b.mode = bHands
				d := o.Seconds
				if d == 0 {
					d = o.PeopleSeconds
				}
				b.secs = []int64{round(d)}
			case b.skill < 0:
				b.mode = bMachine
			case o.Unattended:
				b.mode = bRun
				b.unload = round(o.UnloadSeconds)
			default:
				b.mode = bAttended
			}
			oi32 := int32(len(f.ops))
			old, had := before[key{t.ID, OpName(o, oi)}]
			if had {
				if r, ok := resource[old.Resource]; ok {
					b.oldRes = r
				}
				b.oldStart = old.Start
				f.oldFree++
				olds = append(olds, older{oi32, old})
			}
			switch {
			case o.RunningOn != "":
				fixed = append(fixed, fixing{op: oi32, start: w.Now, unit: -2})
			case isPinned && pin.Start > 0:
				fixed = append(fixed, fixing{op: oi32, start: max(pin.Start, w.Now), unit: -1})
			case had && old.Start < w.FrozenUntil && old.Start >= w.Now && !isPinned && b.mode != bWait:
				e := old
				fixed = append(fixed, fixing{op: oi32, start: old.Start, unit: -1, entry: &e})
			}
			f.ops = append(f.ops, b)
		}
		if len(t.Ops) == 0 {
			return nil, bad("task_empty", where, "A task needs at least one operation.")
		}
		bt.last = int32(len(f.ops) - 1)
		f.tasks = append(f.tasks, bt)
	}
	if err := f.noCircle(); err != nil {
		return nil, err
	}
	f.given, f.isGiven = make([]place, len(f.ops)), make([]bool, len(f.ops))
	f.alone()
	// What has a place already, the running first, then by start.
	sort.SliceStable(fixed, func(a, b int) bool {
		x, y := fixed[a], fixed[b]
		if (x.unit == -2) != (y.unit == -2) {
			return x.unit == -2
		}
		return x.start < y.start
	})
	d := newDecoder(f)
	for _, x := range fixed {
		b := &f.ops[x.op]
		var p place
		ok := false
		switch {
		case x.unit == -2:
			p, ok = d.running(x.op, w.Now), true
		case x.entry != nil:
			if p, ok = f.resolve(x.op, x.entry, unitsOf, resource, person); ok {
				p, ok = d.still(x.op, p)
			}
		default:
			// A pinned start: not earlier; later only when something stands in the way.
			p, ok = d.find(x.op, x.start), true
		}
		if !ok {
			continue // its place is gone; it is planned like the rest
		}
		b.fixed = true
		d.put(x.op, p)
		f.given[x.op], f.isGiven[x.op] = p, true
	}
	f.base, f.sharing = d.lines, d.shared
	f.old, f.hasOld = make([]place, len(f.ops)), make([]bool, len(f.ops))
	if again {
		for _, x := range olds {
			if p, ok := f.resolve(x.op, &x.e, unitsOf, resource, person); ok && p.start >= w.Now {
				f.old[x.op], f.hasOld[x.op] = p, true
			}
		}
	}
	return f, nil
}

func round(x float64) int64 { return int64(x + 0.5) }

// noCircle refuses tasks that wait for each other.
func (f *floor) noCircle() error {
	state := make([]uint8, len(f.tasks))
	var visit func(t int32) bool
	visit = func(t int32) bool {
		switch state[t] {
		case 1:
			return false
		case 2:
			return true
		}
		state[t] = 1
		for _, a := range f.tasks[t].after {
			if !visit(a) {
				return false
			}
		}
		state[t] = 2
		return true
	}
	for t := range f.tasks {
		if !visit(int32(t)) {
			return fault.New(fault.Invalid, "task_circle", fmt.Sprintf("task %q", f.w.Tasks[t].ID), "The tasks wait for each other in a circle; remove one of the dependences.")
		}
	}
	return nil
}

// changeover of unit u between families.
func (f *floor) changeover(u, from, to int32) int64 {
	if to < 0 || from < 0 || from == to {
		return 0
	}
	r := f.units[u].res
	if ch := f.change[r]; ch != nil {
		if c, ok := ch[[2]int32{from, to}]; ok {
			return c
		}
	}
	return f.changeOf[r]
}

// decoder turns an order of tasks into a board: task by task, each operation where it ends first among the gaps that those
// before it left.
type decoder struct {
	f      *floor
	lines  []timeline
	at     []place
	done   []bool
	hint   []int32 // resource an operation should go to, if that costs little; −1
	loose  []bool  // by task: it need not keep its old place
	shared []int32 // by operation: how many others share its run
}

func newDecoder(f *floor) *decoder {
	d := &decoder{f: f, lines: make([]timeline, len(f.base)), at: make([]place, len(f.ops)), done: make([]bool, len(f.tasks)), hint: make([]int32, len(f.ops)), shared: make([]int32, len(f.ops)), loose: make([]bool, len(f.tasks))}
	for i := range f.base {
		d.lines[i] = timeline{hours: f.base[i].hours, busy: append([]span(nil), f.base[i].busy...)}
	}
	for i := range d.hint {
		d.hint[i] = -1
	}
	return d
}

func (d *decoder) reset() {
	for i := range d.f.base {
		d.lines[i].busy = append(d.lines[i].busy[:0], d.f.base[i].busy...)
	}
	copy(d.at, d.f.given)
	clear(d.done)
	copy(d.shared, d.f.sharing)
}

// decode builds the board for an order of tasks.
func (d *decoder) decode(order []int32) {
	d.reset()
	for _, t := range order {
		d.task(t)
	}
}

func (d *decoder) task(t int32) {
	if d.done[t] {
		return
	}
	d.done[t] = true
	f := d.f
	bt := &f.tasks[t]
	ready := bt.ready
	for _, a := range bt.after {
		d.task(a)
		ready = max(ready, d.at[f.tasks[a].last].free)
	}
	for o := bt.first; o <= bt.last; o++ {
		switch {
		case !f.isGiven[o]:
			if f.hasOld[o] && !d.loose[t] && f.old[o].start >= ready {
				if p, ok := d.still(o, f.old[o]); ok {
					d.put(o, p)
					break
				}
			}
			d.put(o, d.find(o, ready))
		case d.at[o].start < ready && d.at[o].start > f.w.Now:
			// What comes before it takes longer than whoever pinned it thought: it moves as little as it must.
			d.takeBack(o)
			d.put(o, d.find(o, ready))
		}
		ready = max(ready, d.at[o].free)
	}
}

// put books the place of an operation.
func (d *decoder) put(o int32, p place) {
	f := d.f
	d.at[o] = p
	b := &f.ops[o]
	if p.leader > 0 {
		d.shared[p.leader-1]++
	}
	if p.unit >= 0 && !f.units[p.unit].endless && p.leader == 0 {
		d.lines[p.unit].add(span{from: p.start, to: max(p.free, p.start), tag: b.family, change: p.change, op: o})
	}
	if p.person >= 0 && p.begin >= p.start {
		to := p.begin
		if b.mode == bHands || b.mode == bAttended {
			to = p.end
		}
		if to > p.start {
			d.lines[f.people[p.person]].add(span{from: p.start, to: to, tag: -1, op: o})
		}
	}
	if p.unloader >= 0 && p.free > p.out {
		d.lines[f.people[p.unloader]].add(span{from: p.out, to: p.free, tag: -1, op: o})
	}
}

// takeBack frees what operation o holds.
func (d *decoder) takeBack(o int32) {
	p := &d.at[o]
	if p.leader > 0 {
		d.shared[p.leader-1]--
	} else if p.unit >= 0 {
		d.lines[p.unit].drop(o)
	}
	for _, who := range [2]int32{p.person, p.unloader} {
		if who >= 0 {
			d.lines[d.f.people[who]].drop(o)
		}
	}
}

// running is the place of an operation that is at work now.
func (d *decoder) running(o int32, now int64) place {
	f := d.f
	b := &f.ops[o]
	best := place{unit: -1, person: -1, unloader: -1, free: never}
	for x, u := range b.units {
		l := &d.lines[u]
		if !f.units[u].endless && l.after(now) < len(l.busy) && l.busy[l.after(now)].from <= now && l.busy[l.after(now)].op >= 0 {
			continue // another runs in this unit
		}
		end := l.hours.After(now, b.secs[x])
		best = place{unit: u, person: -1, unloader: -1, start: now, begin: now, end: end, out: end, free: end}
		break
	}
	if best.unit < 0 {
		return d.find(o, now)
	}
	if b.mode == bAttended {
		for _, p := range f.bySkill[b.skill] {
			l := &d.lines[f.people[p]]
			if from, to := l.work(now, b.secs[0], false); from >= now && to < never {
				best.person, best.end, best.out, best.free = p, to, to, to
				break
			}
		}
	}
	if b.unload > 0 {
		best.unloader, best.out, best.free = d.hands(b.skill, best.end, b.unload)
	}
	return best
}

// resolve finds the units and people of an entry of the plan in force; false when they are gone, or the operation takes
// another time by now.
func (f *floor) resolve(o int32, e *Entry, unitsOf [][]int32, resource, person map[string]int32) (place, bool) {
	b := &f.ops[o]
	p := place{unit: -1, person: -1, unloader: -1, start: e.Start, begin: e.Begin, end: e.End, out: e.Unload, free: e.Free, change: e.ChangeS}
	var secs int64
	if len(b.units) > 0 {
		r, ok := resource[e.Resource]
		if !ok || e.Unit < 0 || e.Unit >= len(unitsOf[r]) {
			return p, false
		}
		for x, v := range b.units {
			if v == unitsOf[r][e.Unit] {
				p.unit, secs = v, b.secs[x]
			}
		}
		if p.unit < 0 {
			return p, false
		}
	}
	for _, who := range []struct {
		name string
		at   *int32
	}{{e.Person, &p.person}, {e.Unloader, &p.unloader}} {
		if who.name == "" {
			continue
		}
		k, ok := person[who.name]
		able := false
		if ok && b.skill >= 0 {
			for _, x := range f.bySkill[b.skill] {
				able = able || x == k
			}
		}
		if !able {
			return p, false
		}
		*who.at = k
	}
	at := func(who int32) *capacity.Hours { return f.base[f.people[who]].hours }
	switch b.mode {
	case bWait:
		return p, p.free-p.start == b.secs[0]
	case bHands:
		return p, p.person >= 0 && at(p.person).Between(p.start, p.end) == b.secs[0]
	case bAttended:
		return p, p.person >= 0 && at(p.person).Between(p.start, p.end) == secs+p.change
	}
	ran := f.base[p.unit].hours.Between(p.begin, p.end)
	if ran != secs && !(f.units[p.unit].batch > 1 && ran > secs) {
		return p, false
	}
	if b.mode == bRun && f.units[p.unit].batch == 1 {
		if p.person < 0 || at(p.person).Between(p.start, p.begin) != b.hands+p.change {
			return p, false
		}
		if b.unload > 0 && (p.unloader < 0 || at(p.unloader).Between(p.out, p.free) != b.unload) {
			return p, false
		}
	}
	return p, true
}

// still says whether place p of operation o is free; in an oven it may come to share a run, which the place returned says.
func (d *decoder) still(o int32, p place) (place, bool) {
	f := d.f
	b := &f.ops[o]
	free := func(l *timeline, from, to int64) bool {
		k := l.after(from)
		return from >= to || k == len(l.busy) || l.busy[k].from >= to
	}
	if p.unit >= 0 && !f.units[p.unit].endless {
		l, u := &d.lines[p.unit], &f.units[p.unit]
		k := l.after(p.start)
		if k < len(l.busy) && l.busy[k].from < p.free {
			s := l.busy[k]
			if u.batch == 1 || s.op < 0 || s.tag != b.family || d.at[s.op].begin != p.begin || d.at[s.op].end != p.end || 1+d.shared[s.op] >= u.batch {
				return p, false
			}
			q := d.at[s.op]
			q.leader, q.change, q.person, q.unloader = s.op+1, 0, -1, -1
			return q, true
		}
		if u.batch > 1 && b.mode == bRun && (p.person < 0 || b.unload > 0 && p.unloader < 0) {
			return p, false // it shared a run that has gone elsewhere
		}
		loaded := u.loaded
		for x := k - 1; x >= 0; x-- {
			if l.busy[x].tag >= 0 {
				loaded = l.busy[x].tag
				break
			}
		}
		if b.family >= 0 {
			if f.changeover(p.unit, loaded, b.family) > p.change {
				return p, false
			}
			loaded = b.family
		}
		for x := k; x < len(l.busy); x++ {
			if l.busy[x].tag >= 0 {
				if f.changeover(p.unit, loaded, l.busy[x].tag) > l.busy[x].change {
					return p, false
				}
				break
			}
		}
	}
	if p.person >= 0 {
		to := p.begin
		if b.mode == bHands || b.mode == bAttended {
			to = p.end
		}
		if !free(&d.lines[f.people[p.person]], p.start, to) {
			return p, false
		}
	}
	if p.unloader >= 0 && !free(&d.lines[f.people[p.unloader]], p.out, p.free) {
		return p, false
	}
	return p, true
}

// hands finds who with the skill is done first with need seconds of work from t on.
func (d *decoder) hands(skill int32, t, need int64) (who int32, from, to int64) {
	who, from, to = -1, never, never
	for _, p := range d.f.bySkill[skill] {
		if a, b := d.lines[d.f.people[p]].work(t, need, true); b < to {
			who, from, to = p, a, b
			if a == t {
				break // nobody is earlier
			}
		}
	}
	return
}

// find looks for the earliest place of operation o from t on.
func (d *decoder) find(o int32, t int64) place {
	f := d.f
	b := &f.ops[o]
	switch b.mode {
	case bWait:
		return place{unit: -1, person: -1, unloader: -1, start: t, begin: t, end: t + b.secs[0], out: t + b.secs[0], free: t + b.secs[0]}
	case bHands:
		p := place{unit: -1, unloader: -1, person: -1, end: never}
		for _, who := range f.bySkill[b.skill] {
			if from, to := d.lines[f.people[who]].work(t, b.secs[0], false); to < p.end {
				p.person, p.start, p.begin, p.end, p.out, p.free = who, from, from, to, to, to
			}
		}
		return p
	}
	best := place{unit: -1, person: -1, unloader: -1, free: never}
	bestCost := math.Inf(1)
	for x, u := range b.units {
		// The soonest it could be over, whatever else: skip what cannot win.
		if float64(t+b.secs[x]+b.unload) >= bestCost {
			continue
		}
		p := d.on(o, u, b.secs[x], t, bestCost)
		if p.free >= never {
			continue
		}
		cost := float64(p.free) + float64(p.change)
		if h := d.hint[o]; h >= 0 && f.units[u].res != h {
			cost += 1e7
		}
		if cost < bestCost {
			best, bestCost = p, cost
		}
	}
	return best
}

// on finds the earliest place on unit u. It may give up beyond limit.
func (d *decoder) on(o, u int32, secs, t int64, limit float64) place {
	f := d.f
	b := &f.ops[o]
	l := &d.lines[u]
	bu := &f.units[u]
	none := place{unit: -1, person: -1, unloader: -1, free: never}
	if bu.endless {
		start, _ := l.hours.Next(t)
		end := l.hours.After(start, secs)
		p := place{unit: u, person: -1, unloader: -1, start: start, begin: start, end: end, out: end, free: end}
		if b.mode == bRun {
			who, from, to := d.hands(b.skill, t, b.hands)
			end = l.hours.After(to, secs)
			p = place{unit: u, person: who, unloader: -1, start: from, begin: to, end: end, out: end, free: end}
		}
		return p
	}
	k := l.after(t)
	if bu.batch > 1 {
		// Join what is going to run anyway, with the same family and long enough.
		for x := k; x < len(l.busy); x++ {
			s := l.busy[x]
			if s.op < 0 || s.tag != b.family || s.from < t {
				continue
			}
			q := d.at[s.op]
			if 1+d.shared[s.op] >= bu.batch || l.hours.Between(q.begin, q.end) < secs {
				continue
			}
			q.leader, q.change = s.op+1, 0
			q.person, q.unloader = -1, -1
			if float64(q.free) < limit {
				return q
			}
			break
		}
	}
	for {
		// The gap before busy[k].
		if k < len(l.busy) && l.busy[k].from <= t {
			t = l.busy[k].to
			k++
			continue
		}
		if float64(t) >= limit {
			return none
		}
		loaded := bu.loaded
		for x := k - 1; x >= 0; x-- {
			if l.busy[x].tag >= 0 {
				loaded = l.busy[x].tag
				break
			}
		}
		change := f.changeover(u, loaded, b.family)
		until := never
		if k < len(l.busy) {
			until = l.busy[k].from
			// What comes next must need no more changeover after this than it has now.
			for x := k; x < len(l.busy); x++ {
				if l.busy[x].tag >= 0 {
					mine := loaded
					if b.family >= 0 {
						mine = b.family
					}
					if f.changeover(u, mine, l.busy[x].tag) > l.busy[x].change {
						until = t
					}
					break
				}
			}
		}
		if until-t >= change+b.hands+secs+b.unload {
			if p := d.within(o, u, secs, change, t, until); p.free < never {
				return p
			}
		}
		if k == len(l.busy) {
			return none
		}
		t = l.busy[k].to
		k++
	}
}

// within places operation o on unit u between t and until.
func (d *decoder) within(o, u int32, secs, change, t, until int64) place {
	f := d.f
	b := &f.ops[o]
	l := &d.lines[u]
	none := place{unit: -1, person: -1, unloader: -1, free: never}
	p := place{unit: u, person: -1, unloader: -1, change: change}
	switch b.mode {
	case bMachine:
		p.start, _ = l.hours.Next(t)
		p.begin = l.hours.After(p.start, change)
		p.begin, _ = l.hours.Next(p.begin)
		p.end = l.hours.After(p.begin, secs)
		p.out, p.free = p.end, p.end
	case bRun:
		p.person, p.start, p.begin = d.hands(b.skill, t, change+b.hands)
		if p.begin >= never {
			return none
		}
		from, _ := l.hours.Next(p.begin)
		p.end = l.hours.After(from, secs)
		p.out, p.free = p.end, p.end
		if b.unload > 0 {
			p.unloader, p.out, p.free = d.unloading(b.skill, p, b.unload)
		}
	case bAttended:
		p.end = never
		for _, who := range f.bySkill[b.skill] {
			if from, to := d.lines[f.people[who]].work(t, change+secs, false); to < p.end {
				p.person, p.start, p.end = who, from, to
			}
		}
		if p.end >= never {
			return none
		}
		p.begin = min(p.end, p.start+change)
		p.out, p.free = p.end, p.end
	}
	if p.free > until {
		return none
	}
	return p
}

// unloading finds hands for taking a run out; whoever starts it is busy with that until its begin, which lies before.
func (d *decoder) unloading(skill int32, p place, need int64) (int32, int64, int64) {
	return d.hands(skill, p.end, need)
}

// alone fills in when each task would end with the shop to itself and nothing to change over: no plan can be earlier.
func (f *floor) alone() {
	saved := f.base
	empty := make([]timeline, len(saved))
	for i := range saved {
		empty[i].hours = saved[i].hours
	}
	units := f.units
	f.units = append([]bUnit(nil), units...)
	for i := range f.units {
		f.units[i].loaded = -1
		f.units[i].batch = 1
	}
	f.base = empty
	d := newDecoder(f)
	end := make([]int64, len(f.tasks))
	seen := make([]bool, len(f.tasks))
	var visit func(t int32)
	visit = func(t int32) {
		if seen[t] {
			return
		}
		seen[t] = true
		bt := &f.tasks[t]
		at := bt.ready
		for _, a := range bt.after {
			visit(a)
			at = max(at, end[a])
		}
		for o := bt.first; o <= bt.last; o++ {
			if f.w.Tasks[t].Ops[o-bt.first].RunningOn != "" {
				soonest := never
				for x, u := range f.ops[o].units {
					soonest = min(soonest, empty[u].hours.After(f.w.Now, f.ops[o].secs[x]))
				}
				at = max(at, soonest)
				continue
			}
			at = max(at, d.find(o, at).free)
		}
		end[t] = at
	}
	for t := range f.tasks {
		visit(int32(t))
		f.tasks[t].alone = end[t]
		if due := f.tasks[t].due; due > 0 && end[t] > due {
			f.lower += f.tasks[t].weight * float64(end[t]-due)
		}
	}
	f.base, f.units = saved, units
}
