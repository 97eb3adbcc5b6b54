package traveller

import (
	"time"

	"firstoff/desk/offer"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/order"
)

// Traveller is one batch of like parts: what shall be done to them. ID is a readable number, e.g. "T-1001".
type Traveller struct {
	ID         string        `json:"id"`
	OrderID    string        `json:"order_id"`
	ClientID   string        `json:"client_id"`
	RequestID  string        `json:"request_id"`
	LineID     string        `json:"line_id"`
	Position   int           `json:"position"` // in the order
	Name       string        `json:"name"`
	Digest     digest.Digest `json:"sha256"` // of the client's file
	Process    string        `json:"process"`
	Machine    string        `json:"machine,omitempty"`
	Partner    string        `json:"partner,omitempty"`
	Material   string        `json:"material"`
	Support    string        `json:"support,omitempty"`
	LayerMM    float64       `json:"layer_mm,omitempty"`
	InfillPct  float64       `json:"infill_pct,omitempty"`
	Pose       [4]float64    `json:"pose"` // w x y z
	PartG      float64       `json:"part_g"`
	Promised   string        `json:"promised"` // 2006-01-02
	Finish     string        `json:"finish,omitempty"`
	Notes      []string      `json:"notes,omitempty"`
	Cautions   []string      `json:"cautions,omitempty"`
	Operations []Operation   `json:"operations"`
	Pieces     []string      `json:"pieces"`
	Opened     time.Time     `json:"opened"`
	// Word is the state when the last event came: a copy of Fold for searching, never the truth.
	Word    Word `json:"word"`
	At      int  `json:"at,omitempty"` // number of the operation that comes next; a copy as well
	Version int  `json:"version"`
}

// Operation is one step of the route. No counts from 1.
type Operation struct {
	No       int      `json:"no"`
	Code     string   `json:"code"` // "build", "partner" or shop.Operation.ID
	Name     string   `json:"name"`
	Resource string   `json:"resource,omitempty"` // machine, bath, bench, partner
	Skill    string   `json:"skill,omitempty"`
	HandsS   float64  `json:"hands_s"`
	ElapsedS float64  `json:"elapsed_s"`
	Cautions []string `json:"cautions,omitempty"`
}

// Makes says whether parts come into being here; scrap starts again at such an operation.
func (o Operation) Makes() bool { return o.Code == "build" || o.Code == "partner" }

// Opening is what a traveller is made from.
type Opening struct {
	ID        string
	Order     order.Order
	Line      order.Line
	Catalogue *shop.Catalogue // for the cautions of operations and shared resources
	Now       time.Time
}

// Open writes the traveller of an order's line. Fault: Invalid "traveller_empty" for a line without pieces.
func Open(a Opening) (Traveller, error) {
	l, o := a.Line, a.Line.Option
	if len(l.Pieces) == 0 {
		return Traveller{}, fault.New(fault.Invalid, "traveller_empty", l.LineID, "Line %d of order %s has no pieces to make.", l.Position, a.Order.ID)
	}
	t := Traveller{
		ID: a.ID, OrderID: a.Order.ID, ClientID: a.Order.ClientID, RequestID: a.Order.RequestID, LineID: l.LineID, Position: l.Position,
		Name: l.Name, Digest: l.Digest, Process: o.Process, Machine: o.Machine, Partner: o.Partner, Material: o.Material, Support: o.Support,
		LayerMM: o.LayerMM, InfillPct: o.InfillPct, Pose: o.Pose, PartG: o.PartG, Promised: l.Promised, Finish: l.Requirement.Finish,
		Notes: append([]string(nil), o.Notes...), Cautions: append([]string(nil), o.Cautions...), Opened: a.Now, Word: Waiting, At: 1,
	}
	if n := l.Requirement.Notes; n != "" {
		t.Notes = append(t.Notes, n)
	}
	for _, p := range l.Pieces {
		t.Pieces = append(t.Pieces, p.ID)
	}
	numbers := Numbers(o.Steps)
	for i, s := range o.Steps {
		op := Operation{No: len(t.Operations) + 1, Code: s.Operation, Name: s.Name, Resource: s.Resource, Skill: s.Skill, HandsS: s.HandsS, ElapsedS: s.ElapsedS}
		if op.Name == "" {
			op.Name = s.Operation
		}
		if n := len(t.Operations); numbers[i] < n {
			t.Operations[n-1].HandsS += op.HandsS
			t.Operations[n-1].ElapsedS += op.ElapsedS
			continue
		}
		op.Cautions = cautions(a.Catalogue, s.Operation, s.Resource)
		t.Operations = append(t.Operations, op)
	}
	if len(t.Operations) == 0 { // a route without steps is still made
		t.Operations = []Operation{{No: 1, Code: "build", Name: "make", Resource: o.Machine + o.Partner, Skill: "operate"}}
	}
	return t, nil
}

// Numbers says which operation each step of a route becomes, from 0. A quantity that fills several builds is estimated build by build; for
// the pieces it is one operation.
func Numbers(steps []offer.Step) []int {
	out := make([]int, len(steps))
	for i, s := range steps {
		switch {
		case i == 0:
		case (Operation{Code: s.Operation}).Makes() && steps[i-1].Operation == s.Operation && steps[i-1].Resource == s.Resource:
			out[i] = out[i-1]
		default:
			out[i] = out[i-1] + 1
		}
	}
	return out
}

// cautions are those of the operation and of what it is done in.
func cautions(cat *shop.Catalogue, operation, resource string) []string {
	if cat == nil {
		return nil
	}
	var out []string
	for i := range cat.Operations {
		if cat.Operations[i].ID == operation {
			out = append(out, cat.Operations[i].Cautions...)
		}
	}
	for i := range cat.Resources {
		if cat.Resources[i].ID == resource {
			out = append(out, cat.Resources[i].Cautions...)
		}
	}
	if m := cat.Machine(resource); m != nil {
		if p := cat.Process(m.Process); p != nil {
			out = append(out, p.Cautions...)
		}
	}
	return out
}

// Operation finds an operation by number; nil if there is none.
func (t *Traveller) Operation(no int) *Operation {
	if no < 1 || no > len(t.Operations) {
		return nil
	}
	return &t.Operations[no-1]
}

// Making is the number of the operation where parts come into being; 1 when none says so.
func (t *Traveller) Making() int {
	for _, o := range t.Operations {
		if o.Makes() {
			return o.No
		}
	}
	return 1
}
