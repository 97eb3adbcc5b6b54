package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"firstoff/bureau"
	"firstoff/bureau/books"
	"firstoff/calibrate"
	"firstoff/desk/price"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/shop"
)

// BookSteps are the use cases that look back; *books.Books is the implementation.
type BookSteps interface {
	Ledger(ctx context.Context, from, to string) (books.Ledger, error)
	Propose(ctx context.Context) (books.Proposal, error)
	Adopt(ctx context.Context, who, why string, keys []string) (books.Version, error)
	TakeBack(ctx context.Context, who, why, to string) (books.Version, error)
	Versions(ctx context.Context) ([]books.Version, error)
}

func (k *desk) bookRoutes(on func(string, func(http.ResponseWriter, *http.Request) error)) {
	on("GET /books", k.ledger)
	on("GET /books.csv", k.ledgerTable)
	on("GET /books.xlsx", k.ledgerTable)
	on("GET /accuracy", k.accuracy)
	on("POST /accuracy", k.adopt)
	on("POST /accuracy/back", k.takeBackCoefficients)
	on("GET /make-or-buy", k.makeOrBuy)
}

// span reads the days a page is about; without them the last ninety.
func (k *desk) span(r *http.Request) (from, to string, err error) {
	today := k.Clock().In(k.zone())
	from, to = r.FormValue("from"), r.FormValue("to")
	if to == "" {
		to = today.Format(time.DateOnly)
	}
	if from == "" {
		from = today.AddDate(0, 0, -89).Format(time.DateOnly)
	}
	a, e1 := time.Parse(time.DateOnly, from)
	z, e2 := time.Parse(time.DateOnly, to)
	if e1 != nil || e2 != nil || z.Before(a) {
		return "", "", fault.New(fault.Invalid, "date_form", "from, to", "Write both days as year-month-day, the first before the last.")
	}
	return from, to, nil
}

func (k *desk) ledger(w http.ResponseWriter, r *http.Request) error {
	from, to, err := k.span(r)
	if err != nil {
		return err
	}
	l, err := k.Books.Ledger(r.Context(), from, to)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, ledgerPage(k.frame(r, "The books", "books"), l))
	return nil
}

func (k *desk) ledgerTable(w http.ResponseWriter, r *http.Request) error {
	from, to, err := k.span(r)
	if err != nil {
		return err
	}
	digits := money.Digits(k.Catalogue().Firm.Currency)
	stamp := k.stamp()
	return export(k, w, r, "order client state accepted:t net:m estimated_cost:m actual_cost:m estimated_margin_pct:n actual_margin_pct:n estimated_machine_h:n actual_machine_h:n measured",
		func(bureau.Filter) (bureau.Listing[books.Margin], error) {
			l, err := k.Books.Ledger(r.Context(), from, to)
			return whole(l.Orders, err)
		},
		func(m books.Margin) [][]string {
			return [][]string{{m.OrderID, m.Client, string(m.State), stamp(m.Accepted), money.Decimal(m.Net, digits), money.Decimal(m.Estimated, digits), money.Decimal(m.Actual, digits),
				fmt.Sprintf("%.1f", books.Pct(m.Net, m.Estimated)), fmt.Sprintf("%.1f", books.Pct(m.Net, m.Actual)), fmt.Sprintf("%.2f", m.EstimatedH), fmt.Sprintf("%.2f", m.ActualH), strconv.FormatBool(m.Measured)}}
		})
}

func (k *desk) accuracy(w http.ResponseWriter, r *http.Request) error {
	p, err := k.Books.Propose(r.Context())
	if err != nil {
		return err
	}
	vs, err := k.Books.Versions(r.Context())
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, accuracyPage(k.frame(r, "Accuracy of the estimates", "books"), p, vs))
	return nil
}

func (k *desk) adopt(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	if len(r.Form["key"]) == 0 {
		return fault.New(fault.Invalid, "nothing_to_adopt", "key", "Choose what is to be adopted.")
	}
	if _, err := k.Books.Adopt(r.Context(), who(r), strings.TrimSpace(r.FormValue("why")), r.Form["key"]); err != nil {
		return err
	}
	return seeOther(w, r, "/accuracy")
}

func (k *desk) takeBackCoefficients(w http.ResponseWriter, r *http.Request) error {
	if _, err := k.Books.TakeBack(r.Context(), who(r), strings.TrimSpace(r.FormValue("why")), r.FormValue("to")); err != nil {
		return err
	}
	return seeOther(w, r, "/accuracy")
}

// residuals plots ln(actual/estimate) of one machine, material and layer over its builds.
type erred struct{ x, y float64 }

func residuals(p books.Proposal, key calibrate.Key) (dots []erred, limit float64) {
	var es []float64
	cur := p.Current[key]
	for _, a := range p.Actuals {
		if a.Key != key || a.Aborted {
			continue
		}
		if est := a.Estimated(cur.Factors); est > 0 {
			es = append(es, math.Log(a.ActualH/est))
		}
	}
	limit = 0.1
	for _, e := range es {
		limit = max(limit, math.Abs(e))
	}
	limit = min(limit, 1)
	for i, e := range es {
		x := 0.5
		if len(es) > 1 {
			x = float64(i) / float64(len(es)-1)
		}
		dots = append(dots, erred{30 + 560*x, 60 - 50*max(-1, min(1, e/limit))})
	}
	return dots, limit
}

// plotted are the keys with enough builds for a set, in order; tooFew the others that were built at all.
func plotted(p books.Proposal) []calibrate.Key {
	var out []calibrate.Key
	for _, s := range p.Sets {
		out = append(out, s.Key)
	}
	return out
}

func tooFew(p books.Proposal) []calibrate.Key {
	var out []calibrate.Key
	for _, a := range p.Actuals {
		if _, ok := setOf(p, a.Key); !ok && !a.Aborted && !slices.Contains(out, a.Key) {
			out = append(out, a.Key)
		}
	}
	slices.SortFunc(out, calibrate.Key.Compare)
	return out
}

func watched(p books.Proposal, key calibrate.Key) (calibrate.Drift, bool) {
	for _, w := range p.Drift {
		if w.Key == key {
			return w.Watch, true
		}
	}
	return calibrate.Drift{}, false
}

func setOf(p books.Proposal, key calibrate.Key) (calibrate.Set, bool) {
	for _, s := range p.Sets {
		if s.Key == key {
			return s, true
		}
	}
	return calibrate.Set{}, false
}

// buying is the question whether to order parts or own a machine.
type buying struct {
	machine                                 string
	price, perBuild, buildH, partsYear      float64
	labourMin, labourH, material, lifeYears float64
	maint, hoursYear, equipment             float64
	done                                    bool
	own                                     price.OwningCost
	ownYear, buyYear                        float64 // money of a year
	atDemand                                float64 // money a part when owned, at the demand
	breakEven                               float64 // parts a year
	capacity                                float64
	table                                   []swing
	curve                                   []point
	most                                    float64
}

type swing struct {
	what      string
	low, high float64 // break-even with the input a fifth lower and higher
}

type point struct{ n, own, buy float64 }

// ownAt is the cost of a year of n parts on a machine of one's own.
func (b buying) ownAt(n float64) float64 {
	machines := math.Max(1, math.Ceil(n/b.capacity-1e-9))
	return machines*(b.equipment/b.lifeYears+b.maint) + n*(b.labourH*b.labourMin/60/b.perBuild+b.material)
}

// even is the demand from which owning is cheaper; infinite when it never is. Within one machine's capacity it is exact.
func (b buying) even() float64 {
	fixed, gain := b.equipment/b.lifeYears+b.maint, b.price-b.labourH*b.labourMin/60/b.perBuild-b.material
	if gain <= 0 {
		return math.Inf(1)
	}
	n := fixed / gain
	if n > b.capacity {
		return math.Inf(1)
	}
	return n
}

func (k *desk) makeOrBuy(w http.ResponseWriter, r *http.Request) error {
	cat := k.Catalogue()
	b := buying{machine: r.FormValue("machine"), perBuild: 10, buildH: 8, partsYear: 500, labourMin: 30, price: 60, material: 5, lifeYears: 7, hoursYear: 6000}
	unit := math.Pow10(money.Digits(cat.Firm.Currency))
	b.labourH = float64(cat.Rates.OperatorPerH) / unit
	var m *shop.Machine
	if m = cat.Machine(b.machine); m == nil && len(cat.Machines) > 0 {
		m = &cat.Machines[0]
		b.machine = m.ID
	}
	if m != nil {
		b.equipment = float64(m.Capital.Price-m.Capital.Residual) / unit
		b.maint, b.lifeYears = float64(m.Capital.MaintPerYear)/unit, m.Capital.LifeYears
		if h := m.Capital.HoursPerYear * m.Capital.UtilPct / 100; h > 0 {
			b.hoursYear = h
		}
	}
	for field, into := range map[string]*float64{"price": &b.price, "per_build": &b.perBuild, "build_h": &b.buildH, "parts_year": &b.partsYear, "labour_min": &b.labourMin, "labour_h": &b.labourH,
		"material": &b.material, "life": &b.lifeYears, "maint": &b.maint, "hours_year": &b.hoursYear, "equipment": &b.equipment} {
		if r.FormValue(field) == "" {
			continue
		}
		v, err := number(r, field)
		if err != nil {
			return err
		}
		if v < 0 {
			return fault.New(fault.Invalid, "number_form", field, "This cannot be negative.")
		}
		*into = v
	}
	if b.perBuild <= 0 || b.buildH <= 0 || b.lifeYears <= 0 || b.hoursYear <= 0 || b.partsYear <= 0 {
		return fault.New(fault.Invalid, "number_form", "", "Parts a build, hours, years and parts a year must be more than nothing.")
	}
	b.answer()
	k.show(w, r, http.StatusOK, makeOrBuyPage(k.frame(r, "Make or buy", "books"), b))
	return nil
}

func (b *buying) answer() {
	o := price.Owning{PerBuild: b.perBuild, BuildH: b.buildH, HoursPerYear: b.hoursYear, Equipment: b.equipment, LifeYears: b.lifeYears, MaintPerYear: b.maint, LabourPerH: b.labourH, LabourMin: b.labourMin, Material: b.material}
	b.own = o.Cost()
	b.capacity = b.own.PartsPerYear
	b.ownYear, b.buyYear = b.ownAt(b.partsYear), b.price*b.partsYear
	b.atDemand = b.ownYear / b.partsYear
	b.breakEven = b.even()
	for _, x := range []struct {
		what string
		of   func(*buying) *float64
	}{{"price of a bought part", func(b *buying) *float64 { return &b.price }}, {"price of the machine", func(b *buying) *float64 { return &b.equipment }}, {"years it lasts", func(b *buying) *float64 { return &b.lifeYears }},
		{"maintenance", func(b *buying) *float64 { return &b.maint }}, {"hands a build", func(b *buying) *float64 { return &b.labourMin }}, {"material a part", func(b *buying) *float64 { return &b.material }}, {"parts a build", func(b *buying) *float64 { return &b.perBuild }}} {
		at := func(f float64) float64 {
			c := *b
			*x.of(&c) *= f
			c.capacity = c.perBuild / c.buildH * c.hoursYear
			return c.even()
		}
		b.table = append(b.table, swing{x.what, at(0.8), at(1.2)})
	}
	b.most = math.Max(2*b.partsYear, 10)
	if !math.IsInf(b.breakEven, 0) {
		b.most = math.Max(b.most, 1.5*b.breakEven)
	}
	for i := 0; i <= 60; i++ {
		n := b.most * float64(i) / 60
		b.curve = append(b.curve, point{n, b.ownAt(n), b.price * n})
	}
	b.done = true
}

// line is a curve as SVG points on a field of 560 × 220.
func (b buying) line(own bool) string {
	top := 0.0
	for _, p := range b.curve {
		top = math.Max(top, math.Max(p.own, p.buy))
	}
	var s strings.Builder
	for _, p := range b.curve {
		v := p.buy
		if own {
			v = p.own
		}
		fmt.Fprintf(&s, "%.1f,%.1f ", 60+560*p.n/b.most, 230-210*v/math.Max(top, 1e-9))
	}
	return s.String()
}

func parts(n float64) string {
	if math.IsInf(n, 0) {
		return "never"
	}
	return strconv.FormatFloat(math.Ceil(n), 'f', 0, 64)
}
