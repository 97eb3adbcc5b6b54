package checks

import (
	"encoding/csv"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Worked is one row of the trade's worked examples: inputs and outputs in words and numbers.
type Worked struct {
	ID, Topic, Inputs, Outputs, Tolerance, Source, Status string
}

// WorkedRows reads all worked examples.
func WorkedRows(t testing.TB) []Worked {
	t.Helper()
	f, err := os.Open(Handbook(t, "worked_examples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	recs, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []Worked
	for _, r := range recs[1:] {
		rows = append(rows, Worked{r[0], r[1], r[2], r[3], r[4], r[5], r[6]})
	}
	return rows
}

// WorkedRow reads one worked example.
func WorkedRow(t testing.TB, id string) Worked {
	t.Helper()
	for _, r := range WorkedRows(t) {
		if r.ID == id {
			return r
		}
	}
	t.Fatalf("no worked example %s", id)
	return Worked{}
}

// Text says whether the row states a figure of the literature in words, with nothing to compute.
func (w Worked) Text() bool { return w.Tolerance == "text" }

// Tol is the row's tolerance; 0 for "exact".
func (w Worked) Tol() float64 {
	v, err := strconv.ParseFloat(w.Tolerance, 64)
	if err != nil {
		return 0
	}
	return v
}

var number = regexp.MustCompile(`(^|[^A-Za-z0-9_.])([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?)`)

// Numbers are the numbers of a text in reading order; digits inside names (Cd1, m2) do not count, nor do dashes between numbers.
func Numbers(s string) []float64 {
	var out []float64
	for at := 0; at < len(s); {
		m := number.FindStringSubmatchIndex(s[at:])
		if m == nil {
			break
		}
		v, err := strconv.ParseFloat(s[at+m[4]:at+m[5]], 64)
		if err == nil {
			out = append(out, v)
		}
		at += m[5]
	}
	return out
}

// In is the number given as key=… in the inputs.
func (w Worked) In(t testing.TB, key string) float64 {
	t.Helper()
	return keyed(t, w.ID, w.Inputs, key)
}

func keyed(t testing.TB, id, s, key string) float64 {
	t.Helper()
	re := regexp.MustCompile(`(^|[^A-Za-z0-9/])` + regexp.QuoteMeta(key) + `\s*=\s*([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?)`)
	m := re.FindStringSubmatch(s)
	if m == nil {
		t.Fatalf("%s: no %s= in %q", id, key, s)
	}
	v, _ := strconv.ParseFloat(m[2], 64)
	return v
}

// Before is the number that stands before a word in the inputs, e.g. Before(t, "s per layer").
func (w Worked) Before(t testing.TB, word string) float64 {
	t.Helper()
	re := regexp.MustCompile(`([-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?)\s*` + regexp.QuoteMeta(word))
	m := re.FindStringSubmatch(w.Inputs)
	if m == nil {
		t.Fatalf("%s: no number before %q in %q", w.ID, word, w.Inputs)
	}
	v, _ := strconv.ParseFloat(m[1], 64)
	return v
}

// After is the first number after a word in the inputs, e.g. After(t, "recoat").
func (w Worked) After(t testing.TB, word string) float64 {
	t.Helper()
	_, rest, ok := strings.Cut(w.Inputs, word)
	n := Numbers(" " + rest)
	if !ok || len(n) == 0 {
		t.Fatalf("%s: no number after %q in %q", w.ID, word, w.Inputs)
	}
	return n[0]
}

// Alternatives splits a text at the bars that separate its cases.
func Alternatives(s string) []string {
	var out []string
	for _, p := range strings.Split(s, "|") {
		out = append(out, strings.TrimSpace(p))
	}
	return out
}

// Agree compares got with the numbers of the outputs in reading order, within the row's tolerance (and half a unit of the last digit
// the row prints).
func (w Worked) Agree(t testing.TB, got ...float64) {
	t.Helper()
	want := Numbers(w.Outputs)
	if len(want) != len(got) {
		t.Fatalf("%s: the row states %d numbers %v, computed are %d: %v", w.ID, len(want), want, len(got), got)
	}
	for i := range want {
		tol := math.Max(w.Tol(), 1e-9*math.Abs(want[i]))
		if math.IsNaN(got[i]) || math.Abs(got[i]-want[i]) > tol+halfDigit(w.Outputs, i) {
			t.Errorf("%s %s: number %d is %.8g, the row says %.8g ± %g (%s)", w.ID, w.Topic, i+1, got[i], want[i], tol, w.Outputs)
		}
	}
}

// halfDigit is half a unit of the last printed digit of the i-th number of s, 0 for whole numbers.
func halfDigit(s string, i int) float64 {
	for at, k := 0, 0; at < len(s); k++ {
		m := number.FindStringSubmatchIndex(s[at:])
		if m == nil {
			return 0
		}
		if k == i {
			_, frac, ok := strings.Cut(s[at+m[4]:at+m[5]], ".")
			if !ok {
				return 0
			}
			return 0.5 * math.Pow(10, -float64(len(frac))) * (1 + 1e-6)
		}
		at += m[5]
	}
	return 0
}
