package traveller

import (
	"slices"
	"strings"
	"time"

	"firstoff/digest"
	"firstoff/fault"
)

// Kind of an event.
type Kind string

const (
	Start    Kind = "start"
	Pause    Kind = "pause"
	Finish   Kind = "finish"   // Good on, Scrap out
	Note     Kind = "note"     // words only
	UseLot   Kind = "lot"      // a lot of material went into the pieces at this operation
	Remake   Kind = "remake"   // scrapped pieces are made again
	Withdraw Kind = "withdraw" // pieces are not wanted any more, or scrap is not made again
	Reject   Kind = "reject"   // pieces turn out to be scrap, wherever they lie: after the last operation too
	Correct  Kind = "correct"  // the event named in Voids never happened
)

// Event is one thing that happened to a traveller.
type Event struct {
	ID        string        `json:"id"` // made by the device
	Traveller string        `json:"traveller"`
	Op        int           `json:"op,omitempty"` // operation number
	Kind      Kind          `json:"kind"`
	Good      int           `json:"good,omitempty"`
	Scrap     int           `json:"scrap,omitempty"`
	Pieces    []string      `json:"pieces,omitempty"` // Finish: the scrapped ones; Remake: those to make again; Withdraw, Reject: by the number ordered or as they are; UseLot: those the lot is in. None named: see Fold
	Goods     []string      `json:"goods,omitempty"`  // Finish: the good ones, when it is known which
	Reason    string        `json:"reason,omitempty"` // why paused, scrapped, corrected
	Note      string        `json:"note,omitempty"`
	Photo     digest.Digest `json:"photo,omitempty"` // Note: a picture taken at the machine
	Lot       string        `json:"lot,omitempty"`
	Machine   string        `json:"machine,omitempty"` // Start, Finish: where it really was; empty: as planned
	Build     string        `json:"build,omitempty"`   // the build it came of
	Voids     string        `json:"voids,omitempty"`   // Correct: id of the event
	Who       string        `json:"who"`
	Device    string        `json:"device,omitempty"`
	At        time.Time     `json:"at"`       // by the device's clock
	Received  time.Time     `json:"received"` // by the desk's clock
}

// Bounds of what a person may send in one event.
const (
	mostText   = 2000
	mostPieces = 100_000
)

// ValidID says whether an event's id may be kept: 8 to 64 letters, digits and hyphens.
func ValidID(id string) bool {
	return len(id) >= 8 && len(id) <= 64 && strings.Trim(id, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-") == ""
}

// Check looks at an event by itself.
// Faults: Invalid "event_id", "event_kind", "event_quantity", "reason_missing", "lot_missing", "note_missing", "text_too_long".
func (e Event) Check() error {
	if !ValidID(e.ID) {
		return fault.New(fault.Invalid, "event_id", "event", "An event needs an id of 8 to 64 letters, digits and hyphens; load the page again.")
	}
	if len(e.Reason) > mostText || len(e.Note) > mostText || len(e.Lot) > 100 || len(e.Machine) > 100 || len(e.Who) > 200 || len(e.Device) > 200 {
		return fault.New(fault.Invalid, "text_too_long", e.Traveller, "A text is too long; %d characters are possible.", mostText)
	}
	if e.Good < 0 || e.Scrap < 0 || e.Good > mostPieces || e.Scrap > mostPieces || len(e.Pieces) > mostPieces {
		return fault.New(fault.Invalid, "event_quantity", e.Traveller, "A quantity is a whole number from 0 up.")
	}
	switch e.Kind {
	case Start, Remake:
	case Pause:
		if e.Reason == "" {
			return fault.New(fault.Invalid, "reason_missing", "reason", "Say why it is paused.")
		}
	case Finish:
		switch {
		case e.Good+e.Scrap == 0:
			return fault.New(fault.Invalid, "event_quantity", e.Traveller, "Say how many pieces are good and how many are scrap.")
		case e.Scrap > 0 && e.Reason == "":
			return fault.New(fault.Invalid, "reason_missing", "reason", "Say why pieces are scrap.")
		case len(e.Pieces) > 0 && len(e.Pieces) != e.Scrap:
			return fault.New(fault.Invalid, "event_quantity", e.Traveller, "%d pieces are named as scrap but %d are counted.", len(e.Pieces), e.Scrap)
		case len(e.Goods) > 0 && len(e.Goods) != e.Good:
			return fault.New(fault.Invalid, "event_quantity", e.Traveller, "%d pieces are named as good but %d are counted.", len(e.Goods), e.Good)
		}
	case Withdraw, Reject:
		if len(e.Pieces) == 0 || e.Reason == "" {
			return fault.New(fault.Invalid, "reason_missing", "reason", "Say which pieces, and why.")
		}
	case Note:
		if e.Note == "" && e.Photo == "" {
			return fault.New(fault.Invalid, "note_missing", "note", "Write the note, or take a photo.")
		}
	case UseLot:
		if e.Lot == "" {
			return fault.New(fault.Invalid, "lot_missing", "lot", "Say which lot was used.")
		}
	case Correct:
		if e.Voids == "" || e.Reason == "" {
			return fault.New(fault.Invalid, "reason_missing", "reason", "Say which event was wrong and why.")
		}
	default:
		return fault.New(fault.Invalid, "event_kind", e.Traveller, "There is no event %q.", string(e.Kind))
	}
	return nil
}

// same says whether two events say the same, whenever they arrived.
func (e Event) same(f Event) bool {
	return e.Traveller == f.Traveller && e.Kind == f.Kind && e.Op == f.Op && e.Good == f.Good && e.Scrap == f.Scrap && e.Lot == f.Lot && e.Voids == f.Voids && slices.Equal(e.Pieces, f.Pieces) && slices.Equal(e.Goods, f.Goods)
}
