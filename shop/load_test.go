package shop_test

import (
	"math"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/demo"
	"firstoff/fault"
	"firstoff/shop"
	"os"
)

// Each mistake is made in the demo shop's own text; the answer names file, line and column and what is allowed.
func TestMistakesAreNamed(t *testing.T) {
	good := string(demo.ShopYAML())
	if _, err := shop.Load("shop.yaml", []byte(good)); err != nil {
		t.Fatalf("the untouched text is refused: %v", err)
	}
	for _, c := range []struct{ name, old, new, code, says string }{
		{"unknown field", "  currency: EUR", "  curency: EUR", "shop_yaml", "curency"},
		{"not YAML", "machines:\n", "machines: [\n", "shop_yaml", ""},
		{"wrong type", "count: 2", "count: two", "shop_yaml", ""},
		{"currency", "currency: EUR", "currency: euros", "shop_value", "ISO 4217"},
		{"zone", "Europe/Vienna", "Europe/Atlantis", "shop_value", "time zone"},
		{"unknown material", "materials: [ABS, ASA, TPU92A]", "materials: [ABS, XYZ]", "shop_reference", "known: "},
		{"support among materials", "materials: [ABS, ASA, TPU92A]", "materials: [ABS, SUP-SOL]", "shop_value", "list it under supports"},
		{"wrong process for material", "materials: [PA12, PA11]", "materials: [ABS]", "shop_value", "works by PBF-LB/P"},
		{"duplicate id", "id: gannet", "id: heron", "shop_duplicate", "used twice"},
		{"unknown shift", "shift: late}", "shift: night}", "shop_reference", "known: "},
		{"bad span", "06:30-11:00", "11:00-06:30", "shop_value", "07:00-15:30"},
		{"bad date", "2026-12-25", "2026-13-25", "shop_value", "2026-12-24"},
		{"no such skill", "skill: pack", "skill: wrap", "shop_value", "allowed: "},
		{"nothing to print", "layers_mm: [0.028]", "layers_mm: []", "shop_missing", "layer height"},
		{"missing block", "    mjt: {swath_mm: 56", "    mex: {swath_mm: 56", "shop_yaml", ""},
		{"margin", "margin_pct: 32", "margin_pct: 132", "shop_value", "0 to 90"},
	} {
		bad := strings.Replace(good, c.old, c.new, 1)
		if bad == good {
			t.Fatalf("%s: the text to change is not in the catalogue", c.name)
		}
		_, err := shop.Load("shop.yaml", []byte(bad))
		f := fault.Of(err)
		if f == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		if f.Kind != fault.Invalid || f.Code != c.code || !strings.Contains(f.Message, c.says) || strings.Contains(f.Message, "\n") {
			t.Errorf("%s: %s %q (want %s, …%q…)", c.name, f.Code, f.Message, c.code, c.says)
		}
		if n := strings.Count(f.Where, ":"); !strings.HasPrefix(f.Where, "shop.yaml:") || n != 2 {
			t.Errorf("%s: place %q is not file:line:column", c.name, f.Where)
		}
	}
}

func FuzzLoad(f *testing.F) {
	f.Add(demo.ShopYAML())
	f.Add([]byte("firm: {name: x}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<16 {
			return
		}
		c, err := shop.Load("f.yaml", b)
		if (c == nil) == (err == nil) {
			t.Fatal("neither catalogue nor fault")
		}
	})
}

// Handbook K07–K09 (docs/handbook/tables/worked_examples.csv).
func TestHourRate(t *testing.T) {
	text, err := os.ReadFile(checks.Handbook(t, "worked_examples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	k := shop.Capital{Price: 25000000, Residual: 2500000, LifeYears: 7, InterestPct: 5, MaintPerYear: 2000000, FloorM2: 20, FloorPerM2: 18000, HoursPerYear: 8760, UtilPct: 60, PowerKW: 3}
	for _, c := range []struct {
		row  string
		util float64
		want string
	}{{"K07", 60, "12.3"}, {"K08", 40, "18.3204"}, {"K08", 80, "9.3852"}} {
		line := ""
		for _, l := range strings.Split(string(text), "\n") {
			if strings.HasPrefix(l, c.row+",") {
				line = l
			}
		}
		if !strings.Contains(line, c.want) {
			t.Fatalf("row %s does not state %s: %q", c.row, c.want, line)
		}
		k.UtilPct = c.util
		got := k.HourRate(15) / 100
		want := map[string]float64{"12.3": 12.363569, "18.3204": 18.3204, "9.3852": 9.3852}[c.want]
		if math.Abs(got-want) > 1e-4*want {
			t.Errorf("%s at %g %%: %.4f per h, want %.4f", c.row, c.util, got, want)
		}
	}
	// K09: price over 0.95 of every hour of seven years, nothing else.
	k9 := shop.Capital{Price: 25000000, LifeYears: 7, HoursPerYear: 24 * 365 * 0.95, UtilPct: 100}
	if got := k9.HourRate(0) / 100; math.Abs(got-4.2916) > 1e-4 {
		t.Errorf("K09: %.4f per h, want 4.2916", got)
	}
}
