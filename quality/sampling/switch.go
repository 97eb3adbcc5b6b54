package sampling

import "firstoff/fault"

// Switch is where the inspection of one stream of lots stands: normal, tightened, reduced, or stopped. The zero value is the
// start of normal inspection.
//
// Rules (ISO 2859-1 cl. 9, from memory): normal becomes tightened when 2 of 5 or fewer consecutive lots were not
// accepted; tightened becomes normal when 5 consecutive lots were accepted; 5 lots not accepted while on tightened
// stop acceptance until the supplier's process was mended, after which inspection goes on tightened. Normal may become
// reduced when the switching score has reached 30, production is steady, and whoever is responsible wants it: Reduce. Reduced becomes
// normal with the first lot not accepted, or when production is not steady any more: Unsteady. Only first
// inspections count, not resubmitted lots.
//
// The score (cl. 9.3.3): an accepted lot adds 2 when its plan accepts on 0 or 1; with a larger acceptance number it adds 3 when the lot would have
// been accepted at the next smaller AQL too; anything else sets the score to 0.
type Switch struct {
	State    State  `json:"state"`
	Recent   []bool `json:"recent,omitempty"`   // normal: the last four lots at most, true for accepted
	Score    int    `json:"score,omitempty"`    // normal: the switching score
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
	OnReduced   State = "reduced"
	Stopped     State = "stopped"
)

// EnoughScore is the switching score from which inspection may become reduced.
const EnoughScore = 30

// Lot is the result of inspecting one lot.
type Lot struct {
	Accepted    bool
	Resubmitted bool // inspected before, sorted or mended, and offered again
	// Ac is the acceptance number of its plan, and Narrower whether it would have been accepted at the next smaller AQL; they count for the
	// switching score only.
	Ac       int
	Narrower bool
}

// NarrowerAc is the acceptance number of a plan's lot at the next smaller AQL with the same sample; ok is false when that AQL
// does not exist or asks for another sample, so that it cannot be said.
func (p Plan) NarrowerAc() (ac int, ok bool) {
	col := -1
	for i, v := range aqls {
		if v == p.AQL {
			col = i
		}
	}
	if col <= 0 || p.Letter == "" {
		return 0, false
	}
	q, err := Single(p.Lot, p.Level, aqls[col-1], p.Severity)
	if err != nil || q.N != p.N {
		return 0, false
	}
	return q.Ac, true
}

// Severity is the severity the next lot is inspected at. False while stopped: no lot may be accepted by sample.
func (s Switch) Severity() (Severity, bool) {
	switch s.State {
	case Stopped:
		return Tightened, false
	case OnTightened:
		return Tightened, true
	case OnReduced:
		return Reduced, true
	}
	return Normal, true
}

// MayReduce says whether the score allows reduced inspection.
func (s Switch) MayReduce() bool { return s.State == OnNormal && s.Score >= EnoughScore }

// Reduce begins reduced inspection. Faults: Conflict "score_too_low"; Invalid "action_missing" when nobody says that production is steady.
func (s Switch) Reduce(why string) (Switch, error) {
	if !s.MayReduce() {
		return s, fault.New(fault.Conflict, "score_too_low", "", "reduced inspection needs normal inspection with a switching score of %d; it stands at %d", EnoughScore, s.Score)
	}
	if why == "" {
		return s, fault.New(fault.Invalid, "action_missing", "why", "say who wants reduced inspection, and that production is steady")
	}
	return Switch{State: OnReduced, Lots: s.Lots, Resubmit: s.Resubmit, Reason: "switching score of " + why}, nil
}

// Unsteady ends reduced inspection without a lot refused.
func (s Switch) Unsteady(why string) Switch {
	if s.State != OnReduced {
		return s
	}
	return Switch{Lots: s.Lots, Resubmit: s.Resubmit, Reason: why}
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
	switch s.State {
	case OnReduced:
		if !l.Accepted {
			return Switch{Lots: s.Lots, Resubmit: s.Resubmit, Recent: []bool{false}, Reason: "a lot not accepted on reduced inspection"}, nil
		}
		return s, nil
	case OnTightened:
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
	switch {
	case l.Accepted && l.Ac <= 1:
		s.Score += 2
	case l.Accepted && l.Narrower:
		s.Score += 3
	default:
		s.Score = 0
	}
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
