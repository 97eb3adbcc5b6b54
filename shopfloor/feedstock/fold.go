package feedstock

import (
	"errors"
	"math"
	"slices"
	"time"

	"firstoff/fault"
)

// Kind of an event.
type Kind string

const (
	Open       Kind = "open"
	Use        Kind = "use"   // G went into a build or blend
	Weigh      Kind = "weigh" // the scales say G are left
	Throw      Kind = "throw" // G went to waste
	Quarantine Kind = "quarantine"
	Release    Kind = "release"
	Correct    Kind = "correct" // the event Voids never happened
)

// Event is one thing that happened to a lot.
type Event struct {
	ID       string    `json:"id"` // made by the device
	Lot      string    `json:"lot"`
	Kind     Kind      `json:"kind"`
	G        float64   `json:"g,omitempty"`
	For      string    `json:"for,omitempty"` // traveller, build or blend
	Reason   string    `json:"reason,omitempty"`
	Voids    string    `json:"voids,omitempty"`
	Who      string    `json:"who"`
	At       time.Time `json:"at"`
	Received time.Time `json:"received"`
}

// Word is the state of a lot.
type Word string

const (
	Sealed  Word = "sealed"
	InUse   Word = "open"
	Held    Word = "quarantined"
	Expired Word = "expired" // by Stock.On only
	Empty   Word = "used up"
)

// Stock is what the events of a lot come to.
type Stock struct {
	Word    Word      `json:"word"`
	LeftG   float64   `json:"left_g"`
	UsedG   float64   `json:"used_g"`
	ThrownG float64   `json:"thrown_g"`
	LostG   float64   `json:"lost_g"` // what the scales missed; negative: more was there than was written down
	Opened  time.Time `json:"opened"`
	Until   string    `json:"until,omitempty"` // last date of use
	Why     string    `json:"why,omitempty"`   // of the quarantine
	Void    []string  `json:"void,omitempty"`
	misfits []misfit
}

type misfit struct {
	id  string
	err error
}

// emptyG: what is left below this is dust on the spool.
const emptyG = 0.05

// Check looks at an event by itself. Faults: Invalid "event_id", "lot_weight", "reason_missing", "event_kind".
func (e Event) Check() error {
	if len(e.ID) < 8 || len(e.ID) > 64 {
		return fault.New(fault.Invalid, "event_id", "event", "An event needs an id of 8 to 64 characters; load the page again.")
	}
	if len(e.Reason) > 2000 || len(e.For) > 100 || len(e.Who) > 200 {
		return fault.New(fault.Invalid, "text_too_long", e.Lot, "A text is too long; 2000 characters are possible.")
	}
	switch e.Kind {
	case Open:
	case Use, Throw:
		if !(e.G > 0 && e.G <= 1e9) {
			return fault.New(fault.Invalid, "lot_weight", e.Lot, "Say how many grams.")
		}
	case Weigh:
		if !(e.G >= 0 && e.G <= 1e9) {
			return fault.New(fault.Invalid, "lot_weight", e.Lot, "Say what the scales show, in grams.")
		}
	case Quarantine, Release:
		if e.Reason == "" {
			return fault.New(fault.Invalid, "reason_missing", "reason", "Say why.")
		}
	case Correct:
		if e.Reason == "" || e.Voids == "" {
			return fault.New(fault.Invalid, "reason_missing", "reason", "Say which event was wrong and why.")
		}
	default:
		return fault.New(fault.Invalid, "event_kind", e.Lot, "There is no event %q for a lot.", string(e.Kind))
	}
	return nil
}

// Fold works out the stock from events in the order of their arrival; ids seen before and void events count for nothing.
func Fold(l Lot, events []Event) Stock {
	s := Stock{LeftG: l.ReceivedG, Until: l.Expires}
	held := false
	seen, void := map[string]bool{}, map[string]bool{}
	var once []Event
	for _, e := range events {
		if seen[e.ID] {
			continue
		}
		seen[e.ID] = true
		once = append(once, e)
		if e.Kind == Correct && !void[e.Voids] {
			void[e.Voids] = true
			s.Void = append(s.Void, e.Voids)
		}
	}
	for _, e := range once {
		if void[e.ID] {
			continue
		}
		switch e.Kind {
		case Open, Use:
			if held {
				s.misfit(e, fault.New(fault.Conflict, "lot_held", l.ID, "Lot %s is quarantined (%s); nothing may be taken of it until it is released.", l.ID, s.Why))
				continue
			}
			if e.G > s.LeftG+emptyG && e.Kind == Use {
				s.misfit(e, fault.New(fault.Conflict, "lot_short", l.ID, "%.1f g are taken of lot %s, but %.1f g are left; weigh it first.", e.G, l.ID, s.LeftG))
				continue
			}
			if s.Opened.IsZero() {
				s.Opened = e.At
				if l.OpenDays > 0 {
					until := e.At.UTC().AddDate(0, 0, l.OpenDays).Format(time.DateOnly)
					if s.Until == "" || until < s.Until {
						s.Until = until
					}
				}
			}
			if e.Kind == Use {
				g := min(e.G, s.LeftG)
				s.LeftG -= g
				s.UsedG += e.G
				s.LostG -= e.G - g
			}
		case Throw:
			g := min(e.G, s.LeftG)
			if e.G > s.LeftG+emptyG {
				s.misfit(e, fault.New(fault.Conflict, "lot_short", l.ID, "%.1f g are thrown away of lot %s, but %.1f g are left; weigh it first.", e.G, l.ID, s.LeftG))
				continue
			}
			s.LeftG -= g
			s.ThrownG += g
		case Weigh:
			s.LostG += s.LeftG - e.G
			s.LeftG = e.G
		case Quarantine:
			held, s.Why = true, e.Reason
		case Release:
			if !held {
				s.misfit(e, fault.New(fault.Conflict, "lot_not_held", l.ID, "Lot %s is not quarantined.", l.ID))
				continue
			}
			held, s.Why = false, ""
		}
	}
	switch {
	case held:
		s.Word = Held
	case s.LeftG < emptyG:
		s.Word = Empty
	case !s.Opened.IsZero():
		s.Word = InUse
	default:
		s.Word = Sealed
	}
	return s
}

func (s *Stock) misfit(e Event, err error) { s.misfits = append(s.misfits, misfit{e.ID, err}) }

// On is the state on a date: material past its last date is expired, whatever is left of it.
func (s Stock) On(today string) Word {
	if s.Until != "" && today > s.Until && (s.Word == Sealed || s.Word == InUse) {
		return Expired
	}
	return s.Word
}

// On is Stock.On by the copies a lot carries.
func (l Lot) On(today string) Word { return Stock{Word: l.Word, Until: l.Until}.On(today) }

// Admit holds a new event against those before it; fresh is false when it has come before.
// Faults: those of Event.Check; Conflict "event_id_reused", "lot_held", "lot_short", "lot_not_held", "void_already",
// "work_stands_on_it"; NotFound "event_unknown".
func Admit(l Lot, before []Event, e Event) (s Stock, fresh bool, err error) {
	if err := e.Check(); err != nil {
		return s, false, err
	}
	if i := slices.IndexFunc(before, func(b Event) bool { return b.ID == e.ID }); i >= 0 {
		b := before[i]
		if b.Kind != e.Kind || b.G != e.G || b.Lot != e.Lot || b.Voids != e.Voids {
			return s, false, fault.New(fault.Conflict, "event_id_reused", e.ID, "Another event with this id is kept already; load the page again.")
		}
		return Fold(l, before), false, nil
	}
	if e.Kind == Correct {
		i := slices.IndexFunc(before, func(b Event) bool { return b.ID == e.Voids })
		if i < 0 {
			return s, false, fault.New(fault.NotFound, "event_unknown", e.Voids, "The event to correct is not known.")
		}
		if before[i].Kind == Correct || slices.ContainsFunc(before, func(b Event) bool { return b.Kind == Correct && b.Voids == e.Voids }) {
			return s, false, fault.New(fault.Conflict, "void_already", e.Voids, "This event was corrected already, or is a correction.")
		}
	}
	s = Fold(l, append(slices.Clip(before), e))
	for _, m := range s.misfits {
		if m.id == e.ID {
			return s, false, m.err
		}
	}
	if len(s.misfits) > 0 {
		return s, false, fault.Because(errors.Join(s.misfits[0].err), fault.Conflict, "work_stands_on_it", e.Voids, "Later events stand on this one; correct those first.")
	}
	return s, true, nil
}

// Blend makes the lot that comes of mixing shares of others. needPct is the share of new material that the powder
// needs (shop.Material.RefreshPct).
// Faults: Invalid "blend_shares", "blend_refresh", "blend_material"; Conflict "lot_held", "lot_short", "lot_expired".
func Blend(id, today string, needPct float64, of []Lot, shares []Share, now time.Time) (Lot, error) {
	if len(shares) == 0 || len(of) != len(shares) {
		return Lot{}, fault.New(fault.Invalid, "blend_shares", id, "Name the lots that are blended and how many grams of each.")
	}
	b := Lot{ID: id, Material: of[0].Material, Received: today, Made: now, Parents: shares, Word: Sealed}
	fresh := 0.0
	for i, s := range shares {
		l := of[i]
		switch {
		case l.ID != s.Lot || !(s.G > 0) || math.IsInf(s.G, 0) || slices.ContainsFunc(shares[:i], func(x Share) bool { return x.Lot == s.Lot }):
			return Lot{}, fault.New(fault.Invalid, "blend_shares", s.Lot, "Name each lot once with the grams taken of it.")
		case l.Material != b.Material:
			return Lot{}, fault.New(fault.Invalid, "blend_material", l.ID, "Lot %s is %s, not %s; only the same material is blended.", l.ID, l.Material, b.Material)
		case l.On(today) == Held:
			return Lot{}, fault.New(fault.Conflict, "lot_held", l.ID, "Lot %s is quarantined.", l.ID)
		case l.On(today) == Expired:
			return Lot{}, fault.New(fault.Conflict, "lot_expired", l.ID, "Lot %s was usable until %s.", l.ID, l.Until)
		case s.G > l.LeftG+emptyG:
			return Lot{}, fault.New(fault.Conflict, "lot_short", l.ID, "%.1f g are taken of lot %s, but %.1f g are left.", s.G, l.ID, l.LeftG)
		}
		b.ReceivedG += s.G
		if s.Fresh {
			fresh += s.G
		}
		if l.Until != "" && (b.Expires == "" || l.Until < b.Expires) {
			b.Expires = l.Until // a blend is no younger than its oldest part
		}
	}
	b.RefreshPct = 100 * fresh / b.ReceivedG
	if b.RefreshPct < needPct-1e-9 {
		return Lot{}, fault.New(fault.Invalid, "blend_refresh", id, "%.1f %% of this blend is new; the material needs %.0f %%. Add new material.", b.RefreshPct, needPct)
	}
	b.LeftG, b.Until = b.ReceivedG, b.Expires
	return b, nil
}

// Descendants lists every lot that holds some of the lot named, itself first, then in the order given. A lot can only be blended of
// lots there were before it, so lots may be given in the order in which they were made.
func Descendants(id string, lots []Lot) []string {
	out, in := []string{id}, map[string]bool{id: true}
	for _, l := range lots {
		if !in[l.ID] && slices.ContainsFunc(l.Parents, func(s Share) bool { return in[s.Lot] }) {
			in[l.ID] = true
			out = append(out, l.ID)
		}
	}
	return out
}
