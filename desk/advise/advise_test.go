package advise

import (
	"flag"
	"testing"

	"pgregory.net/rapid"

	"firstoff/demo"
	"firstoff/part"
)

// seed makes the random wishes the same in every run; -rapid.seed overrides it.
const seed = "20251201"

func init() { _ = flag.Set("rapid.seed", seed) }

// wishes are single things to ask for; asking for one more never opens a route. Finish stands apart: paint makes colours possible.
var wishes = []func(r *part.Requirement){
	func(r *part.Requirement) { r.TemperatureC = max(r.TemperatureC, 90) },
	func(r *part.Requirement) { r.TemperatureC, r.Loaded = max(r.TemperatureC, 130), true },
	func(r *part.Requirement) { r.MinEMPa = 2500 },
	func(r *part.Requirement) { r.MinUTSMPa = 55 },
	func(r *part.Requirement) { r.Impact = true },
	func(r *part.Requirement) { r.Sliding = true },
	func(r *part.Requirement) { r.Outdoor = true },
	func(r *part.Requirement) { r.Chemicals = true },
	func(r *part.Requirement) { r.Food = true },
	func(r *part.Requirement) { r.Sterilise = "steam" },
	func(r *part.Requirement) { r.Flame = true },
	func(r *part.Requirement) { r.ESD = true },
	func(r *part.Requirement) { r.Clear = true },
	func(r *part.Requirement) { r.Watertight = true },
	func(r *part.Requirement) { r.ToleranceMM = 0.15 },
	func(r *part.Requirement) { r.Colors = []string{"black"} },
	func(r *part.Requirement) { r.MaterialID = "PC" },
	func(r *part.Requirement) { r.Process = "MEX" },
}

func bracket() part.Facts {
	f := part.Facts{OrientedMM: [3]float64{80, 50, 30}, VolumeMM3: 28000, AreaMM2: 15000, MinWallMM: 2, Closed: true, Bodies: 1}
	f.Max.X, f.Max.Y, f.Max.Z = 80, 50, 30
	return f
}

// TestStricterNeverOpens: asking for more never makes a refused route feasible, and every answer is complete.
func TestStricterNeverOpens(t *testing.T) {
	cat := demo.Shop()
	rapid.Check(t, func(t *rapid.T) {
		var r part.Requirement
		r.Purpose = rapid.SampledFrom([]string{"", "show", "fit", "function", "jig", "end-use", "casting-master", "tooling-thermoforming", "tooling-moulding"}).Draw(t, "purpose")
		for i := range wishes {
			if rapid.IntRange(0, 5).Draw(t, "w") == 0 {
				wishes[i](&r)
			}
		}
		more := r
		wishes[rapid.IntRange(0, len(wishes)-1).Draw(t, "more")](&more)
		a := Answer(Case{Requirement: r, Facts: bracket(), Qty: 3}, cat)
		b := Answer(Case{Requirement: more, Facts: bracket(), Qty: 3}, cat)
		if len(a) != len(b) {
			t.Fatalf("%d routes, then %d", len(a), len(b))
		}
		for i := range a {
			if a[i].Refused != nil && b[i].Refused == nil {
				t.Errorf("%s %s was refused for %s and opens by asking more", a[i].Who(), a[i].Material.ID, a[i].Refused.Code)
			}
			for _, x := range []Route{a[i], b[i]} {
				if x.Refused != nil && (x.Refused.Reason == "" || x.Refused.Change == "" || x.Refused.Source == "" || x.Fitness != 0) {
					t.Errorf("%s %s: bare refusal %+v", x.Who(), x.Material.ID, *x.Refused)
				}
				if x.Refused == nil && (x.Fitness <= 0 || x.Fitness > 1) {
					t.Errorf("%s %s: fitness %g", x.Who(), x.Material.ID, x.Fitness)
				}
			}
		}
	})
}

// TestEveryRouteAnswered: each material of each machine and of each partner's offer has exactly one answer.
func TestEveryRouteAnswered(t *testing.T) {
	cat := demo.Shop()
	want := 0
	for _, m := range cat.Machines {
		want += len(m.Materials)
	}
	for _, p := range cat.Partners {
		for _, o := range p.Offers {
			want += len(o.Materials)
		}
	}
	got := Answer(Case{Facts: bracket(), Qty: 1}, cat)
	seen := map[string]bool{}
	for _, r := range got {
		k := r.Who() + "/" + r.Process.Code + "/" + r.Material.ID
		if seen[k] {
			t.Errorf("%s answered twice", k)
		}
		seen[k] = true
	}
	if len(got) != want {
		t.Errorf("%d answers for %d routes", len(got), want)
	}
}
