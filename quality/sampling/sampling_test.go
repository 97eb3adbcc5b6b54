package sampling

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
)

func table(t *testing.T, name string) (head []string, rows [][]string) {
	t.Helper()
	f, err := os.Open(checks.Handbook(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[0], all[1:]
}

func whole(t *testing.T, s string) int {
	t.Helper()
	v, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// ISO 2859-1 table 1 (docs/handbook/tables/iso2859_code_letters.csv), at both ends of every lot range.
func TestCodeLetters(t *testing.T) {
	head, rows := table(t, "iso2859_code_letters.csv")
	n := 0
	for _, r := range rows {
		ends := []int{whole(t, r[0])}
		if r[1] != "" {
			ends = append(ends, whole(t, r[1]))
		} else {
			ends = append(ends, 5_000_000)
		}
		for i := 2; i < len(r); i++ {
			for _, lot := range ends {
				got, err := Letter(lot, Level(head[i]))
				if err != nil || got != r[i] {
					t.Errorf("lot %d level %s: %q %v, the table says %s", lot, head[i], got, err, r[i])
				}
			}
			n++
		}
	}
	if n != 105 {
		t.Fatalf("%d cells compared", n)
	}
}

// Every cell of ISO 2859-1 tables 2-A and 2-B, arrows followed.
func TestEveryCell(t *testing.T) {
	// A lot far larger than any sample that has the letter at level II, or at another level.
	lotOf := map[string]struct {
		lot int
		l   Level
	}{}
	for _, lot := range []int{8, 15, 25, 50, 90, 150, 280, 400, 1000, 3000, 10000, 35000, 150000, 500000, 5_000_000} {
		for _, l := range Levels() {
			x, err := Letter(lot, l)
			if err != nil {
				t.Fatal(err)
			}
			if lotOf[x].lot < lot {
				lotOf[x] = struct {
					lot int
					l   Level
				}{lot, l}
			}
		}
	}
	check := func(sev Severity, letter, aql, use, n, ac, re string) {
		t.Helper()
		row, a := follow(sev, strings.Index(letters, letter), aqlCol(t, float(t, aql)))
		if sizes[row] != whole(t, n) || a != whole(t, ac) || a+1 != whole(t, re) || use != "" && letters[row:row+1] != use {
			t.Errorf("%s %s AQL %s: letter %c n %d Ac %d, the table says %s %s %s/%s", sev, letter, aql, letters[row], sizes[row], a, use, n, ac, re)
		}
		// and through the door, where a lot with that letter exists
		at, ok := lotOf[letter]
		if !ok {
			t.Fatalf("no lot found with letter %s", letter)
		}
		p, err := Single(at.lot, at.l, float(t, aql), sev)
		if err != nil {
			t.Fatal(err)
		}
		if p.Letter != letter || p.Ac != a || p.N != min(sizes[row], at.lot) {
			t.Errorf("%s %s AQL %s: Single gives %+v", sev, letter, aql, p)
		}
	}
	_, normal := table(t, "iso2859_single_normal.csv")
	for _, r := range normal {
		check(Normal, r[0], r[2], r[6], r[7], r[8], r[9])
		row, col := strings.Index(letters, r[0]), aqlCol(t, float(t, r[2]))
		if want := map[string]int{"down": down, "up": up}[r[3]]; want != 0 && cell(Normal, row, col) != want {
			t.Errorf("normal %s AQL %s: the table has an arrow %s", r[0], r[2], r[3])
		}
	}
	_, tight := table(t, "iso2859_single_tightened.csv")
	for _, r := range tight {
		check(Tightened, r[0], r[1], "", r[2], r[3], r[4])
	}
	if len(normal) != 416 || len(tight) != 416 {
		t.Fatalf("%d and %d cells", len(normal), len(tight))
	}
}

func aqlCol(t *testing.T, v float64) int {
	for i, a := range aqls {
		if a == v {
			return i
		}
	}
	t.Fatalf("no AQL %g", v)
	return 0
}

// Worked examples Q01–Q12 of docs/handbook/tables/worked_examples.csv.
func TestWorkedExamples(t *testing.T) {
	w := checks.WorkedRow(t, "Q01")
	if l, err := Letter(int(w.In(t, "lot")), II); err != nil || "letter="+l != w.Outputs {
		t.Errorf("Q01: %s %v, want %s", l, err, w.Outputs)
	}
	plan := func(id string, sev Severity) (checks.Worked, Plan) {
		w := checks.WorkedRow(t, id)
		aql := w.In(t, "AQL")
		if !strings.Contains(w.Inputs, "level=II") {
			t.Fatalf("%s: not level II: %s", id, w.Inputs)
		}
		p, err := Single(int(w.In(t, "lot")), II, aql, sev)
		if err != nil {
			t.Fatal(err)
		}
		return w, p
	}
	w, p := plan("Q02", Normal)
	w.Agree(t, float64(p.N), float64(p.Ac), float64(p.Re))
	for _, id := range []string{"Q03", "Q04", "Q06", "Q07"} {
		sev := Normal
		if id == "Q07" {
			sev = Tightened
		}
		w, p = plan(id, sev)
		w.Agree(t, float64(p.N), float64(p.Ac), float64(p.Re))
		if !strings.Contains(w.Outputs, "letter="+p.Letter) {
			t.Errorf("%s: letter %s, the row says %s", id, p.Letter, w.Outputs)
		}
	}
	if _, p = plan("Q04", Normal); p.Use != "C" {
		t.Errorf("Q04: %+v", p)
	}
	w, p = plan("Q05", Normal)
	w.Agree(t, float64(Size(p.Use)), float64(p.N), float64(p.Ac))
	if !p.Whole || p.Letter != "A" || p.Use != "E" {
		t.Errorf("Q05: %+v", p)
	}
	for _, id := range []string{"Q08", "Q09"} {
		w = checks.WorkedRow(t, id)
		w.Agree(t, Binomial(int(w.In(t, "n")), int(w.In(t, "c")), w.In(t, "p")))
	}
	w = checks.WorkedRow(t, "Q10")
	n, c := int(w.In(t, "n")), int(w.In(t, "c"))
	good, err1 := QualityAt(n, c, 0.95)
	bad, err2 := QualityAt(n, c, 0.10)
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	near(t, "Q10 producer", good, 0.033165, w.Tol())
	near(t, "Q10 consumer", bad, 0.112850, w.Tol())
	if !strings.Contains(w.Outputs, "0.033165") || !strings.Contains(w.Outputs, "0.112850") {
		t.Errorf("Q10 now says %s", w.Outputs)
	}
	w = checks.WorkedRow(t, "Q11")
	w.Agree(t, Hypergeometric(int(w.In(t, "lot")), int(w.In(t, "bad")), int(w.In(t, "n")), int(w.In(t, "c"))))
	w = checks.WorkedRow(t, "Q12")
	z, err := ZeroPlan(w.In(t, "confidence"), w.In(t, "p"))
	if err != nil {
		t.Fatal(err)
	}
	w.Agree(t, float64(z))

	// Further figures of the handbook's section on sampling.
	near(t, "125/3", Binomial(125, 3, 0.01), 0.962551, 1e-6)
	near(t, "32/2", Binomial(32, 2, 0.025), 0.954776, 1e-6)
	near(t, "13/0", Binomial(13, 0, 0.01), 0.877521, 1e-6)
	lq, _ := QualityAt(13, 0, 0.10)
	near(t, "13/0 LQ10", lq*100, 16.2322, 1e-4)
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.9g, want %.9g", what, got, want)
	}
}

// Printed figures of a statistics package's manual: stats/open/spc/sampling_plans_expected.json, z14_examples.json.
func TestPrintedAcceptance(t *testing.T) {
	var x struct {
		OC   map[string]float64 `json:"binomial_n10_c3_P_accept"`
		Zero map[string]float64 `json:"assess_n20_c0"`
	}
	read(t, "stats/open/spc/sampling_plans_expected.json", &x)
	var keys map[string]json.RawMessage
	read(t, "stats/open/spc/sampling_plans_expected.json", &keys)
	var find struct{ Binomial struct{ N, C int } }
	if err := json.Unmarshal(keys["find_plan_PRP(0.05,0.95)_CRP(0.15,0.075)"], &find); err != nil {
		t.Fatal(err)
	}
	if len(x.OC) < 10 {
		t.Fatal("no curve in the file")
	}
	for k, want := range x.OC {
		near(t, "n 10 c 3 at "+k, Binomial(10, 3, float(t, k)), want, 5e-8+5e-7)
	}
	near(t, "n 20 c 0", Binomial(20, 0, 0.05), x.Zero["PRP 0.05"], 5e-9)
	near(t, "n 20 c 0", Binomial(20, 0, 0.15), x.Zero["CRP 0.15"], 5e-9)
	n, c, err := Search(0.05, 0.95, 0.15, 0.075)
	if err != nil || n != find.Binomial.N || c != find.Binomial.C {
		t.Errorf("searched plan %d/%d %v, printed %+v", n, c, err, find.Binomial)
	}
	var z struct {
		AQL    float64
		Single struct{ N, C, R int }
	}
	read(t, "stats/open/spc/z14_examples.json", &z)
	for _, lot := range []int{3201, 10000} {
		p, err := Single(lot, II, z.AQL, Normal)
		if err != nil || p.N != z.Single.N || p.Ac != z.Single.C || p.Re != z.Single.R {
			t.Errorf("lot %d: %+v %v, printed %+v", lot, p, err, z.Single)
		}
	}
}

func read(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile(checks.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

func TestNeverMoreThanTheLot(t *testing.T) {
	for lot := 1; lot <= 700; lot++ {
		for _, l := range Levels() {
			for _, a := range AQLs() {
				for _, s := range []Severity{Normal, Tightened} {
					p, err := Single(lot, l, a, s)
					if err != nil || p.N > lot || p.N < 1 || p.Re != p.Ac+1 || p.Whole != (p.N == lot) {
						t.Fatalf("lot %d %s %g %s: %+v %v", lot, l, a, s, p, err)
					}
				}
			}
		}
	}
}

// Sums of exact fractions as a second way to the same chances.
func TestHypergeometricByCounting(t *testing.T) {
	pascal := make([][]float64, 31)
	for n := range pascal {
		pascal[n] = make([]float64, n+1)
		pascal[n][0], pascal[n][n] = 1, 1
		for k := 1; k < n; k++ {
			pascal[n][k] = pascal[n-1][k-1] + pascal[n-1][k]
		}
	}
	ways := func(n, k int) float64 {
		if k < 0 || k > n {
			return 0
		}
		return pascal[n][k]
	}
	for lot := 1; lot <= 30; lot += 7 {
		for bad := 0; bad <= lot; bad += 2 {
			for n := 1; n <= lot; n += 3 {
				sum := 0.0
				for c := 0; c <= n; c++ {
					sum += ways(bad, c) * ways(lot-bad, n-c) / ways(lot, n)
					near(t, "hypergeometric", Hypergeometric(lot, bad, n, c), sum, 1e-11)
				}
			}
		}
	}
	n, err := ZeroLot(20, 2, 0.90)
	if err != nil || Hypergeometric(20, 2, n, 0) > 0.10 || Hypergeometric(20, 2, n-1, 0) <= 0.10 {
		t.Errorf("zero plan of a lot: %d %v", n, err)
	}
	near(t, "Poisson as the limit of many", Poisson(1, 3, 1.7), Binomial(1_000_000, 3, 1.7e-6), 1e-5)
}

func TestCurveFalls(t *testing.T) {
	p, err := Single(1000, II, 2.5, Normal)
	if err != nil {
		t.Fatal(err)
	}
	c := p.Curve(50)
	if len(c) != 51 || c[0].Accept != 1 || c[50].Accept > 0.0011 {
		t.Fatalf("curve ends %v %v", c[0], c[len(c)-1])
	}
	for i := 1; i < len(c); i++ {
		if c[i].Accept > c[i-1].Accept {
			t.Fatalf("rises at %v", c[i])
		}
	}
}

func TestSwitching(t *testing.T) {
	run := func(s Switch, lots string) Switch {
		t.Helper()
		for _, r := range lots {
			var err error
			s, err = s.Next(Lot{Accepted: r == 'a', Resubmitted: r == 'x'})
			if err != nil {
				t.Fatal(err)
			}
		}
		return s
	}
	for _, c := range []struct {
		lots string
		want State
	}{
		{"aaaaaaaa", OnNormal}, {"r", OnNormal}, {"rr", OnTightened}, {"raaar", OnTightened}, {"raaaar", OnNormal},
		{"aaaararaa", OnTightened}, {"rxxxxxr", OnTightened}, {"rx", OnNormal},
		{"rr" + "aaaa", OnTightened}, {"rr" + "aaaaa", OnNormal}, {"rr" + "aaaarar", OnTightened},
		{"rr" + "rrrr", OnTightened}, {"rr" + "rrrrr", Stopped}, {"rr" + "rarararar", Stopped},
		{"rr" + "aaaaa" + "r", OnNormal}, // the count starts anew
	} {
		if got := run(Switch{}, c.lots).State; got != c.want {
			t.Errorf("%s: %q, want %q", c.lots, got, c.want)
		}
	}
	stopped := run(Switch{}, "rrrrrrr")
	if _, ok := stopped.Severity(); ok {
		t.Error("a stopped stream may not be sampled")
	}
	if _, err := stopped.Next(Lot{Accepted: true}); fault.KindOf(err) != fault.Conflict {
		t.Errorf("a lot after the stop: %v", err)
	}
	if _, err := stopped.Mended(""); fault.KindOf(err) != fault.Invalid {
		t.Errorf("taken up without an action: %v", err)
	}
	again, err := stopped.Mended("nozzle changed")
	if err != nil || again.State != OnTightened || again.Refused != 0 {
		t.Errorf("%+v %v", again, err)
	}
	if sev, ok := again.Severity(); sev != Tightened || !ok {
		t.Error(sev, ok)
	}
}

func TestPlainRefusals(t *testing.T) {
	for _, c := range []struct {
		code string
		f    func() error
	}{
		{"lot_too_small", func() error { _, err := Single(0, II, 1, Normal); return err }},
		{"level_unknown", func() error { _, err := Single(100, "IV", 1, Normal); return err }},
		{"aql_not_preferred", func() error { _, err := Single(100, II, 1.2, Normal); return err }},
		{"aql_not_preferred", func() error { _, err := Single(100, II, math.NaN(), Normal); return err }},
		{"severity_unknown", func() error { _, err := Single(100, II, 1, "lax"); return err }},
		{"plan_has_no_point", func() error { _, err := QualityAt(5, 5, 0.1); return err }},
		{"zero_plan_range", func() error { _, err := ZeroPlan(1, 0.1); return err }},
		{"zero_plan_too_large", func() error { _, err := ZeroPlan(0.99, 1e-9); return err }},
		{"zero_lot_range", func() error { _, err := ZeroLot(5, 6, 0.9); return err }},
		{"plan_search_range", func() error { _, _, err := Search(0.2, 0.9, 0.1, 0.1); return err }},
		{"plan_too_large", func() error { _, _, err := Search(0.001, 0.999, 0.0010001, 0.001); return err }},
	} {
		if e := fault.Of(c.f()); e == nil || e.Code != c.code {
			t.Errorf("want %s, got %v", c.code, e)
		}
	}
}
