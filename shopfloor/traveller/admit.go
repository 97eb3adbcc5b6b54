package traveller

import (
	"errors"
	"slices"

	"firstoff/fault"
)

// Admit holds a new event against those before it. fresh is false when the event has come before: then nothing is to be
// kept, and the state is as it was.
// Faults: those of Event.Check; Conflict "event_id_reused", "nothing_waiting", "running_already", "not_running",
// "more_than_waiting", "piece_elsewhere", "nothing_to_remake", "void_already", "work_stands_on_it"; NotFound
// "operation_unknown", "piece_unknown", "event_unknown"; Conflict "withdrawn_already".
func Admit(t Traveller, before []Event, e Event) (s State, fresh bool, err error) {
	if err := e.Check(); err != nil {
		return s, false, err
	}
	if i := slices.IndexFunc(before, func(b Event) bool { return b.ID == e.ID }); i >= 0 {
		if !before[i].same(e) {
			return s, false, fault.New(fault.Conflict, "event_id_reused", e.ID, "Another event with this id is kept already; load the page again.")
		}
		return Fold(t, before), false, nil
	}
	if e.Kind == Correct {
		i := slices.IndexFunc(before, func(b Event) bool { return b.ID == e.Voids })
		switch {
		case i < 0:
			return s, false, fault.New(fault.NotFound, "event_unknown", e.Voids, "The event to correct is not known.")
		case before[i].Kind == Correct:
			return s, false, fault.New(fault.Conflict, "void_already", e.Voids, "A correction cannot be corrected; report again what happened.")
		case before[i].Kind == Withdraw:
			return s, false, fault.New(fault.Conflict, "withdrawn_already", e.Voids, "Pieces are withdrawn by a change of the order; that is not corrected here.")
		case slices.ContainsFunc(before, func(b Event) bool { return b.Kind == Correct && b.Voids == e.Voids }):
			return s, false, fault.New(fault.Conflict, "void_already", e.Voids, "This event was corrected already.")
		}
	}
	all := append(slices.Clip(before), e)
	s = Fold(t, all)
	for _, m := range s.Misfits {
		if m.Event == e.ID {
			return s, false, m.err
		}
	}
	if len(s.Misfits) > 0 {
		return s, false, fault.Because(errors.New(s.Misfits[0].Why), fault.Conflict, "work_stands_on_it", e.Voids, "Later reports stand on this one; correct those first, the newest before the others.")
	}
	return s, true, nil
}
