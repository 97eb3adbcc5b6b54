package plan

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"firstoff/demo"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/work"
)

// crowded is the made-up shop with twelve machines and 2,000 open parts in 500 lines of orders, nothing of them begun.
func crowded(b *testing.B) Situation {
	cat := *demo.Shop()
	cat.Machines, cat.Workload = nil, nil
	for i := range 12 {
		m := demo.Shop().Machines[i%len(demo.Shop().Machines)]
		m.ID, m.Count = fmt.Sprint("m", i), 1
		cat.Machines = append(cat.Machines, m)
	}
	// As many hands as twelve machines need: three of each.
	people := cat.People
	for k := range 2 {
		for _, p := range people {
			p.ID = fmt.Sprint(p.ID, " ", k+2)
			cat.People = append(cat.People, p)
		}
	}
	rnd := rand.New(rand.NewPCG(7, 7))
	var orders []order.Order
	for n := range 500 {
		o := ordered(n+1, fmt.Sprintf("2026-%02d-%02d", 9+rnd.IntN(3), 10+rnd.IntN(18)), 4, 8+rnd.IntN(30), 1500+3000*rnd.Float64())
		m := cat.Machines[rnd.IntN(12)]
		l := &o.Lines[0].Option
		l.Machine, l.Process, l.Material, l.LayerMM = m.ID, m.Process, m.Materials[rnd.IntN(min(3, len(m.Materials)))], 0.1
		l.Terms.LayersS, l.BuildS = 2*3600*rnd.Float64(), l.Terms.S()
		for k := range l.Steps {
			if l.Steps[k].Operation == "build" {
				l.Steps[k].Resource, l.Steps[k].ElapsedS = m.ID, l.Terms.S()
			}
		}
		orders = append(orders, o)
	}
	s, err := Situate(b.Context(), &cat, orders, work.Floor{}, nil, at(b))
	if err != nil {
		b.Fatal(err)
	}
	return s
}

// 2,000 open parts on twelve machines planned from nothing: builds formed, then everything arranged (bar 30 s).
func BenchmarkPlan2000on12(b *testing.B) {
	s := crowded(b)
	b.ReportAllocs()
	for b.Loop() {
		p, _, err := Make(b.Context(), s, Decisions{}, nil, Effort{Threads: 2})
		if err != nil {
			b.Fatal(err)
		}
		shared := 0
		for _, j := range p.Joins {
			shared += len(j.Lines)
		}
		b.ReportMetric(float64(len(p.Board.Entries)), "operations")
		b.ReportMetric(float64(len(p.Joins)), "shared_builds")
		b.ReportMetric(float64(shared), "lines_sharing")
		b.ReportMetric(float64(p.Board.LateTasks), "late")
	}
}
