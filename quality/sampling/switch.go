package sampling

import "firstoff/fault"

// Switch is where the inspection of one stream of lots stands: normal, tightened, or stopped. The zero value is the
// start of normal inspection.
//
// Rules (ISO 2859-1 cl. 9, from memory): normal becomes tightened when 2 of 5 or fewer consecutive lots were not
// accepted; tightened becomes normal when 5 consecutive lots were accepted; 5 lots not accepted while on tightened
// stop acceptance until the supplier's process was mended, after which inspection goes on tightened. Only first
// inspections count, not resubmitted lots.
type Switch struct {
	State    State  `json:"state"`
	Recent   []bool `json:"recent,omitempty"`   // normal: the last four lots at most, true for accepted
	Run      int    `json:"run,omitempty"`      // tightened: lots accepted in a row
	Refused  int    `json:"refused,omitempty"`  // tightened: lots not accepted since it began
	Reason   string `json:"reason,omitempty"`   // why the state is what it is, for people
	Lots     int    `json:"lots,omitempty"`     // lots counted so far
	Resubmit int    `json:"resubmit,omitempty"` // resubmitted lots seen, not counted
}

// State is a state of Switch.
type State string

const (
	OnNormal    State = "" // the start
	OnTightened State = "tightened"
	Stopped     State = "stopped"
)

// Lot is the result of inspecting one lot.
type Lot struct {
	Accepted    bool
	Resubmitted bool // inspected before, sorted or mended, and offered again
}

// Severity is the severity the next lot is inspected at. False while stopped: no lot may be accepted by sample.
func (s Switch) Severity() (Severity, bool) {
	switch s.State {
	case Stopped:
		return Tightened, false
	case OnTightened:
		return Tightened, true
	}
	return Normal, true
}

// Next is the switch after one more lot.
func (s Switch) Next(l Lot) (Switch, error) {
	if s.State == Stopped {
		return s, fault.New(fault.Conflict, "acceptance_stopped", "", "acceptance by sample has stopped; inspect every part or record the corrective action first")
	}
	if l.Resubmitted {
		s.Resubmit++
		return s, nil
	}
	s.Lots++
	if s.State == OnTightened {
		if l.Accepted {
			if s.Run++; s.Run >= 5 {
				return Switch{Lots: s.Lots, Resubmit: s.Resubmit, Reason: "5 lots in a row accepted on tightened inspection"}, nil
			}
			return s, nil
		}
		s.Run = 0
		if s.Refused++; s.Refused >= 5 {
			s.State, s.Reason = Stopped, "5 lots not accepted on tightened inspection"
		}
		return s, nil
	}
	refused := 0
	last := append(append([]bool(nil), s.Recent...), l.Accepted)
	for _, ok := range last {
		if !ok {
			refused++
		}
	}
	if refused >= 2 {
		return Switch{State: OnTightened, Lots: s.Lots, Resubmit: s.Resubmit, Reason: "2 of 5 or fewer lots in a row not accepted"}, nil
	}
	if len(last) > 4 {
		last = last[len(last)-4:]
	}
	s.Recent = last
	return s, nil
}

// Mended is the switch after the corrective action that a stop asks for: tightened inspection, counted anew.
func (s Switch) Mended(action string) (Switch, error) {
	if s.State != Stopped {
		return s, fault.New(fault.Conflict, "acceptance_not_stopped", "", "acceptance is not stopped; there is nothing to take up again")
	}
	if action == "" {
		return s, fault.New(fault.Invalid, "action_missing", "action", "say what was done about the cause before acceptance is taken up again")
	}
	return Switch{State: OnTightened, Lots: s.Lots, Resubmit: s.Resubmit, Reason: "taken up again after: " + action}, nil
}
