package calibrate

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

// digits is how many leading digits agree.
func digits(got, want float64) float64 {
	switch {
	case got == want:
		return 16
	case want == 0:
		return -math.Log10(math.Abs(got))
	}
	return math.Min(16, -math.Log10(math.Abs(got-want)/math.Abs(want)))
}

func agree(t *testing.T, what string, got, want, least float64) {
	t.Helper()
	if d := digits(got, want); !(d >= least) {
		t.Errorf("%s: %.15g, certified %.15g: %.1f digits, want %g", what, got, want, d, least)
	}
}

// numbers reads the rows of a data file from a line on, as far as they hold want numbers.
func numbers(t *testing.T, name string, skip, want int) [][]float64 {
	t.Helper()
	b, err := os.ReadFile(checks.Path(t, "stats/open/strd/"+name))
	if err != nil {
		t.Fatal(err)
	}
	var out [][]float64
	for _, l := range strings.Split(string(b), "\n")[skip:] {
		f := strings.Fields(l)
		if len(f) != want {
			continue
		}
		row := make([]float64, want)
		for i, s := range f {
			if row[i], err = strconv.ParseFloat(s, 64); err != nil {
				t.Fatalf("%s: %q", name, l)
			}
		}
		out = append(out, row)
	}
	return out
}

// NIST StRD linear regressions (stats/open/strd): certified coefficients, standard errors and sums.
func TestCertifiedRegressions(t *testing.T) {
	b, err := os.ReadFile(checks.Path(t, "stats/open/strd/expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	var want struct {
		Norris struct {
			B0, B1, R2, F float64
			SE0           float64 `json:"se_b0"`
			SE1           float64 `json:"se_b1"`
			Var           float64 `json:"residual_sd_squared"`
			SSRegression  float64 `json:"ss_regression"`
			SSResidual    float64 `json:"ss_residual"`
		}
		Longley struct {
			B, SE      []float64
			SD         float64 `json:"residual_sd"`
			R2, F      float64
			SSResidual float64 `json:"ss_residual"`
		}
	}
	if err := json.Unmarshal(b, &want); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(checks.Path(t, "stats/open/strd/norris.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var x [][]float64
	var y []float64
	for _, r := range rows[1:] {
		v, _ := strconv.ParseFloat(r[0], 64)
		u, _ := strconv.ParseFloat(r[1], 64)
		x, y = append(x, []float64{1, u}), append(y, v)
	}
	r, err := Regress(x, y, true)
	if err != nil {
		t.Fatal(err)
	}
	n := want.Norris
	agree(t, "norris b0", r.Coef[0], n.B0, 12)
	agree(t, "norris b1", r.Coef[1], n.B1, 13)
	agree(t, "norris se0", r.SE[0], n.SE0, 12)
	agree(t, "norris se1", r.SE[1], n.SE1, 12)
	agree(t, "norris variance", r.ResidualSD*r.ResidualSD, n.Var, 11)
	agree(t, "norris model", r.SSModel, n.SSRegression, 12)
	agree(t, "norris residual", r.SSResidual, n.SSResidual, 11)
	agree(t, "norris R2", r.R2, n.R2, 13)
	agree(t, "norris F", r.F, n.F, 11)

	x, y = nil, nil
	for _, row := range numbers(t, "LONGLEY.DAT", 25, 7) {
		x, y = append(x, append([]float64{1}, row[1:]...)), append(y, row[0])
	}
	if len(y) != 16 {
		t.Fatalf("longley: %d rows", len(y))
	}
	if r, err = Regress(x, y, true); err != nil {
		t.Fatal(err)
	}
	for i := range r.Coef {
		agree(t, "longley b"+strconv.Itoa(i), r.Coef[i], want.Longley.B[i], 10)
		agree(t, "longley se"+strconv.Itoa(i), r.SE[i], want.Longley.SE[i], 9)
	}
	agree(t, "longley sd", r.ResidualSD, want.Longley.SD, 11)
	agree(t, "longley R2", r.R2, want.Longley.R2, 12)
	agree(t, "longley F", r.F, want.Longley.F, 11)
	agree(t, "longley residual", r.SSResidual, want.Longley.SSResidual, 11)

	x, y = nil, nil
	for _, row := range numbers(t, "NOINT1.DAT", 60, 2) {
		x, y = append(x, []float64{row[1]}), append(y, row[0])
	}
	if r, err = Regress(x, y, false); err != nil || len(y) != 11 {
		t.Fatal(err, len(y))
	}
	agree(t, "noint1 R2", r.R2, 0.999365492298663, 14)
	agree(t, "noint1 model", r.SSModel, 200457.727272727, 14)
	agree(t, "noint1 residual", r.SSResidual, 127.272727272727, 12)
	agree(t, "noint1 F", r.F, 15750.25, 12)

	for _, c := range []struct {
		name      string
		sd, model float64
		f, least  float64
		b         []float64
	}{
		{"WAMPLER3.DAT", 2360.14502379268, 18814317208116.7, 675524.458240122, 8, []float64{1, 1, 1, 1, 1, 1}},
		{"WAMPLER5.DAT", 23601450.2379268, 18814317208116.7, 0.00675524458240122, 6, []float64{1, 1, 1, 1, 1, 1}},
	} {
		x, y = nil, nil
		for _, row := range numbers(t, c.name, 60, 2) {
			v := []float64{1}
			for range 5 {
				v = append(v, v[len(v)-1]*row[1])
			}
			x, y = append(x, v), append(y, row[0])
		}
		if r, err = Regress(x, y, true); err != nil || len(y) != 21 {
			t.Fatal(c.name, err, len(y))
		}
		for i := range r.Coef {
			agree(t, c.name+" b"+strconv.Itoa(i), r.Coef[i], c.b[i], c.least)
		}
		agree(t, c.name+" sd", r.ResidualSD, c.sd, 11)
		agree(t, c.name+" model", r.SSModel, c.model, 11)
		agree(t, c.name+" F", r.F, c.f, 11)
	}

	// One-way analysis of variance as a regression on which instrument measured.
	x, y = nil, nil
	for _, row := range numbers(t, "SIRSTV.DAT", 60, 2) {
		v := []float64{1, 0, 0, 0, 0}
		if k := int(row[0]); k > 1 {
			v[k-1] = 1
		}
		x, y = append(x, v), append(y, row[1])
	}
	if r, err = Regress(x, y, true); err != nil || len(y) != 25 {
		t.Fatal(err, len(y))
	}
	agree(t, "sirstv F", r.F, 1.18046237440255, 11)
	agree(t, "sirstv R2", r.R2, 0.190999039051129, 11)
	agree(t, "sirstv sd", r.ResidualSD, 0.104076068334656, 12)
}

func TestRegressRefusals(t *testing.T) {
	for code, f := range map[string]func() error{
		"regress_shape":  func() error { _, err := Regress(nil, nil, true); return err },
		"regress_values": func() error { _, err := Regress([][]float64{{1}, {math.NaN()}}, []float64{1, 2}, false); return err },
		"regress_dependent": func() error {
			_, err := Regress([][]float64{{1, 2}, {2, 4}, {3, 6}}, []float64{1, 2, 3}, false)
			return err
		},
	} {
		if e := fault.Of(f()); e == nil || e.Code != code {
			t.Errorf("%s: %v", code, e)
		}
	}
	// Leverages sum to the number of coefficients.
	r, err := Regress([][]float64{{1, 1}, {1, 2}, {1, 3}, {1, 9}}, []float64{1, 2, 2, 5}, true)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, h := range r.Leverage {
		sum += h
	}
	if math.Abs(sum-2) > 1e-12 || r.Leverage[3] < 0.9 {
		t.Error(r.Leverage)
	}
}
