package inspect

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"firstoff/checks"
	"firstoff/digest"
	"firstoff/fault"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.10g, want %.10g", what, got, want)
	}
}

func rows(t *testing.T, path string) (head []string, body [][]string) {
	t.Helper()
	f, err := os.Open(path)
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

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// ISO 286-1 grades against docs/handbook/tables/iso286_it.csv: every cell, inside and at the end of its range.
func TestGrades(t *testing.T) {
	head, body := rows(t, checks.Handbook(t, "iso286_it.csv"))
	n := 0
	for _, r := range body {
		over, to := float(t, r[0]), float(t, r[1])
		for i := 2; i < len(head); i++ {
			name := strings.TrimSuffix(head[i], "_um")
			for _, at := range []float64{to, over + 0.01, (over + to) / 2} {
				got, err := GradeUM(at, name)
				if r[i] == "" {
					if fault.KindOf(err) != fault.Unsupported {
						t.Errorf("%s at %g: %g %v, the table has none", name, at, got, err)
					}
					continue
				}
				if err != nil || got != float(t, r[i]) {
					t.Errorf("%s at %g: %g %v, the table says %s", name, at, got, err, r[i])
				}
			}
			n++
		}
	}
	if n != 420 {
		t.Fatalf("%d cells", n)
	}
	for _, bad := range []float64{0, -1, 3151, math.NaN()} {
		if _, err := GradeUM(bad, "IT7"); err == nil {
			t.Errorf("a grade at %g", bad)
		}
	}
	if _, err := GradeUM(10, "IT19"); fault.KindOf(err) != fault.Invalid {
		t.Error(err)
	}
}

// ISO 2768 against docs/handbook/tables/iso2768.csv.
func TestGeneralTolerances(t *testing.T) {
	_, body := rows(t, checks.Handbook(t, "iso2768.csv"))
	kinds := map[string][]Kind{"linear": {Linear, Diameter}, "external radius and chamfer height": {Radius}, "angle (by shorter side length)": {Angle},
		"straightness and flatness": {Flatness, Straightness}, "perpendicularity": {Perpendicularity}, "symmetry": {Symmetry}, "circular run-out": {RunOut}}
	n := 0
	for _, r := range body {
		over, to := 0.0, 1e5
		if r[2] != "" {
			over = float(t, r[2])
		}
		if r[3] != "" {
			to = float(t, r[3])
		}
		want := float(t, r[5])
		if r[6] == "arcmin" {
			want /= 60
		}
		at := []float64{to, over + 0.001, (over + to) / 2}
		if over == 0.5 {
			at = append(at, over)
		}
		for _, k := range kinds[r[1]] {
			for _, a := range at {
				got, err := General(k, r[4], a)
				if err != nil || math.Abs(got-want) > 1e-12 {
					t.Errorf("%s %s at %g: %g %v, the table says %g", k, r[4], a, got, err, want)
				}
			}
			n++
		}
	}
	if n < len(body) || n < 107 {
		t.Fatalf("%d of %d rows compared", n, len(body))
	}
	for _, c := range []struct {
		k     Kind
		class string
		at    float64
		kind  fault.Kind
	}{{Linear, "f", 2500, fault.Unsupported}, {Linear, "v", 2, fault.Unsupported}, {Linear, "m", 0.4, fault.Unsupported}, {Linear, "K", 10, fault.Invalid}, {Flatness, "m", 10, fault.Invalid}, {Profile, "m", 10, fault.Unsupported}} {
		if got, err := General(c.k, c.class, c.at); fault.KindOf(err) != c.kind {
			t.Errorf("%s %s at %g: %g %v", c.k, c.class, c.at, got, err)
		}
	}
	c, err := Characteristic{Balloon: 1, Kind: Linear, Nominal: 50}.WithGeneral("ISO 2768-mK", 0)
	if err != nil || c.Limits != Within(49.7, 50.3) || c.Source != "ISO 2768-m" {
		t.Errorf("%+v %v", c, err)
	}
	c, err = Characteristic{Balloon: 2, Kind: Flatness}.WithGeneral("mK", 80)
	if err != nil || c.Limits != UpTo(0.2) || c.Source != "ISO 2768-K" {
		t.Errorf("%+v %v", c, err)
	}
	if _, err := (Characteristic{Balloon: 2, Kind: Flatness, Nominal: 1}).WithGeneral("m", 80); fault.Of(err).Code != "general_callout" {
		t.Error(err)
	}
}

// Worked examples T01–T11 and C01–C04 of docs/handbook/tables/worked_examples.csv.
func TestWorkedExamples(t *testing.T) {
	for id, want := range map[string]string{"T01": "25 um", "T02": "870 um", "T03": "360 um"} {
		w := checks.WorkedRow(t, id)
		grade := w.Inputs[strings.LastIndex(w.Inputs, "IT"):]
		got, err := GradeUM(w.In(t, "nominal"), grade)
		if err != nil || strconv.FormatFloat(got, 'g', -1, 64)+" um" != w.Outputs || w.Outputs != want {
			t.Errorf("%s: %g %v, the row says %s", id, got, err, w.Outputs)
		}
	}
	w := checks.WorkedRow(t, "T04")
	i := UnitUM(math.Sqrt(30 * 50))
	it7, _ := GradeUM(40, "IT7")
	w.Agree(t, i, 16, 16*i, it7)
	w = checks.WorkedRow(t, "T05")
	n, grade := GradeOf(w.In(t, "nominal"), w.In(t, "|dev|"))
	near(t, "T05", n, 58.55, 5e-3+w.Tol())
	near(t, "T05 i", UnitUM(50), 1.707814, 1e-6)
	if !strings.HasSuffix(w.Outputs, "report "+grade) || !strings.Contains(w.Outputs, "58.55") {
		t.Errorf("T05: %s %g, the row says %s", grade, n, w.Outputs)
	}
	for _, id := range []string{"T06", "T07"} {
		w = checks.WorkedRow(t, id)
		got, err := General(Linear, w.Inputs[len(w.Inputs)-1:], w.In(t, "nominal"))
		if err != nil || "+/-"+strconv.FormatFloat(got, 'g', -1, 64)+" mm" != w.Outputs {
			t.Errorf("%s: %g %v, the row says %s", id, got, err, w.Outputs)
		}
	}
	w = checks.WorkedRow(t, "T08")
	r := MaxRule{Fixed: 0.0035, Share: 0.0015}
	w.Agree(t, r.At(2), r.At(2)*25.4, r.At(12), r.At(12)*25.4, r.Crossover(), r.Crossover()*25.4)

	w = checks.WorkedRow(t, "T09")
	l, u := Within(w.In(t, "LSL"), w.In(t, "USL")), w.In(t, "u")
	lo, hi := AcceptanceZone(l, u, GuardStd)
	near(t, "T09 low", lo, 9.9165, w.Tol())
	near(t, "T09 high", hi, 10.0835, w.Tol())
	if !strings.Contains(w.Outputs, "9.9165..10.0835") {
		t.Errorf("T09 now says %s", w.Outputs)
	}
	w = checks.WorkedRow(t, "T10")
	lo, hi = AcceptanceZone(l, u, Guard2u)
	near(t, "T10 low", lo, 9.92, w.Tol())
	near(t, "T10 high", hi, 10.08, w.Tol())
	if !strings.Contains(w.Outputs, "9.92..10.08") {
		t.Errorf("T10 now says %s", w.Outputs)
	}
	w = checks.WorkedRow(t, "T11")
	p := ProfileValue(-0.08, 0.11)
	near(t, "T11", p, 0.22, w.Tol())
	if Decide(p, 0, UpTo(0.25), NoGuard) != Accept || Decide(p, 0, UpTo(0.20), NoGuard) != Reject {
		t.Error("T11: passes 0.25, fails 0.20")
	}

	w = checks.WorkedRow(t, "C01")
	c, err := Capable(Sample{N: 50, Mean: w.In(t, "mean"), S: w.In(t, "s")}, Within(w.In(t, "LSL"), w.In(t, "USL")))
	if err != nil {
		t.Fatal(err)
	}
	w.Agree(t, c.Cp, c.Cpu, c.Cpl, c.Cpk, c.K)

	// The fifty values of the handbook's section 6.5 (data of Chou, Owen and Borrego 1990).
	var v []float64
	for _, s := range strings.Fields("1.38 1.49 1.43 1.60 1.59 1.34 1.44 1.64 1.83 1.57 1.45 1.74 1.61 1.39 1.63 1.73 1.61 1.35 1.51 1.47 1.46 1.41 1.56 1.40 1.58 1.43 1.53 1.53 1.58 1.62 1.58 1.46 1.26 1.57 1.41 1.53 1.36 1.63 1.36 1.66 1.49 1.55 1.67 1.41 1.39 1.75 1.37 1.36 1.86 1.49") {
		v = append(v, float(t, s))
	}
	w = checks.WorkedRow(t, "C02")
	s, err := Summed(v)
	if err != nil {
		t.Fatal(err)
	}
	c, err = Capable(s, Within(w.In(t, "LSL"), w.In(t, "USL")))
	if err != nil {
		t.Fatal(err)
	}
	w.Outputs = strings.ReplaceAll(strings.Replace(w.Outputs, "95 %", "", 1), "..", " ")
	w.Agree(t, float64(s.N), s.Mean, s.S, c.Cp, c.Cpk, c.CpIn.Lo, c.CpIn.Hi)
	if !(c.CpkIn.Lo < c.Cpk && c.Cpk < c.CpkIn.Hi) || !c.Index || c.ShortTerm || c.Pp != c.Cp {
		t.Errorf("C02: %+v", c)
	}

	study := aiag(t)
	w = checks.WorkedRow(t, "C03")
	g, err := study.AverageRange()
	if err != nil {
		t.Fatal(err)
	}
	w.Agree(t, g.RBar, g.XDiff, g.RPart, g.EV, g.AV, g.GRR, g.PV, g.TV, g.Percent, float64(g.Categories), g.Category)
	w = checks.WorkedRow(t, "C04")
	g, err = study.ByVariance(0)
	if err != nil {
		t.Fatal(err)
	}
	a := g.Anova
	w.Agree(t, a.SSPart, a.SSOperator, a.SSInteraction, a.SSError, a.SSTotal, a.FInteraction, a.VarRepeat, a.VarOperator, a.VarPart, a.VarGRR, a.VarTotal, g.Percent, g.Category, float64(g.Categories))
	if !a.Pooled {
		t.Error("C04: the interaction should join the error")
	}
}

func aiag(t *testing.T) GaugeStudy {
	_, body := rows(t, checks.Handbook(t, "grr_aiag.csv"))
	g := GaugeStudy{}
	for _, r := range body {
		o, tr, p := int(r[0][0]-'A'), int(float(t, r[1]))-1, int(float(t, r[2]))-1
		for len(g.Values) <= o {
			g.Values = append(g.Values, make([][]float64, 10))
		}
		for len(g.Values[o][p]) <= tr {
			g.Values[o][p] = append(g.Values[o][p], 0)
		}
		g.Values[o][p][tr] = float(t, r[3])
	}
	return g
}

// A crossed study with printed results: stats/open/spc/gauge_rr_crossed.csv and gauge_rr_expected.json.
func TestPrintedGaugeStudy(t *testing.T) {
	_, body := rows(t, checks.Path(t, "stats/open/spc/gauge_rr_crossed.csv"))
	g := GaugeStudy{Values: make([][][]float64, 3)}
	digit := func(s string) int { return int(s[len(s)-1] - '1') }
	for _, r := range body {
		o, p := digit(r[1]), digit(r[0])
		for len(g.Values[o]) <= p {
			g.Values[o] = append(g.Values[o], nil)
		}
		g.Values[o][p] = append(g.Values[o][p], float(t, r[3]))
	}
	var want struct {
		Alpha float64 `json:"alpha_for_interaction"`
		Anova struct {
			DF       []int
			SS, F, P []float64
		}
		Reduced struct {
			F, P []float64
		} `json:"anova_reduced"`
		Parts map[string]float64 `json:"variance_components"`
		SD    []float64          `json:"std_dev"`
		Study []float64          `json:"percent_study_variation"`
		NDC   int                `json:"distinct_categories"`
	}
	b, err := os.ReadFile(checks.Path(t, "stats/open/spc/gauge_rr_expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &want); err != nil {
		t.Fatal(err)
	}
	r, err := g.ByVariance(want.Alpha)
	if err != nil {
		t.Fatal(err)
	}
	a := r.Anova
	for i, v := range []float64{a.SSPart, a.SSOperator, a.SSInteraction, a.SSError, a.SSTotal} {
		near(t, "sum of squares", v, want.Anova.SS[i], 5e-5)
	}
	if !reflect.DeepEqual([]int{a.DFPart, a.DFOperator, a.DFInteraction, a.DFError}, want.Anova.DF[:4]) {
		t.Errorf("degrees of freedom %+v", a)
	}
	near(t, "F interaction", a.FInteraction, want.Anova.F[2], 5e-4)
	near(t, "p interaction", a.PInteraction, want.Anova.P[2], 5e-6)
	near(t, "F part, pooled", a.FPart, want.Reduced.F[0], 5e-3)
	near(t, "F operator, pooled", a.FOperator, want.Reduced.F[1], 5e-3)
	near(t, "p part, pooled", a.PPart, want.Reduced.P[0], 5e-10)
	near(t, "p operator, pooled", a.POperator, want.Reduced.P[1], 5e-4)
	for k, v := range map[string]float64{"repeatability": a.VarRepeat, "operator": a.VarOperator, "part_to_part": a.VarPart, "total_grr": a.VarGRR, "total": a.VarTotal} {
		near(t, k, v, want.Parts[k], 5e-5)
	}
	near(t, "grr", r.GRR, want.SD[0], 5e-8)
	near(t, "per cent", r.Percent, want.Study[0], 5e-3)
	if r.Categories != want.NDC {
		t.Errorf("%d categories, printed %d", r.Categories, want.NDC)
	}
}

// Twenty values with printed capability: stats/open/spc/capability_volume.csv.
func TestPrintedCapability(t *testing.T) {
	_, body := rows(t, checks.Path(t, "stats/open/spc/capability_volume.csv"))
	var v []float64
	for _, r := range body {
		v = append(v, float(t, r[0]))
	}
	s, err := Summed(v)
	if err != nil {
		t.Fatal(err)
	}
	c, err := Capable(s, Within(740, 760))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Cp", c.Cp, 1.58413633507089, 1e-12)
	near(t, "Cpk", c.Cpk, 1.54651309711296, 1e-12)
	near(t, "Z", 3*c.Cpk, 4.63953929133888, 1e-11)
}

// NIST StRD univariate sets: mean and standard deviation as certified in the files (stats/open/strd).
func TestCertifiedSpread(t *testing.T) {
	for name, want := range map[string]struct{ mean, sd, digits float64 }{
		"Lew":      {-177.435, 277.332168044316, 14},
		"Mavro":    {2.001856, 0.000429123454003053, 13},
		"PiDigits": {4.5348, 2.86733906028871, 14},
		"NUMACC1":  {10000002, 1, 14},
		"NUMACC3":  {1000000.2, 0.1, 9},
	} {
		file := name + ".txt"
		if strings.HasPrefix(name, "NUMACC") {
			file = name + ".DAT"
		}
		b, err := os.ReadFile(checks.Path(t, "stats/open/strd/"+file))
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.Split(string(b), "\n")
		skip := 60
		if name == "Lew" {
			skip = 52
		}
		var v []float64
		for _, l := range lines[min(skip, len(lines)):] {
			if x, err := strconv.ParseFloat(strings.TrimSpace(l), 64); err == nil && strings.TrimSpace(l) != "" {
				v = append(v, x)
			}
		}
		s, err := Summed(v)
		if err != nil {
			t.Fatal(name, len(v), err)
		}
		lre := func(got, want float64) float64 {
			if got == want {
				return 16
			}
			return -math.Log10(math.Abs(got-want) / math.Abs(want))
		}
		if lre(s.Mean, want.mean) < 14 || lre(s.S, want.sd) < want.digits {
			t.Errorf("%s: n %d mean %.15g sd %.15g (%.1f digits), certified %v", name, s.N, s.Mean, s.S, lre(s.S, want.sd), want)
		}
	}
}

func TestDecision(t *testing.T) {
	l := Within(9.90, 10.10)
	for _, c := range []struct {
		v    float64
		g    Guard
		want Decision
	}{
		{10, 0, Accept}, {9.9165, 0, Accept}, {9.9164, 0, Undecided}, {10.0835, 0, Accept}, {10.0836, 0, Undecided}, {9.8836, 0, Undecided}, {9.8834, 0, Reject},
		{10.1165, 0, Undecided}, {10.1166, 0, Reject}, {9.919, Guard2u, Undecided}, {9.92, Guard2u, Accept}, {9.91, NoGuard, Accept}, {9.90, NoGuard, Accept}, {9.899, NoGuard, Reject},
		{math.NaN(), 0, Undecided},
	} {
		if got := Decide(c.v, 0.01, l, c.g); got != c.want {
			t.Errorf("%g with guard %g: %s, want %s", c.v, c.g, got, c.want)
		}
	}
	if Decide(5, 0.01, From(4), 0) != Accept || Decide(4.01, 0.01, From(4), 0) != Undecided || Decide(0.19, 0.01, UpTo(0.2), 0) != Undecided || Decide(0.1, 0.01, UpTo(0.2), 0) != Accept {
		t.Error("limits on one side")
	}
	if Provable(Within(0, 0.02), 0.01, 0) || !Provable(l, 0.01, 0) {
		t.Error("provable")
	}
}

func TestJudge(t *testing.T) {
	cs := []Characteristic{
		{Balloon: 1, Name: "length", Kind: Linear, Designator: Major, Nominal: 10, Limits: Within(9.9, 10.1), Unit: "mm"},
		{Balloon: 2, Name: "bore", Kind: Diameter, Designator: Critical, Nominal: 5, Limits: Within(4.95, 5.05), Unit: "mm"},
		{Balloon: 3, Name: "flatness", Kind: Flatness, Designator: Minor, Limits: UpTo(0.1), Unit: "mm"},
	}
	v, err := Judge(cs, []Result{{Balloon: 1, Piece: "a", Value: 10, U: 0.01}, {Balloon: 1, Piece: "b", Value: 10.2, U: 0.01}, {Balloon: 2, Piece: "a", Value: 5.045, U: 0.01}, {Balloon: 2, Piece: "b", Value: 5, U: 0.01}}, 0)
	if err != nil || v.Accepted != 2 || v.Rejected != 1 || v.Undecided != 1 || !reflect.DeepEqual(v.Bad, []string{"b"}) || !reflect.DeepEqual(v.Open, []string{"a"}) || !reflect.DeepEqual(v.Missing, []int{3}) || v.Conforms() {
		t.Errorf("%+v %v", v, err)
	}
	if _, err := Judge(cs, []Result{{Balloon: 9}}, 0); fault.Of(err).Code != "result_without_balloon" {
		t.Error(err)
	}
	if _, err := Judge(append(cs, cs[0]), nil, 0); fault.Of(err).Code != "balloon_twice" {
		t.Error(err)
	}
	if _, err := Judge(cs, []Result{{Balloon: 1, U: -1}}, 0); fault.Of(err).Code != "result_not_number" {
		t.Error(err)
	}
}

func TestInstruments(t *testing.T) {
	due := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	i := Instrument{ID: "m-1", From: 0, To: 25, Unit: "mm", U: 0.008, Resolution: 0.001, Due: due}
	if err := i.Ready(10, due.Add(-time.Hour)); err != nil {
		t.Error(err)
	}
	for code, f := range map[string]func() error{
		"instrument_overdue":        func() error { return i.Ready(10, due) },
		"instrument_range":          func() error { return i.Ready(26, due.Add(-1)) },
		"instrument_not_calibrated": func() error { return Instrument{ID: "x", To: 5}.Ready(1, due) },
		"instrument_withdrawn":      func() error { return Instrument{ID: "x", To: 5, Due: due, Withdrawn: true}.Ready(1, due.Add(-1)) },
	} {
		if e := fault.Of(f()); e == nil || e.Code != code || e.Kind != fault.Conflict {
			t.Errorf("%s: %v", code, e)
		}
	}
	// u_c of 4 µm from calibration, 3 from repeats, 0.1 mm·1e-4/K·… by hand: √(4² + 3² + 12²) = 13.
	near(t, "u_c", Budget{Calibration: 0.004, Repeat: 0.003, Temperature: 0.012}.Combined(), 0.013, 1e-12)
	near(t, "resolution", Budget{Resolution: 0.01}.Combined(), 0.01/math.Sqrt(12), 1e-12)
	near(t, "thermal: 200 mm of nylon in 5 K (handbook 6.6)", Thermal(200, 1e-4, 5), 0.10, 1e-12)
	near(t, "u", i.Standard(10, Budget{Repeat: 0.003}), math.Sqrt(0.004*0.004+0.003*0.003+1e-6/12), 1e-12)
	if r, ok := i.Suits(10, Within(9.9, 10.1)); !ok || math.Abs(r-2*i.Standard(10, Budget{})/0.2) > 1e-9 {
		t.Error(r, ok)
	}
	if _, ok := i.Suits(10, Within(9.99, 10.01)); ok {
		t.Error("8 µm on 20 µm of tolerance suits nobody")
	}
	if ratio, advice := (MaxRule{0.1, 0.002}).Reach(Within(-0.1, 0.1), 20); math.Abs(ratio-1) > 1e-9 || advice != "with a first article" {
		t.Error(ratio, advice)
	}
}

func TestFewPartsNoIndex(t *testing.T) {
	s, err := Summed([]float64{1, 2, 3})
	if err != nil {
		t.Fatal(err)
	}
	c, err := Capable(s, Within(0, 4))
	if err != nil || c.Index || c.Cp != 0 || c.Mean != 2 || c.S != 1 {
		t.Errorf("%+v %v", c, err)
	}
	// Two subgroups with a shift between them: short term is better than long term.
	s, err = Summed([]float64{1, 1.1, 0.9, 1, 1}, []float64{2, 2.1, 1.9, 2, 2})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "within", s.Within, math.Sqrt(0.04/8), 1e-12)
	c, err = Capable(s, Within(0, 3))
	if err != nil || !c.ShortTerm || c.Cp < 5*c.Pp {
		t.Errorf("%+v %v", c, err)
	}
	c, err = Capable(s, UpTo(3))
	if err != nil || c.Cp != 0 || c.Cpk != c.Cpu || c.Cpl != 0 {
		t.Errorf("one limit: %+v %v", c, err)
	}
	for code, f := range map[string]func() error{
		"sample_too_small":  func() error { _, err := Summed([]float64{1}); return err },
		"sample_not_number": func() error { _, err := Summed([]float64{1, math.NaN()}); return err },
		"limits_missing":    func() error { _, err := Capable(s, Limits{NoLower: true, NoUpper: true}); return err },
		"no_spread":         func() error { _, err := Capable(Sample{N: 20}, Within(0, 1)); return err },
		"gauge_too_small":   func() error { _, err := GaugeStudy{}.AverageRange(); return err },
		"gauge_uneven": func() error {
			_, err := GaugeStudy{[][][]float64{{{1, 2}, {1, 2}}, {{1, 2}, {1}}}}.ByVariance(0)
			return err
		},
		"gauge_no_spread": func() error {
			_, err := GaugeStudy{[][][]float64{{{1, 1}, {1, 1}}, {{1, 1}, {1, 1}}}}.ByVariance(0)
			return err
		},
		"gauge_constants": func() error {
			one := [][]float64{{1, 2}, {1, 2}}
			_, err := GaugeStudy{[][][]float64{one, one, one, one}}.AverageRange()
			return err
		},
	} {
		if e := fault.Of(f()); e == nil || e.Code != code {
			t.Errorf("%s: %v", code, e)
		}
	}
}

func TestPropose(t *testing.T) {
	cs, skipped, err := Propose([3]float64{12, 80, 0.3}, []Hole{{5, 10, true}, {8.2, 3, false}, {5.0004, 4, true}, {5, 10, false}}, "m")
	if err != nil {
		t.Fatal(err)
	}
	if err := CheckAll(cs); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range cs {
		got = append(got, c.Name+" "+strconv.FormatFloat(c.Nominal, 'g', -1, 64)+" x"+strconv.Itoa(c.Places)+" "+c.Limits.String())
	}
	want := "length 80 x1 79.7 to 80.3|width 12 x1 11.8 to 12.2|through hole 5 x2 4.9 to 5.1|hole 5 x1 4.9 to 5.1|hole 8.2 x1 8 to 8.4"
	if strings.Join(got, "|") != want || len(skipped) != 1 || !strings.Contains(skipped[0], "0.3 mm") {
		t.Errorf("%s\n%v", strings.Join(got, "|"), skipped)
	}
	if _, _, err := Propose([3]float64{1, 2, 3}, nil, "z"); fault.Of(err).Code != "general_class" {
		t.Error(err)
	}
}

func TestCSVRoundTrip(t *testing.T) {
	cs := []Characteristic{
		{Balloon: 1, Name: "length, overall", Kind: Linear, Designator: Major, Nominal: 10.1, Limits: Within(9.9, 10.1), Unit: "mm", Places: 2, Zone: "A4", Source: "drawing", Note: "=SUM(A1)"},
		{Balloon: 7, Name: "'quoted", Kind: Profile, Designator: Critical, Limits: UpTo(0.25), Unit: "mm"},
		{Balloon: 8, Name: "-dash", Kind: Hardness, Designator: Minor, Nominal: 70, Limits: From(65), Unit: "Shore A"},
	}
	got, err := ReadCharacteristics(WriteCharacteristics(cs), "")
	if err != nil || !reflect.DeepEqual(got, cs) {
		t.Errorf("%+v %v", got, err)
	}
	if !strings.Contains(string(WriteCharacteristics(cs)), ",'=SUM") {
		t.Error("a formula goes out as it is")
	}
	js := []Judged{{Result: Result{Balloon: 1, Piece: "p-1", Place: 2, Value: 10.02, U: 0.01, Instrument: "c-1", By: "@ann", At: time.Date(2026, 3, 1, 14, 5, 0, 0, time.UTC)}, Decision: Accept},
		{Result: Result{Balloon: 2, Piece: "p-1", Value: -3}, Decision: Reject}}
	rs, err := ReadResults(WriteResults(js))
	if err != nil || len(rs) != 2 || rs[0] != js[0].Result || rs[1] != js[1].Result {
		t.Errorf("%+v %v", rs, err)
	}
	// As a spreadsheet in many countries writes it.
	got, err = ReadCharacteristics([]byte("\ufeffKind;Balloon;Name;Nominal;Lower;Upper\r\nlinear;3;Länge;12,5;12,4;12,6\r\nlinear;4;Breite;30;;\r\n;;;;;\r\n"), "ISO 2768-m")
	if err != nil || len(got) != 2 || got[0].Limits != Within(12.4, 12.6) || got[0].Designator != Major || got[1].Limits != Within(29.8, 30.2) {
		t.Errorf("%+v %v", got, err)
	}
	for code, s := range map[string]string{
		"column_missing": "balloon,name\n1,a\n", "table_empty": "balloon,name,kind,nominal\n", "not_a_number": "balloon,name,kind,nominal,upper\n1,a,linear,x,2\n",
		"not_a_count": "balloon,name,kind,nominal\n1.5,a,linear,1\n", "limits_missing": "balloon,name,kind,nominal\n1,a,linear,1\n", "limits_crossed": "balloon,name,kind,nominal,lower,upper\n1,a,linear,1,3,2\n",
		"kind_unknown": "balloon,name,kind,nominal,upper\n1,a,girth,1,2\n", "table_broken": "balloon,name,kind,nominal\n1,\"a,linear\n", "column_twice": "balloon,name,kind,nominal,name\n1,a,linear,1,b\n",
	} {
		_, err := ReadCharacteristics([]byte(s), "")
		if e := fault.Of(err); e == nil || e.Code != code {
			t.Errorf("%s: %v", code, e)
		}
	}
	for code, s := range map[string]string{"value_missing": "balloon,piece,value\n1,a,\n", "time_form": "balloon,piece,value,at\n1,a,2,noon\n", "uncertainty_negative": "balloon,piece,value,u\n1,a,2,-1\n"} {
		if _, err := ReadResults([]byte(s)); fault.Of(err) == nil || fault.Of(err).Code != code {
			t.Errorf("%s: %v", code, err)
		}
	}
}

func FuzzReadCharacteristics(f *testing.F) {
	f.Add([]byte("balloon,name,kind,nominal,lower,upper\n1,a,linear,1,0,2\n"))
	f.Add([]byte("\ufeffKind;Balloon;Name;Nominal\r\nangle;3;L;12,5\r\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		cs, err := ReadCharacteristics(b, "ISO 2768-mK")
		if err != nil {
			return
		}
		again, err := ReadCharacteristics(WriteCharacteristics(cs), "")
		if err != nil || !reflect.DeepEqual(again, cs) {
			t.Fatalf("%q: %+v read again as %+v %v", b, cs, again, err)
		}
	})
}

func FuzzReadResults(f *testing.F) {
	f.Add([]byte("balloon,piece,value,u,at\n1,a,1,0.1,2026-03-01T14:05:00Z\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		rs, err := ReadResults(b)
		if err != nil {
			return
		}
		var js []Judged
		for _, r := range rs {
			js = append(js, Judged{Result: r})
		}
		again, err := ReadResults(WriteResults(js))
		if err != nil || !reflect.DeepEqual(again, rs) {
			t.Fatalf("%q: %+v read again as %+v %v", b, rs, again, err)
		}
	})
}

func ncr(g Designator) Nonconformance {
	return Nonconformance{Number: "N-1", FoundBy: "ann", Part: "cover", Lot: "L-7", Quantity: 5, Requirement: "10 ± 0.1", Found: "10.3", Designator: g}
}

func TestNonconformance(t *testing.T) {
	at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	ok := Disposal{Disposition: Rework, Quantity: 2, By: "ann", Authority: Inspector, Reason: "sand it", At: at}
	n := ncr(Major)
	if err := n.Check(); err != nil || n.State() != "open" || !n.Holds() {
		t.Fatal(err, n.State())
	}
	step := func(next Nonconformance, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		n = next
	}
	refuse := func(code string, d Disposal, n Nonconformance) {
		t.Helper()
		if _, err := n.Dispose(d); fault.Of(err) == nil || fault.Of(err).Code != code {
			t.Errorf("want %s, got %v", code, err)
		}
	}
	step(n.Contain("bin 4, locked"))
	refuse("disposition_quantity", Disposal{Disposition: Rework, Quantity: 6, By: "ann", Authority: Inspector, Reason: "x"}, n)
	refuse("disposition_authority", Disposal{Disposition: Scrap, Quantity: 1, By: "ann", Authority: Inspector, Reason: "x"}, n)
	refuse("disposition_authority", Disposal{Disposition: Rework, Quantity: 1, By: "ann", Authority: Inspector, Reason: "x"}, ncr(Critical))
	refuse("disposition_authority", Disposal{Disposition: Scrap, Quantity: 1, By: "c", Authority: Client, Reason: "x"}, n)
	refuse("concession_missing", Disposal{Disposition: UseAsIs, Quantity: 1, By: "bob", Authority: Quality, Reason: "x"}, n)
	refuse("disposition_same_person", Disposal{Disposition: UseAsIs, Quantity: 1, By: "ann", Authority: Quality, Reason: "x", Concession: "C-1"}, n)
	refuse("disposition_incomplete", Disposal{Disposition: Scrap, Quantity: 1, By: "bob", Authority: Quality}, n)
	refuse("disposition_unknown", Disposal{Disposition: "hide", Quantity: 1, By: "bob", Authority: Quality, Reason: "x"}, n)
	refuse("authority_unknown", Disposal{Disposition: Scrap, Quantity: 1, By: "bob", Authority: "king", Reason: "x"}, n)
	step(n.Dispose(ok))
	if _, err := n.Close(at); fault.Of(err).Code != "nonconformance_open" {
		t.Error(err)
	}
	step(n.Dispose(Disposal{Disposition: UseAsIs, Quantity: 3, By: "bob", Authority: Quality, Reason: "hidden face", Concession: "C-1"}))
	if n.State() != "disposed" || !n.Holds() {
		t.Error(n.State())
	}
	if _, err := n.Close(at); fault.Of(err).Code != "nonconformance_not_inspected" {
		t.Error(err)
	}
	if _, err := n.Inspected(1); fault.Of(err).Code != "nothing_to_inspect" {
		t.Error(err)
	}
	step(n.Inspected(0))
	key := n
	key.Designator = Key
	if _, err := key.Close(at); fault.Of(err).Code != "nonconformance_no_action" {
		t.Error(err)
	}
	step(n.Close(at))
	if n.State() != "closed" || n.Holds() {
		t.Error(n.State())
	}
	refuse("nonconformance_closed", ok, n)
	bad := ncr(Major)
	bad.Quantity = 0
	if fault.Of(bad.Check()).Code != "nonconformance_quantity" {
		t.Error(bad.Check())
	}
	bad.Found = " "
	if fault.Of(bad.Check()).Code != "nonconformance_incomplete" {
		t.Error(bad.Check())
	}
}

func TestFirstArticle(t *testing.T) {
	at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	cs := []Characteristic{
		{Balloon: 1, Name: "length", Kind: Linear, Designator: Major, Nominal: 10, Limits: Within(9.9, 10.1), Unit: "mm"},
		{Balloon: 2, Name: "hole", Kind: Diameter, Designator: Major, Nominal: 5, Limits: Within(4.9, 5.1), Unit: "mm", Places: 2},
	}
	f := FirstArticle{Number: "F-1", PartNumber: "P", Serial: "1", Revision: "A", FileDigest: digest.Of([]byte("file")), PreparedBy: "ann", Full: true,
		Materials: []Used{{Name: "nylon", Lot: "L-1"}}, Processes: []Used{{Name: "laser sintering"}}}
	f, err := f.Account(cs, []Result{{Balloon: 1, Piece: "1", Value: 10.3}, {Balloon: 2, Piece: "1", Value: 5}}, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	if open := strings.Join(f.Open(), "|"); open != "balloon 1 does not conform and no nonconformance is raised|balloon 2 has 1 results for 2 places" {
		t.Error(open)
	}
	if _, err := f.Approve("bob", at); fault.Of(err).Code != "first_article_open" {
		t.Error(err)
	}
	n := ncr(Major)
	n.Balloon = 1
	f, err = f.Account(cs, []Result{{Balloon: 1, Piece: "1", Value: 10.3}, {Balloon: 2, Piece: "1", Value: 5}, {Balloon: 2, Piece: "1", Place: 2, Value: 5}}, 0, []Nonconformance{n})
	if err != nil || len(f.Open()) != 0 || f.Lines[0].Nonconformance != "N-1" || f.Verdict.Conforms() {
		t.Errorf("%v %v", f.Open(), err)
	}
	if _, err := f.Approve("Ann", at); fault.Of(err).Code != "first_article_second_person" {
		t.Error(err)
	}
	if f, err = f.Approve("bob", at); err != nil || f.ApprovedBy != "bob" {
		t.Error(err)
	}
	if len(FirstArticle{}.Open()) < 8 {
		t.Error(FirstArticle{}.Open())
	}
	was := Made{FileDigest: "a", Revision: "A", Site: "s", Process: "p", Material: "m", Method: "x", At: at}
	if r := Again(was, was); len(r) != 0 {
		t.Error(r)
	}
	now := Made{FileDigest: "b", Revision: "A", Site: "t", Process: "q", Material: "n", Method: "y", At: at.AddDate(2, 0, 0)}
	if r := Again(was, now); len(r) != 6 {
		t.Error(r)
	}
}
