// Package trail is the record of who did what, when, instead of what, and why: an append-only list of events, each
// carrying the hash of the one before, so that a changed, lost or inserted event is found and named.
//
// What it proves: nothing in the list was altered since it was written, unless all that follows was recomputed as
// well. Whoever wants more keeps the head's hash (printed by the doctor) somewhere else from time to time.
//
// Promises: one flipped byte in any field of any event is found and the event named (TestOneFlippedByte, and
// store/storetest for the rows on disk).
// Source: the linking of time stamps, Haber & Stornetta 1991, from memory; SHA-256 is FIPS 180-4.
package trail

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"time"

	"firstoff/digest"
	"firstoff/fault"
)

// Event is one thing that happened. Seq counts from 1 without gaps over the whole store.
type Event struct {
	Seq   int64         `json:"seq"`
	At    time.Time     `json:"at"`            // UTC, whole microseconds
	Who   string        `json:"who"`           // a person's name, "client", or "desk" for the program itself
	What  string        `json:"what"`          // e.g. "line.quantity"
	About string        `json:"about"`         // the record, e.g. "L-1003"
	In    string        `json:"in,omitempty"`  // the folder it belongs to, e.g. "R-1001"
	Was   string        `json:"was,omitempty"` // the former value, JSON or plain text
	Is    string        `json:"is,omitempty"`  // the new value
	Why   string        `json:"why,omitempty"` // the reason a person gave
	Prev  digest.Digest `json:"prev"`          // hash of event Seq-1; zeros for the first
	Hash  digest.Digest `json:"hash"`
}

// First is what the first event's Prev holds.
const First = digest.Digest("0000000000000000000000000000000000000000000000000000000000000000")

// Seal gives e its place after the event with hash prev: Seq, Prev and Hash are set, At is cut to microseconds.
func (e Event) Seal(seq int64, prev digest.Digest) Event {
	e.Seq, e.Prev, e.At = seq, prev, e.At.UTC().Truncate(time.Microsecond)
	e.Hash = e.Sum()
	return e
}

// Sum is the hash of all fields but Hash. Fields are written with their lengths in front, so that no two events
// have the same bytes.
func (e Event) Sum() digest.Digest {
	h := sha256.New()
	var n [8]byte
	number := func(v uint64) {
		binary.BigEndian.PutUint64(n[:], v)
		h.Write(n[:])
	}
	number(uint64(e.Seq))
	number(uint64(e.At.UnixMicro()))
	for _, s := range []string{e.Who, e.What, e.About, e.In, e.Was, e.Is, e.Why, string(e.Prev)} {
		number(uint64(len(s)))
		h.Write([]byte(s))
	}
	return digest.Digest(hex.EncodeToString(h.Sum(nil)))
}

// Check walks a trail. Feed it every event in order, then ask End.
type Check struct {
	seq  int64
	hash digest.Digest
}

// Next holds e against the events before it.
// Fault: Invalid "trail_broken", naming the event and the record it is about.
func (c *Check) Next(e Event) error {
	prev := c.hash
	if c.seq == 0 {
		prev = First
	}
	switch {
	case e.Seq != c.seq+1:
		return broken(e, "event %d follows event %d: what was between is missing", e.Seq, c.seq)
	case e.Prev != prev:
		return broken(e, "event %d does not carry the hash of event %d: one of the two was changed", e.Seq, c.seq)
	case e.Sum() != e.Hash:
		return broken(e, "event %d (%s about %s) does not match its hash: it was changed after it was written", e.Seq, e.What, e.About)
	}
	c.seq, c.hash = e.Seq, e.Hash
	return nil
}

// End holds the last event seen against the head kept beside the trail, so that a cut-off tail is found.
func (c *Check) End(seq int64, hash digest.Digest) error {
	last := c.hash
	if c.seq == 0 {
		last = First
	}
	if seq != c.seq || hash != last {
		return fault.New(fault.Invalid, "trail_broken", "trail", "The trail ends at event %d, but event %d was written: the end is missing or the head was changed. Restore from a backup.", c.seq, seq)
	}
	return nil
}

func broken(e Event, format string, args ...any) error {
	f := fault.New(fault.Invalid, "trail_broken", "trail", format, args...)
	f.Message += ". Restore from a backup and compare."
	f.Where = "trail event " + e.About
	return f
}
