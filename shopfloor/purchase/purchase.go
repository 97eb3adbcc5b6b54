// Package purchase is work bought of a partner: which pieces of which travellers they shall make, what they were asked, what they
// promised, what came and what the incoming check said. As on the travellers, the events are the truth.
//
//	asked → sent → promised → checked
//	    ↘     ↓        ↙
//	      cancelled
//
// Pieces may come in several consignments; each is counted in and then checked. It is checked when every piece was judged.
// Promises: no more pieces are judged than came, none come that were not asked for (TestRandomEvents); sending events again
// changes nothing (TestTheWay).
package purchase

import (
	"slices"
	"time"

	"firstoff/digest"
	"firstoff/fault"
)

// Purchase is what a partner is asked to make. ID is a readable number, e.g. "P-1001".
type Purchase struct {
	ID      string    `json:"id"`
	Partner string    `json:"partner"`
	Items   []Item    `json:"items"`
	Made    time.Time `json:"made"`
	NeedBy  string    `json:"need_by"`       // 2006-01-02: when it must be here for the soonest of our own promises
	Word    Word      `json:"word"`          // a copy of Fold for searching
	Due     string    `json:"due,omitempty"` // the partner's promise; a copy as well
	Version int       `json:"version"`
}

// Item is what is bought for one traveller.
type Item struct {
	Traveller string        `json:"traveller"`
	Op        int           `json:"op"` // number of the traveller's operation
	OrderID   string        `json:"order_id"`
	LineID    string        `json:"line_id"`
	Name      string        `json:"name"`
	Digest    digest.Digest `json:"sha256"` // of the client's file
	Process   string        `json:"process"`
	Material  string        `json:"material"`
	Finish    string        `json:"finish,omitempty"`
	Notes     []string      `json:"notes,omitempty"`
	Pieces    []string      `json:"pieces"`
	Promised  string        `json:"promised"` // to our client
}

// Word is the state of a purchase.
type Word string

const (
	Asked     Word = "asked" // written, not sent
	Sent      Word = "sent"
	Promised  Word = "promised"
	Checked   Word = "checked"
	Cancelled Word = "cancelled"
)

// Open says whether something is still to come of it.
func (w Word) Open() bool { return w == Asked || w == Sent || w == Promised }

// Kind of an event.
type Kind string

const (
	Send    Kind = "send"    // to the partner; Reference: by what, or their number
	Promise Kind = "promise" // Due: the day it will be here, by their word; may change
	Receive Kind = "receive" // Count pieces of Item came
	Check   Kind = "check"   // of those of Item that came Good are good, Scrap is not
	Cancel  Kind = "cancel"
	Note    Kind = "note"
)

// Event is one thing that happened to a purchase.
type Event struct {
	ID        string    `json:"id"`
	Purchase  string    `json:"purchase"`
	Kind      Kind      `json:"kind"`
	Item      int       `json:"item,omitempty"` // counts from 1
	Count     int       `json:"count,omitempty"`
	Good      int       `json:"good,omitempty"`
	Scrap     int       `json:"scrap,omitempty"`
	Due       string    `json:"due,omitempty"`
	Reference string    `json:"reference,omitempty"`
	Reason    string    `json:"reason,omitempty"` // why scrap, cancelled, promised anew; the words of a note
	Who       string    `json:"who"`
	At        time.Time `json:"at"`
	Received  time.Time `json:"received"`
}

// State is what the events come to.
type State struct {
	Word      Word        `json:"word"`
	Due       string      `json:"due,omitempty"`
	Reference string      `json:"reference,omitempty"`
	Sent      time.Time   `json:"sent"`
	Moved     int         `json:"moved,omitempty"` // times the partner's promise was changed
	Items     []ItemState `json:"items"`
	Reason    string      `json:"reason,omitempty"` // why cancelled
}

// ItemState is one item as it stands, in pieces.
type ItemState struct {
	Came  int `json:"came"`
	Good  int `json:"good"`
	Scrap int `json:"scrap"`
}

// Late says whether the partner's promise, or the day itself, is past what our own promises allow.
func (s State) Late(p Purchase, today string) bool {
	return s.Word.Open() && p.NeedBy != "" && max(s.Due, today) > p.NeedBy
}

// Plan looks at a purchase before it is kept. Faults: Invalid "purchase_empty", "piece_twice".
func (p Purchase) Plan() error {
	seen := map[string]bool{}
	for _, it := range p.Items {
		for _, id := range it.Pieces {
			if seen[id] {
				return fault.New(fault.Invalid, "piece_twice", id, "Piece %s is in this purchase twice.", id)
			}
			seen[id] = true
		}
	}
	if p.Partner == "" || len(seen) == 0 {
		return fault.New(fault.Invalid, "purchase_empty", p.ID, "A purchase needs a partner and at least one piece.")
	}
	return nil
}

// Fold works out the state from events in the order of their arrival; ids seen before count for nothing, and so do events that
// cannot follow, of which Admit lets none in.
func Fold(p Purchase, events []Event) State {
	s := State{Word: Asked, Items: make([]ItemState, len(p.Items))}
	seen := map[string]bool{}
	for _, e := range events {
		if !seen[e.ID] {
			seen[e.ID] = true
			_ = s.apply(p, e)
		}
	}
	return s
}

func (s *State) apply(p Purchase, e Event) error {
	from := func(words ...Word) error {
		if slices.Contains(words, s.Word) {
			return nil
		}
		return fault.New(fault.Conflict, "purchase_state", p.ID, "This purchase is %s; %s does not follow on that.", s.Word, e.Kind)
	}
	item := func() (*ItemState, int, error) {
		if e.Item < 1 || e.Item > len(p.Items) {
			return nil, 0, fault.New(fault.NotFound, "item_unknown", p.ID, "This purchase has no item %d.", e.Item)
		}
		return &s.Items[e.Item-1], len(p.Items[e.Item-1].Pieces), from(Sent, Promised)
	}
	switch e.Kind {
	case Send:
		if err := from(Asked); err != nil {
			return err
		}
		s.Word, s.Reference, s.Sent = Sent, e.Reference, e.At
	case Promise:
		if err := from(Sent, Promised); err != nil {
			return err
		}
		if s.Due != "" && s.Due != e.Due {
			s.Moved++
		}
		s.Word, s.Due = Promised, e.Due
		if e.Reference != "" {
			s.Reference = e.Reference
		}
	case Receive:
		it, of, err := item()
		if err != nil {
			return err
		}
		if it.Came+e.Count > of {
			return fault.New(fault.Conflict, "more_than_asked", p.ID, "%d pieces of item %d came, but %d are still to come.", e.Count, e.Item, of-it.Came)
		}
		it.Came += e.Count
	case Check:
		it, _, err := item()
		if err != nil {
			return err
		}
		if left := it.Came - it.Good - it.Scrap; e.Good+e.Scrap > left {
			return fault.New(fault.Conflict, "more_than_came", p.ID, "%d pieces of item %d are judged, but %d lie here unchecked.", e.Good+e.Scrap, e.Item, left)
		}
		it.Good += e.Good
		it.Scrap += e.Scrap
		for i, x := range s.Items {
			if x.Good+x.Scrap < len(p.Items[i].Pieces) {
				return nil
			}
		}
		s.Word = Checked
	case Cancel:
		if err := from(Asked, Sent, Promised); err != nil {
			return err
		}
		for i, x := range s.Items {
			if x.Came > 0 {
				return fault.New(fault.Conflict, "purchase_state", p.ID, "Pieces of item %d have come already; check them, and scrap what is not wanted.", i+1)
			}
		}
		s.Word, s.Reason = Cancelled, e.Reason
	}
	return nil
}

// Check looks at an event by itself. Faults: Invalid "event_id", "event_kind", "event_quantity", "reason_missing", "date_form", "text_too_long".
func (e Event) Check() error {
	if len(e.ID) < 8 || len(e.ID) > 64 {
		return fault.New(fault.Invalid, "event_id", "event", "An event needs an id of 8 to 64 characters; load the page again.")
	}
	if len(e.Reason) > 2000 || len(e.Reference) > 200 || len(e.Who) > 200 {
		return fault.New(fault.Invalid, "text_too_long", e.Purchase, "A text is too long; 2000 characters are possible.")
	}
	need := func(why string) error {
		if e.Reason == "" {
			return fault.New(fault.Invalid, "reason_missing", "reason", "%s", why)
		}
		return nil
	}
	switch e.Kind {
	case Send:
	case Promise:
		if _, err := time.Parse(time.DateOnly, e.Due); err != nil {
			return fault.New(fault.Invalid, "date_form", "due", "Write the day as year-month-day, e.g. 2031-03-24.")
		}
	case Receive:
		if e.Count < 1 || e.Count > 100_000 {
			return fault.New(fault.Invalid, "event_quantity", e.Purchase, "Say how many pieces came.")
		}
	case Check:
		if e.Good < 0 || e.Scrap < 0 || e.Good+e.Scrap < 1 || e.Good+e.Scrap > 100_000 {
			return fault.New(fault.Invalid, "event_quantity", e.Purchase, "Say how many pieces are good and how many are not.")
		}
		if e.Scrap > 0 {
			return need("Say what is wrong with the pieces.")
		}
	case Cancel:
		return need("Say why it is cancelled.")
	case Note:
		return need("Write the note.")
	default:
		return fault.New(fault.Invalid, "event_kind", e.Purchase, "There is no event %q for a purchase.", string(e.Kind))
	}
	return nil
}

// Admit holds a new event against those before it; fresh is false when it has come before.
// Faults: those of Event.Check; Conflict "purchase_state", "more_than_asked", "more_than_came", "event_id_reused"; NotFound "item_unknown".
func Admit(p Purchase, before []Event, e Event) (s State, fresh bool, err error) {
	if err := e.Check(); err != nil {
		return s, false, err
	}
	s = Fold(p, before)
	if i := slices.IndexFunc(before, func(x Event) bool { return x.ID == e.ID }); i >= 0 {
		if b := before[i]; b.Kind != e.Kind || b.Purchase != e.Purchase || b.Item != e.Item || b.Count != e.Count || b.Good != e.Good || b.Scrap != e.Scrap || b.Due != e.Due {
			return s, false, fault.New(fault.Conflict, "event_id_reused", e.ID, "Another event with this id is kept already; load the page again.")
		}
		return s, false, nil
	}
	if err := s.apply(p, e); err != nil {
		return s, false, err
	}
	return s, true, nil
}
