// Package books looks back: what was estimated against what it took, what a set of coefficients would have changed, and what the owner
// wants to know of orders, machines, promises and quotations. Like bureau it holds no rule of its own (calibrate, ledger hold them).
//
// A version of the coefficients is adopted by a person who has seen what it would have done to the last quotations; it can be taken back
// to any earlier one, and every answer of the desk names the one it was computed with.
//
// Promises: actuals come of builds that ended well, each with the estimate of exactly the pieces that were in it (TestActuals); adopting
// changes the next estimate and names itself in it, and taking back restores the one before (TestAdopt).
package books

import (
	"cmp"
	"context"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"sync/atomic"
	"time"

	"firstoff/bureau/making"
	"firstoff/calibrate"
	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
	"firstoff/trail"
)

// Version is a set of coefficients as adopted. ID is a readable number, e.g. "V-1001".
type Version struct {
	ID       string          `json:"id"`
	Sets     []calibrate.Set `json:"sets"`
	By       string          `json:"by"`
	At       time.Time       `json:"at"`
	Why      string          `json:"why,omitempty"`
	Previous string          `json:"previous,omitempty"` // the version in force before; "" = the catalogue's own figures
	Replayed Summary         `json:"replayed"`
	InForce  bool            `json:"in_force"`
	Version  int             `json:"version"`
}

// Summary is what a version would have done to the last quotations.
type Summary struct {
	Quotations int     `json:"quotations"`
	Touched    int     `json:"touched"`
	MeanPct    float64 `json:"mean_pct"`
	WorstPct   float64 `json:"worst_pct"`
}

// Records is what the books are read from; faults as those of bureau.Records.
type Records interface {
	InTx(ctx context.Context, do func(ctx context.Context) error) error
	Next(ctx context.Context, series string) (int64, error)
	Log(ctx context.Context, events ...trail.Event) error
	Happened(ctx context.Context, about string, do func(event []byte) error) error

	Order(ctx context.Context, id string) (order.Order, error)
	Orders(ctx context.Context, states []string, offset, limit int) (found []order.Order, total int, err error)
	Quotations(ctx context.Context, requestID string, states []string, offset, limit int) (found []quote.Quotation, total int, err error)
	Traveller(ctx context.Context, id string) (traveller.Traveller, error)
	TravellersOf(ctx context.Context, orderID string) ([]traveller.Traveller, error)
	Builds(ctx context.Context, states []string, limit int) ([]build.Build, error)
	Lots(ctx context.Context, states []string, like string, limit int) ([]feedstock.Lot, error)
	ClientNames(ctx context.Context, ids []string) (map[string]string, error)

	AddVersion(ctx context.Context, v *Version) error
	SaveVersion(ctx context.Context, v *Version) error
	Version(ctx context.Context, id string) (Version, error)
	// Versions lists newest first.
	Versions(ctx context.Context) ([]Version, error)
}

// Floor is what the books ask of the shop floor.
type Floor interface {
	Build(ctx context.Context, id string) (making.BuildCard, error)
	Card(ctx context.Context, id string) (making.Card, error)
}

// Ports is what the books stand on.
type Ports struct {
	Records   Records
	Floor     Floor
	Clock     func() time.Time
	Catalogue func() *shop.Catalogue
}

// Books are open. Safe for concurrent use.
type Books struct {
	p   Ports
	now atomic.Pointer[estimate.Coefficients]
}

// New opens the books. Call Load before estimates are made.
func New(p Ports) (*Books, error) {
	if p.Records == nil || p.Floor == nil || p.Clock == nil || p.Catalogue == nil {
		return nil, fault.New(fault.Internal, "port_missing", "books", "The books need records, a floor, a clock and a catalogue.")
	}
	return &Books{p: p}, nil
}

// Coefficients are those in force; nil: the catalogue's own figures. It fits bureau.Ports.Coefficients.
func (b *Books) Coefficients() *estimate.Coefficients { return b.now.Load() }

// Load reads the version in force out of the records.
func (b *Books) Load(ctx context.Context) error {
	all, err := b.p.Records.Versions(ctx)
	if err != nil {
		return err
	}
	b.now.Store(nil)
	for _, v := range all {
		if v.InForce {
			b.now.Store(coefficients(v))
		}
	}
	return nil
}

// coefficients of a version, for the estimates.
func coefficients(v Version) *estimate.Coefficients {
	c := &estimate.Coefficients{ID: v.ID}
	for _, s := range v.Sets {
		f := s.Factors
		f.ID = v.ID
		c.Known = append(c.Known, estimate.Keyed{Machine: s.Key.Machine, Material: s.Key.Material, LayerMM: float64(s.Key.LayerUM) / 1000, Factors: f})
	}
	return c
}

// ── Actuals ──────────────────────────────────────────────────────────────────────────────────────

// Actuals are the builds that ended, oldest first, with the estimate of what was in them. A failed build is there as aborted.
func (b *Books) Actuals(ctx context.Context) ([]calibrate.Build, error) {
	ended, err := b.p.Records.Builds(ctx, []string{string(build.Done), string(build.Failed)}, 5000)
	if err != nil {
		return nil, err
	}
	grams, err := b.weighed(ctx)
	if err != nil {
		return nil, err
	}
	orders := map[string]order.Order{}
	var out []calibrate.Build
	for _, x := range ended {
		card, err := b.p.Floor.Build(ctx, x.ID)
		if err != nil {
			return nil, err
		}
		c, ok, err := b.estimated(ctx, card.Build, orders)
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		c.At, c.ActualH, c.ActualG, c.Aborted = card.State.Ended, card.State.ActiveS/3600, grams[x.ID], card.State.Word == build.Failed
		if c.ActualH <= 0 {
			continue // started and ended in one report: nobody knows how long it took
		}
		out = append(out, c)
	}
	slices.SortFunc(out, func(x, y calibrate.Build) int { return cmp.Or(x.At.Compare(y.At), cmp.Compare(x.ID, y.ID)) })
	return out, nil
}

// estimated is the estimate of a build from the options its pieces were ordered with (estimate.Together).
func (b *Books) estimated(ctx context.Context, x build.Build, orders map[string]order.Order) (calibrate.Build, bool, error) {
	c := calibrate.Build{ID: x.ID, Key: calibrate.Key{Machine: x.Machine, Material: x.Material, LayerUM: int(math.Round(x.LayerMM * 1000))}}
	m := b.p.Catalogue().Machine(x.Machine)
	var in []estimate.Batch
	for _, s := range x.Slots {
		t, err := b.p.Records.Traveller(ctx, s.Traveller)
		if err != nil {
			return c, false, err
		}
		o, ok := orders[t.OrderID]
		if !ok {
			if o, err = b.p.Records.Order(ctx, t.OrderID); err != nil {
				return c, false, err
			}
			orders[t.OrderID] = o
		}
		i := slices.IndexFunc(o.Lines, func(l order.Line) bool { return l.Position == t.Position })
		if i < 0 || len(o.Lines[i].Pieces) == 0 {
			return c, false, nil
		}
		opt := o.Lines[i].Option
		if opt.Terms == (estimate.Terms{}) || opt.Machine != x.Machine {
			return c, false, nil // made elsewhere than quoted, or quoted before terms were kept
		}
		in = append(in, estimate.Batch{Terms: opt.Terms, Share: float64(len(s.Pieces)) / float64(len(o.Lines[i].Pieces)), Builds: opt.Builds})
		c.Grams += (opt.PartG + opt.SupportG) * float64(len(s.Pieces))
	}
	t := estimate.Together(in, m != nil && m.PBF != nil)
	c.RoadsH, c.LayersH, c.OtherH = t.RoadsS/3600, t.LayersS/3600, t.OtherS/3600
	return c, c.RoadsH+c.LayersH > 0, nil
}

// weighed is what the scales said went into each build.
func (b *Books) weighed(ctx context.Context) (map[string]float64, error) {
	lots, err := b.p.Records.Lots(ctx, nil, "", 500)
	if err != nil {
		return nil, err
	}
	out := map[string]float64{}
	for _, l := range lots {
		err := b.p.Records.Happened(ctx, l.ID, func(raw []byte) error {
			var e feedstock.Event
			if json.Unmarshal(raw, &e) == nil && e.Lot == l.ID && e.Kind == feedstock.Use && e.For != "" {
				out[e.For] += e.G
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Proposal is the next version, with what it would change.
type Proposal struct {
	Builds   int                             `json:"builds"` // that count
	Left     int                             `json:"left"`   // that failed
	Sets     []calibrate.Set                 `json:"sets"`
	Replayed calibrate.Replayed              `json:"replayed"`
	Drift    []Watched                       `json:"drift"`
	InForce  string                          `json:"in_force,omitempty"`
	Actuals  []calibrate.Build               `json:"-"`
	Current  map[calibrate.Key]calibrate.Set `json:"-"`
}

// Watched is the drift watch of one machine, material and layer.
type Watched struct {
	Key   calibrate.Key   `json:"key"`
	Watch calibrate.Drift `json:"watch"`
}

// Propose fits the next coefficients to the actuals and plays the last hundred quotations with them.
func (b *Books) Propose(ctx context.Context) (Proposal, error) {
	var p Proposal
	var err error
	if p.Actuals, err = b.Actuals(ctx); err != nil {
		return p, err
	}
	current := map[calibrate.Key]calibrate.Set{}
	all, err := b.p.Records.Versions(ctx)
	if err != nil {
		return p, err
	}
	for _, v := range all {
		if v.InForce {
			p.InForce = v.ID
			for _, s := range v.Sets {
				current[s.Key] = s
			}
		}
	}
	p.Current = current
	for _, a := range p.Actuals {
		if a.Aborted {
			p.Left++
		} else {
			p.Builds++
		}
	}
	if p.Sets, err = calibrate.Fit(p.Actuals, current, calibrate.Options{}); err != nil {
		return p, err
	}
	p.Drift = drift(p.Actuals, current)
	quoted, err := b.quoted(ctx, p.Actuals)
	if err != nil {
		return p, err
	}
	p.Replayed = calibrate.Replay(quoted, p.Sets)
	return p, nil
}

// drift watches each key's errors under the factors in force, since they came into force.
func drift(actuals []calibrate.Build, current map[calibrate.Key]calibrate.Set) []Watched {
	by := map[calibrate.Key]*Watched{}
	var keys []calibrate.Key
	for _, a := range actuals {
		s := current[a.Key]
		if a.Aborted || !a.At.After(s.Through) {
			continue
		}
		w := by[a.Key]
		if w == nil {
			spread := s.Factors.SDPct / 100
			if spread <= 0 {
				spread = 0.1 // common practice before any actuals
			}
			w = &Watched{a.Key, calibrate.Drift{Spread: spread}}
			by[a.Key], keys = w, append(keys, a.Key)
		}
		if est := a.Estimated(s.Factors); est > 0 {
			w.Watch = w.Watch.Next(math.Log(a.ActualH / est))
		}
	}
	slices.SortFunc(keys, calibrate.Key.Compare)
	var out []Watched
	for _, k := range keys {
		out = append(out, *by[k])
	}
	return out
}

// quoted are the lines of the last hundred quotations that were sent out.
func (b *Books) quoted(ctx context.Context, actuals []calibrate.Build) ([]calibrate.Quoted, error) {
	qs, _, err := b.p.Records.Quotations(ctx, "", []string{string(quote.Issued), string(quote.Accepted), string(quote.Declined), string(quote.Expired)}, 0, 100)
	if err != nil {
		return nil, err
	}
	var out []calibrate.Quoted
	for _, q := range qs {
		for _, l := range q.Body.Lines {
			o := l.Choice
			if o.Machine == "" || o.Terms == (estimate.Terms{}) || o.CostTotal <= 0 {
				continue
			}
			h := calibrate.Build{ID: q.ID + "/" + l.LineID, Key: calibrate.Key{Machine: o.Machine, Material: o.Material, LayerUM: int(math.Round(o.LayerMM * 1000))},
				RoadsH: o.Terms.RoadsS / 3600, LayersH: o.Terms.LayersS / 3600, OtherH: o.Terms.OtherS / 3600}
			x := calibrate.Quoted{Quotation: q.ID, Line: l.LineID, Build: h, Grams: (o.PartG + o.SupportG) * float64(l.Qty), Price: l.Total}
			if c := b.now.Load(); c != nil && o.Set == c.ID {
				x.Factors = c.Of(o.Machine, o.Material, o.LayerMM)
			}
			// What an hour and a kilogram changed the price by: their cost, and the margin on it.
			up := float64(o.Total) / float64(o.CostTotal)
			if v, a := block(o, "machine"); v > 0 {
				x.PerHour = a.Times(up / v)
			}
			if v, a := block(o, "material"); v > 0 {
				x.PerKilo = a.Times(up / (v / 1000))
			}
			out = append(out, x)
		}
	}
	return out, nil
}

// block is the quantity and the cost of one block of an option's price.
func block(o offer.Option, name string) (value float64, cost money.Amount) {
	for _, root := range o.Why {
		if root.Name != "price" {
			continue
		}
		for _, x := range root.Parts {
			if x.Name == name {
				cost += x.Amount
				for _, i := range x.Parts {
					value += i.Value
				}
			}
		}
	}
	return value, cost
}

// Adopt puts the proposed sets of these keys in force, together with those already in force for other keys; none named: all proposed.
// Faults: Conflict "nothing_to_adopt".
func (b *Books) Adopt(ctx context.Context, who, why string, keys []string) (Version, error) {
	p, err := b.Propose(ctx)
	if err != nil {
		return Version{}, err
	}
	v := Version{By: who, At: b.p.Clock().UTC().Truncate(time.Microsecond), Why: why, Previous: p.InForce, InForce: true}
	took := 0
	for k, s := range p.Current {
		if !slices.ContainsFunc(p.Sets, func(n calibrate.Set) bool { return n.Key == k && chosen(k, keys) }) {
			v.Sets = append(v.Sets, s)
		}
	}
	for _, s := range p.Sets {
		if chosen(s.Key, keys) {
			v.Sets = append(v.Sets, s)
			took++
		}
	}
	if took == 0 {
		return v, fault.New(fault.Conflict, "nothing_to_adopt", "coefficients", "There is nothing to adopt: a machine, material and layer needs three builds that ended well.")
	}
	slices.SortFunc(v.Sets, func(x, y calibrate.Set) int { return x.Key.Compare(y.Key) })
	v.Replayed = Summary{Quotations: p.Replayed.Quotations, Touched: p.Replayed.Touched, MeanPct: p.Replayed.MeanPct, WorstPct: p.Replayed.WorstPct}
	return v, b.put(ctx, who, "coefficients.adopted", &v)
}

func chosen(k calibrate.Key, keys []string) bool {
	return len(keys) == 0 || slices.Contains(keys, k.String())
}

// TakeBack puts an earlier version in force again; "" = the catalogue's own figures. Fault: Conflict "in_force_already".
func (b *Books) TakeBack(ctx context.Context, who, why, to string) (Version, error) {
	v := Version{By: who, At: b.p.Clock().UTC().Truncate(time.Microsecond), Why: why, InForce: true}
	all, err := b.p.Records.Versions(ctx)
	if err != nil {
		return v, err
	}
	for _, x := range all {
		if x.InForce {
			v.Previous = x.ID
		}
		if x.ID == to {
			v.Sets = x.Sets
		}
	}
	if v.Previous == to {
		return v, fault.New(fault.Conflict, "in_force_already", to, "This version is in force already.")
	}
	if to != "" && v.Sets == nil {
		return v, fault.New(fault.NotFound, "not_found", to, "There is no version %s.", to)
	}
	return v, b.put(ctx, who, "coefficients.taken_back", &v)
}

// put keeps a version as the one in force.
func (b *Books) put(ctx context.Context, who, what string, v *Version) error {
	err := b.p.Records.InTx(ctx, func(ctx context.Context) error {
		all, err := b.p.Records.Versions(ctx)
		if err != nil {
			return err
		}
		for _, x := range all {
			if x.InForce {
				x.InForce = false
				if err := b.p.Records.SaveVersion(ctx, &x); err != nil {
					return err
				}
			}
		}
		n, err := b.p.Records.Next(ctx, "V")
		if err != nil {
			return err
		}
		v.ID = "V-" + strconv.FormatInt(n, 10)
		if err := b.p.Records.AddVersion(ctx, v); err != nil {
			return err
		}
		return b.p.Records.Log(ctx, trail.Event{At: v.At, Who: who, What: what, About: v.ID, In: "coefficients", Was: v.Previous, Is: v.ID, Why: v.Why})
	})
	if err == nil {
		b.now.Store(coefficients(*v))
	}
	return err
}

// Versions lists newest first.
func (b *Books) Versions(ctx context.Context) ([]Version, error) { return b.p.Records.Versions(ctx) }

func (b *Books) calendar() (*calendar.Calendar, error) { return calendar.Of(b.p.Catalogue()) }
