package price

import (
	"math"
	"testing"

	"firstoff/checks"
	"firstoff/desk/estimate"
	"firstoff/money"
	"firstoff/shop"
)

// TestWorkedExamples computes every row K01–K16 from the row's own inputs; sources stand in the table (Hopkinson & Dickens 2003,
// Atzeni & Salmi 2012 from memory, Gibson 2015; the rest recomputed).
func TestWorkedExamples(t *testing.T) {
	owning := func(t *testing.T, r checks.Worked) (OwningCost, float64) {
		o := Owning{PerBuild: r.In(t, "N"), BuildH: r.In(t, "T"), HoursPerYear: 7884, LifeYears: 8, Equipment: r.After(t, "equipment"),
			MaintPerYear: r.After(t, "maint"), LabourPerH: r.After(t, "labour")}
		n := checks.Numbers(afterWord(r.Inputs, "("))
		o.LabourMin = n[0] + n[1]
		switch r.ID {
		case "K01":
			m := checks.Numbers(afterWord(r.Inputs, "material"))
			o.Material = m[0] * m[1]
			o.HoursPerYear, o.LifeYears = r.Before(t, "h/y"), r.After(t, "life")
		case "K02":
			a, b := checks.Numbers(afterWord(r.Inputs, "model")), checks.Numbers(afterWord(r.Inputs, "support"))
			o.Material = a[0]*a[1] + b[0]*b[1]
		case "K03":
			p := checks.Numbers(afterWord(r.Inputs, "powder"))
			o.Material = p[0] * p[1] / o.PerBuild
		}
		return o.Cost(), o.PerBuild
	}
	capital := func(t *testing.T) (shop.Capital, float64) {
		r := checks.WorkedRow(t, "K07")
		h := checks.Numbers(afterWord(r.Inputs, "floor")) // 20 180 8760 60 3 0.15
		return shop.Capital{Price: money.Amount(r.After(t, "price") * 100), Residual: money.Amount(r.After(t, "residual") * 100), LifeYears: r.After(t, "life"),
			InterestPct: r.After(t, "interest"), MaintPerYear: money.Amount(r.After(t, "maint") * 100), FloorM2: h[0], FloorPerM2: money.Amount(h[1] * 100),
			HoursPerYear: h[2], UtilPct: h[3], PowerKW: h[4]}, h[5] * 100
	}
	rows := map[string]func(t *testing.T, r checks.Worked){
		"K01": func(t *testing.T, r checks.Worked) {
			c, _ := owning(t, r)
			r.Agree(t, c.PartsPerH, math.Round(c.PartsPerYear), c.Depreciation, c.Machine, c.Labour, c.Material, c.Total)
		},
		"K02": func(t *testing.T, r checks.Worked) {
			c, _ := owning(t, r)
			r.Agree(t, c.PartsPerH, math.Round(c.PartsPerYear), c.Machine, c.Labour, c.Material, c.Total)
		},
		"K03": func(t *testing.T, r checks.Worked) {
			c, _ := owning(t, r)
			r.Agree(t, c.PartsPerH, math.Round(c.PartsPerYear), c.Machine, c.Labour, c.Material, c.Total)
		},
		"K04": func(t *testing.T, r checks.Worked) {
			tool, piece := r.After(t, "tool"), r.After(t, "piece")
			made := func(id string) float64 {
				n := checks.Numbers(checks.WorkedRow(t, id).Outputs)
				return n[len(n)-1]
			}
			got := []float64{BreakEven(tool, piece, made("K03")), BreakEven(tool, piece, made("K01")), BreakEven(tool, piece, made("K02"))}
			r.Agree(t, got...)
		},
		"K05": func(t *testing.T, r checks.Worked) {
			n := checks.Numbers(" " + r.Inputs)
			m := n[0] * n[1] / n[2]
			r.Agree(t, m, m+n[3]+n[4]+n[5])
		},
		"K06": func(t *testing.T, r checks.Worked) {
			n := checks.Numbers(" " + r.Inputs)
			be := BreakEven(n[1], n[0], n[2])
			want := checks.Numbers(r.Outputs)
			if math.Abs(be-want[0]) > 0.005 || math.Ceil(be) != want[1] {
				t.Errorf("break-even %.3f, the row says %v", be, want)
			}
		},
		"K07": func(t *testing.T, r checks.Worked) {
			k, e := capital(t)
			w := RateTree(k, e)
			h := k.HoursPerYear * k.UtilPct / 100
			r.Agree(t, w.Parts[0].Value*h/100, w.Parts[1].Value*h/100, w.Parts[3].Value*h/100, h, k.HourRate(e)/100, k.PowerKW*e/100)
			var sum float64
			for _, p := range w.Parts {
				sum += p.Value
			}
			if math.Abs(sum-k.HourRate(e)) > 1e-9 {
				t.Errorf("the explained rate %.6f is not the rate %.6f", sum, k.HourRate(e))
			}
		},
		"K08": func(t *testing.T, r checks.Worked) {
			k, e := capital(t)
			var got []float64
			for _, s := range checks.Alternatives(r.Inputs) {
				n := checks.Numbers(s)
				k.UtilPct = n[len(n)-1]
				got = append(got, k.HourRate(e)/100)
			}
			r.Agree(t, got...)
		},
		"K09": func(t *testing.T, r checks.Worked) {
			n := checks.Numbers(" " + r.Inputs) // 0.95 24 365 7 250000
			k := shop.Capital{Price: money.Amount(n[len(n)-1] * 100), LifeYears: r.Before(t, "y;"), HoursPerYear: 24 * 365, UtilPct: n[0] * 100}
			r.Agree(t, k.HoursPerYear*k.UtilPct/100*k.LifeYears, k.HourRate(0)/100)
		},
		"K10": func(t *testing.T, r checks.Worked) {
			good, y := int(r.After(t, "good")), r.After(t, "yield")
			want := checks.Numbers(r.Outputs) // start 22; 20 of 20; chance
			if Start(good, y) != int(want[0]) || math.Abs(All(good, y)-want[len(want)-1]) > r.Tol() {
				t.Errorf("start %d, chance %.6f; the row says %v", Start(good, y), All(good, y), want)
			}
		},
		"K11": func(t *testing.T, r checks.Worked) {
			c, m := r.After(t, "cost"), r.Before(t, "%")/100
			r.Agree(t, Margin(c, m), Markup(c, m), m*100, MarkupOf(m)*100)
		},
		"K12": func(t *testing.T, r checks.Worked) {
			s, u := r.After(t, "setup"), r.After(t, "unit")
			n := pairs(r.Outputs)
			if len(n) != 5 {
				t.Fatalf("pairs %v", n)
			}
			last := math.Inf(1)
			for _, p := range n {
				got := Break(s, u, int(p[0]))
				if math.Abs(got-p[1]) > r.Tol() || got > last {
					t.Errorf("q %v: %.3f, the row says %.2f", p[0], got, p[1])
				}
				last = got
			}
		},
		"K13": func(t *testing.T, r checks.Worked) {
			v, w := estimate.Refresh(r.After(t, "refresh")/100, r.After(t, "share")/100)
			r.Agree(t, v, w)
		},
		"K16": func(t *testing.T, r checks.Worked) {
			n := checks.Numbers(" " + r.Inputs) // 50 20 2.5 8 1 3
			q, life, cycle, day := int(n[0]), int(n[1]), n[2], n[3]
			tools, one := estimate.Casting(q, life, cycle, day, int(n[4]))
			_, all := estimate.Casting(q, life, cycle, day, int(n[5]))
			r.Agree(t, float64(tools), float64(one), float64(all))
		},
	}
	seen := 0
	for _, r := range checks.WorkedRows(t) {
		if r.ID[0] != 'K' {
			continue
		}
		seen++
		f, ok := rows[r.ID]
		if r.Text() {
			continue
		}
		if !ok {
			t.Errorf("%s has no test", r.ID)
			continue
		}
		t.Run(r.ID, func(t *testing.T) { f(t, r) })
	}
	if seen != 16 {
		t.Errorf("%d K rows in the table, 16 expected", seen)
	}
}
