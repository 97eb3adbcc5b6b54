// Package fault names the ways in which a request can fail, once for all faces of the program:
// exit codes, HTTP statuses and retry decisions are derived from a fault's kind and nowhere else.
//
// A fault is neither a finding (the part has a thin wall) nor a refusal (this process cannot hold
// that tolerance): those are results. A fault means that the question could not be answered.
package fault

import (
	"errors"
	"fmt"
)

// Kind says what sort of failure it is and so who can mend it.
type Kind int

const (
	Internal    Kind = iota // our defect: logged, shown with a reference only
	Invalid                 // the input is wrong: say what, where and what to do
	NotFound                // no such record
	Conflict                // someone changed it meanwhile, or the state forbids it
	Denied                  // not allowed
	Unsupported             // understood, but not something this program does
	TooLarge                // over a stated limit
	Busy                    // try again later
)

var names = [...]string{"internal", "invalid", "not_found", "conflict", "denied", "unsupported", "too_large", "busy"}

// String is the kind's name as it appears in JSON.
func (k Kind) String() string {
	if k < 0 || int(k) >= len(names) {
		return "internal"
	}
	return names[k]
}

// Error is a failure with a stable code for machines and one plain sentence for people.
type Error struct {
	Kind    Kind
	Code    string // stable, snake_case, e.g. "stl_truncated"
	Message string // one sentence: what is wrong and what to do
	Where   string // file, line, byte, field; may be empty
	Err     error  // the cause, for the log; may be nil
}

// Error renders the sentence with its place, without the cause.
func (e *Error) Error() string {
	if e.Where == "" {
		return e.Message
	}
	return e.Where + ": " + e.Message
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// New makes a fault. The message is formatted as by fmt.Sprintf.
func New(kind Kind, code, where, format string, args ...any) *Error {
	return &Error{Kind: kind, Code: code, Where: where, Message: fmt.Sprintf(format, args...)}
}

// Because makes a fault that keeps its cause for the log.
func Because(err error, kind Kind, code, where, format string, args ...any) *Error {
	e := New(kind, code, where, format, args...)
	e.Err = err
	return e
}

// At returns err with its place prefixed by where when err is a fault; other errors pass unchanged.
func At(err error, where string) error {
	var f *Error
	if where == "" || !errors.As(err, &f) {
		return err
	}
	g := *f
	if g.Where == "" {
		g.Where = where
	} else {
		g.Where = where + ": " + g.Where
	}
	return &g
}

// Of finds the fault in err's chain; an unknown error becomes an Internal one that keeps it.
// Of(nil) is nil.
func Of(err error) *Error {
	if err == nil {
		return nil
	}
	var f *Error
	if errors.As(err, &f) {
		return f
	}
	return Because(err, Internal, "internal", "", "Something went wrong inside; the log says what.")
}

// KindOf is the kind of err; Internal for errors that are no fault.
func KindOf(err error) Kind { return Of(err).Kind }
