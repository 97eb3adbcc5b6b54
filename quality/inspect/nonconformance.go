package inspect

import (
	"slices"
	"strings"
	"time"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/money"
)

// Disposition is what becomes of parts that do not conform.
type Disposition string

const (
	UseAsIs  Disposition = "use as is" // a concession: the client agrees to the deviation
	Rework   Disposition = "rework"    // made to conform; inspected again
	Repair   Disposition = "repair"    // made usable without conforming; the client agrees
	Reprint  Disposition = "reprint"   // scrapped and made again
	Scrap    Disposition = "scrap"
	SendBack Disposition = "send back" // to the partner who made it
)

// Authority is who may decide.
type Authority string

const (
	Inspector Authority = "inspector"
	Quality   Authority = "quality" // whoever answers for quality in the house
	Client    Authority = "client"
)

// Nonconformance is the record of parts that do not conform, from found to closed. It changes by its methods only, each
// giving a new value.
type Nonconformance struct {
	Number       string          `json:"number"`
	FoundAt      time.Time       `json:"foundAt"`
	FoundBy      string          `json:"foundBy"`
	Where        string          `json:"where"` // operation, incoming, client
	Part         string          `json:"part"`
	Lot          string          `json:"lot"`
	Pieces       []string        `json:"pieces,omitempty"`
	Quantity     int             `json:"quantity"`
	Balloon      int             `json:"balloon,omitempty"`
	Designator   Designator      `json:"designator,omitempty"`
	Requirement  string          `json:"requirement"`
	Found        string          `json:"found"`
	Evidence     []digest.Digest `json:"evidence,omitempty"` // photos, scans, by content
	Containment  string          `json:"containment,omitempty"`
	Disposals    []Disposal      `json:"disposals,omitempty"`
	Cause        string          `json:"cause,omitempty"`
	Action       string          `json:"action,omitempty"`
	Verification string          `json:"verification,omitempty"`
	VerifiedBy   string          `json:"verifiedBy,omitempty"`
	Cost         money.Amount    `json:"cost_minor,omitempty"`
	ClosedAt     time.Time       `json:"closedAt,omitzero"`
}

// Disposal is one decision over some of the parts.
type Disposal struct {
	Disposition Disposition `json:"disposition"`
	Quantity    int         `json:"quantity"`
	By          string      `json:"by"`
	Authority   Authority   `json:"authority"`
	Concession  string      `json:"concession,omitempty"` // the client's own reference, where the client must agree
	Reason      string      `json:"reason"`
	At          time.Time   `json:"at"`
	Inspected   bool        `json:"inspected,omitempty"` // rework and repair: inspected again and good
}

// State is where a record stands: open, contained, disposed, closed.
func (n Nonconformance) State() string {
	switch {
	case !n.ClosedAt.IsZero():
		return "closed"
	case n.left() == 0 && len(n.Disposals) > 0:
		return "disposed"
	case n.Containment != "":
		return "contained"
	}
	return "open"
}

func (n Nonconformance) left() int {
	l := n.Quantity
	for _, d := range n.Disposals {
		l -= d.Quantity
	}
	return l
}

// Holds says whether parts of this record may not move on.
func (n Nonconformance) Holds() bool {
	if n.left() > 0 {
		return true
	}
	for _, d := range n.Disposals {
		if (d.Disposition == Rework || d.Disposition == Repair) && !d.Inspected {
			return true
		}
	}
	return false
}

// Check says what a record lacks to be opened.
func (n Nonconformance) Check() error {
	for _, f := range []struct{ name, v string }{{"number", n.Number}, {"who found it", n.FoundBy}, {"part", n.Part}, {"requirement", n.Requirement}, {"what was found", n.Found}} {
		if strings.TrimSpace(f.v) == "" {
			return fault.New(fault.Invalid, "nonconformance_incomplete", n.Number, "the record lacks: %s", f.name)
		}
	}
	if n.Quantity < 1 || len(n.Pieces) > n.Quantity {
		return fault.New(fault.Invalid, "nonconformance_quantity", n.Number, "%d parts are named and %d counted; count at least one, and all that are named", len(n.Pieces), n.Quantity)
	}
	return nil
}

// NeedsClient says whether only the client may agree to a disposition: whenever the part stays as it should not be.
func NeedsClient(d Disposition) bool { return d == UseAsIs || d == Repair }

// May says whether an authority may decide a disposition for a designator, and why not. Common practice: the inspector
// sends to rework, reprints and sends back; scrap, and everything about critical characteristics, is for quality;
// whatever leaves a deviation is for quality with the client's concession.
func May(a Authority, d Disposition, g Designator) error {
	ok := []Disposition{UseAsIs, Rework, Repair, Reprint, Scrap, SendBack}
	switch {
	case !slices.Contains(ok, d):
		return fault.New(fault.Invalid, "disposition_unknown", "", "parts are used as is, reworked, repaired, reprinted, scrapped or sent back, not %q", string(d))
	case a == Client && NeedsClient(d), a == Quality:
		return nil
	case a == Inspector && g != Critical && (d == Rework || d == Reprint || d == SendBack):
		return nil
	case a == Inspector:
		return fault.New(fault.Denied, "disposition_authority", "", "%s is not for the inspector to decide; ask whoever answers for quality", d)
	case a == Client:
		return fault.New(fault.Denied, "disposition_authority", "", "%s is not the client's to decide; the client agrees to deviations only", d)
	}
	return fault.New(fault.Invalid, "authority_unknown", "", "there is no authority %q", string(a))
}

// Contain records how further harm was stopped.
func (n Nonconformance) Contain(how string) (Nonconformance, error) {
	if err := n.changeable(); err != nil {
		return n, err
	}
	if strings.TrimSpace(how) == "" {
		return n, fault.New(fault.Invalid, "containment_missing", n.Number, "say what was done to stop more such parts from moving on")
	}
	n.Containment = how
	return n, nil
}

func (n Nonconformance) changeable() error {
	if !n.ClosedAt.IsZero() {
		return fault.New(fault.Conflict, "nonconformance_closed", n.Number, "this record is closed; open a new one")
	}
	return nil
}

// Dispose records a decision over d.Quantity of the parts left.
func (n Nonconformance) Dispose(d Disposal) (Nonconformance, error) {
	if err := n.changeable(); err != nil {
		return n, err
	}
	if err := May(d.Authority, d.Disposition, n.Designator); err != nil {
		return n, fault.At(err, n.Number)
	}
	switch {
	case d.Quantity < 1 || d.Quantity > n.left():
		return n, fault.New(fault.Invalid, "disposition_quantity", n.Number, "%d parts are left to decide on, not %d", n.left(), d.Quantity)
	case strings.TrimSpace(d.By) == "" || strings.TrimSpace(d.Reason) == "":
		return n, fault.New(fault.Invalid, "disposition_incomplete", n.Number, "say who decided and why")
	case NeedsClient(d.Disposition) && strings.TrimSpace(d.Concession) == "":
		return n, fault.New(fault.Denied, "concession_missing", n.Number, "%s leaves a deviation: the client must agree first; enter the reference of the concession", d.Disposition)
	case d.Disposition == UseAsIs && d.Authority != Client && d.By == n.FoundBy && n.Designator != Minor:
		return n, fault.New(fault.Denied, "disposition_same_person", n.Number, "whoever found it may not alone pass it; a second person decides")
	}
	d.Inspected = false
	n.Disposals = append(slices.Clone(n.Disposals), d)
	return n, nil
}

// Inspected records that the parts of the i-th disposal were made good and inspected again.
func (n Nonconformance) Inspected(i int) (Nonconformance, error) {
	if err := n.changeable(); err != nil {
		return n, err
	}
	if i < 0 || i >= len(n.Disposals) || n.Disposals[i].Disposition != Rework && n.Disposals[i].Disposition != Repair {
		return n, fault.New(fault.Invalid, "nothing_to_inspect", n.Number, "there is no rework or repair number %d in this record", i+1)
	}
	n.Disposals = slices.Clone(n.Disposals)
	n.Disposals[i].Inspected = true
	return n, nil
}

// Close ends the record. All parts must be decided on, reworked ones inspected again; critical and key characteristics
// need cause, action and its verification by someone else.
func (n Nonconformance) Close(at time.Time) (Nonconformance, error) {
	if err := n.changeable(); err != nil {
		return n, err
	}
	if n.left() > 0 {
		return n, fault.New(fault.Conflict, "nonconformance_open", n.Number, "%d parts are not decided on", n.left())
	}
	if n.Holds() {
		return n, fault.New(fault.Conflict, "nonconformance_not_inspected", n.Number, "reworked parts were not inspected again")
	}
	if n.Designator == Critical || n.Designator == Key {
		if n.Cause == "" || n.Action == "" || n.Verification == "" || n.VerifiedBy == "" {
			return n, fault.New(fault.Conflict, "nonconformance_no_action", n.Number, "a %s characteristic needs cause, action, and its verification before the record closes", n.Designator)
		}
	}
	n.ClosedAt = at
	return n, nil
}
