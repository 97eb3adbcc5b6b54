// Package proving is the walk of inspection: a sheet for each traveller with what is measured and what it said, the instruments, parts that
// do not conform and what becomes of them, and the certificate that goes with the goods. Like bureau it holds no rule of its own
// (quality/inspect, quality/sampling, quality/certificate hold them).
//
// The truth of what was measured is the trail; an event sent twice is kept once.
//
// Promises: an open nonconformance keeps its parts in the house (TestHeld); a disposition to scrap or reprint takes the pieces out of
// their traveller (TestDispose); a certificate names the order, the file, builds, lots and results behind every piece delivered, and a
// paper with one word changed is told from it (TestCertify).
package proving

import (
	"context"
	"encoding/json"
	"log/slog"
	"slices"
	"strconv"
	"strings"
	"time"

	"firstoff/bureau/making"
	"firstoff/fault"
	"firstoff/part"
	"firstoff/quality/certificate"
	"firstoff/quality/inspect"
	"firstoff/quality/sampling"
	"firstoff/shop"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
	"firstoff/trail"
)

// Instrument is one in the register.
type Instrument struct {
	inspect.Instrument
	Note    string `json:"note,omitempty"`
	Version int    `json:"version"`
}

// Nonconformance is a record with what it belongs to.
type Nonconformance struct {
	ID        string                 `json:"id"` // "N-1001"
	OrderID   string                 `json:"order_id"`
	Traveller string                 `json:"traveller"`
	Sheet     string                 `json:"sheet,omitempty"`
	Is        inspect.Nonconformance `json:"is"`
	Made      bool                   `json:"acted,omitempty"` // its pieces were taken out of their traveller
	Version   int                    `json:"version"`
}

// Certificate is an issued certificate with what became of it.
type Certificate struct {
	ID      string             `json:"id"` // "K-1001"
	OrderID string             `json:"order_id"`
	Line    int                `json:"line"`
	Pieces  []string           `json:"pieces"`
	Record  certificate.Record `json:"record"`
	Version int                `json:"version"`
}

// Records is what inspection remembers; faults as those of bureau.Records.
type Records interface {
	InTx(ctx context.Context, do func(ctx context.Context) error) error
	Next(ctx context.Context, series string) (int64, error)
	Log(ctx context.Context, events ...trail.Event) error
	Happened(ctx context.Context, about string, do func(event []byte) error) error
	TakeID(ctx context.Context, id, about string) error

	Order(ctx context.Context, id string) (order.Order, error)
	Traveller(ctx context.Context, id string) (traveller.Traveller, error)
	TravellersOf(ctx context.Context, orderID string) ([]traveller.Traveller, error)
	Trace(ctx context.Context, what, of string, limit int) (found []traveller.Found, more bool, err error)
	ClientNames(ctx context.Context, ids []string) (map[string]string, error)

	AddSheet(ctx context.Context, s *inspect.Sheet) error
	SaveSheet(ctx context.Context, s *inspect.Sheet) error
	Sheet(ctx context.Context, id string) (inspect.Sheet, error)
	SheetsOf(ctx context.Context, orderID string) ([]inspect.Sheet, error)
	Sheets(ctx context.Context, states []string, offset, limit int) (found []inspect.Sheet, total int, err error)
	// Stream lists the sheets of like parts, oldest first.
	Stream(ctx context.Context, stream string) ([]inspect.Sheet, error)

	AddInstrument(ctx context.Context, i *Instrument) error
	SaveInstrument(ctx context.Context, i *Instrument) error
	Instrument(ctx context.Context, id string) (Instrument, error)
	Instruments(ctx context.Context) ([]Instrument, error)

	AddNonconformance(ctx context.Context, n *Nonconformance) error
	SaveNonconformance(ctx context.Context, n *Nonconformance) error
	Nonconformance(ctx context.Context, id string) (Nonconformance, error)
	NonconformancesOf(ctx context.Context, orderID string) ([]Nonconformance, error)
	Nonconformances(ctx context.Context, states []string, offset, limit int) (found []Nonconformance, total int, err error)

	AddScan(ctx context.Context, s *Scan) error
	Scan(ctx context.Context, id string) (Scan, error)
	ScansOf(ctx context.Context, orderID string) ([]Scan, error)

	AddCertificate(ctx context.Context, c *Certificate) error
	SaveCertificate(ctx context.Context, c *Certificate) error
	Certificate(ctx context.Context, id string) (Certificate, error)
	CertificatesOf(ctx context.Context, orderID string) ([]Certificate, error)
}

// Floor is what inspection asks of the shop floor.
type Floor interface {
	Report(ctx context.Context, e traveller.Event) (making.Card, error)
	Card(ctx context.Context, id string) (making.Card, error)
	Open(ctx context.Context) (int, error)
}

// Ports is what inspection stands on.
type Ports struct {
	Records   Records
	Floor     Floor
	Clock     func() time.Time
	Catalogue func() *shop.Catalogue
	// Facts gives what is known of the part of a request's line.
	Facts func(ctx context.Context, lineID string) (part.Facts, error)
	// Scanning and Blobs are for scans against the part as drawn; nil: none are compared.
	Scanning Scanning
	Blobs    Blobs
	Log      *slog.Logger
}

// House proves. Safe for concurrent use.
type House struct {
	p         Ports
	comparing chan struct{}
}

// New stands it on its ports. Fault: Internal "port_missing".
func New(p Ports) (*House, error) {
	if p.Records == nil || p.Floor == nil || p.Clock == nil || p.Catalogue == nil || p.Facts == nil {
		return nil, fault.New(fault.Internal, "port_missing", "proving", "Inspection needs records, a floor, a clock, a catalogue and facts.")
	}
	return &House{p, make(chan struct{}, 1)}, nil
}

func (h *House) now() time.Time { return h.p.Clock().UTC().Truncate(time.Microsecond) }

func (h *House) again(ctx context.Context, do func(ctx context.Context) error) error {
	var err error
	for range 12 {
		if err = h.p.Records.InTx(ctx, do); err == nil || fault.Of(err).Code != "changed_meanwhile" {
			return err
		}
	}
	return err
}

func (h *House) number(ctx context.Context, series string) (string, error) {
	n, err := h.p.Records.Next(ctx, series)
	return series + "-" + strconv.FormatInt(n, 10), err
}

func (h *House) log(ctx context.Context, who, what, about, in, why string, event any) error {
	b, err := json.Marshal(event)
	if err != nil {
		return err
	}
	if who == "" {
		who = "desk"
	}
	return h.p.Records.Log(ctx, trail.Event{At: h.now(), Who: who, What: "floor." + what, About: about, In: in, Is: string(b), Why: why})
}

func (h *House) events(ctx context.Context, id string) ([]inspect.Event, error) {
	out := []inspect.Event{}
	err := h.p.Records.Happened(ctx, id, func(raw []byte) error {
		var e inspect.Event
		if err := json.Unmarshal(raw, &e); err != nil {
			return fault.Because(err, fault.Internal, "record_damaged", id, "An event in the trail cannot be read any more; run the doctor and restore from a backup.")
		}
		if e.Sheet == id {
			out = append(out, e)
		}
		return nil
	})
	return out, err
}

// ── Sheets ───────────────────────────────────────────────────────────────────────────────────────

// SheetCard is a sheet with how it stands.
type SheetCard struct {
	Sheet    inspect.Sheet     `json:"sheet"`
	Standing inspect.Standing  `json:"standing"`
	Events   []inspect.Event   `json:"events"`
	Raised   []Nonconformance  `json:"raised"`
	Severity sampling.Severity `json:"severity"` // what the switching rules ask of this lot
	Why      string            `json:"why,omitempty"`
	// MayReduce says that the switching score allows reduced inspection, if production is steady and somebody wants it.
	MayReduce bool `json:"may_reduce,omitempty"`
}

// OpenSheet gives the sheet of a traveller, made when there is none yet.
func (h *House) OpenSheet(ctx context.Context, who, travellerID string) (inspect.Sheet, error) {
	var s inspect.Sheet
	err := h.again(ctx, func(ctx context.Context) error {
		t, err := h.p.Records.Traveller(ctx, travellerID)
		if err != nil {
			return err
		}
		have, err := h.p.Records.SheetsOf(ctx, t.OrderID)
		if err != nil {
			return err
		}
		for _, x := range have {
			if x.Traveller == travellerID {
				s = x
				return nil
			}
		}
		s = inspect.Sheet{Traveller: t.ID, OrderID: t.OrderID, LineID: t.LineID, Name: t.Name, Stream: string(t.Digest) + " " + t.Process + " " + t.Material, Pieces: t.Pieces, Made: h.now(), Word: inspect.NotPlanned}
		if s.ID, err = h.number(ctx, "I"); err != nil {
			return err
		}
		return h.p.Records.AddSheet(ctx, &s)
	})
	return s, err
}

// Sheet shows a sheet.
func (h *House) Sheet(ctx context.Context, id string) (SheetCard, error) {
	s, err := h.p.Records.Sheet(ctx, id)
	if err != nil {
		return SheetCard{}, err
	}
	c := SheetCard{Sheet: s}
	if c.Events, err = h.events(ctx, id); err != nil {
		return c, err
	}
	c.Standing = inspect.Fold(s, c.Events)
	all, err := h.p.Records.NonconformancesOf(ctx, s.OrderID)
	if err != nil {
		return c, err
	}
	for _, n := range all {
		if n.Traveller == s.Traveller {
			c.Raised = append(c.Raised, n)
		}
	}
	w, err := h.stands(ctx, s)
	c.Severity, c.Why = severity(w)
	c.MayReduce = w.MayReduce()
	return c, err
}

// stands follows the switching rules of ISO 2859-1 over the lots of like parts inspected before this one. A sheet on reduced inspection is
// somebody's word that production is steady; the first one on normal inspection after it ends that.
func (h *House) stands(ctx context.Context, s inspect.Sheet) (sampling.Switch, error) {
	before, err := h.p.Records.Stream(ctx, s.Stream)
	if err != nil {
		return sampling.Switch{}, err
	}
	var w sampling.Switch
	for _, x := range before {
		if x.ID == s.ID {
			break
		}
		if x.Word != inspect.LotAccepted && x.Word != inspect.LotRejected {
			continue
		}
		es, err := h.events(ctx, x.ID)
		if err != nil {
			return w, err
		}
		st := inspect.Fold(x, es)
		switch {
		case st.Severity == sampling.Reduced && w.MayReduce():
			w, _ = w.Reduce("production is steady, " + st.Planner)
		case st.Severity == sampling.Normal:
			w = w.Unsteady("normal inspection was chosen for " + x.ID)
		}
		next, err := w.Next(st.Lot())
		if err != nil {
			break // acceptance has stopped
		}
		w = next
	}
	return w, nil
}

// severity is what the switching rules ask of a sheet's lot.
func severity(w sampling.Switch) (sampling.Severity, string) {
	sev, ok := w.Severity()
	if !ok {
		return sampling.Tightened, "acceptance by sample has stopped: measure every piece, or record the corrective action"
	}
	return sev, w.Reason
}

// Sheets lists newest first.
func (h *House) Sheets(ctx context.Context, states []string, offset, limit int) ([]inspect.Sheet, int, error) {
	return h.p.Records.Sheets(ctx, states, offset, limit)
}

// Propose makes a first list of characteristics for a sheet from what its part's file shows, with a general tolerance class.
func (h *House) Propose(ctx context.Context, id, class string) ([]inspect.Characteristic, []string, error) {
	s, err := h.p.Records.Sheet(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	f, err := h.p.Facts(ctx, s.LineID)
	if err != nil {
		return nil, nil, err
	}
	d := f.Max.Sub(f.Min)
	var holes []inspect.Hole
	for _, x := range f.Holes {
		holes = append(holes, inspect.Hole{DiameterMM: x.DiameterMM, DepthMM: x.DepthMM, Through: x.Through})
	}
	return inspect.Propose([3]float64{d.X, d.Y, d.Z}, holes, class)
}

// Report keeps an event of a sheet, once. A value's uncertainty comes of its instrument; one that is not ready (overdue, out of range) is
// refused unless Event.Overdue says why it was used all the same.
// Faults: those of inspect.Admit and Instrument.Ready; NotFound "not_found" for an unknown instrument.
func (h *House) Report(ctx context.Context, e inspect.Event) (SheetCard, error) {
	e.Reason, e.Who, e.Overdue, e.Instrument = tidy(e.Reason), tidy(e.Who), tidy(e.Overdue), tidy(e.Instrument)
	e.Received = h.now()
	if e.At.IsZero() || e.At.After(e.Received) {
		e.At = e.Received
	}
	err := h.again(ctx, func(ctx context.Context) error {
		s, err := h.p.Records.Sheet(ctx, e.Sheet)
		if err != nil {
			return err
		}
		if e.Act == inspect.Measure && e.Instrument != "" {
			i, err := h.p.Records.Instrument(ctx, e.Instrument)
			if err != nil {
				return err
			}
			if err := i.Ready(e.Value, e.At); err != nil && e.Overdue == "" {
				return err
			}
			e.U = i.Standard(e.Value, inspect.Budget{})
		}
		if e.Act == inspect.Draw && e.Severity == sampling.Reduced {
			w, err := h.stands(ctx, s)
			if err != nil {
				return err
			}
			if w.State != sampling.OnReduced && !w.MayReduce() {
				return fault.New(fault.Conflict, "score_too_low", s.ID, "Reduced inspection needs a switching score of %d over lots of this part on normal inspection; it stands at %d.", sampling.EnoughScore, w.Score)
			}
		}
		before, err := h.events(ctx, s.ID)
		if err != nil {
			return err
		}
		st, fresh, err := inspect.Admit(s, before, e)
		if err != nil || !fresh {
			return err
		}
		if err := h.p.Records.TakeID(ctx, e.ID, s.ID); err != nil {
			return err
		}
		s.Word = st.Word
		if err := h.p.Records.SaveSheet(ctx, &s); err != nil {
			return err
		}
		return h.log(ctx, e.Who, "inspection."+string(e.Act), s.ID, s.OrderID, e.Reason, e)
	})
	if err != nil {
		return SheetCard{}, err
	}
	return h.Sheet(ctx, e.Sheet)
}

// ── Instruments ──────────────────────────────────────────────────────────────────────────────────

// Instruments lists the register.
func (h *House) Instruments(ctx context.Context) ([]Instrument, error) {
	return h.p.Records.Instruments(ctx)
}

// KeepInstrument adds an instrument or changes it. Faults: Invalid "instrument_incomplete".
func (h *House) KeepInstrument(ctx context.Context, who string, i Instrument) (Instrument, error) {
	i.ID, i.Name, i.Unit, i.Note = tidy(i.ID), tidy(i.Name), tidy(i.Unit), tidy(i.Note)
	if i.ID == "" || len(i.ID) > 60 || i.Name == "" || i.Unit == "" || i.U < 0 || i.UPer < 0 || i.Resolution < 0 || i.To <= i.From {
		return i, fault.New(fault.Invalid, "instrument_incomplete", i.ID, "An instrument needs a short id, a name, a unit, a range from low to high, and an uncertainty and step that are not negative.")
	}
	err := h.again(ctx, func(ctx context.Context) error {
		was, err := h.p.Records.Instrument(ctx, i.ID)
		switch {
		case err == nil:
			i.Version = was.Version
			err = h.p.Records.SaveInstrument(ctx, &i)
		case fault.KindOf(err) == fault.NotFound:
			err = h.p.Records.AddInstrument(ctx, &i)
		}
		if err != nil {
			return err
		}
		return h.log(ctx, who, "instrument", i.ID, "instruments", i.Note, i)
	})
	return i, err
}

// ── Nonconformances ──────────────────────────────────────────────────────────────────────────────

// Raise opens a record over pieces of one traveller. Faults: those of inspect.Nonconformance.Check; NotFound "piece_unknown".
func (h *House) Raise(ctx context.Context, travellerID, sheet string, n inspect.Nonconformance) (Nonconformance, error) {
	out := Nonconformance{Traveller: travellerID, Sheet: sheet}
	n.FoundBy, n.Found, n.Requirement, n.Where = tidy(n.FoundBy), tidy(n.Found), tidy(n.Requirement), tidy(n.Where)
	n.FoundAt = h.now()
	err := h.again(ctx, func(ctx context.Context) error {
		t, err := h.p.Records.Traveller(ctx, travellerID)
		if err != nil {
			return err
		}
		for _, p := range n.Pieces {
			if !slices.Contains(t.Pieces, p) {
				return fault.New(fault.NotFound, "piece_unknown", p, "Traveller %s has no piece %s.", t.ID, p)
			}
		}
		n.Part, n.Quantity = t.Name, max(n.Quantity, len(n.Pieces))
		if out.ID, err = h.number(ctx, "N"); err != nil {
			return err
		}
		n.Number, n.Lot = out.ID, t.ID
		if err := n.Check(); err != nil {
			return err
		}
		out.OrderID, out.Is = t.OrderID, n
		if err := h.p.Records.AddNonconformance(ctx, &out); err != nil {
			return err
		}
		return h.log(ctx, n.FoundBy, "nonconformance.raised", out.ID, out.OrderID, n.Found, out)
	})
	return out, err
}

// Nonconformance finds a record; Nonconformances lists newest first.
func (h *House) Nonconformance(ctx context.Context, id string) (Nonconformance, error) {
	return h.p.Records.Nonconformance(ctx, id)
}

// Nonconformances lists newest first; states: open, contained, disposed, closed.
func (h *House) Nonconformances(ctx context.Context, states []string, offset, limit int) ([]Nonconformance, int, error) {
	return h.p.Records.Nonconformances(ctx, states, offset, limit)
}

// change applies one step to a record.
func (h *House) change(ctx context.Context, who, id, what, why string, do func(n inspect.Nonconformance) (inspect.Nonconformance, error)) (Nonconformance, error) {
	var out Nonconformance
	err := h.again(ctx, func(ctx context.Context) (err error) {
		if out, err = h.p.Records.Nonconformance(ctx, id); err != nil {
			return err
		}
		if out.Is, err = do(out.Is); err != nil {
			return err
		}
		if err := h.p.Records.SaveNonconformance(ctx, &out); err != nil {
			return err
		}
		return h.log(ctx, who, "nonconformance."+what, out.ID, out.OrderID, why, out.Is)
	})
	return out, err
}

// Contain says what was done to stop more such parts.
func (h *House) Contain(ctx context.Context, who, id, how string) (Nonconformance, error) {
	return h.change(ctx, who, id, "contained", tidy(how), func(n inspect.Nonconformance) (inspect.Nonconformance, error) { return n.Contain(tidy(how)) })
}

// Dispose decides over parts of a record. Scrap and reprint take the pieces out of their traveller, wherever they lie; a reprint is
// started there at once. Faults: those of inspect.Nonconformance.Dispose and traveller.Admit.
func (h *House) Dispose(ctx context.Context, id string, d inspect.Disposal) (Nonconformance, error) {
	d.By, d.Reason, d.Concession, d.At = tidy(d.By), tidy(d.Reason), tidy(d.Concession), h.now()
	first, err := h.p.Records.Nonconformance(ctx, id)
	if err != nil {
		return first, err
	}
	done := 0
	for _, x := range first.Is.Disposals {
		done += x.Quantity
	}
	out, err := h.change(ctx, d.By, id, "disposed", d.Reason, func(n inspect.Nonconformance) (inspect.Nonconformance, error) { return n.Dispose(d) })
	if err != nil || d.Disposition != inspect.Scrap && d.Disposition != inspect.Reprint && d.Disposition != inspect.SendBack {
		return out, err
	}
	if done+d.Quantity > len(out.Is.Pieces) {
		return out, nil // pieces were counted, not named
	}
	pieces := out.Is.Pieces[done : done+d.Quantity]
	e := traveller.Event{ID: "dispose-" + out.ID + "-" + strconv.Itoa(len(out.Is.Disposals)), Traveller: out.Traveller, Kind: traveller.Reject, Pieces: pieces, Reason: out.ID + ": " + out.Is.Found, Who: d.By}
	if _, err := h.p.Floor.Report(ctx, e); err != nil && fault.Of(err).Code != "scrap_already" {
		return out, err
	}
	if d.Disposition == inspect.Scrap {
		return out, nil
	}
	e.ID, e.Kind, e.Pieces = e.ID+"-again", traveller.Remake, nil
	if _, err := h.p.Floor.Report(ctx, e); err != nil && fault.Of(err).Code != "nothing_to_remake" {
		return out, err
	}
	return out, nil
}

// Inspected says that the parts of the i-th disposal were made good.
func (h *House) Inspected(ctx context.Context, who, id string, i int) (Nonconformance, error) {
	return h.change(ctx, who, id, "inspected", "", func(n inspect.Nonconformance) (inspect.Nonconformance, error) { return n.Inspected(i) })
}

// CloseRecord ends a record, with its cause and action where they are needed.
func (h *House) CloseRecord(ctx context.Context, who, id, cause, action, verification string) (Nonconformance, error) {
	return h.change(ctx, who, id, "closed", tidy(cause), func(n inspect.Nonconformance) (inspect.Nonconformance, error) {
		n.Cause, n.Action = tidy(cause), tidy(action)
		if v := tidy(verification); v != "" {
			n.Verification, n.VerifiedBy = v, who
		}
		return n.Close(h.now())
	})
}

// Hold says why pieces may not leave the house; it fits making.Ports.Hold.
func (h *House) Hold(ctx context.Context, o order.Order, pieces []string) error {
	all, err := h.p.Records.NonconformancesOf(ctx, o.ID)
	if err != nil {
		return err
	}
	for _, n := range all {
		if !n.Is.Holds() {
			continue
		}
		hit := len(n.Is.Pieces) == 0
		for _, p := range n.Is.Pieces {
			hit = hit || slices.Contains(pieces, p)
		}
		if hit {
			return fault.New(fault.Conflict, "parts_held", n.ID, "Nonconformance %s holds parts of this order; decide on it first.", n.ID)
		}
	}
	return nil
}

func tidy(s string) string { return strings.TrimSpace(strings.ToValidUTF8(s, "\uFFFD")) }
