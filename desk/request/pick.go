package request

import (
	"slices"

	"firstoff/desk/offer"
	"firstoff/digest"
)

// Find is the option with this id, or nil.
func Find(t offer.Table, id string) *offer.Option {
	for i := range t.Options {
		if t.Options[i].ID == id && id != "" {
			return &t.Options[i]
		}
	}
	return nil
}

// Pick is the option the desk would take: the one the ranking tags so, else the first; nil when all was refused.
func Pick(t offer.Table) *offer.Option {
	for i := range t.Options {
		if slices.Contains(t.Options[i].Tags, "pick") {
			return &t.Options[i]
		}
	}
	if len(t.Options) > 0 {
		return &t.Options[0]
	}
	return nil
}

// Show notes on the line what the table kept under key says, in short.
func (l *Line) Show(key digest.Digest, t offer.Table) {
	l.Table, l.Options, l.Refused, l.Pick = key, len(t.Options), len(t.Refused), nil
	o := Find(t, l.Chosen)
	if o == nil {
		o = Pick(t)
	}
	if o != nil {
		short := *o
		short.Why, short.Steps = nil, nil
		l.Pick = &short
	}
}

// Unknown takes back what Show noted: the question has changed and nobody has answered it yet.
func (l *Line) Unknown() { l.Table, l.Options, l.Refused, l.Pick = "", 0, 0, nil }
