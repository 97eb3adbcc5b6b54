package quote

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"firstoff/client"
	"firstoff/desk/offer"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/part"
	"firstoff/shop"
)

var noon = time.Date(2031, 3, 3, 12, 0, 0, 0, time.UTC)

func table(qty int) offer.Table {
	t := offer.Table{Qty: qty}
	for i, id := range []string{"a", "b", "c", "d", "e", "f", "g"} {
		p := money.Amount(1000 + 100*i)
		t.Options = append(t.Options, offer.Option{ID: id, UnitPrice: p, Total: p * money.Amount(qty), CostTotal: 7, P90: fmt.Sprintf("2031-03-%02d", 20-i), Pareto: i%2 == 0, Why: []offer.Why{{Name: "w"}}, Cautions: []string{"hot"}})
	}
	t.Options[2].Tags = []string{"pick"}
	t.Options[4].Tags = []string{"soonest"}
	return t
}

func drafting(qty ...int) Drafting {
	d := Drafting{
		Number: "Q-1001", Revision: "A", Today: "2031-03-03", Now: noon, MadeFrom: Provenance{Now: noon, Load: "l"},
		Request: request.Request{ID: "R-1"}, Client: client.Client{ID: "C-1", Firm: "Hill & Dale Ltd"},
		Firm: shop.Firm{Currency: "EUR", ValidDays: 30, MinimumOrder: 15_000, TaxName: "VAT", TaxPct: 19, FailClause: "Made again."},
	}
	for i, n := range qty {
		d.Lines = append(d.Lines, Priced{Line: request.Line{ID: fmt.Sprintf("L-%d", i+1), Name: fmt.Sprintf("part %d", i+1), Qty: n}, Table: table(n), Unit: "in, as confirmed"})
	}
	return d
}

func draft(t *testing.T, qty ...int) Quotation {
	t.Helper()
	q, err := Make(drafting(qty...))
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func code(t *testing.T, err error, want string) {
	t.Helper()
	if f := fault.Of(err); f == nil || f.Code != want {
		t.Errorf("want fault %s, got %v", want, err)
	}
}

func TestMake(t *testing.T) {
	q := draft(t, 2, 10)
	// Worked by hand: 2 × 12.00 + 10 × 12.00 = 144.00, under the minimum of 150.00; 19 % of 150.00 is 28.50.
	if s := q.Body.Sums; s.Goods != 14_400 || s.Minimum != 600 || s.Net != 15_000 || s.Tax != 2850 || s.Total != 17_850 {
		t.Errorf("sums %+v", s)
	}
	l := q.Body.Lines[0]
	if l.Choice.ID != "c" || q.ID != "Q-1001-A" || q.Body.ValidUntil != "2031-04-02" || q.Body.PromisedFor != "2031-03-18" || q.Body.Digits != 2 || len(q.Body.Terms) != 1 {
		t.Errorf("made %+v", q)
	}
	var shown []string
	for _, a := range l.Alternatives {
		shown = append(shown, a.ID)
	}
	if fmt.Sprint(shown) != "[e a g]" { // the tagged one first, then from the front
		t.Errorf("shown beside it: %v", shown)
	}
	if len(q.Body.Cautions) != 1 || strings.Contains(q.Body.Cautions[0], "hot") || !strings.Contains(strings.Join(q.Body.Assumptions, " "), "part 1: lengths taken in in, as confirmed.") {
		t.Errorf("cautions %v, assumptions %v", q.Body.Cautions, q.Body.Assumptions)
	}
	_, err := Make(drafting())
	code(t, err, "nothing_to_quote")
	d := drafting(1)
	d.Lines[0].Table.Options = nil
	_, err = Make(d)
	code(t, err, "line_without_option")
	d = drafting(1)
	d.Lines[0].Line.Chosen, d.Lines[0].Line.Alternatives = "b", []string{"b", "zz", "f"}
	q, err = Make(d)
	if err != nil || q.Body.Lines[0].Choice.ID != "b" || len(q.Body.Lines[0].Alternatives) != 1 {
		t.Errorf("as chosen: %+v", q.Body.Lines[0])
	}
}

func TestLineChanges(t *testing.T) {
	q := draft(t, 10)
	l := &q.Body.Lines[0]
	code(t, l.Ask(900, "E", "", noon), "price_reason")
	code(t, l.Ask(-1, "E", "gift", noon), "price_range")
	if err := l.Ask(900, "E", "repeat", noon); err != nil || l.Total != 9000 || l.Choice.UnitPrice != 1200 {
		t.Errorf("a price set: %v %+v", err, l)
	}
	q.Body.Sum()
	if q.Body.Sums.Goods != 9000 {
		t.Errorf("sum %d", q.Body.Sums.Goods)
	}
	if err := l.Take(table(10), "e"); err != nil || l.Set != nil || l.UnitPrice != 1400 || l.Promised != "2031-03-16" {
		t.Errorf("another option: %v %+v", err, l)
	}
	if len(l.Alternatives) != 3 || l.Alternatives[0].ID != "c" { // the two have changed places
		t.Errorf("beside it: %v", l.Alternatives[0].ID)
	}
	code(t, l.Take(table(10), "zz"), "option_unknown")
	code(t, l.Show(table(10), []string{"zz"}), "option_unknown")
	code(t, l.Show(table(10), []string{"a", "b", "c", "d", "f", "g"}), "too_many_alternatives")
	if err := l.Show(table(10), []string{"a", "e"}); err != nil || len(l.Alternatives) != 1 {
		t.Errorf("shown: %v %d", err, len(l.Alternatives))
	}
	_ = l.Ask(5, "E", "why not", noon)
	l.AsComputed()
	if l.UnitPrice != 1400 || l.Total != 14_000 || l.Set != nil {
		t.Errorf("as computed: %+v", l)
	}
}

func TestKeep(t *testing.T) {
	old := draft(t, 10, 2)
	l := &old.Body.Lines[0]
	_ = l.Take(table(10), "f")
	_ = l.Show(table(10), []string{"a"})
	_ = l.Ask(900, "E", "repeat", noon)
	_ = old.Body.Lines[1].Ask(1, "E", "for two only", noon)
	old.Body.Note, old.Body.Sums.Shipping, old.Body.ValidUntil = "hello", 700, "2031-06-01"
	fresh := draft(t, 10, 3)
	fresh.Body.Keep(old.Body, map[string]offer.Table{"L-1": table(10), "L-2": table(3)})
	b := fresh.Body
	if b.Lines[0].Choice.ID != "f" || b.Lines[0].UnitPrice != 900 || len(b.Lines[0].Alternatives) != 1 || b.Note != "hello" || b.ValidUntil != "2031-06-01" || b.Sums.Shipping != 700 {
		t.Errorf("kept: %+v", b.Lines[0])
	}
	if b.Lines[1].Set != nil || b.Sums.Goods != 9000+3*1200 {
		t.Errorf("a price for another quantity was kept: %+v", b.Lines[1])
	}
	less := table(10)
	less.Options = less.Options[:3] // "f" is gone
	fresh = draft(t, 10)
	fresh.Body.Keep(old.Body, map[string]offer.Table{"L-1": less})
	if fresh.Body.Lines[0].Choice.ID != "c" || fresh.Body.Lines[0].Set != nil {
		t.Errorf("an option that is gone: %+v", fresh.Body.Lines[0].Choice)
	}
}

// TestStates tries every step in every state.
func TestStates(t *testing.T) {
	steps := map[string]func(q Quotation) (Quotation, error){
		"issue":    func(q Quotation) (Quotation, error) { return q.Issue("2031-03-03", noon, "l") },
		"accept":   func(q Quotation) (Quotation, error) { return q.Accept("B", "2031-04-02", noon) },
		"decline":  func(q Quotation) (Quotation, error) { return q.Decline("B", "dear", "2031-04-02", noon) },
		"withdraw": func(q Quotation) (Quotation, error) { return q.Withdraw("E", "", noon) },
	}
	allowed := map[State]map[string]State{
		Draft:  {"issue": Issued, "withdraw": Withdrawn},
		Issued: {"accept": Accepted, "decline": Declined, "withdraw": Withdrawn},
	}
	for _, s := range []State{Draft, Issued, Accepted, Declined, Expired, Superseded, Withdrawn} {
		for name, step := range steps {
			q := draft(t, 1)
			q.State = s
			got, err := step(q)
			if want, ok := allowed[s][name]; ok {
				if err != nil || got.State != want {
					t.Errorf("%s when %s: %s, %v; want %s", name, s, got.State, err, want)
				}
			} else if f := fault.Of(err); f == nil || f.Kind != fault.Conflict || got.State != s {
				t.Errorf("%s when %s: %s, %v", name, s, got.State, err)
			}
		}
		q := draft(t, 1)
		q.State = s
		if got := q.Supersede("Q-1001-B", noon).State; s == Issued && got != Superseded || s != Issued && got != s {
			t.Errorf("superseded when %s: %s", s, got)
		}
	}
}

func TestValidity(t *testing.T) {
	q, err := draft(t, 1).Issue("2031-03-03", noon, "l")
	if err != nil || q.Frozen == "" {
		t.Fatal(err)
	}
	if q.On("2031-04-02") != Issued || q.On("2031-04-03") != Expired {
		t.Errorf("the last day is %s, the day after %s", q.On("2031-04-02"), q.On("2031-04-03"))
	}
	_, err = q.Accept("B", "2031-04-03", noon)
	code(t, err, "quotation_expired")
	_, err = draft(t, 1).Issue("2031-03-03", noon.Add(25*time.Hour), "l")
	code(t, err, "draft_stale")
	_, err = draft(t, 1).Issue("2031-03-03", noon, "other load")
	code(t, err, "draft_stale")
	_, err = draft(t, 1).Issue("2031-04-03", noon, "l")
	code(t, err, "valid_until")
	code(t, CheckValidity("soon", "2031-03-03"), "valid_until")
}

func TestNext(t *testing.T) {
	for r, want := range map[string]string{"": "A", "A": "B", "Y": "Z", "Z": "AA", "AZ": "BA", "ZZ": "AAA"} {
		if got := Next(r); got != want {
			t.Errorf("after %q comes %q, want %q", r, got, want)
		}
	}
}

func TestForClient(t *testing.T) {
	q := draft(t, 3)
	_ = q.Body.Lines[0].Ask(900, "E", "secret reason", noon)
	q.Body.Left = []string{"L-9"}
	for i := range q.Body.Lines[0].Alternatives {
		q.Body.Lines[0].Alternatives[i].Why = []offer.Why{{Name: "w"}}
	}
	p := q.ForClient()
	for _, o := range append([]offer.Option{p.Body.Lines[0].Choice}, p.Body.Lines[0].Alternatives...) {
		if o.Why != nil || o.CostTotal != 0 || o.UnitPrice == 0 {
			t.Errorf("the client sees %+v", o)
		}
	}
	if p.Body.Lines[0].Set != nil || p.Body.Left != nil || p.Body.Lines[0].UnitPrice != 900 {
		t.Errorf("the client sees %+v", p.Body.Lines[0])
	}
	if q.Body.Lines[0].Set == nil || q.Body.Lines[0].Choice.Why == nil {
		t.Error("the desk's own copy was changed")
	}
}

func TestOf(t *testing.T) {
	r := request.Line{ID: "L-1", Qty: 3, Requirement: part.Requirement{Colors: []string{"grey"}}, Facts: part.Facts{Digest: "d", VolumeMM3: 5}}
	l := Line{LineID: "L-1", Qty: 3, Requirement: part.Requirement{Colors: []string{"grey"}}, Digest: "d", Facts: r.Facts}
	if !l.Of(r) {
		t.Error("unchanged, but taken for changed")
	}
	for name, change := range map[string]func(r *request.Line){
		"quantity": func(r *request.Line) { r.Qty = 4 }, "colour": func(r *request.Line) { r.Requirement.Colors = []string{"black"} },
		"content": func(r *request.Line) { r.Facts.Digest = "e" }, "unit": func(r *request.Line) { r.Facts.VolumeMM3 = 6 }, "kernel": func(r *request.Line) { r.Facts.Kernel = 9 },
	} {
		c := r
		if change(&c); l.Of(c) {
			t.Errorf("%s changed, but not noticed", name)
		}
	}
}

func ExampleNext() {
	fmt.Println(Next("A"), Next("Z"))
	// Output: B AA
}
