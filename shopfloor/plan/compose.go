package plan

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"firstoff/desk/estimate"
	"firstoff/digest"
	"firstoff/shop"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/schedule"
	"firstoff/shopfloor/work"
)

// Whole is a line none of whose pieces has been laid into a build.
type Whole struct {
	Key   string
	Order *order.Order
	Line  *order.Line
	Share float64 // of a full platform that it fills
}

// Wholes are the lines that may still go into a build together with others: wholly unmade, one platform or less, on a machine of ours.
func (s Situation) Wholes() []Whole {
	var out []Whole
	for i := range s.Orders {
		o := &s.Orders[i]
		if !o.State.Open() {
			continue
		}
		for n := range o.Lines {
			l := &o.Lines[n]
			key := work.Key(o.ID, l.LineID)
			if s.Catalogue.Machine(l.Option.Machine) == nil || l.Option.Builds > 1 || l.Option.PerBuild < 1 || !s.Floor.Whole(key) {
				continue
			}
			out = append(out, Whole{key, o, l, min(1, float64(len(l.Pieces))/float64(l.Option.PerBuild))})
		}
	}
	return out
}

// Together says why lines cannot share a build; "" when they can.
func Together(lines []Whole) string {
	full := 0.0
	for _, x := range lines {
		if !Alike(lines[0], x) {
			return "One build has one machine, material, support and layer height."
		}
		full += x.Share
	}
	if full > 1+1e-9 {
		return fmt.Sprintf("Together they fill %.0f %% of a platform.", 100*full)
	}
	return ""
}

// compose forms the builds that lines share: those a person joined, as long as they can be, and beside them what schedule.Gather finds worth
// sharing. Builds of the plan in force that begin within its frozen horizon stay as they are.
func (s Situation) compose(ctx context.Context, d Decisions, before *Plan) []work.Join {
	free, all := map[string]Whole{}, map[string]Whole{}
	for _, x := range s.Wholes() {
		free[x.Key], all[x.Key] = x, x
	}
	var out []work.Join
	formed := map[string]work.Join{}
	take := func(j work.Join) bool {
		var in []Whole
		for _, k := range j.Lines {
			x, ok := free[k]
			if !ok {
				return false
			}
			in = append(in, x)
		}
		if len(in) < 2 || Together(in) != "" {
			return false
		}
		for _, k := range j.Lines {
			delete(free, k)
		}
		out = append(out, j)
		return true
	}
	for _, j := range d.Joins {
		take(j)
	}
	for _, k := range d.Apart {
		delete(free, k)
	}
	if before != nil {
		soon := map[string]bool{}
		for _, e := range before.Board.Entries {
			if e.Start < s.Now.Unix()+FrozenS {
				soon[e.Task] = true
			}
		}
		for _, j := range before.Joins {
			n := len(out)
			if take(j) && !soon[j.ID] { // it stays, and others may come into it
				formed[j.ID], out = j, out[:n]
			}
		}
		for k := range free {
			if soon[work.Make(k)] {
				delete(free, k)
			}
		}
	}
	for _, p := range d.Pins { // who pinned a line's own build wants it by itself
		delete(free, work.LineOf(p.Task))
	}
	byMachine := map[string][][]Whole{}
	for _, x := range free {
		byMachine[x.Line.Option.Machine] = append(byMachine[x.Line.Option.Machine], []Whole{x})
	}
	for _, j := range formed {
		var in []Whole
		for _, k := range j.Lines {
			in = append(in, all[k])
		}
		byMachine[in[0].Line.Option.Machine] = append(byMachine[in[0].Line.Option.Machine], in)
	}
	for _, m := range s.Catalogue.Machines { // in the catalogue's order: the same every time
		groups := byMachine[m.ID]
		slices.SortFunc(groups, func(a, b []Whole) int { return cmp.Compare(a[0].Key, b[0].Key) })
		out = append(out, s.gather(ctx, &m, groups, before)...)
	}
	return out
}

// What a build counts besides lateness when builds are formed, in seconds of lateness of one piece: a second of machine, and a piece late at all.
const (
	machineCost = 0.02
	lateCost    = 4 * 3600
)

// gather asks which lines of one machine share builds. Lines given as a group are in one build already and stay so.
func (s Situation) gather(ctx context.Context, m *shop.Machine, groups [][]Whole, before *Plan) []work.Join {
	asGiven := func() []work.Join {
		var out []work.Join
		for _, g := range groups {
			if len(g) > 1 {
				out = append(out, NewJoin(keysOf(g)))
			}
		}
		return out
	}
	if len(groups) < 2 {
		return asGiven()
	}
	r := &schedule.Runs{RunCost: machineCost, LateCost: lateCost, TardyCost: 1, SetupRate: machineCost}
	families := map[string]int{}
	now := s.Now.Unix()
	start := now
	if before != nil { // the machine is taken until what runs on it is over
		for _, e := range before.Board.Entries {
			if e.Resource == m.ID && e.Start <= now && e.Free > start {
				start = e.Free
			}
		}
	}
	hands := s.hands()
	for u := range max(1, m.Count) {
		r.Machines = append(r.Machines, schedule.RunMachine{ID: fmt.Sprint(m.ID, " ", u+1), Size: 1, FixedS: int64((m.SetUpMin + m.UnloadMin) * 60), StartS: start, Hands: hands})
	}
	for _, g := range groups {
		o := g[0].Line.Option
		family := fmt.Sprint(o.Material, "|", o.Support, "|", o.LayerMM)
		if _, ok := families[family]; !ok {
			families[family] = len(families)
		}
		var in []estimate.Batch
		p := schedule.Piece{ID: g[0].Key, Family: families[family], Release: now}
		size := 0.0
		for _, x := range g {
			in = append(in, work.Batch(x.Line))
			size += x.Share
			p.Weight++
			if due := s.due(x); due > 0 && (p.Due == 0 || due < p.Due) {
				p.Due = max(due, 1)
			}
		}
		t := estimate.Together(in, m.PBF != nil)
		add, high := t.RoadsS, t.LayersS+t.OtherS
		if m.PBF != nil { // the whole chamber is spread and scanned
			add, high = 0, t.S()
		}
		for u := range r.Machines {
			p.On = append(p.On, schedule.PieceOn{Machine: u, Size: min(1, size), AddS: int64(add), HighS: int64(high)})
		}
		r.Pieces = append(r.Pieces, p)
	}
	r.Families = len(families)
	for i := range r.Machines {
		r.Machines[i].Loaded = r.Families
	}
	r.SetupS = make([][]int64, r.Families+1)
	for a := range r.SetupS {
		r.SetupS[a] = make([]int64, r.Families)
		for b := range r.SetupS[a] {
			if a != b && a < r.Families {
				r.SetupS[a][b] = int64(m.ChangeoverMin * 60)
			}
		}
	}
	found, err := schedule.Gather(ctx, r, schedule.Options{Rounds: 3, Seed: 1, Threads: 1})
	if err != nil {
		return asGiven()
	}
	var out []work.Join
	for _, run := range found.Runs {
		var keys []string
		for _, p := range run.Pieces {
			keys = append(keys, keysOf(groups[p])...)
		}
		if len(keys) > 1 {
			out = append(out, NewJoin(keys))
		}
	}
	return out
}

func keysOf(g []Whole) []string {
	var out []string
	for _, x := range g {
		out = append(out, x.Key)
	}
	return out
}

// NewJoin is the build of these lines; the same lines in any order are the same build.
func NewJoin(lines []string) work.Join {
	lines = slices.Clone(lines)
	slices.Sort(lines)
	return work.Join{ID: "shared " + string(digest.Of([]byte(strings.Join(lines, "\n"))))[:8], Lines: lines}
}

// due is when a line's build must be over for what follows to be done in time, counting that by the hour of the shop's day: s since 1970.
func (s Situation) due(x Whole) int64 {
	jobs := work.Jobs([]order.Order{{ID: x.Order.ID, State: x.Order.State, Lines: []order.Line{*x.Line}}}, work.Floor{}, work.Decided{}, s.Catalogue, s.Calendar.Location(), s.Now)
	if len(jobs) == 0 || jobs[0].Due == 0 {
		return 0
	}
	follows := 0.0
	for k := s.lastBuild(jobs[0]) + 1; k < len(jobs[0].Ops); k++ {
		o := jobs[0].Ops[k]
		follows += max(o.Seconds, o.PeopleSeconds) + o.UnloadSeconds
	}
	return jobs[0].Due - int64(3*follows) // a shift is a third of the day
}

// hands are the hours in which anybody who operates machines is in.
func (s Situation) hands() *capacity.Hours {
	from := s.Now.Unix() - 86400
	var all capacity.Calendar
	for _, p := range s.Catalogue.People {
		if !slices.Contains(p.Skills, "operate") {
			continue
		}
		for _, x := range s.Calendar.Spans(p.Shift, from, from+60*86400) {
			all = append(all, capacity.Interval{Start: x.From, End: x.To})
		}
	}
	slices.SortFunc(all, func(a, b capacity.Interval) int { return cmp.Compare(a.Start, b.Start) })
	var merged capacity.Calendar
	for _, iv := range all {
		if n := len(merged); n > 0 && iv.Start <= merged[n-1].End {
			merged[n-1].End = max(merged[n-1].End, iv.End)
			continue
		}
		merged = append(merged, iv)
	}
	return capacity.NewHours(merged)
}

// Alike says whether two lines are built of the same on the same machine.
func Alike(a, b Whole) bool {
	x, y := a.Line.Option, b.Line.Option
	return x.Machine == y.Machine && x.Material == y.Material && x.LayerMM == y.LayerMM && x.Support == y.Support
}

// TogetherS is the time of one build of these lines, s.
func TogetherS(lines []Whole, m *shop.Machine) float64 {
	var in []estimate.Batch
	for _, x := range lines {
		in = append(in, work.Batch(x.Line))
	}
	return estimate.Together(in, m.PBF != nil).S()
}
