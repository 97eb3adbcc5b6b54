package build

import (
	"slices"
	"strings"
	"time"

	"firstoff/fault"
)

// Kind of an event.
type Kind string

const (
	Start  Kind = "start" // Ticked holds the codes of the check list
	Pause  Kind = "pause"
	Resume Kind = "resume"
	Lot    Kind = "lot"
	Finish Kind = "finish"
	Fail   Kind = "fail" // Lost holds the pieces that are lost; none named: all
	Drop   Kind = "drop" // a planned build is not made
)

// Event is one thing that happened to a build.
type Event struct {
	ID       string    `json:"id"` // made by the device
	Build    string    `json:"build"`
	Kind     Kind      `json:"kind"`
	Ticked   []string  `json:"ticked,omitempty"`
	Lost     []string  `json:"lost,omitempty"`
	Lot      string    `json:"lot,omitempty"`
	Reason   string    `json:"reason,omitempty"`
	Who      string    `json:"who"`
	At       time.Time `json:"at"`
	Received time.Time `json:"received"`
}

// Word is the state of a build.
type Word string

const (
	Planned Word = "planned"
	Running Word = "running"
	Paused  Word = "paused"
	Done    Word = "done"
	Failed  Word = "failed"
	Dropped Word = "dropped"
)

// Open says whether the build is still to end.
func (w Word) Open() bool { return w == Planned || w == Running || w == Paused }

// State is what the events come to.
type State struct {
	Word    Word      `json:"word"`
	Lots    []string  `json:"lots,omitempty"`
	Lost    []string  `json:"lost,omitempty"`  // to be made again
	Whole   []string  `json:"whole,omitempty"` // pieces that go on
	Started time.Time `json:"started"`
	Ended   time.Time `json:"ended"`
	ActiveS float64   `json:"active_s"` // without the pauses; up to the last event while it runs
	Reason  string    `json:"reason,omitempty"`
	since   time.Time
}

// Fold works out the state from events in the order of their arrival; ids seen before count for nothing, and so do
// events that cannot follow, which Admit lets in none of.
func Fold(b Build, events []Event) State {
	s := State{Word: Planned}
	seen := map[string]bool{}
	for _, e := range events {
		if !seen[e.ID] {
			seen[e.ID] = true
			_ = s.apply(b, e)
		}
	}
	return s
}

// ActiveAt is how long it has run by an instant, without the pauses, s.
func (s State) ActiveAt(at time.Time) float64 {
	s.stop(at)
	return s.ActiveS
}

func (s *State) stop(at time.Time) {
	if !s.since.IsZero() {
		s.ActiveS += max(0, at.Sub(s.since).Seconds())
	}
	s.since = time.Time{}
}

func (s *State) apply(b Build, e Event) error {
	cannot := func(from ...Word) error {
		if slices.Contains(from, s.Word) {
			return nil
		}
		return fault.New(fault.Conflict, "build_state", b.ID, "This build is %s; %s does not follow on that.", s.Word, e.Kind)
	}
	switch e.Kind {
	case Start:
		if err := cannot(Planned); err != nil {
			return err
		}
		for _, c := range b.Checks {
			if !slices.Contains(e.Ticked, c.Code) {
				return fault.New(fault.Invalid, "checklist_open", b.ID, "Not ticked yet: %s", c.Text)
			}
		}
		s.Word, s.Started, s.since = Running, e.At, e.At
	case Pause:
		if err := cannot(Running); err != nil {
			return err
		}
		s.stop(e.At)
		s.Word, s.Reason = Paused, e.Reason
	case Resume:
		if err := cannot(Paused); err != nil {
			return err
		}
		s.Word, s.Reason, s.since = Running, "", e.At
	case Lot:
		if err := cannot(Planned, Running, Paused); err != nil {
			return err
		}
		if !slices.Contains(s.Lots, e.Lot) {
			s.Lots = append(s.Lots, e.Lot)
		}
	case Finish:
		if err := cannot(Running, Paused); err != nil {
			return err
		}
		s.stop(e.At)
		s.Word, s.Ended, s.Reason, s.Whole = Done, e.At, "", b.Pieces()
	case Fail:
		if err := cannot(Running, Paused); err != nil {
			return err
		}
		all := b.Pieces()
		for i, id := range e.Lost {
			if !slices.Contains(all, id) || slices.Contains(e.Lost[:i], id) {
				return fault.New(fault.Invalid, "piece_elsewhere", id, "Piece %s is not in this build, or is named twice.", id)
			}
		}
		s.stop(e.At)
		s.Word, s.Ended, s.Reason = Failed, e.At, e.Reason
		for _, id := range all {
			if len(e.Lost) == 0 || slices.Contains(e.Lost, id) {
				s.Lost = append(s.Lost, id)
			} else {
				s.Whole = append(s.Whole, id)
			}
		}
	case Drop:
		if err := cannot(Planned); err != nil {
			return err
		}
		s.Word, s.Ended, s.Reason = Dropped, e.At, e.Reason
	}
	return nil
}

// Check looks at an event by itself. Faults: Invalid "event_id", "event_kind", "reason_missing", "lot_missing", "text_too_long".
func (e Event) Check() error {
	if len(e.ID) < 8 || len(e.ID) > 64 {
		return fault.New(fault.Invalid, "event_id", "event", "An event needs an id of 8 to 64 characters; load the page again.")
	}
	if len(e.Reason) > 2000 || len(e.Lot) > 100 || len(e.Who) > 200 {
		return fault.New(fault.Invalid, "text_too_long", e.Build, "A text is too long; 2000 characters are possible.")
	}
	switch e.Kind {
	case Start, Resume, Finish:
	case Pause, Fail, Drop:
		if strings.TrimSpace(e.Reason) == "" {
			return fault.New(fault.Invalid, "reason_missing", "reason", "Say why.")
		}
	case Lot:
		if e.Lot == "" {
			return fault.New(fault.Invalid, "lot_missing", "lot", "Say which lot is in the machine.")
		}
	default:
		return fault.New(fault.Invalid, "event_kind", e.Build, "There is no event %q for a build.", string(e.Kind))
	}
	return nil
}

// Admit holds a new event against those before it; fresh is false when it has come before.
// Faults: those of Event.Check; Invalid "checklist_open", "piece_elsewhere"; Conflict "build_state", "event_id_reused".
func Admit(b Build, before []Event, e Event) (s State, fresh bool, err error) {
	if err := e.Check(); err != nil {
		return s, false, err
	}
	s = Fold(b, before)
	if i := slices.IndexFunc(before, func(x Event) bool { return x.ID == e.ID }); i >= 0 {
		if before[i].Kind != e.Kind || before[i].Build != e.Build || before[i].Lot != e.Lot || !slices.Equal(before[i].Lost, e.Lost) {
			return s, false, fault.New(fault.Conflict, "event_id_reused", e.ID, "Another event with this id is kept already; load the page again.")
		}
		return s, false, nil
	}
	if err := s.apply(b, e); err != nil {
		return s, false, err
	}
	return s, true, nil
}
