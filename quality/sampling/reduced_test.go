package sampling

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"strings"
	"testing"

	"firstoff/fault"
)

//go:embed testdata/iso2859_single_reduced.csv
var reducedTable []byte

// Every cell of the table of reduced inspection, arrows followed (source: the file's head).
func TestEveryReducedCell(t *testing.T) {
	r := csv.NewReader(bytes.NewReader(reducedTable))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+16*26 {
		t.Fatalf("%d cells", len(rows)-1)
	}
	for _, x := range rows[1:] {
		row, ac := follow(Reduced, strings.Index(letters, x[0]), aqlCol(t, float(t, x[1])))
		if letters[row:row+1] != x[2] || size(Reduced, row) != whole(t, x[3]) || ac != whole(t, x[4]) || ac+1 != whole(t, x[5]) {
			t.Errorf("%s AQL %s: letter %c n %d Ac %d, the table says %v", x[0], x[1], letters[row], size(Reduced, row), ac, x[2:])
		}
	}
	// Through the door, and never more than normal inspection asks for in total: fewer are measured.
	for _, lot := range []int{8, 50, 280, 1200, 35000} {
		for _, aql := range AQLs() {
			n, err := Single(lot, II, aql, Normal)
			if err != nil {
				t.Fatal(err)
			}
			p, err := Single(lot, II, aql, Reduced)
			if err != nil {
				t.Fatal(err)
			}
			if p.Letter != n.Letter || p.N > max(n.N, 2) && !n.Whole || p.Re != p.Ac+1 {
				t.Errorf("lot %d AQL %g: reduced %v, normal %v", lot, aql, p, n)
			}
		}
	}
}

// The way to reduced inspection and back (ISO 2859-1 cl. 9.3.3, from memory).
func TestReducing(t *testing.T) {
	next := func(s Switch, l Lot) Switch {
		t.Helper()
		s, err := s.Next(l)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	var s Switch
	for range 15 {
		if s.MayReduce() {
			t.Fatal("reduced too soon")
		}
		s = next(s, Lot{Accepted: true, Ac: 1})
	}
	if !s.MayReduce() || s.Score != 30 {
		t.Fatalf("15 lots accepted on 1: score %d", s.Score)
	}
	if sev, _ := s.Severity(); sev != Normal {
		t.Error("nobody wanted reduced inspection, and yet", sev)
	}
	// Larger acceptance numbers count 3 when the next smaller AQL accepts as well, and nothing when it does not.
	var big Switch
	for range 10 {
		big = next(big, Lot{Accepted: true, Ac: 5, Narrower: true})
	}
	if big.Score != 30 {
		t.Errorf("score %d", big.Score)
	}
	if big = next(big, Lot{Accepted: true, Ac: 5}); big.Score != 0 {
		t.Errorf("accepted only just, and the score is %d", big.Score)
	}
	if one := next(s, Lot{Accepted: false, Ac: 1}); one.Score != 0 || one.MayReduce() {
		t.Errorf("a lot not accepted: %+v", one)
	}
	if _, err := (Switch{}).Reduce("steady"); fault.Of(err).Code != "score_too_low" {
		t.Error(err)
	}
	if _, err := s.Reduce(""); fault.Of(err).Code != "action_missing" {
		t.Error(err)
	}
	r, err := s.Reduce("production is steady, I. Inspector")
	if sev, ok := r.Severity(); err != nil || sev != Reduced || !ok {
		t.Fatalf("%v %v %v", r, sev, err)
	}
	r = next(r, Lot{Accepted: true})
	if back := next(r, Lot{Accepted: false}); back.State != OnNormal || back.Score != 0 {
		t.Errorf("a lot not accepted on reduced inspection: %+v", back)
	} else if two := next(back, Lot{Accepted: false}); two.State != OnTightened {
		t.Errorf("and another: %+v", two)
	}
	if back := r.Unsteady("another machine"); back.State != OnNormal || back.Reason != "another machine" {
		t.Errorf("%+v", back)
	}
}

// The acceptance number at the next smaller AQL, for the switching score: ISO 2859-1 table 2-A, letter J.
func TestNarrower(t *testing.T) {
	p, err := Single(1000, II, 2.5, Normal) // J, 80, 5
	if err != nil {
		t.Fatal(err)
	}
	if ac, ok := p.NarrowerAc(); !ok || ac != 3 {
		t.Errorf("%v: %d %v, want 3", p, ac, ok)
	}
	p, _ = Single(1000, II, 0.010, Normal)
	if _, ok := p.NarrowerAc(); ok {
		t.Error("there is no AQL below the smallest")
	}
}
