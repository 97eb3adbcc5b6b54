// Package feedstock is the material on the shelf, lot by lot: what came in, what is left by weight, until when it may be
// used, whether it is held back, and what it was blended from. As on the travellers, the events are the truth and a
// Stock is a fold of them.
//
// Units: g, dates as 2006-01-02, shares in percent. Promises: received = used + thrown away + left + lost on the scales after
// any events (TestGramsAreConserved); sending events again changes nothing (TestSentTwice); everything that holds some of
// a lot is found, however often it was blended (TestGenealogy).
// Sources: refresh shares of powders and open times by common practice; the catalogue states the share a powder needs.
package feedstock

import (
	"time"

	"firstoff/fault"
)

// Lot is one batch of material as received or blended. ID is a readable number, e.g. "M-1001".
type Lot struct {
	ID          string    `json:"id"`
	Material    string    `json:"material"`               // shop.Material.ID
	SupplierLot string    `json:"supplier_lot,omitempty"` // as printed on the box
	Supplier    string    `json:"supplier,omitempty"`
	Certificate string    `json:"certificate,omitempty"` // number of the maker's certificate, e.g. EN 10204 3.1
	ReceivedG   float64   `json:"received_g"`
	Received    string    `json:"received"`              // date
	Expires     string    `json:"expires,omitempty"`     // last date of use, sealed
	OpenDays    int       `json:"open_days,omitempty"`   // days it may be used once open; 0 = until Expires
	Parents     []Share   `json:"parents,omitempty"`     // for a blend
	RefreshPct  float64   `json:"refresh_pct,omitempty"` // share of new material in a blend
	Made        time.Time `json:"made"`
	// Word, LeftG and Until copy Fold for searching; they are never the truth.
	Word    Word    `json:"word"`
	LeftG   float64 `json:"left_g"`
	Until   string  `json:"until,omitempty"`
	Version int     `json:"version"`
}

// Share is what a blend took of another lot.
type Share struct {
	Lot   string  `json:"lot"`
	G     float64 `json:"g"`
	Fresh bool    `json:"fresh"` // never been in a machine
}

// Check looks at a lot before it is kept. Faults: Invalid "lot_material", "lot_weight", "lot_date".
func (l Lot) Check() error {
	if l.Material == "" {
		return fault.New(fault.Invalid, "lot_material", "material", "Say which material it is.")
	}
	if !(l.ReceivedG > 0 && l.ReceivedG <= 1e9) {
		return fault.New(fault.Invalid, "lot_weight", "received_g", "Weigh the lot: a weight above 0 g is needed.")
	}
	for _, d := range []string{l.Received, l.Expires} {
		if d == "" && d == l.Expires {
			continue
		}
		if _, err := time.Parse(time.DateOnly, d); err != nil {
			return fault.New(fault.Invalid, "lot_date", "date", "%q is not a date; write it as 2031-03-28.", d)
		}
	}
	if l.OpenDays < 0 || l.OpenDays > 36500 {
		return fault.New(fault.Invalid, "lot_date", "open_days", "%d is not a number of days.", l.OpenDays)
	}
	return nil
}
