package capacity

import (
	"fmt"
	"sort"
	"strings"

	"firstoff/fault"
)

type mode uint8

const (
	modeWait     mode = iota // nothing held
	modeHands                // a person
	modeMachine              // a resource
	modeRun                  // a person starts, the resource runs on alone
	modeAttended             // both, throughout
)

// slot is one unit of a resource.
type slot struct {
	res     int32
	hours   *Hours
	loaded  int32
	batch   int32
	endless bool
	mtbf    float64
	mttr    float64
	classes []int32
}

// class is a set of operations that wait for the same thing: same slots, skill, family and way of working.
type class struct {
	mode   mode
	skill  int32 // -1: none
	family int32 // -1: none
	slots  []int32
}

type op struct {
	job, class int32
	law        Law
	mean       float64
	each       []float64 // by position in class.slots; nil: mean everywhere
	sd         float64   // sigma of the logarithm
	hands      int64
	unload     int64
	fail       float64
	planned    int64
	notBefore  int64
	running    int32 // slot, or -1
	key        uint64
}

type jobData struct {
	first, last int32 // ops
	release     int64
	due         int64
	sd          float64
	fail        float64
	redo        int32
	key         uint64
	after       int32   // jobs it waits for
	before      []int32 // jobs that wait for it
}

type person struct {
	skills  []int32
	hours   *Hours
	absent  float64
	classes []int32 // those that need one of its skills
}

// model is a shop and its load, prepared for running.
type model struct {
	now      int64
	jobs     []jobData
	ops      []op
	classes  []class
	slots    []slot
	people   []person
	bySkill  [][]int32
	change   []map[[2]int32]int64 // by resource
	changeOf []int64
	nRes     int
	nSkill   int
	skills   []string
	families names
	jobIDs   []string
	res      []Resource
	staff    []Person
	opt      Options
	campaign float64
}

type names struct {
	index map[string]int32
	list  []string
}

func (n *names) of(s string) int32 {
	if i, ok := n.index[s]; ok {
		return i
	}
	if n.index == nil {
		n.index = map[string]int32{}
	}
	i := int32(len(n.list))
	n.index[s] = i
	n.list = append(n.list, s)
	return i
}

func compile(load Load, shop Shop, now int64, opt Options) (*model, error) {
	m := &model{now: now, res: shop.Resources, staff: shop.People, opt: opt, campaign: opt.Campaign}
	switch {
	case opt.Campaign < 0:
		m.campaign = 0
	case opt.Campaign == 0:
		m.campaign = 10
	}
	var skills names
	families := &m.families
	resIndex := map[string]int32{}
	slotsOf := make([][]int32, len(shop.Resources))
	m.nRes = len(shop.Resources)
	for i, r := range shop.Resources {
		where := fmt.Sprintf("resource %q", r.ID)
		if _, twice := resIndex[r.ID]; twice || r.ID == "" {
			return nil, fault.New(fault.Invalid, "resource_id", where, "Every resource needs a name of its own; this one is empty or used twice.")
		}
		if err := r.Calendar.Check(where); err != nil {
			return nil, err
		}
		if r.Units < 0 || r.Batch < 0 || r.MTBFSeconds < 0 || r.MTTRSeconds < 0 || r.ChangeSeconds < 0 {
			return nil, fault.New(fault.Invalid, "resource_negative", where, "Units, batch, changeover, MTBF and MTTR must not be negative.")
		}
		resIndex[r.ID] = int32(i)
		h := NewHours(r.Calendar)
		loaded := int32(-1)
		if r.Family != "" {
			loaded = families.of(r.Family)
		}
		for range max(1, r.Units) {
			slotsOf[i] = append(slotsOf[i], int32(len(m.slots)))
			m.slots = append(m.slots, slot{res: int32(i), hours: h, loaded: loaded, batch: int32(max(1, r.Batch)),
				endless: r.Unlimited, mtbf: r.MTBFSeconds, mttr: r.MTTRSeconds})
			if r.Unlimited {
				break
			}
		}
		m.changeOf = append(m.changeOf, int64(r.ChangeSeconds))
		var ch map[[2]int32]int64
		for _, c := range r.Changes {
			if c.Seconds < 0 {
				return nil, fault.New(fault.Invalid, "resource_negative", where, "The changeover from %q to %q is negative.", c.From, c.To)
			}
			if ch == nil {
				ch = map[[2]int32]int64{}
			}
			ch[[2]int32{families.of(c.From), families.of(c.To)}] = int64(c.Seconds)
		}
		m.change = append(m.change, ch)
	}
	for i, p := range shop.People {
		if err := p.Calendar.Check(fmt.Sprintf("person %q", p.ID)); err != nil {
			return nil, err
		}
		pd := person{hours: prepare(p.Calendar, p.AbsentProb == 0), absent: p.AbsentProb}
		if p.AbsentProb < 0 || p.AbsentProb >= 1 {
			return nil, fault.New(fault.Invalid, "person_absence", fmt.Sprintf("person %q", p.ID), "The chance of absence must be at least 0 and less than 1.")
		}
		for _, s := range p.Skills {
			k := skills.of(s)
			for int(k) >= len(m.bySkill) {
				m.bySkill = append(m.bySkill, nil)
			}
			m.bySkill[k] = append(m.bySkill[k], int32(i))
			pd.skills = append(pd.skills, k)
		}
		m.people = append(m.people, pd)
	}
	// The least versatile first, so that whoever can do much is kept free.
	for _, l := range m.bySkill {
		sort.SliceStable(l, func(a, b int) bool { return len(m.people[l[a]].skills) < len(m.people[l[b]].skills) })
	}

	classIndex := map[string]int32{}
	for _, j := range load.Jobs {
		where := fmt.Sprintf("job %q", j.ID)
		if len(j.Ops) == 0 {
			return nil, fault.New(fault.Invalid, "job_empty", where, "A job needs at least one operation.")
		}
		if j.RedoFrom < 0 || j.RedoFrom >= len(j.Ops) || j.CV < 0 || j.FailProb < 0 || j.FailProb >= 1 {
			return nil, fault.New(fault.Invalid, "job_range", where, "Spread, chance of failure (0 to below 1) or the operation to repeat from is out of range.")
		}
		ji := int32(len(m.jobs))
		jd := jobData{first: int32(len(m.ops)), release: max(j.Release, now), due: j.Due, fail: j.FailProb, redo: int32(len(m.ops) + j.RedoFrom),
			sd: sigma(j.CV), key: hashString(0x6a6f62, j.ID)}
		if jd.due == 0 {
			jd.due = jd.release + 30*86400
		}
		for k, o := range j.Ops {
			c, cls, err := m.op(&j, k, o, ji, jd.key, resIndex, slotsOf, &skills, families, classIndex)
			if err != nil {
				return nil, err
			}
			if cls != nil {
				m.classes = append(m.classes, *cls)
			}
			m.ops = append(m.ops, c)
		}
		jd.last = int32(len(m.ops) - 1)
		m.jobs = append(m.jobs, jd)
		m.jobIDs = append(m.jobIDs, j.ID)
	}
	if err := m.link(load); err != nil {
		return nil, err
	}
	m.nSkill = len(skills.list)
	m.skills = skills.list
	for len(m.bySkill) < m.nSkill {
		m.bySkill = append(m.bySkill, nil)
	}
	for ci := range m.classes {
		c := &m.classes[ci]
		for _, s := range c.slots {
			m.slots[s].classes = append(m.slots[s].classes, int32(ci))
		}
		if c.skill >= 0 {
			for _, p := range m.bySkill[c.skill] {
				m.people[p].classes = append(m.people[p].classes, int32(ci))
			}
		}
	}
	return m, nil
}

// op prepares one operation and finds or makes its class (returned when new).
func (m *model) op(j *Job, k int, o Op, ji int32, jobKey uint64, resIndex map[string]int32, slotsOf [][]int32,
	skills, families *names, classIndex map[string]int32) (op, *class, error) {
	where := fmt.Sprintf("job %q, operation %d", j.ID, k+1)
	if !(o.Seconds >= 0) || !(o.CV >= 0) || !(o.PeopleSeconds >= 0) || !(o.UnloadSeconds >= 0) || !(o.FailProb >= 0 && o.FailProb < 1) ||
		o.Seconds > 1e9 || o.PeopleSeconds > 1e9 || o.UnloadSeconds > 1e9 || o.CV > 100 {
		return op{}, nil, fault.New(fault.Invalid, "operation_range", where, "A duration, spread or chance of failure is negative, not a number or beyond reason.")
	}
	if o.Each != nil && len(o.Each) != len(o.Resource) {
		return op{}, nil, fault.New(fault.Invalid, "operation_each", where, "There are %d durations for %d resources; give one for each.", len(o.Each), len(o.Resource))
	}
	r := op{job: ji, law: o.Law, mean: o.Seconds, sd: sigma(o.CV), hands: int64(o.PeopleSeconds), unload: int64(o.UnloadSeconds),
		fail: o.FailProb, planned: o.Planned, notBefore: o.NotBefore, running: -1, key: hashString(jobKey+uint64(k), o.ID)}
	c := class{skill: -1, family: -1}
	if o.People != "" {
		c.skill = skills.of(o.People)
		if int(c.skill) >= len(m.bySkill) || len(m.bySkill[c.skill]) == 0 {
			return op{}, nil, fault.New(fault.Invalid, "skill_unknown", where, "Nobody in the shop has the skill %q; add it to a person or change the operation.", o.People)
		}
	}
	if o.Family != "" {
		c.family = families.of(o.Family)
	}
	for a, id := range o.Resource {
		ri, ok := resIndex[id]
		if !ok {
			return op{}, nil, fault.New(fault.Invalid, "resource_unknown", where, "The resource %q is not in the shop; correct the name.", id)
		}
		for _, s := range slotsOf[ri] {
			c.slots = append(c.slots, s)
			if o.Each != nil {
				if !(o.Each[a] >= 0 && o.Each[a] <= 1e9) {
					return op{}, nil, fault.New(fault.Invalid, "operation_range", where, "The duration on %q is negative, not a number or beyond reason.", id)
				}
				r.each = append(r.each, o.Each[a])
			}
		}
	}
	switch {
	case len(c.slots) == 0 && c.skill < 0:
		c.mode, c.family = modeWait, -1
	case len(c.slots) == 0:
		c.mode, c.family = modeHands, -1
		if r.mean == 0 {
			r.mean = o.PeopleSeconds
		}
	case c.skill < 0:
		c.mode = modeMachine
	case o.Unattended:
		c.mode = modeRun
	default:
		c.mode = modeAttended
	}
	if o.RunningOn != "" {
		ri, ok := resIndex[o.RunningOn]
		if !ok {
			return op{}, nil, fault.New(fault.Invalid, "resource_unknown", where, "It is said to run on %q, which is not in the shop; correct the name.", o.RunningOn)
		}
		at := -1
		for i, s := range c.slots {
			if m.slots[s].res == ri {
				at = i
				break
			}
		}
		if at < 0 || k > 0 && j.Ops[k-1].RunningOn != "" {
			return op{}, nil, fault.New(fault.Invalid, "operation_running", where, "It is said to run on %q, which is not among its resources, or two operations of the job run at once.", o.RunningOn)
		}
		r.running = int32(at)
	}
	var key strings.Builder
	fmt.Fprint(&key, c.mode, c.skill, c.family, c.slots)
	ci, ok := classIndex[key.String()]
	if ok {
		r.class = ci
		return r, nil, nil
	}
	ci = int32(len(m.classes))
	classIndex[key.String()] = ci
	r.class = ci
	return r, &c, nil
}

// changeover is the time to make slot s ready for family f, given what is loaded.
func (m *model) changeover(s *slot, loaded, f int32) int64 {
	if f < 0 || loaded == f || loaded < 0 {
		return 0
	}
	if ch := m.change[s.res]; ch != nil {
		if c, ok := ch[[2]int32{loaded, f}]; ok {
			return c
		}
	}
	return m.changeOf[s.res]
}

// link finds who waits for whom. Fault: Invalid "job_circle".
func (m *model) link(load Load) error {
	var index map[string]int32
	for ji, j := range load.Jobs {
		if len(j.After) == 0 {
			continue
		}
		if m.ops[m.jobs[ji].first].running >= 0 {
			return fault.New(fault.Invalid, "operation_running", fmt.Sprintf("job %q", j.ID), "It is said to run already, and to wait for another job.")
		}
		if index == nil {
			index = make(map[string]int32, len(load.Jobs))
			for i, x := range load.Jobs {
				index[x.ID] = int32(i)
			}
		}
		for _, id := range j.After {
			if a, ok := index[id]; ok {
				m.jobs[a].before = append(m.jobs[a].before, int32(ji))
				m.jobs[ji].after++
			}
		}
	}
	if index == nil {
		return nil
	}
	// Taken out in order of need (Kahn 1962); what is left over goes round in a circle.
	left, open := make([]int32, len(m.jobs)), make([]int32, 0, len(m.jobs))
	for i := range m.jobs {
		if left[i] = m.jobs[i].after; left[i] == 0 {
			open = append(open, int32(i))
		}
	}
	for k := 0; k < len(open); k++ {
		for _, b := range m.jobs[open[k]].before {
			if left[b]--; left[b] == 0 {
				open = append(open, b)
			}
		}
	}
	for i := range left {
		if left[i] > 0 {
			return fault.New(fault.Invalid, "job_circle", fmt.Sprintf("job %q", m.jobIDs[i]), "It waits for work that waits for it; take one of the two apart.")
		}
	}
	return nil
}
