package capacity

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

const hour = 3600

// monday is 2026-03-02 00:00 UTC.
const monday = int64(1772409600)

// shifts is working days from to in hours, Monday to Friday, for some weeks.
func shifts(weeks int, from, to int64) Calendar {
	var c Calendar
	for d := range int64(weeks * 7) {
		if d%7 < 5 {
			c = append(c, Interval{monday + d*86400 + from*hour, monday + d*86400 + to*hour})
		}
	}
	return c
}

func play(t testing.TB, load Load, shop Shop, now int64, opt Options) *Result {
	t.Helper()
	r, err := Run(context.Background(), load, shop, now, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func at(day, h, m int64) int64 { return monday + day*86400 + h*hour + m*60 }

func clock(t int64) string {
	d := (t - monday) / 86400
	return fmt.Sprintf("day %d %02d:%02d", d, (t-monday)%86400/hour, (t-monday)%hour/60)
}

// Handbook 7.1: a 9 h build started at 16:00 unloads at 08:00.
func TestUnattendedNight(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "printer"}},
		People: []Person{{ID: "a", Skills: []string{"operate"}, Calendar: shifts(2, 8, 17)}}}
	build := Op{ID: "build", Resource: []string{"printer"}, Seconds: 9 * hour, People: "operate", PeopleSeconds: 600, UnloadSeconds: 900, Unattended: true}
	clean := Op{ID: "clean", People: "operate", Seconds: hour}
	r := play(t, Load{Jobs: []Job{{ID: "j", Ops: []Op{build, clean}}}}, shop, at(0, 15, 50), Options{Exact: true})
	if got, want := r.Jobs[0].Ends[0], at(1, 9, 15); got != want {
		t.Errorf("done %s, want %s", clock(got), clock(want))
	}
	if b := r.Jobs[0].Binding(); b.Kind != ForHours || b.ID != "operate" {
		t.Errorf("it waited for the morning; reported %+v", b)
	}
	// Ten minutes before the end of the shift a start of 20 minutes is left for the morning.
	build.PeopleSeconds = 1200
	r = play(t, Load{Jobs: []Job{{ID: "j", Ops: []Op{build}}}}, shop, at(0, 16, 50), Options{Exact: true})
	if got, want := r.Jobs[0].Ends[0], at(2, 8, 15); got != want {
		t.Errorf("late start done %s, want %s", clock(got), clock(want))
	}
	// On Friday it waits over the weekend.
	r = play(t, Load{Jobs: []Job{{ID: "j", Ops: []Op{build}}}}, shop, at(4, 16, 30), Options{Exact: true})
	if got, want := r.Jobs[0].Ends[0], at(7, 8, 15); got != want {
		t.Errorf("over the weekend done %s, want %s", clock(got), clock(want))
	}
}

func TestCalendar(t *testing.T) {
	c := shifts(1, 8, 17)
	for _, k := range []struct{ from, work, want int64 }{
		{at(0, 8, 0), 9 * hour, at(0, 17, 0)},
		{at(0, 7, 0), 9*hour + 1, at(1, 8, 0) + 1},
		{at(4, 16, 0), 2 * hour, at(7, 9, 0)},        // into the repeated week
		{at(5, 0, 0), 45*hour + 1, at(14, 8, 0) + 1}, // a whole repeated week and a second
		{at(70, 12, 0), 5 * hour, at(70, 17, 0)},     // far beyond
		{at(70, 12, 0), 95 * hour, at(84, 17, 0)},    // two weeks and five hours
		{at(-10, 12, 0), 1 * hour, at(0, 9, 0)},      // before the beginning
		{at(3, 20, 0), 0, at(4, 8, 0)},               // nothing to do: next opening
		{at(4, 17, 0), 45 * hour * 3, at(25, 17, 0)}, // exact end of a repeated week
		{at(0, 8, 0), 45*hour*10 - 1, at(67, 17, -0) - 1},
	} {
		if got := c.After(k.from, k.work); got != k.want {
			t.Errorf("%s + %d s: %s, want %s", clock(k.from), k.work, clock(got), clock(k.want))
		}
	}
	if s, e := c.Next(at(5, 1, 0)); s != at(7, 8, 0) || e != at(7, 17, 0) {
		t.Errorf("next after Saturday: %s-%s", clock(s), clock(e))
	}
	always := Calendar{{at(0, 0, 0), at(14, 0, 0)}}
	if s, e := always.Next(at(3, 0, 0)); s != at(3, 0, 0) || e < at(5000, 0, 0) {
		t.Errorf("an unbroken calendar ends at %s", clock(e))
	}
	if s, e := (Calendar{{at(0, 0, 0), at(5, 0, 0)}, {at(6, 0, 0), at(7, 0, 0)}}).Next(at(6, 3, 0)); s != at(6, 3, 0) || e != at(12, 0, 0) {
		t.Errorf("openings that touch at the seam are one: %s", clock(e))
	}
	if err := (Calendar{{5, 9}, {8, 12}}).Check("x"); err == nil {
		t.Error("overlapping intervals accepted")
	}
}

// After and Between against counting second by second, on random calendars.
func TestCalendarByCounting(t *testing.T) {
	seed := uint64(11)
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 1))
	for range 40 {
		var c Calendar
		at := int64(0)
		for range 1 + rnd.IntN(30) {
			at += rnd.Int64N(40000) // may touch
			e := at + 1 + rnd.Int64N(60000)
			c = append(c, Interval{at, e})
			at = e
		}
		h := NewHours(c)
		last := c[len(c)-1].End
		open := func(s int64) bool {
			for s >= last {
				s -= week
			}
			for _, iv := range c {
				if s >= iv.Start && s < iv.End {
					return true
				}
			}
			return false
		}
		for range 20 {
			from := rnd.Int64N(last + 2*week)
			// Walk second by second in coarse jumps over the same answer.
			work := 1 + rnd.Int64N(3000)
			s := from
			for n := int64(0); ; s++ {
				if open(s) {
					if n++; n == work {
						break
					}
				}
				if s > from+3*week {
					t.Fatal("no end")
				}
			}
			if got := h.After(from, work); got != s+1 {
				t.Fatalf("calendar %v: after(%d, %d) = %d, counted %d", c, from, work, got, s+1)
			}
			if got := h.Between(from, s+1); got != work {
				t.Fatalf("calendar %v: between(%d, %d) = %d, counted %d", c, from, s+1, got, work)
			}
		}
	}
}

func TestOven(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "oven", Batch: 3}}}
	var load Load
	for i := range 4 {
		load.Jobs = append(load.Jobs, Job{ID: fmt.Sprint(i), Ops: []Op{{ID: "cure", Resource: []string{"oven"}, Seconds: float64(100 + i), Family: "c"}}, Due: 1e6 + int64(i)})
	}
	// The first starts alone at once: nothing looks ahead. The rest go together.
	load.Jobs[0].Release = 1
	for i := 1; i < 4; i++ {
		load.Jobs[i].Release = 2
	}
	r := play(t, load, shop, 0, Options{Exact: true})
	if r.Jobs[0].Ends[0] != 101 || r.Jobs[1].Ends[0] != 204 || r.Jobs[3].Ends[0] != 204 {
		t.Errorf("ends %d %d %d", r.Jobs[0].Ends[0], r.Jobs[1].Ends[0], r.Jobs[3].Ends[0])
	}
}

func TestChangeover(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "m", Family: "white", ChangeSeconds: 1000, Changes: []Change{{"white", "black", 3000}}}}}
	op := func(f string) []Op { return []Op{{ID: "b", Resource: []string{"m"}, Seconds: 100, Family: f}} }
	load := Load{Jobs: []Job{{ID: "black", Ops: op("black"), Due: 5000}, {ID: "white", Ops: op("white"), Due: 9000}}}
	r := play(t, load, shop, 0, Options{Exact: true})
	if r.Jobs[1].Ends[0] != 100 || r.Jobs[0].Ends[0] != 3200 {
		t.Errorf("the loaded material does not go first: %v", r.Jobs)
	}
	load.Jobs = append([]Job{{ID: "first", Ops: op("white"), Due: 1}}, load.Jobs...)
	r = play(t, load, shop, 0, Options{Exact: true})
	if r.Jobs[2].Ends[0] != 200 || r.Jobs[1].Ends[0] != 3300 {
		t.Errorf("the loaded material does not go first: %v", r.Jobs)
	}
	r = play(t, load, shop, 0, Options{Exact: true, Campaign: -1})
	if r.Jobs[1].Ends[0] != 3200 {
		t.Errorf("without campaigns the due date decides: %v", r.Jobs)
	}
}

func TestRunningFailingAbsent(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "m"}}, People: []Person{{ID: "p", Skills: []string{"s"}}}}
	load := Load{Jobs: []Job{
		{ID: "next", Ops: []Op{{ID: "b", Resource: []string{"m"}, Seconds: 50}}, Due: 1},
		{ID: "on", Ops: []Op{{ID: "b", Resource: []string{"m"}, Seconds: 70, RunningOn: "m"}}, Due: 999999},
	}}
	r := play(t, load, shop, 1000, Options{Exact: true})
	if r.Jobs[1].Ends[0] != 1070 || r.Jobs[0].Ends[0] != 1120 {
		t.Errorf("running work is not in place: %v", r.Jobs)
	}
	// A run that fails with p is begun 1/(1-p) times; a failed one takes half its time on the mean.
	n := 20000
	fail := Load{Jobs: []Job{{ID: "f", Ops: []Op{{ID: "b", Resource: []string{"m"}, Seconds: 1000, FailProb: 0.2}}}}}
	r = play(t, fail, shop, 0, Options{Seed: 5, Replications: n})
	mean := 0.0
	for _, e := range r.Jobs[0].Ends {
		mean += float64(e) / float64(n)
	}
	if want := 1000 + 0.25*500.0; math.Abs(mean-want) > 6 {
		t.Errorf("mean with failures %.1f, want %.1f", mean, want)
	}
	if math.Abs(r.Resources[0].Served-1.25) > 0.02 {
		t.Errorf("runs a job %.3f, want 1.25", r.Resources[0].Served)
	}
	// Rejected at the end and redone.
	fail.Jobs[0] = Job{ID: "g", FailProb: 0.1, Ops: []Op{{ID: "b", Resource: []string{"m"}, Seconds: 1000}, {ID: "c", People: "s", Seconds: 100}}, RedoFrom: 1}
	r = play(t, fail, shop, 0, Options{Seed: 5, Replications: n})
	mean = 0
	for _, e := range r.Jobs[0].Ends {
		mean += float64(e) / float64(n)
	}
	if want := 1000 + 100*(1+0.1+0.01+0.001); math.Abs(mean-want) > 1 {
		t.Errorf("mean with redo %.2f, want %.2f", mean, want)
	}
	// Absent two days in five: the mean wait for a person is 0.4/0.6 days more.
	days := Calendar{}
	for d := range int64(400) {
		days = append(days, Interval{d * 86400, d*86400 + 86400})
	}
	shop.People[0].Calendar, shop.People[0].AbsentProb = days, 0.4
	one := Load{Jobs: []Job{{ID: "g", Ops: []Op{{ID: "c", People: "s", Seconds: 100}}}}}
	r = play(t, one, shop, 0, Options{Seed: 7, Replications: n})
	mean = 0
	for _, e := range r.Jobs[0].Ends {
		mean += float64(e) / float64(n)
	}
	if want := 100 + 86400*0.4/0.6; math.Abs(mean/want-1) > 0.03 {
		t.Errorf("mean with absence %.0f, want %.0f", mean, want)
	}
}

// someShop is a made-up fleet with work on it, as large as asked.
func someShop(seed uint64, jobs int) (Load, Shop) {
	rnd := rand.New(rand.NewPCG(seed, 2))
	cal := shifts(8, 7, 17)
	shop := Shop{Resources: []Resource{
		{ID: "mex1", Family: "abs", ChangeSeconds: 2400, MTBFSeconds: 400 * hour, MTTRSeconds: 4 * hour}, {ID: "mex2", Family: "abs", ChangeSeconds: 2400},
		{ID: "mex3", Family: "pc", ChangeSeconds: 2400}, {ID: "mjt", Family: "clear", ChangeSeconds: 3600}, {ID: "sls", ChangeSeconds: 20000},
		{ID: "bath", Units: 2}, {ID: "oven", Batch: 6}, {ID: "partner", Unlimited: true, Calendar: cal},
	}}
	for i := range 5 {
		p := Person{ID: fmt.Sprint("p", i), Skills: []string{"operate"}, Calendar: cal, AbsentProb: 0.03}
		if i > 2 {
			p.Skills = append(p.Skills, "finish")
		}
		shop.People = append(shop.People, p)
	}
	var load Load
	fams := []string{"abs", "pc", "asa"}
	for j := range jobs {
		var build Op
		switch rnd.IntN(5) {
		case 0:
			build = Op{ID: "build", Resource: []string{"mjt"}, Family: "clear"}
		case 1:
			build = Op{ID: "build", Resource: []string{"sls"}, Family: "pa"}
		default:
			build = Op{ID: "build", Resource: []string{"mex1", "mex2", "mex3"}, Family: fams[rnd.IntN(3)]}
		}
		build.Seconds, build.CV, build.People, build.PeopleSeconds, build.UnloadSeconds = 3600*(2+8*rnd.Float64()), 0.15, "operate", 600, 600
		build.Unattended, build.FailProb = true, 0.03
		ops := []Op{build, {ID: "bath", Resource: []string{"bath"}, Seconds: 4 * hour, CV: 0.1}, {ID: "finish", People: "finish", Seconds: 1200, CV: 0.4}, {ID: "cure", Resource: []string{"oven"}, Seconds: 7200}}
		if rnd.IntN(8) == 0 {
			ops = append(ops, Op{ID: "paint", Resource: []string{"partner"}, Seconds: 20 * hour, CV: 0.3})
		}
		load.Jobs = append(load.Jobs, Job{ID: fmt.Sprint("j", j), Ops: ops, Due: monday + int64(rnd.IntN(20*86400)), CV: 0.1, FailProb: 0.02})
	}
	return load, shop
}

func TestSameOnOneCoreOrMany(t *testing.T) {
	load, shop := someShop(3, 60)
	a := play(t, load, shop, monday, Options{Seed: 9, Replications: 30, Threads: 1})
	b := play(t, load, shop, monday, Options{Seed: 9, Replications: 30, Threads: 4})
	if fmt.Sprint(*a) != fmt.Sprint(*b) {
		t.Error("the result depends on the number of threads")
	}
	c := play(t, load, shop, monday, Options{Seed: 10, Replications: 30, Threads: 4})
	if fmt.Sprint(a.Jobs) == fmt.Sprint(c.Jobs) {
		t.Error("the seed has no effect")
	}
	for _, j := range a.Jobs {
		if j.Quantile(0.9) < j.Quantile(0.5) || j.Quantile(0) > j.Quantile(1) {
			t.Fatalf("quantiles out of order for %s", j.ID)
		}
		for _, e := range j.Ends {
			if e <= monday {
				t.Fatalf("%s never ended", j.ID)
			}
		}
	}
}

// Work behind all others (latest due date) on the same machines ends later on the mean when there is more before it.
func TestMoreLoadLater(t *testing.T) {
	last := int64(0)
	for _, n := range []int{0, 20, 40, 80, 160} {
		load, shop := someShop(3, 160)
		me := load.Jobs[7]
		me.ID, me.Due = "me", monday+400*86400
		load.Jobs = append(load.Jobs[:n:n], me)
		r := play(t, load, shop, monday, Options{Seed: 1, Replications: 100, Threads: 2})
		o := r.Jobs[len(r.Jobs)-1]
		sum := int64(0)
		for _, e := range o.Ends {
			sum += e
		}
		if sum < last {
			t.Errorf("with %d jobs before it the last one ends earlier on the mean", n)
		}
		t.Logf("%3d before: mean %s, P90 %s, binding %s %s", n, clock(sum/100), clock(o.Quantile(0.9)), o.Binding().Kind, o.Binding().ID)
		last = sum
	}
}

func TestRefusals(t *testing.T) {
	ok := Shop{Resources: []Resource{{ID: "m"}}, People: []Person{{ID: "p", Skills: []string{"s"}}}}
	for name, load := range map[string]Load{
		"no operations":    {Jobs: []Job{{ID: "a"}}},
		"unknown resource": {Jobs: []Job{{ID: "a", Ops: []Op{{Resource: []string{"x"}}}}}},
		"unknown skill":    {Jobs: []Job{{ID: "a", Ops: []Op{{People: "x"}}}}},
		"not a number":     {Jobs: []Job{{ID: "a", Ops: []Op{{People: "s", Seconds: math.NaN()}}}}},
		"always fails":     {Jobs: []Job{{ID: "a", Ops: []Op{{People: "s", FailProb: 1}}}}},
		"runs elsewhere":   {Jobs: []Job{{ID: "a", Ops: []Op{{Resource: []string{"m"}, RunningOn: "z"}}}}},
		"each":             {Jobs: []Job{{ID: "a", Ops: []Op{{Resource: []string{"m"}, Each: []float64{1, 2}}}}}},
	} {
		if _, err := Run(context.Background(), load, ok, 0, Options{}); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := Run(context.Background(), Load{}, Shop{Resources: []Resource{{ID: "m"}, {ID: "m"}}}, 0, Options{}); err == nil {
		t.Error("a name used twice: accepted")
	}
}

// 200 replications of 500 operations; the promise asks this for each option, so it must stay well under 0.1 s.
func BenchmarkRun500x200(b *testing.B) {
	load, shop := someShop(3, 120)
	ops := 0
	for _, j := range load.Jobs {
		ops += len(j.Ops)
	}
	b.ReportAllocs()
	for b.Loop() {
		play(b, load, shop, monday, Options{Seed: 1, Replications: 200, Threads: 2})
	}
	b.ReportMetric(float64(ops), "operations")
}

// With detail the tape says whose work each span was: set-up by hands, the run alone, the wait for the shift, unloading.
func TestTapeWithDetail(t *testing.T) {
	day := func(h int64) int64 { return h * 3600 }
	shop := Shop{
		Resources: []Resource{{ID: "press", Family: "grey", ChangeSeconds: 1800}},
		People:    []Person{{ID: "ann", Skills: []string{"operate"}, Calendar: Calendar{{Start: day(8), End: day(16)}, {Start: day(32), End: day(40)}}}},
	}
	load := Load{Jobs: []Job{{ID: "J", Ops: []Op{
		{ID: "build", Resource: []string{"press"}, People: "operate", PeopleSeconds: 600, UnloadSeconds: 900, Seconds: 10 * 3600, Unattended: true, Family: "white"},
		{ID: "clean", People: "operate", Seconds: 1200},
	}}}}
	r, err := Run(t.Context(), load, shop, day(8), Options{Exact: true, Record: true, Detail: true})
	if err != nil {
		t.Fatal(err)
	}
	machine := r.Tapes[0].Resources[0].Spans
	if len(machine) != 1 || machine[0].Detail == nil {
		t.Fatalf("spans of the press: %+v", machine)
	}
	run := day(8) + 1800 + 600
	want := Detail{Job: "J", Op: "build", Change: 1800, Run: run, Over: run + day(10)}
	if *machine[0].Detail != want || machine[0].From != day(8) || machine[0].To != day(32)+900 {
		t.Errorf("press: %+v %+v, want %+v until the next morning's unloading", machine[0], *machine[0].Detail, want)
	}
	var tasks []string
	for _, s := range r.Tapes[0].People[0].Spans {
		tasks = append(tasks, s.Detail.Job+" "+s.Detail.Op+" "+s.Detail.Task)
	}
	if got := strings.Join(tasks, ", "); got != "J build starting, J build unloading, J clean hand work" {
		t.Errorf("ann: %s", got)
	}
	// Without it nothing is kept beside the times.
	r, err = Run(t.Context(), load, shop, day(8), Options{Exact: true, Record: true})
	if err != nil {
		t.Fatal(err)
	}
	if r.Tapes[0].Resources[0].Spans[0].Detail != nil || r.Tapes[0].People[0].Spans[0].Detail != nil {
		t.Error("details are kept though not asked for")
	}
}

// Two units alike may both be at work at the beginning; a third is one too many and queues.
func TestSeveralRunningOnUnitsAlike(t *testing.T) {
	shop := Shop{Resources: []Resource{{ID: "press", Units: 2}}}
	var load Load
	for _, id := range []string{"a", "b", "c"} {
		load.Jobs = append(load.Jobs, Job{ID: id, Ops: []Op{{ID: "build", Resource: []string{"press"}, Seconds: hour, RunningOn: "press"}}})
	}
	r, err := Run(t.Context(), load, shop, monday, Options{Exact: true})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []int64{hour, hour, 2 * hour} {
		if got := r.Jobs[i].Ends[0] - monday; got != want {
			t.Errorf("%s ends after %d s, want %d", r.Jobs[i].ID, got, want)
		}
	}
}
