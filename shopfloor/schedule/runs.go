package schedule

import (
	"fmt"
	"math"

	"firstoff/fault"
	"firstoff/shop/capacity"
)

// Runs asks which pieces share a run of a machine, on which machine and when each run goes, and so when to close a build and
// when to start it half full. It serves platforms (a run takes a fixed time, something for each piece, and the most that
// any of its pieces asks for in height) and ovens (as long as the longest piece asks, no longer than the shortest allows).
type Runs struct {
	Machines []RunMachine
	Pieces   []Piece
	// SetupS and SetupCost are by family before and after; row Families (one more than the families) is for a machine on
	// which nothing is loaded. nil: none.
	Families  int
	SetupS    [][]int64
	SetupCost [][]float64

	// What counts.
	RunCost   float64 // a second of running
	LateCost  float64 // a piece after its due date, whatever the delay; times the piece's weight
	TardyCost float64 // a second of delay of a piece; times its weight
	SetupRate float64 // a second of setup
	SpanCost  float64 // a second of the last end
	// Fits says whether pieces (indices) go together on a machine beyond the sum of their sizes; nil: always. What fits
	// must fit with a piece taken out. It is asked
	// again and again about the same lists, possibly from several goroutines, and should remember.
	Fits func(machine int, pieces []int32) bool
}

// RunMachine is where runs go.
type RunMachine struct {
	ID     string
	Size   float64 // what a run holds
	FixedS int64   // of each run
	StartS int64   // not before
	Loaded int     // family; Families: nothing
	// Open are the times in which a run, its setup before it included, must lie as a whole; nil: always.
	Open []capacity.Interval
	// Hands, when set, are the hours in which a run can be begun and taken out: it may last beyond them, and the machine is
	// free again when they come.
	Hands *capacity.Hours
}

// Piece is what goes into a run.
type Piece struct {
	ID      string
	Family  int
	On      []PieceOn
	Release int64
	Due     int64 // 0: none
	Weight  float64
	MaxS    int64 // the run must not take longer; 0: no limit
}

// PieceOn is a piece on one of its machines.
type PieceOn struct {
	Machine int
	Size    float64
	AddS    int64 // adds to the run
	HighS   int64 // the run lasts at least the most of these (after FixedS and the sum of AddS)
}

// Run is one run of a machine.
type Run struct {
	Machine int
	Pieces  []int32
	Family  int
	SetupS  int64
	Start   int64
	End     int64
	Free    int64 // End, or when somebody takes it out
}

// RunPlan is the answer, machine by machine in order of time.
type RunPlan struct {
	Runs       []Run
	Cost       float64
	Infeasible int // runs for which no time was left: their start lies after all that is open
	Rounds     int
}

// Check says what is wrong with the question.
func (r *Runs) Check() error {
	bad := func(where, format string, args ...any) error {
		return fault.New(fault.Invalid, "runs", where, format, args...)
	}
	if len(r.Machines) == 0 {
		return bad("machines", "There is no machine to run anything on.")
	}
	if r.Families < 0 || r.SetupS != nil && len(r.SetupS) != r.Families+1 || r.SetupCost != nil && len(r.SetupCost) != r.Families+1 {
		return bad("setups", "The setup table needs a row for each of %d families and one for an empty machine.", r.Families)
	}
	for i := range r.Families + 1 {
		if r.SetupS != nil && len(r.SetupS[i]) < r.Families || r.SetupCost != nil && len(r.SetupCost[i]) < r.Families {
			return bad("setups", "Row %d of the setup table is too short.", i+1)
		}
	}
	for i, m := range r.Machines {
		where := fmt.Sprintf("machine %q", m.ID)
		if err := capacity.Calendar(m.Open).Check(where); err != nil {
			return err
		}
		if m.Loaded < 0 || m.Loaded > r.Families || m.FixedS < 0 {
			return bad(where, "Machine %d has a family loaded that does not exist, or a negative time.", i+1)
		}
	}
	for i, p := range r.Pieces {
		where := fmt.Sprintf("piece %q", p.ID)
		if p.Family < 0 || p.Family >= max(1, r.Families) {
			return bad(where, "Family %d does not exist.", p.Family)
		}
		if len(p.On) == 0 {
			return bad(where, "Piece %d has no machine.", i+1)
		}
		for _, o := range p.On {
			if o.Machine < 0 || o.Machine >= len(r.Machines) {
				return bad(where, "Machine %d does not exist.", o.Machine)
			}
			if !(o.Size >= 0) || o.Size > r.Machines[o.Machine].Size || o.AddS < 0 || o.HighS < 0 {
				return bad(where, "It does not fit on machine %q, or has a negative time.", r.Machines[o.Machine].ID)
			}
			if p.MaxS > 0 && r.Machines[o.Machine].FixedS+o.AddS+o.HighS > p.MaxS {
				return bad(where, "It takes longer on machine %q than it allows.", r.Machines[o.Machine].ID)
			}
			if r.Fits != nil && !r.Fits(o.Machine, []int32{int32(i)}) {
				return bad(where, "It does not fit on machine %q.", r.Machines[o.Machine].ID)
			}
		}
	}
	return nil
}

// batch is a run in the making.
type batch struct {
	m       int32
	pieces  []int32
	family  int32
	size    float64
	add     int64
	high    int64
	release int64
	limit   int64 // least MaxS
	setup   int64
	start   int64
	end     int64
	free    int64
	cost    float64
	lost    bool
	at      int32 // place on its machine
	in      int32 // place in all
}

// oven is a state of the search: runs on machines, timed as early as possible.
type oven struct {
	r    *Runs
	nm   int
	on   []int32 // piece x machine: index into On, −1
	seq  [][]*batch
	of   []*batch // by piece
	cost float64
	span []int64 // by machine, end of the last run
	log  []stamp // what timing changed, to be taken back
	pool []*batch
	all  []*batch // every run, for drawing one at random
}

type stamp struct {
	b                       *batch
	setup, start, end, free int64
	cost                    float64
	lost                    bool
}

const lostCost = 1e9

func newOven(r *Runs) *oven {
	v := &oven{r: r, nm: len(r.Machines), on: make([]int32, len(r.Pieces)*len(r.Machines)), seq: make([][]*batch, len(r.Machines)), of: make([]*batch, len(r.Pieces)), span: make([]int64, len(r.Machines))}
	for i := range v.on {
		v.on[i] = -1
	}
	for i, p := range r.Pieces {
		for k, o := range p.On {
			v.on[i*v.nm+o.Machine] = int32(k)
		}
	}
	return v
}

// can gives the piece's entry for machine m, nil if it cannot go there.
func (v *oven) can(p, m int32) *PieceOn {
	k := v.on[int(p)*v.nm+int(m)]
	if k < 0 {
		return nil
	}
	return &v.r.Pieces[p].On[k]
}

// sum recomputes what a run is from its pieces.
func (v *oven) sum(b *batch) {
	b.size, b.add, b.high, b.release, b.limit = 0, 0, 0, math.MinInt64, math.MaxInt64
	for _, p := range b.pieces {
		o := v.can(p, b.m)
		x := &v.r.Pieces[p]
		b.size += o.Size
		b.add += o.AddS
		b.high = max(b.high, o.HighS)
		b.release = max(b.release, x.Release)
		if x.MaxS > 0 {
			b.limit = min(b.limit, x.MaxS)
		}
	}
}

func (v *oven) length(b *batch) int64 { return v.r.Machines[b.m].FixedS + b.add + b.high }

// room says whether piece p may join b by family, size and limits. Time and Fits are looked at later, when the move
// is known to be worth it.
func (v *oven) room(b *batch, p int32) bool {
	o := v.can(p, b.m)
	x := &v.r.Pieces[p]
	if o == nil || int32(x.Family) != b.family {
		return false
	}
	mach := &v.r.Machines[b.m]
	if b.size+o.Size > mach.Size+1e-9 {
		return false
	}
	if b.limit < math.MaxInt64 || x.MaxS > 0 {
		l := b.limit
		if x.MaxS > 0 {
			l = min(l, x.MaxS)
		}
		if mach.FixedS+b.add+o.AddS+max(b.high, o.HighS) > l {
			return false
		}
	}
	return true
}

// fits asks whether the pieces of a run really go together.
func (v *oven) fits(b *batch) bool {
	return v.r.Fits == nil || len(b.pieces) < 2 || v.r.Fits(int(b.m), b.pieces)
}

// retime times machine m's runs from place k on and books the change of cost. until is
// the last place that changed; behind it and the one after it, which has a new neighbour, it stops at the first run that
// comes out as it was.
func (v *oven) retime(m int32, k, until int) {
	r := v.r
	mach := &r.Machines[m]
	seq := v.seq[m]
	free, before := mach.StartS, int32(mach.Loaded)
	if k > 0 {
		free, before = seq[k-1].free, seq[k-1].family
	}
	for ; k < len(seq); k++ {
		b := seq[k]
		b.at = int32(k)
		setup := int64(0)
		sc := 0.0
		if r.SetupS != nil {
			setup = r.SetupS[before][b.family]
		}
		if r.SetupCost != nil {
			sc = r.SetupCost[before][b.family]
		}
		d := v.length(b)
		start, lost := max(free+setup, b.release), false
		if mach.Open != nil {
			start, lost = fit(mach.Open, start, setup, d)
		}
		if mach.Hands != nil {
			start, _ = mach.Hands.Next(start)
		}
		end := start + d
		out := end
		if mach.Hands != nil {
			out, _ = mach.Hands.Next(end)
		}
		if k > until+1 && start == b.start && setup == b.setup && end == b.end && lost == b.lost {
			return
		}
		c := r.RunCost*float64(d) + r.SetupRate*float64(setup) + sc
		if r.LateCost != 0 || r.TardyCost != 0 {
			for _, p := range b.pieces {
				x := &r.Pieces[p]
				if x.Due != 0 && out > x.Due {
					c += x.Weight * (r.LateCost + r.TardyCost*float64(out-x.Due))
				}
			}
		}
		if lost {
			c += lostCost
		}
		v.log = append(v.log, stamp{b, b.setup, b.start, b.end, b.free, b.cost, b.lost})
		v.cost += c - b.cost
		b.setup, b.start, b.end, b.free, b.cost, b.lost = setup, start, end, out, c, lost
		free, before = out, b.family
	}
	if r.SpanCost != 0 {
		e := int64(0)
		if n := len(seq); n > 0 {
			e = seq[n-1].end
		}
		v.span[m] = e
	}
}

// spanCost is what the last end costs now.
func (v *oven) spanCost() float64 {
	if v.r.SpanCost == 0 {
		return 0
	}
	last, sum := int64(0), int64(0)
	for m := range v.seq {
		e := int64(0)
		if n := len(v.seq[m]); n > 0 {
			e = v.seq[m][n-1].end
		}
		last = max(last, e)
		sum += e
	}
	// The other machines count a little, so that work taken off them is seen.
	return v.r.SpanCost * (float64(last) + 0.05*float64(sum)/float64(v.nm))
}

// total is the cost of the state.
func (v *oven) total() float64 { return v.cost + v.spanCost() }

// undoTimes takes back what retime did since the log was emptied.
func (v *oven) undoTimes() {
	for k := len(v.log) - 1; k >= 0; k-- {
		s := &v.log[k]
		v.cost += s.cost - s.b.cost
		s.b.setup, s.b.start, s.b.end, s.b.free, s.b.cost, s.b.lost = s.setup, s.start, s.end, s.free, s.cost, s.lost
	}
	v.log = v.log[:0]
}

// fit finds the first start at or after t such that setup before it and d after it lie in one opening; lost when there
// is none: then it is put after all of them.
func fit(open []capacity.Interval, t, setup, d int64) (start int64, lost bool) {
	lo, hi := 0, len(open)
	for lo < hi {
		x := (lo + hi) / 2
		if open[x].End >= t+d {
			hi = x
		} else {
			lo = x + 1
		}
	}
	for ; lo < len(open); lo++ {
		if s := max(t, open[lo].Start+setup); s+d <= open[lo].End {
			return s, false
		}
	}
	return max(t, open[len(open)-1].End+setup), true
}

// insertRun and removeRun change a machine's list.
func (v *oven) insertRun(b *batch, m int32, k int) {
	b.m = m
	s := append(v.seq[m], nil)
	copy(s[k+1:], s[k:])
	s[k] = b
	v.seq[m] = s
	for x := k; x < len(s); x++ {
		s[x].at = int32(x)
	}
}

func (v *oven) removeRun(b *batch) {
	m, k := b.m, int(b.at)
	s := v.seq[m]
	copy(s[k:], s[k+1:])
	s[len(s)-1] = nil
	s = s[:len(s)-1]
	v.seq[m] = s
	for x := k; x < len(s); x++ {
		s[x].at = int32(x)
	}
}

func (v *oven) newRun(p, m int32) *batch {
	var b *batch
	if n := len(v.pool); n > 0 {
		b = v.pool[n-1]
		v.pool = v.pool[:n-1]
		*b = batch{pieces: b.pieces[:0]}
	} else {
		b = &batch{}
	}
	b.m = m
	b.family = int32(v.r.Pieces[p].Family)
	b.pieces = append(b.pieces, p)
	v.sum(b)
	return b
}

func (v *oven) enlist(b *batch) {
	b.in = int32(len(v.all))
	v.all = append(v.all, b)
}

func (v *oven) strike(b *batch) {
	last := v.all[len(v.all)-1]
	v.all[b.in], last.in = last, b.in
	v.all = v.all[:len(v.all)-1]
}

// save and load move a state out and in.
func (v *oven) save() []Run {
	var runs []Run
	for m := range v.seq {
		for _, b := range v.seq[m] {
			runs = append(runs, Run{Machine: m, Pieces: append([]int32(nil), b.pieces...), Family: int(b.family), SetupS: b.setup, Start: b.start, End: b.end, Free: b.free})
		}
	}
	return runs
}

func (v *oven) load(runs []Run) {
	for m := range v.seq {
		for _, b := range v.seq[m] {
			v.pool = append(v.pool, b)
		}
		v.seq[m] = v.seq[m][:0]
	}
	v.all = v.all[:0]
	v.cost = 0
	for _, r := range runs {
		b := v.newRun(r.Pieces[0], int32(r.Machine))
		b.pieces = append(b.pieces[:0], r.Pieces...)
		v.sum(b)
		for _, p := range r.Pieces {
			v.of[p] = b
		}
		v.insertRun(b, b.m, len(v.seq[b.m]))
		v.enlist(b)
	}
	for m := range v.seq {
		v.retime(int32(m), 0, len(v.seq[m]))
	}
	v.log = v.log[:0]
}
