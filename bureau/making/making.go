// Package making is the walk on the shop floor: travellers opened for accepted orders, what people report at machines and
// benches, builds, lots, and the way from a part to everything that went into it and back. Like bureau it holds no rule
// of its own (shopfloor/traveller, shopfloor/build, shopfloor/feedstock hold them), and declares what it needs.
//
// The truth is the trail: an event is one entry of it, in the same transaction as everything worked out from it: states for
// searching, the order's state, the touches a trace is answered from. Reporting takes the id the device gave; the
// same id again changes nothing and is no fault, so a phone may send until it is answered.
//
// Promises: an event is kept once however often it is sent, by several at the same time too (TestSentByMany); an order is in work
// from its first event and done with its last piece (TestOrderFollows); a failed build makes again what it lost and
// nothing else (TestFailedBuild); a quarantined lot names every part, order and client it went to, through blends
// (TestBadLot).
// Not here: pages (web), papers (paper), planning (shopfloor/schedule).
package making

import (
	"context"
	"encoding/json"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"

	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/purchase"
	"firstoff/shopfloor/traveller"
	"firstoff/trail"
)

// Records is the floor's memory; faults as those of bureau.Records.
type Records interface {
	InTx(ctx context.Context, do func(ctx context.Context) error) error
	Next(ctx context.Context, series string) (int64, error)
	Log(ctx context.Context, events ...trail.Event) error

	Order(ctx context.Context, id string) (order.Order, error)
	SaveOrder(ctx context.Context, o *order.Order) error
	Orders(ctx context.Context, states []string, offset, limit int) (found []order.Order, total int, err error)
	Request(ctx context.Context, id string) (request.Request, error)
	SaveRequest(ctx context.Context, r *request.Request) error
	Line(ctx context.Context, id string) (request.Line, error)
	ClientNames(ctx context.Context, ids []string) (map[string]string, error)
	OrdersWithoutTravellers(ctx context.Context, limit int) ([]order.Order, error)

	AddTraveller(ctx context.Context, t *traveller.Traveller) error
	SaveTraveller(ctx context.Context, t *traveller.Traveller) error
	Traveller(ctx context.Context, id string) (traveller.Traveller, error)
	// Travellers lists by promised date, soonest first; states empty means all.
	Travellers(ctx context.Context, states []string, offset, limit int) (found []traveller.Traveller, total int, err error)
	TravellersOf(ctx context.Context, orderID string) ([]traveller.Traveller, error)
	// TravellersToStop lists open travellers of cancelled orders.
	TravellersToStop(ctx context.Context) ([]traveller.Traveller, error)

	AddBuild(ctx context.Context, b *build.Build) error
	SaveBuild(ctx context.Context, b *build.Build) error
	Build(ctx context.Context, id string) (build.Build, error)
	Builds(ctx context.Context, states []string, limit int) ([]build.Build, error)

	AddPurchase(ctx context.Context, p *purchase.Purchase) error
	SavePurchase(ctx context.Context, p *purchase.Purchase) error
	Purchase(ctx context.Context, id string) (purchase.Purchase, error)
	// Purchases lists by the day they must be here, soonest first.
	Purchases(ctx context.Context, states []string, offset, limit int) (found []purchase.Purchase, total int, err error)

	AddLot(ctx context.Context, l *feedstock.Lot) error
	SaveLot(ctx context.Context, l *feedstock.Lot) error
	Lot(ctx context.Context, id string) (feedstock.Lot, error)
	Lots(ctx context.Context, states []string, like string, limit int) ([]feedstock.Lot, error)

	// Happened hands over the events "floor.…" about a record out of the trail, oldest first: Event.Is of each.
	Happened(ctx context.Context, about string, do func(event []byte) error) error
	// TakeID keeps an event's id from being taken again. Fault: Conflict "exists".
	TakeID(ctx context.Context, id, about string) error
	// ChangeTouches keeps what a trace is answered from.
	ChangeTouches(ctx context.Context, t traveller.Traveller, gone, come []traveller.Touch) error
	// Trace finds touches by "lot" (and what was blended of it), "piece", "machine", "build", "who", "traveller", "order", "client" or "file".
	Trace(ctx context.Context, what, of string, limit int) (found []traveller.Found, more bool, err error)
}

// Ports is what the floor stands on.
type Ports struct {
	Records   Records
	Clock     func() time.Time
	Catalogue func() *shop.Catalogue
	Log       *slog.Logger // nil = none
	Photos    Photos       // nil = none are kept
	// Hold says why pieces of an order may not leave the house, e.g. an open nonconformance; nil = nothing is ever held.
	Hold func(ctx context.Context, o order.Order, pieces []string) error
}

// Floor is the shop floor at work. Safe for concurrent use.
type Floor struct {
	p    Ports
	mu   sync.Mutex
	come map[string]come // by traveller: how far it had come at its last version
}

// New stands a floor on its ports. Fault: Internal "port_missing".
func New(p Ports) (*Floor, error) {
	if p.Records == nil || p.Clock == nil || p.Catalogue == nil {
		return nil, fault.New(fault.Internal, "port_missing", "making", "A floor needs records, a clock and a catalogue.")
	}
	if p.Log == nil {
		p.Log = slog.New(slog.DiscardHandler)
	}
	return &Floor{p: p, come: map[string]come{}}, nil
}

func (f *Floor) now() time.Time { return f.p.Clock().UTC().Truncate(time.Microsecond) }

// today is the present date in the shop's time zone.
func (f *Floor) today() (string, error) {
	c, err := calendar.Of(f.p.Catalogue())
	if err != nil {
		return "", fault.Because(err, fault.Internal, "calendar", "", "The shop's calendar cannot be read; check its time zone and shifts.")
	}
	return f.now().In(c.Location()).Format(time.DateOnly), nil
}

// rounds bounds how often a report is tried again because another one came in between.
const rounds = 12

// again runs do in a transaction until no other report is in between.
func (f *Floor) again(ctx context.Context, do func(ctx context.Context) error) error {
	var err error
	for range rounds {
		if err = f.p.Records.InTx(ctx, do); err == nil {
			return nil
		}
		if x := fault.Of(err); x.Code != "changed_meanwhile" && x.Code != "exists" {
			return err
		}
	}
	if fault.Of(err).Code == "exists" {
		return fault.New(fault.Conflict, "event_id_reused", fault.Of(err).Where, "Another event with this id is kept already; load the page again.")
	}
	return err
}

// log writes an event into the trail, whole, as its new value.
func (f *Floor) log(ctx context.Context, who, what, about, in, why string, event any) error {
	b, err := json.Marshal(event)
	if err != nil {
		return err
	}
	if who == "" {
		who = "floor"
	}
	return f.p.Records.Log(ctx, trail.Event{At: f.now(), Who: who, What: "floor." + what, About: about, In: in, Is: string(b), Why: why})
}

// happened reads the events about a record.
func happened[E any](ctx context.Context, r Records, about string) ([]E, error) {
	out := []E{}
	err := r.Happened(ctx, about, func(raw []byte) error {
		var e E
		if err := json.Unmarshal(raw, &e); err != nil {
			return fault.Because(err, fault.Internal, "record_damaged", about, "An event in the trail cannot be read any more; run the doctor and restore from a backup.")
		}
		out = append(out, e)
		return nil
	})
	return out, err
}

// latest is the furthest a device's clock may be ahead; what says it happened later happened now.
const latest = time.Minute

// moment makes a device's time one that can be kept: not in the future, not before anything could have been.
func (f *Floor) moment(at time.Time) time.Time {
	now := f.now()
	if at.IsZero() || at.After(now.Add(latest)) || now.Sub(at) > 31*24*time.Hour {
		return now
	}
	return at.UTC().Truncate(time.Microsecond)
}

// tidy makes a person's text fit to be kept on one record: valid UTF-8, no control characters but line breaks.
func tidy(s string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD")))
}

func (f *Floor) number(ctx context.Context, series string) (string, error) {
	n, err := f.p.Records.Next(ctx, series)
	return series + "-" + strconv.FormatInt(n, 10), err
}
