package bureau

import (
	"context"
	"encoding/json"
	"slices"

	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/part"
	"firstoff/unit"
)

// AnswerUnit says which length unit a file is in. If the parts were taken in another one they are analysed anew.
// Faults: Invalid "unit_unknown"; Conflict "request_closed".
func (b *Bureau) AnswerUnit(ctx context.Context, who, fileID string, u unit.Length) (request.File, error) {
	if u.MM() == 0 {
		_, err := unit.Parse(string(u))
		if err == nil {
			err = fault.New(fault.Invalid, "unit_unknown", fileID, "The unit %q is not known; use mm, cm, m, in, ft or um.", u)
		}
		return request.File{}, err
	}
	f, err := b.p.Records.File(ctx, fileID)
	if err != nil {
		return f, err
	}
	answered := func(ctx context.Context, f *request.File) error {
		was := f.Unit
		f.Unit.Answer, f.Unit.AnsweredBy = u, who
		return b.note(ctx, who, "file.unit", f.ID, f.RequestID, was, string(u), "")
	}
	if f.State != request.Ready || f.Unit.Name != u {
		return b.anew(ctx, fileID, answered)
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if f, err = b.p.Records.File(ctx, fileID); err != nil {
			return err
		}
		if _, err := b.live(ctx, f.RequestID); err != nil {
			return err
		}
		if err := answered(ctx, &f); err != nil {
			return err
		}
		return b.p.Records.SaveFile(ctx, &f)
	})
	return f, err
}

// settings are what a person may set on a line: what undo brings back.
type settings struct {
	Qty          int              `json:"qty"`
	Requirement  part.Requirement `json:"requirement"`
	Chosen       string           `json:"chosen,omitempty"`
	Alternatives []string         `json:"alternatives,omitempty"`
	Aside        bool             `json:"aside,omitempty"`
}

func settingsOf(l request.Line) settings {
	return settings{l.Qty, l.Requirement, l.Chosen, slices.Clone(l.Alternatives), l.Aside}
}

// Events about a line's settings; line.undone takes one of the others back.
const (
	lineQty         = "line.quantity"
	lineRequirement = "line.requirement"
	lineChosen      = "line.chosen"
	lineAside       = "line.aside"
	lineUndone      = "line.undone"
)

// set changes a line's settings and writes down what they were.
func (b *Bureau) set(ctx context.Context, who, what, lineID string, version int, change func(ctx context.Context, l *request.Line) error) (request.Line, error) {
	var l request.Line
	err := b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if l, err = b.p.Records.Line(ctx, lineID); err != nil {
			return err
		}
		if err := seen(l.ID, version, l.Version); err != nil {
			return err
		}
		if _, err := b.live(ctx, l.RequestID); err != nil {
			return err
		}
		was := settingsOf(l)
		if err := change(ctx, &l); err != nil {
			return err
		}
		is := settingsOf(l)
		if words(was) == words(is) {
			return nil
		}
		if was.Qty != is.Qty || words(was.Requirement) != words(is.Requirement) {
			l.Unknown() // another question: its answer is worked out when somebody looks
		} else if was.Chosen != is.Chosen && l.Table != "" {
			switch a, err := b.p.Records.Table(ctx, l.Table); {
			case missing(err):
				l.Unknown()
			case err != nil:
				return err
			default:
				l.Show(l.Table, a.Table)
			}
		}
		if err := b.p.Records.SaveLine(ctx, &l); err != nil {
			return err
		}
		return b.note(ctx, who, what, l.ID, l.RequestID, was, is, "")
	})
	return l, err
}

// SetQty says how many of a part are wanted. Fault: Invalid "qty_range".
func (b *Bureau) SetQty(ctx context.Context, who, lineID string, version, qty int) (request.Line, error) {
	if err := request.CheckQty(qty); err != nil {
		return request.Line{}, err
	}
	return b.set(ctx, who, lineQty, lineID, version, func(_ context.Context, l *request.Line) error {
		l.Qty = qty
		return nil
	})
}

// SetRequirement says what the part must do. Faults: Invalid "date_form", "text_too_long".
func (b *Bureau) SetRequirement(ctx context.Context, who, lineID string, version int, r part.Requirement) (request.Line, error) {
	if err := request.CheckDate(r.NeedBy); err != nil {
		return request.Line{}, err
	}
	notes, err := tidy("notes", r.Notes, 10_000)
	if err != nil {
		return request.Line{}, err
	}
	r.Notes = notes
	return b.set(ctx, who, lineRequirement, lineID, version, func(_ context.Context, l *request.Line) error {
		l.Requirement = r
		return nil
	})
}

// Choose picks the option to quote ("" = the desk's pick again) and those to show beside it (none = as the desk
// would). Faults: NotFound "option_unknown"; Invalid "too_many_alternatives".
func (b *Bureau) Choose(ctx context.Context, who, lineID string, version int, option string, alternatives []string) (request.Line, error) {
	if len(alternatives) > quote.MostAlternatives {
		return request.Line{}, fault.New(fault.Invalid, "too_many_alternatives", lineID, "At most %d alternatives can stand beside the chosen option; leave some out.", quote.MostAlternatives)
	}
	// The table may have to be worked out first, which must not hold a transaction open.
	o, err := b.Options(ctx, lineID, Override{})
	if err != nil {
		return request.Line{}, err
	}
	for _, id := range append(slices.Clone(alternatives), option) {
		if id != "" && request.Find(o.Table, id) == nil {
			return request.Line{}, fault.New(fault.NotFound, "option_unknown", lineID, "There is no such option any more; look at the line's options again.")
		}
	}
	if version == o.Line.Version-1 && o.moved {
		version = o.Line.Version // only the table's key was written since the person looked
	}
	return b.set(ctx, who, lineChosen, lineID, version, func(_ context.Context, l *request.Line) error {
		l.Chosen = option
		l.Alternatives = slices.DeleteFunc(slices.Clone(alternatives), func(id string) bool { return id == option || id == "" })
		return nil
	})
}

// SetAside keeps a line out of quotations, or takes it back in.
func (b *Bureau) SetAside(ctx context.Context, who, lineID string, version int, aside bool) (request.Line, error) {
	return b.set(ctx, who, lineAside, lineID, version, func(_ context.Context, l *request.Line) error {
		l.Aside = aside
		return nil
	})
}

// UndoLine takes the last change of a line's settings back; done again, the one before it.
// Fault: Conflict "nothing_to_undo".
func (b *Bureau) UndoLine(ctx context.Context, who, lineID string) (request.Line, error) {
	events, err := b.p.Records.Trail(ctx, lineID, 1000)
	if err != nil {
		return request.Line{}, err
	}
	undone, at := 0, -1
walk:
	for i, e := range events { // newest first: each undo takes back one change before it
		switch e.What {
		case lineUndone:
			undone++
		case lineQty, lineRequirement, lineChosen, lineAside:
			if undone == 0 {
				at = i
				break walk
			}
			undone--
		}
	}
	if at < 0 {
		return request.Line{}, fault.New(fault.Conflict, "nothing_to_undo", lineID, "Nothing has been changed on this line that could be taken back.")
	}
	var to settings
	if err := json.Unmarshal([]byte(events[at].Was), &to); err != nil {
		return request.Line{}, fault.Because(err, fault.Internal, "trail_unreadable", lineID, "The former settings cannot be read; set them by hand.")
	}
	return b.set(ctx, who, lineUndone, lineID, 0, func(_ context.Context, l *request.Line) error {
		l.Qty, l.Requirement, l.Chosen, l.Alternatives, l.Aside = to.Qty, to.Requirement, to.Chosen, to.Alternatives, to.Aside
		return nil
	})
}
