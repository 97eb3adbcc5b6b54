package offer

import (
	"context"
	"encoding/json"
	"math"
	"runtime"
	"slices"
	"sync"
	"testing"

	"firstoff/demo"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/money"
	"firstoff/part"
	"firstoff/shop"
)

func ask(t testing.TB, m *mesh.Mesh, qty int, req part.Requirement, s Settings) Table {
	t.Helper()
	tab, err := Evaluate(context.Background(), Job{Mesh: m, Qty: qty, Requirement: req, File: "part.stl"}, demo.Shop(), s)
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

func find(t testing.TB, tab Table, id string) Option {
	t.Helper()
	for _, o := range tab.Options {
		if o.ID == id {
			return o
		}
	}
	t.Fatalf("no option %s", id)
	return Option{}
}

// TestEverythingAnswered: each combination the shop and its partners offer is an option or covered by a refusal with a reason.
func TestEverythingAnswered(t *testing.T) {
	cat := demo.Shop()
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		req  part.Requirement
	}{
		{"bracket", angle(60, 40, 4, 30), part.Requirement{}},
		{"long", block(1100, 12, 12), part.Requirement{}},
		{"too large", block(900, 700, 400), part.Requirement{}},
		{"hot", angle(60, 40, 4, 30), part.Requirement{TemperatureC: 140, Loaded: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tab := ask(t, c.m, 3, c.req, Settings{})
			covered := func(r Refusal, machine, partner, process, material, support string, layer float64) bool {
				return r.Machine == machine && r.Partner == partner && (partner == "" || r.Process == process) && (r.Material == "" || r.Material == material) &&
					(r.Support == "" || r.Support == support) && (r.LayerMM == 0 || near(r.LayerMM, layer)) && r.Code != "" && r.Reason != ""
			}
			miss := 0
			need := func(machine, partner, process, material, support string, layer, infill float64) {
				for _, o := range tab.Options {
					if o.Machine == machine && o.Partner == partner && o.Process == process && o.Material == material && o.Support == support && near(o.LayerMM, layer) && near(o.InfillPct, infill) {
						return
					}
				}
				for _, r := range tab.Refused {
					if covered(r, machine, partner, process, material, support, layer) {
						return
					}
				}
				miss++
				t.Errorf("unanswered: %s%s %s %s %g %g", machine, partner, material, support, layer, infill)
			}
			for _, m := range cat.Machines {
				sup, inf := m.Supports, []float64{100}
				if len(sup) == 0 {
					sup = []string{""}
				}
				if m.MEX != nil {
					inf = m.MEX.InfillsPct
				}
				for _, mat := range m.Materials {
					for _, s := range sup {
						for _, l := range m.LayersMM {
							for _, f := range inf {
								need(m.ID, "", m.Process, mat, s, l, f)
							}
						}
					}
				}
			}
			for _, p := range cat.Partners {
				for _, o := range p.Offers {
					for _, mat := range o.Materials {
						need("", p.ID, o.Process, mat, "", o.LayerMM, 100)
					}
				}
			}
			t.Logf("%d options, %d refusals, %d unanswered", len(tab.Options), len(tab.Refused), miss)
		})
	}
}

// TestSparseIsCheaper: sparse infill lowers mass, cost and machine time (common practice), for every extrusion setting.
func TestSparseIsCheaper(t *testing.T) {
	tab := ask(t, block(80, 60, 50), 4, part.Requirement{}, Settings{})
	n := 0
	for _, o := range tab.Options {
		if o.Process != "MEX" || o.InfillPct != 100 {
			continue
		}
		last := o
		for _, f := range []float64{40, 20} {
			id := o
			id.InfillPct = f
			for _, x := range tab.Options {
				if x.Machine == o.Machine && x.Material == o.Material && x.Support == o.Support && near(x.LayerMM, o.LayerMM) && x.InfillPct == f {
					n++
					if x.PartG >= last.PartG || x.UnitPrice >= last.UnitPrice || x.BuildS >= last.BuildS {
						t.Errorf("%s at %g %%: %.1f g %d %.0f s, against %.1f g %d %.0f s", o.ID, f, x.PartG, x.UnitPrice, x.BuildS, last.PartG, last.UnitPrice, last.BuildS)
					}
					last = x
				}
			}
		}
	}
	if n < 30 {
		t.Errorf("only %d comparisons", n)
	}
}

// TestDraftLayer: on a large part layers of 0.508 mm take 0.26 to 0.5 of the time of 0.254 mm (common practice; worked examples B06, B07).
func TestDraftLayer(t *testing.T) {
	for _, m := range []*mesh.Mesh{block(400, 300, 250), angle(600, 400, 25, 300)} {
		tab := ask(t, m, 1, part.Requirement{}, Settings{})
		for _, mat := range []string{"ABS", "ASA", "PC"} {
			for _, f := range []string{"100", "20"} {
				a := find(t, tab, "albatross/"+mat+"/SUP-BRK/0.254/"+f)
				b := find(t, tab, "albatross/"+mat+"/SUP-BRK/0.508/"+f)
				r := b.BuildS / a.BuildS
				t.Logf("%s %s %%: %.1f h to %.1f h, %.3f", mat, f, a.BuildS/3600, b.BuildS/3600, r)
				if r < 0.26 || r > 0.5 {
					t.Errorf("%s at %s %%: 0.508 mm takes %.3f of 0.254 mm", mat, f, r)
				}
			}
		}
	}
}

func sums(t *testing.T, id string, w Why) {
	var sum money.Amount
	carry := false
	for _, p := range w.Parts {
		sum += p.Amount
		carry = carry || p.Amount != 0
		sums(t, id, p)
	}
	if carry && sum != w.Amount {
		t.Errorf("%s %s: %d, parts sum to %d", id, w.Name, w.Amount, sum)
	}
}

// TestTreesSum: every option's money tree sums to its total, and the total is quantity × unit price.
func TestTreesSum(t *testing.T) {
	tab := ask(t, angle(60, 40, 4, 30), 7, part.Requirement{Finish: "painted", Inspect: "dimensions"}, Settings{})
	if len(tab.Options) < 100 {
		t.Errorf("%d options", len(tab.Options))
	}
	for _, o := range tab.Options {
		sums(t, o.ID, o.Why[0])
		if o.Why[0].Amount != o.Total || o.UnitPrice*7 != o.Total || o.CostTotal <= 0 || o.CostTotal >= o.Total {
			t.Errorf("%s: unit %d total %d cost %d tree %d", o.ID, o.UnitPrice, o.Total, o.CostTotal, o.Why[0].Amount)
		}
		if q := o.Pose; math.Abs(q[0]*q[0]+q[1]*q[1]+q[2]*q[2]+q[3]*q[3]-1) > 1e-9 {
			t.Errorf("%s: pose %v is no unit quaternion", o.ID, q)
		}
		if o.Machine != "" && (o.BuildS <= 0 || o.PartG <= 0 || o.PerBuild < 1) {
			t.Errorf("%s: %.0f s, %.2f g, %d a build", o.ID, o.BuildS, o.PartG, o.PerBuild)
		}
	}
	if _, err := json.Marshal(tab); err != nil {
		t.Error(err)
	}
}

// TestMoreNeverCheaper: twice the parts never cost less in total nor take less machine time.
func TestMoreNeverCheaper(t *testing.T) {
	e := For(angle(60, 40, 4, 30))
	var last Table
	for _, q := range []int{1, 2, 5, 10, 25, 100, 400} {
		tab, err := e.Evaluate(context.Background(), Job{Qty: q}, demo.Shop(), Settings{})
		if err != nil {
			t.Fatal(err)
		}
		for i, o := range tab.Options {
			if last.Options == nil {
				continue
			}
			p := last.Options[i]
			if p.ID != o.ID || o.Total < p.Total || o.BuildS < p.BuildS {
				t.Errorf("%s: %d cost %d in %.0f s, %d cost %d in %.0f s", o.ID, last.Qty, p.Total, p.BuildS, q, o.Total, o.BuildS)
			}
		}
		last = tab
	}
}

// TestSameAnswer: one core or many, twice over, the answer is the same to the byte.
func TestSameAnswer(t *testing.T) {
	m := knot(20000, 30)
	var first []byte
	for _, n := range []int{1, 2, 5} {
		was := runtime.GOMAXPROCS(n)
		tab := ask(t, m, 3, part.Requirement{Purpose: "show"}, Settings{})
		runtime.GOMAXPROCS(was)
		b, _ := json.Marshal(tab)
		if first == nil {
			first = b
		} else if string(b) != string(first) {
			t.Errorf("another answer with %d cores", n)
		}
	}
}

func TestPicksAndFront(t *testing.T) {
	tab := ask(t, knot(20000, 30), 2, part.Requirement{}, Settings{})
	if len(tab.Picks) != 4 {
		t.Fatalf("picks %v", tab.Picks)
	}
	for _, tag := range []string{"soonest", "thriftiest", "best-suited", "pick"} {
		i := slices.IndexFunc(tab.Picks, func(p Pick) bool { return p.Tag == tag })
		if i < 0 || tab.Picks[i].Reason == "" {
			t.Fatalf("no %s", tag)
		}
		if o := find(t, tab, tab.Picks[i].Option); !slices.Contains(o.Tags, tag) {
			t.Errorf("%s not on its option", tag)
		}
	}
	front := 0
	for i, a := range tab.Options {
		if a.Pareto {
			front++
		}
		for k, b := range tab.Options {
			if i != k && a.Pareto && b.Total < a.Total && lead(&b) < lead(&a) && b.Fitness > a.Fitness {
				t.Errorf("%s is on the front though %s beats it in everything", a.ID, b.ID)
			}
		}
	}
	if front == 0 || front == len(tab.Options) {
		t.Errorf("%d of %d on the front", front, len(tab.Options))
	}
}

func TestBadQuestions(t *testing.T) {
	for _, c := range []struct {
		j    Job
		code string
	}{
		{Job{}, "part_empty"},
		{Job{Mesh: block(10, 10, 10)}, "qty"},
		{Job{Mesh: block(10, 10, 10), Qty: -3}, "qty"},
		{Job{Mesh: mesh.FromSoup([]float32{0, 0, 0, 1, 0, 0, 0, 1, 0}), Qty: 1}, "part_volume"},
	} {
		_, err := Evaluate(context.Background(), c.j, demo.Shop(), Settings{})
		if f := fault.Of(err); f == nil || f.Code != c.code {
			t.Errorf("%v: %v, want %s", c.j.Qty, err, c.code)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Evaluate(ctx, Job{Mesh: block(10, 10, 10), Qty: 1}, demo.Shop(), Settings{}); err == nil {
		t.Error("a cancelled question was answered")
	}
}

func benchTable(b *testing.B, facets int) {
	m := knot(facets, 40)
	cat := demo.Shop()
	b.ReportMetric(float64(m.Facets()), "facets")
	for b.Loop() {
		tab, err := Evaluate(context.Background(), Job{Mesh: m, Qty: 5}, cat, Settings{})
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(len(tab.Options)), "options")
	}
}

func BenchmarkTable100k(b *testing.B) { benchTable(b, 100_000) }
func BenchmarkTable1M(b *testing.B)   { benchTable(b, 1_000_000) }

// BenchmarkAgain is another quantity and infill asked of kept layers.
func BenchmarkAgain(b *testing.B) {
	e := For(knot(100_000, 40))
	cat := demo.Shop()
	ctx := context.Background()
	if _, err := e.Evaluate(ctx, Job{Qty: 1}, cat, Settings{}); err != nil {
		b.Fatal(err)
	}
	q := 1
	for b.Loop() {
		q = q%50 + 1
		if _, err := e.Evaluate(ctx, Job{Qty: q}, cat, Settings{}); err != nil {
			b.Fatal(err)
		}
	}
}

var _ shop.Catalogue

// TestFitsAskew: a rod longer than any side of the envelope fits along its diagonal, and is refused when it is longer than that.
func TestFitsAskew(t *testing.T) {
	env := shop.Envelope{X: 200, Y: 160, Z: 120}
	for _, c := range []struct {
		length, thick float64
		fits          bool
	}{{199, 4, true}, {240, 4, true}, {268, 4, true}, {283, 4, false}, {400, 4, false}} {
		e := For(block(c.length, c.thick, c.thick))
		e.prepare(60)
		if got := e.fitsAnywhere(env, 0); got != c.fits {
			t.Errorf("a rod of %g mm in a box with a diagonal of %.1f mm: fits %v", c.length, math.Sqrt(200*200+160*160+120*120), got)
		}
	}
}

// TestSeveralMaterials: a handle with a soft grip comes out of one build where the machine holds both, as bodies printed apart and bonded by extrusion,
// and nowhere else (handbook 2.5).
func TestSeveralMaterials(t *testing.T) {
	handle := block(80, 20, 15)
	grip := block(60, 24, 4).Transformed(r3.Identity, 1, r3.Vec{X: 10, Y: -2, Z: 15})
	whole := mesh.Merge(handle, grip)
	req := part.Requirement{Bodies: []part.BodyWish{{Body: "handle", Rigid: true}, {Body: "grip", ShoreA: 92}}}
	tab, err := Evaluate(context.Background(), Job{Mesh: whole, Qty: 2, Requirement: req, Bodies: []Body{{"handle", handle}, {"grip", grip}}}, demo.Shop(), Settings{})
	if err != nil {
		t.Fatal(err)
	}
	var jetted, apart int
	for _, o := range tab.Options {
		switch {
		case o.Machine == "kingfisher":
			jetted++
			if o.Material != "ACR-E+ACR-R" || len(o.Notes) == 0 {
				t.Errorf("%s: %s %v", o.ID, o.Material, o.Notes)
			}
			vol := math.Abs(whole.Measure().VolumeMM3) / 1000
			if o.PartG < 1.13*vol*0.999 || o.PartG > 1.175*vol*1.001 {
				t.Errorf("%s weighs %.2f g", o.ID, o.PartG)
			}
		case o.Machine == "heron":
			apart++
			if o.Material != "ABS+TPU92A" && o.Material != "TPU92A+ABS" || o.Builds < 2 {
				t.Errorf("%s: %s in %d builds", o.ID, o.Material, o.Builds)
			}
			if !slices.ContainsFunc(o.Steps, func(s Step) bool { return s.Operation == "assemble" && s.HandsS > 0 }) {
				t.Errorf("%s: nobody assembles it", o.ID)
			}
		default:
			t.Errorf("%s cannot make two materials", o.ID)
		}
		sums(t, o.ID, o.Why[0])
		if o.Why[0].Amount != o.Total {
			t.Errorf("%s: tree %d, total %d", o.ID, o.Why[0].Amount, o.Total)
		}
	}
	if jetted == 0 || apart == 0 {
		t.Errorf("%d jetted, %d apart", jetted, apart)
	}
}

// TestBreaks: the unit price falls while a tray fills, and total and machine time never fall (saw-tooth from real trays).
func TestBreaks(t *testing.T) {
	e := For(angle(60, 40, 4, 30))
	cat := demo.Shop()
	job := Job{Qty: 1}
	tab, err := e.Evaluate(context.Background(), job, cat, Settings{})
	if err != nil {
		t.Fatal(err)
	}
	id := "heron/ABS/SUP-BRK/0.254/100"
	per := find(t, tab, id).PerBuild
	if per < 4 {
		t.Fatalf("%d to a build", per)
	}
	var qtys []int
	for q := 1; q <= 2*per+1; q++ {
		qtys = append(qtys, q)
	}
	b, err := e.Breaks(context.Background(), job, cat, Settings{}, id, qtys)
	if err != nil {
		t.Fatal(err)
	}
	up := 0
	for i := 1; i < len(b); i++ {
		if b[i].Total < b[i-1].Total || b[i].BuildS < b[i-1].BuildS || b[i].UnitPrice*money.Amount(b[i].Qty) != b[i].Total {
			t.Errorf("%+v after %+v", b[i], b[i-1])
		}
		if b[i].Builds == b[i-1].Builds && b[i].UnitPrice > b[i-1].UnitPrice {
			t.Errorf("within a tray the unit price rises: %+v after %+v", b[i], b[i-1])
		}
		if b[i].UnitPrice > b[i-1].UnitPrice {
			up++
		}
	}
	if b[per].Builds != 2 || up == 0 {
		t.Errorf("no tooth at the second tray: %+v", b)
	}
	if _, err := e.Breaks(context.Background(), job, cat, Settings{}, "heron/NOTHING", []int{1}); fault.KindOf(err) != fault.NotFound {
		t.Errorf("unknown option: %v", err)
	}
}

// TestHints: with dates asked for, the table says what sparse fill, draft layers and a full tray would do.
func TestHints(t *testing.T) {
	promise := func(a Ask) Dated { return Dated{P50: "2026-03-03", P90: "2026-03-05", LeadDays: 4} }
	tab := ask(t, block(70, 60, 40), 1, part.Requirement{Process: "MEX"}, Settings{Promise: promise})
	seen := map[string]Hint{}
	for _, h := range tab.Hints {
		seen[h.Code] = h
	}
	// Every hint is against the pick, and what the pick has already is no hint.
	pick := ""
	for _, p := range tab.Picks {
		if p.Tag == "pick" {
			pick = p.Option
		}
	}
	for _, h := range tab.Hints {
		if h.From != pick || h.Option == pick || h.Text == "" {
			t.Errorf("%+v against %s", h, pick)
		}
	}
	// A pick that is solid and fine is told of sparse and coarse.
	base := Option{ID: "a", Machine: "m", Material: "x", LayerMM: 0.1, InfillPct: 100, PartG: 100, UnitPrice: 1000, BuildS: 1000, Fitness: 0.9, Tags: []string{"pick"}}
	sparse, draft := base, base
	sparse.ID, sparse.InfillPct, sparse.PartG, sparse.UnitPrice, sparse.BuildS, sparse.Fitness, sparse.Tags = "b", 25, 60, 800, 700, 0.8, nil
	draft.ID, draft.LayerMM, draft.BuildS, draft.LeadDays, draft.Tags = "c", 0.3, 400, -2, nil
	for _, h := range hints(&Table{Options: []Option{base, sparse, draft}}) {
		seen[h.Code] = h
	}
	if h := seen["sparse"]; h.Option != "b" || math.Abs(h.Mass+0.4) > 1e-9 || math.Abs(h.Price+0.2) > 1e-9 || math.Abs(h.Time+0.3) > 1e-9 || math.Abs(h.Fit+0.1) > 1e-9 {
		t.Errorf("sparse: %+v", h)
	}
	if h := seen["draft"]; h.Option != "c" || math.Abs(h.Time+0.6) > 1e-9 || h.Days != -2 {
		t.Errorf("draft: %+v", h)
	}
	if h := seen["fill-tray"]; h.Price > -0.1 || h.Qty < 2 {
		t.Errorf("full tray: %+v", h)
	}
}

// TestAnyBlock: blocks from a hair to larger than every machine get an answer: options or refusals, no failure.
func TestAnyBlock(t *testing.T) {
	for _, x := range []float64{0.01, 0.3, 4, 90, 700, 5000} {
		for _, y := range []float64{0.02, 1, 60, 900} {
			tab := ask(t, block(x, y, math.Sqrt(x*y)), 2, part.Requirement{}, Settings{})
			if len(tab.Options)+len(tab.Refused) == 0 {
				t.Errorf("%g × %g: no answer", x, y)
			}
			for _, o := range tab.Options {
				if !(o.Total > 0) || math.IsNaN(o.BuildS) || math.IsInf(o.BuildS, 0) || math.IsNaN(o.PartG) {
					t.Errorf("%g × %g: %s %v s %v g %d", x, y, o.ID, o.BuildS, o.PartG, o.Total)
				}
			}
		}
	}
}

// TestSeveralAtOnce: an evaluator may be asked by several at the same time (run with -race).
func TestSeveralAtOnce(t *testing.T) {
	e := For(angle(60, 40, 4, 30))
	cat := demo.Shop()
	var wg sync.WaitGroup
	out := make([]Table, 6)
	for i := range out {
		wg.Go(func() {
			tab, err := e.Evaluate(context.Background(), Job{Qty: 1 + i%3}, cat, Settings{})
			if err != nil {
				t.Error(err)
			}
			out[i] = tab
		})
	}
	wg.Wait()
	for i := range out {
		a, _ := json.Marshal(out[i])
		b, _ := json.Marshal(out[i%3])
		if string(a) != string(b) {
			t.Errorf("answers %d and %d differ", i, i%3)
		}
	}
}
