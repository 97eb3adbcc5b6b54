package quote

import (
	"encoding/json"
	"time"

	"firstoff/digest"
	"firstoff/fault"
)

// stale is how long the dates of a draft are good for before they must be computed anew.
const stale = 24 * time.Hour

// Seal is the body's bytes as they are frozen, and their digest.
func Seal(b Body) ([]byte, digest.Digest, error) {
	text, err := json.Marshal(b)
	return text, digest.Of(text), err
}

// Issue freezes a draft. load is the revision of the shop's present workload.
// Faults: Conflict "quotation_state"; Conflict "draft_stale" when the dates were computed for another workload or
// more than a day ago; Conflict "nothing_to_quote"; Invalid "valid_until".
func (q Quotation) Issue(today string, now time.Time, load digest.Digest) (Quotation, error) {
	switch {
	case q.State != Draft:
		return q, q.forbids("issued")
	case len(q.Body.Lines) == 0:
		return q, fault.New(fault.Conflict, "nothing_to_quote", q.ID, "The draft has no lines; take one in before sending it.")
	case q.Body.MadeFrom.Load != load || now.Sub(q.Body.MadeFrom.Now) > stale:
		return q, fault.New(fault.Conflict, "draft_stale", q.ID, "Since this draft was made time has passed or the shop took on other work; compute it again, so that its dates hold.")
	}
	if err := CheckValidity(q.Body.ValidUntil, today); err != nil {
		return q, fault.At(err, q.ID)
	}
	_, d, err := Seal(q.Body)
	if err != nil {
		return q, err
	}
	q.State, q.Issued, q.Frozen = Issued, now, d
	return q, nil
}

// CheckValidity says whether a quotation may be valid until that day. Fault: Invalid "valid_until".
func CheckValidity(until, today string) error {
	if _, err := time.Parse(time.DateOnly, until); err != nil || until < today {
		return fault.New(fault.Invalid, "valid_until", "valid_until", "A quotation cannot be valid until %q; give today or a later day as 2006-01-31.", until)
	}
	return nil
}

// On is the state on a day: an issued quotation whose validity is over has expired, whether or not
// that has been written down.
func (q Quotation) On(today string) State {
	if q.State == Issued && q.Body.ValidUntil < today {
		return Expired
	}
	return q.State
}

// Accept, Decline are the client's decisions on an issued quotation that is still valid.
// Faults: Conflict "quotation_state", "quotation_expired".
func (q Quotation) Accept(who, today string, now time.Time) (Quotation, error) {
	return q.decide(Accepted, who, "", today, now)
}

// Decline is the client's no.
func (q Quotation) Decline(who, reason, today string, now time.Time) (Quotation, error) {
	return q.decide(Declined, who, reason, today, now)
}

func (q Quotation) decide(to State, who, reason, today string, now time.Time) (Quotation, error) {
	switch q.On(today) {
	case Issued:
	case Expired:
		return q, fault.New(fault.Conflict, "quotation_expired", q.ID, "This quotation was valid until %s; ask for a new one.", q.Body.ValidUntil)
	default:
		return q, q.forbids(string(to))
	}
	q.State, q.Decided, q.DecidedBy, q.Reason = to, now, who, reason
	return q, nil
}

// Withdraw takes a draft or an issued quotation back. Fault: Conflict "quotation_state".
func (q Quotation) Withdraw(who, reason string, now time.Time) (Quotation, error) {
	if q.State != Draft && q.State != Issued {
		return q, q.forbids("withdrawn")
	}
	q.State, q.Decided, q.DecidedBy, q.Reason = Withdrawn, now, who, reason
	return q, nil
}

// Supersede marks an issued quotation as replaced by a later revision; other states stay as they are.
func (q Quotation) Supersede(by string, now time.Time) Quotation {
	if q.State == Issued {
		q.State, q.Decided, q.Reason = Superseded, now, "replaced by "+by
	}
	return q
}

func (q Quotation) forbids(what string) error {
	return fault.New(fault.Conflict, "quotation_state", q.ID, "This quotation is %s and cannot be %s.", q.State, what)
}

// Next is the revision letter after r: A, B … Z, AA, AB …
func Next(r string) string {
	b := []byte(r)
	for i := len(b) - 1; i >= 0; i-- {
		if b[i] < 'Z' {
			b[i]++
			return string(b)
		}
		b[i] = 'A'
	}
	return "A" + string(b)
}
