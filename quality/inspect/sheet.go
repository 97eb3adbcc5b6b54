package inspect

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"firstoff/fault"
	"firstoff/quality/sampling"
)

// Sheet is the inspection of one batch of like pieces: what is measured on which of them. As on the floor, its events are the truth.
type Sheet struct {
	ID        string    `json:"id"` // "I-1001"
	Traveller string    `json:"traveller"`
	OrderID   string    `json:"order_id"`
	LineID    string    `json:"line_id"`
	Name      string    `json:"name"`
	Stream    string    `json:"stream"` // what counts as the same parts for the switching rules: file, process and material
	Pieces    []string  `json:"pieces"` // the lot, by number
	Made      time.Time `json:"made"`
	Word      string    `json:"word"` // a copy of Fold for searching
	Version   int       `json:"version"`
}

// Act of an event on a sheet.
type Act string

const (
	Draw    Act = "plan"    // the characteristics and how many pieces are measured
	Measure Act = "value"   // a value; again for the same piece, balloon and place it stands for the one before
	Strike  Act = "strike"  // the value never was
	Approve Act = "approve" // the first article, by a second person
)

// Event is one thing that happened to a sheet.
type Event struct {
	ID    string `json:"id"`
	Sheet string `json:"sheet"`
	Act   Act    `json:"act"`
	// Draw
	Characteristics []Characteristic  `json:"characteristics,omitempty"`
	Level           sampling.Level    `json:"level,omitempty"` // "" = every piece
	Severity        sampling.Severity `json:"severity,omitempty"`
	Guard           Guard             `json:"guard,omitempty"`
	// Measure, Strike
	Balloon    int     `json:"balloon,omitempty"`
	Piece      string  `json:"piece,omitempty"`
	Place      int     `json:"place,omitempty"` // from 1
	Value      float64 `json:"value,omitempty"`
	U          float64 `json:"u,omitempty"`
	Instrument string  `json:"instrument,omitempty"`
	Overdue    string  `json:"overdue,omitempty"` // why an instrument that is not ready was used all the same

	Reason   string    `json:"reason,omitempty"`
	Who      string    `json:"who"`
	At       time.Time `json:"at"`
	Received time.Time `json:"received"`
}

// Words of a sheet.
const (
	NotPlanned  = "no plan"
	Planned     = "planned"
	Measuring   = "measuring"
	LotAccepted = "accepted"
	LotRejected = "rejected"
	NotDecided  = "not decided"
)

// Standing is what the events of a sheet come to.
type Standing struct {
	Word            string            `json:"word"`
	Characteristics []Characteristic  `json:"characteristics"`
	Level           sampling.Level    `json:"level,omitempty"`
	Severity        sampling.Severity `json:"severity,omitempty"`
	Guard           Guard             `json:"guard,omitempty"`
	Plans           []Sampled         `json:"plans"`  // one for each AQL that is used
	Sample          []string          `json:"sample"` // pieces to be measured, spread over the lot
	Results         []Result          `json:"results"`
	Verdict         Verdict           `json:"verdict"`
	To              int               `json:"to"` // values to take in all
	Taken           int               `json:"taken"`
	Planner         string            `json:"planner,omitempty"`
	ApprovedBy      string            `json:"approvedBy,omitempty"`
	ApprovedAt      time.Time         `json:"approvedAt,omitzero"`
	Misfits         []string          `json:"misfits,omitempty"`
}

// Sampled is the plan for the characteristics of one designator.
type Sampled struct {
	Designator Designator    `json:"designator"`
	Plan       sampling.Plan `json:"plan"`
	Bad        int           `json:"bad"` // pieces with a value of these that does not conform or is not proved to
}

// Fold works out how a sheet stands.
func Fold(s Sheet, events []Event) Standing {
	st := Standing{Word: NotPlanned}
	seen := map[string]bool{}
	for _, e := range events {
		if seen[e.ID] {
			continue
		}
		seen[e.ID] = true
		if err := st.apply(s, e); err != nil {
			st.Misfits = append(st.Misfits, e.ID+": "+err.Error())
		}
	}
	st.decide(s)
	return st
}

// Admit holds a new event against those before it; fresh is false when it has come before.
// Faults: Invalid "event_id", "event_kind", those of CheckAll; NotFound "piece_unknown", "balloon_unknown"; Conflict "sheet_measured",
// "nothing_to_strike", "first_article_second_person", "first_article_open", "event_id_reused".
func Admit(s Sheet, before []Event, e Event) (Standing, bool, error) {
	if len(e.ID) < 8 || len(e.ID) > 64 {
		return Standing{}, false, fault.New(fault.Invalid, "event_id", "event", "An event needs an id of 8 to 64 characters; load the page again.")
	}
	if i := slices.IndexFunc(before, func(b Event) bool { return b.ID == e.ID }); i >= 0 {
		if b := before[i]; b.Act != e.Act || b.Balloon != e.Balloon || b.Piece != e.Piece || b.Value != e.Value || b.Place != e.Place {
			return Standing{}, false, fault.New(fault.Conflict, "event_id_reused", e.ID, "Another event with this id is kept already; load the page again.")
		}
		return Fold(s, before), false, nil
	}
	st := Fold(s, before)
	if err := st.apply(s, e); err != nil {
		return st, false, err
	}
	st.decide(s)
	return st, true, nil
}

func (st *Standing) apply(s Sheet, e Event) error {
	switch e.Act {
	case Draw:
		if err := CheckAll(e.Characteristics); err != nil {
			return err
		}
		if len(e.Characteristics) == 0 {
			return fault.New(fault.Invalid, "plan_empty", s.ID, "A plan needs at least one characteristic.")
		}
		for _, r := range st.Results {
			if !slices.ContainsFunc(e.Characteristics, func(c Characteristic) bool { return c.Balloon == r.Balloon }) {
				return fault.New(fault.Conflict, "sheet_measured", s.ID, "Balloon %d was measured already; strike its values before it is taken out.", r.Balloon)
			}
		}
		st.Characteristics, st.Level, st.Severity, st.Guard, st.Planner = slices.Clone(e.Characteristics), e.Level, e.Severity, e.Guard, e.Who
		if st.Severity == "" {
			st.Severity = sampling.Normal
		}
		return st.draw(s)
	case Measure, Strike:
		c, ok := st.characteristic(e.Balloon)
		if !ok {
			return fault.New(fault.NotFound, "balloon_unknown", s.ID, "This plan has no balloon %d.", e.Balloon)
		}
		if !slices.Contains(s.Pieces, e.Piece) {
			return fault.New(fault.NotFound, "piece_unknown", e.Piece, "Piece %s is not of this lot.", e.Piece)
		}
		place := max(1, e.Place)
		if place > max(1, c.Places) {
			return fault.New(fault.NotFound, "place_unknown", s.ID, "Balloon %d has %d places, not %d.", c.Balloon, max(1, c.Places), place)
		}
		if !finite(e.Value) || !finite(e.U) || e.U < 0 {
			return fault.New(fault.Invalid, "result_not_number", s.ID, "Value and uncertainty must be numbers, the uncertainty not negative; measure again.")
		}
		at := slices.IndexFunc(st.Results, func(r Result) bool {
			return r.Balloon == e.Balloon && r.Piece == e.Piece && r.Place == place
		})
		if e.Act == Strike {
			if at < 0 {
				return fault.New(fault.Conflict, "nothing_to_strike", s.ID, "Balloon %d of piece %s has no value.", e.Balloon, e.Piece)
			}
			st.Results = slices.Delete(slices.Clone(st.Results), at, at+1)
			st.ApprovedBy = ""
			return nil
		}
		r := Result{Balloon: e.Balloon, Piece: e.Piece, Place: place, Value: e.Value, U: e.U, Instrument: e.Instrument, By: e.Who, At: e.At}
		st.ApprovedBy = ""
		if at >= 0 {
			st.Results = slices.Clone(st.Results)
			st.Results[at] = r
		} else {
			st.Results = append(st.Results[:len(st.Results):len(st.Results)], r)
		}
	case Approve:
		st.decide(s)
		switch {
		case strings.TrimSpace(e.Who) == "" || strings.EqualFold(e.Who, st.Planner):
			return fault.New(fault.Denied, "first_article_second_person", s.ID, "Someone other than %s must approve it.", st.Planner)
		case st.Word != LotAccepted:
			return fault.New(fault.Conflict, "first_article_open", s.ID, "It cannot be approved: the inspection is %s.", st.Word)
		}
		st.ApprovedBy, st.ApprovedAt = e.Who, e.At
	default:
		return fault.New(fault.Invalid, "event_kind", s.ID, "There is no event %q on an inspection sheet.", string(e.Act))
	}
	return nil
}

func (st *Standing) characteristic(balloon int) (Characteristic, bool) {
	i := slices.IndexFunc(st.Characteristics, func(c Characteristic) bool { return c.Balloon == balloon })
	if i < 0 {
		return Characteristic{}, false
	}
	return st.Characteristics[i], true
}

// draw finds the sample: the largest any designator needs, spread evenly over the lot so that every build's ends are in it.
func (st *Standing) draw(s Sheet) error {
	st.Plans, st.Sample = nil, nil
	lot, most := len(s.Pieces), 0
	for _, d := range []Designator{Critical, Key, Major, Minor} {
		if !slices.ContainsFunc(st.Characteristics, func(c Characteristic) bool { return c.Designator == d }) {
			continue
		}
		p := sampling.Plan{Lot: lot, N: lot, Re: 1, Whole: true, Severity: st.Severity}
		if aql, ok := d.AQL(); ok && st.Level != "" && lot > 1 {
			var err error
			if p, err = sampling.Single(lot, st.Level, aql, st.Severity); err != nil {
				return err
			}
		}
		if p.Whole || p.N > lot {
			p.N, p.Whole = lot, true
		}
		st.Plans = append(st.Plans, Sampled{Designator: d, Plan: p})
		most = max(most, p.N)
	}
	for i := range most {
		at := 0
		if most > 1 {
			at = i * (lot - 1) / (most - 1)
		}
		st.Sample = append(st.Sample, s.Pieces[at])
	}
	return nil
}

// decide judges the values and the lot.
func (st *Standing) decide(s Sheet) {
	if len(st.Characteristics) == 0 {
		st.Word = NotPlanned
		return
	}
	v, err := Judge(st.Characteristics, st.Results, st.Guard)
	if err != nil {
		st.Misfits = append(st.Misfits, err.Error())
		return
	}
	st.Verdict, st.To, st.Taken = v, 0, len(st.Results)
	for i := range st.Plans {
		p := &st.Plans[i]
		p.Bad = 0
		bad := map[string]bool{}
		for _, j := range v.Judged {
			if c, _ := st.characteristic(j.Balloon); c.Designator == p.Designator && j.Decision == Reject {
				bad[j.Piece] = true
			}
		}
		p.Bad = len(bad)
	}
	missing := 0
	for _, c := range st.Characteristics {
		for _, piece := range st.Sample {
			if !st.Wants(c, piece) {
				continue
			}
			for place := 1; place <= max(1, c.Places); place++ {
				st.To++
				if !slices.ContainsFunc(st.Results, func(r Result) bool { return r.Balloon == c.Balloon && r.Piece == piece && r.Place == place }) {
					missing++
				}
			}
		}
	}
	rejected := false
	for _, p := range st.Plans {
		rejected = rejected || p.Bad > p.Plan.Ac
	}
	switch {
	case rejected:
		st.Word = LotRejected
	case st.Taken == 0:
		st.Word = Planned
	case missing > 0:
		st.Word = Measuring
	case v.Undecided > 0:
		st.Word = NotDecided
	default:
		st.Word = LotAccepted
	}
}

// in says whether a piece is in the smaller sample of a designator: its first N by an even spread over the whole sample.
func (st *Standing) in(d Designator, piece string) bool {
	n := 0
	for _, p := range st.Plans {
		if p.Designator == d {
			n = p.Plan.N
		}
	}
	for i := range n {
		at := 0
		if n > 1 {
			at = i * (len(st.Sample) - 1) / (n - 1)
		}
		if st.Sample[at] == piece {
			return true
		}
	}
	return false
}

// Wants says whether a characteristic is to be measured on a piece.
func (st *Standing) Wants(c Characteristic, piece string) bool {
	for _, p := range st.Plans {
		if p.Designator == c.Designator {
			return p.Plan.N >= len(st.Sample) && slices.Contains(st.Sample, piece) || st.in(c.Designator, piece)
		}
	}
	return false
}

// Values are those of one characteristic, in the order taken.
func (st *Standing) Values(balloon int) []float64 {
	var out []float64
	for _, r := range st.Results {
		if r.Balloon == balloon {
			out = append(out, r.Value)
		}
	}
	return out
}

// Says is the lot's decision in words, e.g. "13 of 50 measured, accepted at up to 1 bad (major, AQL 2.5, level II, normal)".
func (p Sampled) Says() string {
	if p.Plan.Whole {
		return fmt.Sprintf("all %d measured, none bad accepted (%s)", p.Plan.N, p.Designator)
	}
	return fmt.Sprintf("%d of %d measured, accepted at up to %d bad (%s, AQL %g, level %s, %s)", p.Plan.N, p.Plan.Lot, p.Plan.Ac, p.Designator, p.Plan.AQL, p.Plan.Level, p.Plan.Severity)
}

// Lot is what the sheet's lot counts for in the switching rules: accepted or not, and whether the next smaller AQL would have accepted it too.
func (st Standing) Lot() sampling.Lot {
	l := sampling.Lot{Accepted: st.Word == LotAccepted, Narrower: true}
	for _, p := range st.Plans {
		l.Ac = max(l.Ac, p.Plan.Ac)
		if p.Plan.Ac < 2 {
			continue
		}
		ac, ok := p.Plan.NarrowerAc()
		l.Narrower = l.Narrower && ok && p.Bad <= ac
	}
	return l
}
