package promise_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"firstoff/demo"
	"firstoff/desk/promise"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
)

// at is a Tuesday morning before the cut-off.
var at = time.Date(2026, 12, 1, 7, 30, 0, 0, time.UTC)

func planner(t testing.TB, c *shop.Catalogue, load capacity.Load, seed uint64) (*promise.Planner, *calendar.Calendar) {
	t.Helper()
	cal, err := calendar.Of(c)
	if err != nil {
		t.Fatal(err)
	}
	p, err := promise.New(context.Background(), c, cal, load, at, promise.Settings{Seed: seed})
	if err != nil {
		t.Fatal(err)
	}
	return p, cal
}

func backlog(t testing.TB, c *shop.Catalogue) capacity.Load {
	t.Helper()
	cal, err := calendar.Of(c)
	if err != nil {
		t.Fatal(err)
	}
	l, err := promise.Backlog(c, cal, at)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func job(machine, material string, buildH, finishMin float64) capacity.Job {
	return capacity.Job{ID: "new", CV: 0.05, Ops: []capacity.Op{
		{ID: "prepare", People: "estimate", Seconds: 20 * 60, CV: 0.25},
		{ID: "build", Resource: []string{machine}, Seconds: buildH * 3600, CV: 0.07, People: "operate", PeopleSeconds: 900, UnloadSeconds: 600, Unattended: true, Family: material, FailProb: 0.04},
		{ID: "finish", People: "finish", Seconds: finishMin * 60, CV: 0.3},
		{ID: "look", People: "inspect", Seconds: 10 * 60, CV: 0.2},
		{ID: "pack", People: "pack", Seconds: 8 * 60, CV: 0.2},
	}}
}

// Common practice (handbook 9, rows 9 and 12): a typical order takes 3–5 business days at normal load; a small one
// with its material loaded and a machine open 1–2; a very large one longer.
func TestUsualLeadTimes(t *testing.T) {
	c := demo.Shop()
	p, _ := planner(t, c, backlog(t, c), 1)
	for _, x := range []struct {
		name         string
		job          capacity.Job
		fewest, most int
	}{
		{"small, loaded, open", job("wren", "ACR-R", 2, 15), 1, 2},
		{"typical", job("gannet", "PC", 14, 60), 3, 5},
		{"very large", job("albatross", "ASA", 160, 300), 9, 40},
	} {
		a := p.Date(x.job)
		if a.LeadDays < x.fewest || a.LeadDays > x.most || a.Beyond || a.P50.After(a.P90) {
			t.Errorf("%s: %d business days (P50 %s, P90 %s, waits for %q), want %d to %d", x.name, a.LeadDays, a.P50.Format("Mon 2 Jan"), a.P90.Format("Mon 2 Jan"), a.Binding, x.fewest, x.most)
		}
	}
}

func TestMoreLoadNeverEarlier(t *testing.T) {
	c := demo.Shop()
	load := backlog(t, c)
	for seed := uint64(1); seed <= 5; seed++ {
		few, _ := planner(t, c, capacity.Load{Jobs: load.Jobs[:8]}, seed)
		all, _ := planner(t, c, load, seed)
		for _, j := range []capacity.Job{job("gannet", "PC", 10, 60), job("heron", "ABS", 6, 30), job("bittern", "PA12", 20, 90)} {
			var a, b float64
			for _, e := range few.Date(j).Ends {
				a += float64(e)
			}
			for _, e := range all.Date(j).Ends {
				b += float64(e)
			}
			if b < a {
				t.Errorf("seed %d, %s: done %.0f s earlier in the mean with more load", seed, j.Ops[1].Resource[0], (a-b)/80)
			}
		}
	}
}

func TestSameAnswer(t *testing.T) {
	c := demo.Shop()
	load := backlog(t, c)
	p, _ := planner(t, c, load, 3)
	q, _ := planner(t, c, load, 3)
	j := job("gannet", "PC", 10, 60)
	if a, b := fmt.Sprint(p.Date(j)), fmt.Sprint(q.Date(j)); a != b {
		t.Errorf("two answers:\n%s\n%s", a, b)
	}
}

// A longer build, a rarer skill, a material that is not loaded: none makes it earlier.
func TestHarderIsNotEarlier(t *testing.T) {
	c := demo.Shop()
	p, _ := planner(t, c, backlog(t, c), 2)
	base := p.Date(job("heron", "ABS", 6, 30))
	for name, j := range map[string]capacity.Job{"longer": job("heron", "ABS", 16, 30), "more hands": job("heron", "ABS", 6, 300)} {
		if a := p.Date(j); a.P90.Before(base.P90) || a.P50.Before(base.P50) {
			t.Errorf("%s: P50 %s P90 %s, before the easier job's %s %s", name, a.P50, a.P90, base.P50, base.P90)
		}
	}
}

// An empty shop: an eight-hour unattended build begun in the morning is unloaded the same or next attended hour, finished
// and packed: done on the next business day at the latest.
func TestEmptyShop(t *testing.T) {
	c := demo.Shop()
	p, cal := planner(t, c, capacity.Load{}, 1)
	a := p.Date(job("wren", "ACR-R", 1, 10))
	if !a.P50.Equal(cal.After(at, 1)) {
		t.Errorf("a one-hour build in an empty shop is promised for %s, want the next business day", a.P50)
	}
	if a.Binding != "" {
		t.Errorf("it waits for %q in an empty shop", a.Binding)
	}
	// Partner work: five business days at the partner and nothing else.
	b := p.Date(capacity.Job{ID: "p", Ops: []capacity.Op{{ID: "partner", Resource: []string{"millrace"}, Seconds: 5 * 86400}}})
	if want := cal.After(cal.Received(at), 5); b.P50.Before(want) || b.P50.After(cal.After(want, 1)) {
		t.Errorf("five business days at a partner end %s, want %s or the morning after", b.P50.Format("Mon 2 Jan"), want.Format("Mon 2 Jan"))
	}
}

func BenchmarkDate(b *testing.B) {
	c := demo.Shop()
	p, _ := planner(b, c, backlog(b, c), 1)
	j := job("gannet", "PC", 14, 60)
	for b.Loop() {
		p.Date(j)
	}
}

func BenchmarkNew(b *testing.B) {
	c := demo.Shop()
	load := backlog(b, c)
	for b.Loop() {
		planner(b, c, load, 1)
	}
}

// What the date waits for is named: a machine with a week of work before it, or the only hands that can finish.
func TestBindingIsNamed(t *testing.T) {
	c := demo.Shop()
	var builds, hands capacity.Load
	for i := range 4 {
		builds.Jobs = append(builds.Jobs, capacity.Job{ID: fmt.Sprint("b", i), Ops: []capacity.Op{{ID: "build", Resource: []string{"wren"}, Seconds: 40 * 3600, People: "operate", PeopleSeconds: 600, Unattended: true}}})
		hands.Jobs = append(hands.Jobs, capacity.Job{ID: fmt.Sprint("h", i), Ops: []capacity.Op{{ID: "measure", Seconds: 30 * 3600, People: "inspect"}}})
	}
	for want, load := range map[string]capacity.Load{"wren": builds, "people who inspect": hands} {
		p, _ := planner(t, c, load, 1)
		if a := p.Date(job("wren", "ACR-R", 2, 15)); a.Binding != want {
			t.Errorf("it waits for %q, want %q", a.Binding, want)
		}
	}
}

// Failures and rejects put the mean end off, at the same luck.
func TestFailuresAndRejectsDelay(t *testing.T) {
	c := demo.Shop()
	p, _ := planner(t, c, capacity.Load{}, 1)
	mean := func(j capacity.Job) (m float64) {
		for _, e := range p.Date(j).Ends {
			m += float64(e) / 80
		}
		return m
	}
	sound := job("gannet", "PC", 3, 30)
	sound.Ops[1].FailProb = 0
	fails, rejected := sound, sound
	fails.Ops = append([]capacity.Op(nil), sound.Ops...)
	fails.Ops[1].FailProb = 0.5
	rejected.FailProb, rejected.RedoFrom = 0.5, 1
	if s, f, r := mean(sound), mean(fails), mean(rejected); f < s+1800 || r < s+1800 {
		t.Errorf("one in two failing or rejected puts the mean end off by %.1f and %.1f h", (f-s)/3600, (r-s)/3600)
	}
}
