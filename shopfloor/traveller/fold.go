package traveller

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"firstoff/fault"
)

// Word is the state of a traveller or of one of its operations.
type Word string

const (
	Ahead     Word = "ahead"   // nothing has reached this operation yet
	Waiting   Word = "waiting" // pieces lie here, nobody is at them
	Running   Word = "running"
	Paused    Word = "paused"
	InWork    Word = "in work" // a traveller that is under way between operations
	Short     Word = "short"   // fewer good pieces than ordered and none in work: some must be made again
	Done      Word = "done"
	Cancelled Word = "cancelled" // its order was taken back
)

// Open says whether there is work left.
func (w Word) Open() bool { return w != Done && w != Cancelled }

// State is what the events come to.
type State struct {
	Word   Word      `json:"word"`
	Ops    []OpState `json:"operations"`
	Pieces []Piece   `json:"pieces"` // as ordered, then those made again
	Good   int       `json:"good"`
	Scrap  int       `json:"scrap"`
	InWork int       `json:"in_work"`
	Remade int       `json:"remade"`         // pieces started again
	Away   int       `json:"away,omitempty"` // pieces withdrawn
	Next   int       `json:"next"`           // number of the operation to do next; 0 = none
	Last   time.Time `json:"last"`           // of the last event
	Void   []string  `json:"void,omitempty"`
	// Misfits are events that could not have happened, e.g. a finish of pieces that were not there. Admit lets none in.
	Misfits []Misfit `json:"misfits,omitempty"`
}

// Misfit is an event that does not follow from those before it.
type Misfit struct {
	Event string `json:"event"`
	Why   string `json:"why"`
	err   error
}

// OpState is one operation as it stands.
type OpState struct {
	No      int       `json:"no"`
	Word    Word      `json:"word"`
	Waiting int       `json:"waiting"` // pieces lying here
	Good    int       `json:"good"`
	Scrap   int       `json:"scrap"`
	Lots    []string  `json:"lots,omitempty"`
	Machine string    `json:"machine,omitempty"` // where it really was
	Who     string    `json:"who,omitempty"`     // last hand
	Reason  string    `json:"reason,omitempty"`  // why paused
	Started time.Time `json:"started"`           // of the present spell; zero unless running
	ActiveS float64   `json:"active_s"`          // of all spells that ended
	uses    []use
}

type use struct {
	lot    string
	pieces []string // none: all
}

// Piece is one part on its way.
type Piece struct {
	ID      string `json:"id"`
	At      int    `json:"at"` // operation it lies at; one past the last: through
	Scrap   bool   `json:"scrap,omitempty"`
	Reason  string `json:"reason,omitempty"`  // why scrap
	Remade  bool   `json:"remade,omitempty"`  // a new piece stands for it
	Away    bool   `json:"away,omitempty"`    // withdrawn: neither good nor scrap nor in work
	Attempt int    `json:"attempt,omitempty"` // 2 for the first made again
	passes  []pass
}

type pass struct {
	op      int
	who     string
	machine string
	build   string
	at      time.Time
}

// Fold works out the state from the events in the order of their arrival. Events with an id seen before and events
// made void count for nothing. A finish takes the pieces that lie at its operation in order: the scrapped ones are those
// named, else the last ones; the good ones those named, else the first. A lot is in the pieces named, else in all that were or will be worked at the operation.
func Fold(t Traveller, events []Event) State {
	s := State{Ops: make([]OpState, len(t.Operations)), Pieces: make([]Piece, 0, len(t.Pieces))}
	for i := range s.Ops {
		s.Ops[i].No = i + 1
	}
	for _, id := range t.Pieces {
		s.Pieces = append(s.Pieces, Piece{ID: id, At: 1, Attempt: 1})
	}
	seen, void := map[string]bool{}, map[string]bool{}
	once := make([]Event, 0, len(events))
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
		if e.At.After(s.Last) {
			s.Last = e.At
		}
		if e.Kind == Correct || void[e.ID] {
			continue
		}
		if err := s.apply(&t, e); err != nil {
			s.Misfits = append(s.Misfits, Misfit{e.ID, err.Error(), err})
		}
	}
	s.sum(len(t.Pieces))
	return s
}

func (s *State) at(op int) []int {
	var out []int
	for i, p := range s.Pieces {
		if !p.Scrap && !p.Away && p.At == op {
			out = append(out, i)
		}
	}
	return out
}

func (s *State) apply(t *Traveller, e Event) error {
	if e.Kind == Note {
		return nil
	}
	if e.Kind == Remake {
		return s.remake(t, e)
	}
	if e.Kind == Withdraw || e.Kind == Reject {
		return s.takeOut(e)
	}
	op := t.Operation(e.Op)
	if op == nil {
		return fault.New(fault.NotFound, "operation_unknown", t.ID, "This traveller has no operation %d.", e.Op)
	}
	o := &s.Ops[e.Op-1]
	here := s.at(e.Op)
	switch e.Kind {
	case Start:
		if len(here) == 0 {
			return fault.New(fault.Conflict, "nothing_waiting", t.ID, "No piece lies at operation %d, %s; look which one comes next.", e.Op, op.Name)
		}
		if !o.Started.IsZero() {
			return fault.New(fault.Conflict, "running_already", t.ID, "Operation %d, %s, is running already.", e.Op, op.Name)
		}
		o.Started, o.Who, o.Word, o.Reason = e.At, e.Who, Running, ""
		o.Machine = planned(e.Machine, op.Resource)
	case Pause:
		if o.Started.IsZero() {
			return fault.New(fault.Conflict, "not_running", t.ID, "Operation %d, %s, is not running, so it cannot be paused.", e.Op, op.Name)
		}
		o.stop(e.At)
		o.Who, o.Word, o.Reason = e.Who, Paused, e.Reason
	case UseLot:
		for _, id := range e.Pieces {
			if !slices.ContainsFunc(s.Pieces, func(p Piece) bool { return p.ID == id }) {
				return fault.New(fault.NotFound, "piece_unknown", t.ID, "This traveller has no piece %s.", id)
			}
		}
		o.uses = append(o.uses, use{e.Lot, e.Pieces})
		if !slices.Contains(o.Lots, e.Lot) {
			o.Lots = append(o.Lots, e.Lot)
		}
	case Finish:
		return s.finish(op, o, here, e)
	}
	return nil
}

func planned(machine, plan string) string {
	if machine != "" {
		return machine
	}
	return plan
}

// stop ends the present spell. A device whose clock was set back in between gives no time at all.
func (o *OpState) stop(at time.Time) {
	if !o.Started.IsZero() {
		o.ActiveS += max(0, at.Sub(o.Started).Seconds())
	}
	o.Started = time.Time{}
}

func (s *State) finish(op *Operation, o *OpState, here []int, e Event) error {
	if n := e.Good + e.Scrap; n > len(here) {
		return fault.New(fault.Conflict, "more_than_waiting", e.Traveller, "%d pieces are reported at operation %d, %s, but %d lie there; count again or correct an earlier report.", n, e.Op, op.Name, len(here))
	}
	out, on := map[int]bool{}, map[int]bool{}
	for _, named := range []struct {
		ids  []string
		into map[int]bool
	}{{e.Pieces, out}, {e.Goods, on}} {
		for _, id := range named.ids {
			k := slices.IndexFunc(here, func(i int) bool { return s.Pieces[i].ID == id })
			if k < 0 || out[here[k]] || on[here[k]] {
				return fault.New(fault.Conflict, "piece_elsewhere", id, "Piece %s does not lie at operation %d, %s, or is named twice.", id, e.Op, op.Name)
			}
			named.into[here[k]] = true
		}
	}
	for k := len(here) - 1; k >= 0 && len(out) < e.Scrap; k-- {
		if !on[here[k]] {
			out[here[k]] = true
		}
	}
	for k := 0; k < len(here) && len(on) < e.Good; k++ {
		if !out[here[k]] {
			on[here[k]] = true
		}
	}
	machine := planned(e.Machine, planned(o.Machine, op.Resource))
	p := pass{e.Op, e.Who, machine, e.Build, e.At}
	for _, i := range here {
		switch piece := &s.Pieces[i]; {
		case out[i]:
			piece.Scrap, piece.Reason = true, e.Reason
			piece.passes = append(piece.passes, p)
		case on[i]:
			piece.At++
			piece.passes = append(piece.passes, p)
		}
	}
	o.Good += e.Good
	o.Scrap += e.Scrap
	o.stop(e.At)
	o.Who, o.Word, o.Reason, o.Machine = e.Who, "", "", machine
	return nil
}

func (s *State) remake(t *Traveller, e Event) error {
	which := e.Pieces
	if len(which) == 0 {
		for _, p := range s.Pieces {
			if p.Scrap && !p.Remade && !p.Away {
				which = append(which, p.ID)
			}
		}
	}
	if len(which) == 0 {
		return fault.New(fault.Conflict, "nothing_to_remake", t.ID, "No scrapped piece waits to be made again.")
	}
	at := t.Making()
	if t.Operation(e.Op) != nil {
		at = e.Op
	}
	for k, id := range which {
		i := slices.IndexFunc(s.Pieces, func(p Piece) bool { return p.ID == id })
		if i < 0 || !s.Pieces[i].Scrap || s.Pieces[i].Remade || s.Pieces[i].Away || slices.Contains(which[:k], id) {
			return fault.New(fault.Conflict, "nothing_to_remake", id, "Piece %s is not scrap, or is being made again already.", id)
		}
	}
	for _, id := range which {
		i := slices.IndexFunc(s.Pieces, func(p Piece) bool { return p.ID == id })
		s.Pieces[i].Remade = true
		base, _, _ := strings.Cut(id, ".")
		n := s.Pieces[i].Attempt + 1
		s.Pieces = append(s.Pieces, Piece{ID: base + "." + strconv.Itoa(n), At: at, Attempt: n})
		s.Remade++
	}
	return nil
}

// takeOut takes the latest attempt of each piece named out of the work, wherever it lies: withdrawn it is not wanted any more, rejected it
// is scrap and may be made again.
func (s *State) takeOut(e Event) error {
	for _, id := range e.Pieces {
		i := -1
		for k := range s.Pieces {
			if Number(s.Pieces[k].ID) == Number(id) {
				i = k
			}
		}
		switch {
		case i < 0:
			return fault.New(fault.NotFound, "piece_unknown", id, "This traveller has no piece %s.", id)
		case s.Pieces[i].Away:
			return fault.New(fault.Conflict, "withdrawn_already", id, "Piece %s was withdrawn already.", id)
		case e.Kind == Reject && s.Pieces[i].Scrap:
			return fault.New(fault.Conflict, "scrap_already", id, "Piece %s is scrap already.", id)
		}
		p := &s.Pieces[i]
		if e.Kind == Reject {
			p.Scrap = true
			if p.At <= len(s.Ops) {
				s.Ops[p.At-1].Scrap++
			}
		} else {
			p.Away = true
		}
		if p.Reason == "" {
			p.Reason = e.Reason
		}
		if at := p.At; at <= len(s.Ops) && len(s.at(at)) == 0 { // nobody works on nothing
			s.Ops[at-1].stop(e.At)
			s.Ops[at-1].Word = ""
		}
	}
	return nil
}

// Behind says how much of the route lies behind each ordered piece, 0..1 by hours, counting an operation that has begun as behind: what
// was put into a machine is spent.
func (s State) Behind(t Traveller) map[string]float64 {
	all, upTo := 0.0, make([]float64, len(t.Operations)+1)
	for i, o := range t.Operations {
		all += o.HandsS + o.ElapsedS
		upTo[i+1] = all
	}
	out := map[string]float64{}
	for _, p := range s.Pieces {
		if all <= 0 {
			break
		}
		k := min(p.At-1, len(t.Operations))
		if k < len(s.Ops) && (!s.Ops[k].Started.IsZero() || len(s.Ops[k].lotsIn(p.ID)) > 0) {
			k++
		}
		out[Number(p.ID)] = upTo[k] / all // a later attempt stands for the piece
	}
	return out
}

// sum counts and finds the words.
func (s *State) sum(due int) {
	last := len(s.Ops)
	for _, p := range s.Pieces {
		switch {
		case p.Away:
			s.Away++
			due--
			if p.Scrap {
				s.Scrap++
			}
		case p.Scrap:
			s.Scrap++
		case p.At > last:
			s.Good++
		default:
			s.InWork++
			s.Ops[p.At-1].Waiting++
		}
	}
	touched, running, paused, before := false, false, false, 0
	for i := range s.Ops {
		o := &s.Ops[i]
		switch {
		case o.Word == Running:
			running = true
		case o.Word == Paused && o.Waiting > 0:
			paused = true
		case o.Waiting > 0:
			o.Word = Waiting
		case before == 0 && o.Good+o.Scrap > 0:
			o.Word = Done
		default:
			o.Word = Ahead
		}
		if o.Waiting > 0 && s.Next == 0 {
			s.Next = o.No
		}
		before += o.Waiting
		touched = touched || o.Good+o.Scrap > 0 || o.ActiveS > 0 || len(o.Lots) > 0
	}
	switch {
	case due <= 0:
		s.Word = Cancelled
	case s.Good >= due:
		s.Word = Done
	case running:
		s.Word = Running
	case paused:
		s.Word = Paused
	case s.InWork == 0:
		s.Word = Short
	case touched:
		s.Word = InWork
	default:
		s.Word = Waiting
	}
}
