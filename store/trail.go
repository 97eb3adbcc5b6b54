package store

import (
	"context"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/trail"
)

// Log keeps events for the end of the transaction, where they are sealed into the chain.
func (s *Store) Log(ctx context.Context, events ...trail.Event) error {
	o, ok := ctx.Value(key{}).(*open)
	if !ok || o.s != s {
		return s.InTx(ctx, func(ctx context.Context) error { return s.Log(ctx, events...) })
	}
	o.events = append(o.events, events...)
	return nil
}

// seal appends the transaction's events. The head's row is locked until the commit, so events of transactions
// running at the same time follow one another in the order in which they commit.
func (s *Store) seal(ctx context.Context, o *open) error {
	if len(o.events) == 0 {
		return nil
	}
	var seq int64
	var hash string
	err := s.one(ctx, "trail", []any{&seq, &hash}, "UPDATE trail_head SET seq = seq + ? WHERE one = 1 RETURNING seq, hash", len(o.events))
	if err != nil {
		return err
	}
	seq -= int64(len(o.events))
	prev := digest.Digest(hash)
	for _, e := range o.events {
		seq++
		e = e.Seal(seq, prev)
		prev = e.Hash
		if _, err := s.exec(ctx, `INSERT INTO events (seq, at, who, what, about, folder, was, is_now, why, prev, hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			e.Seq, stamp(e.At), e.Who, e.What, e.About, e.In, e.Was, e.Is, e.Why, string(e.Prev), string(e.Hash)); err != nil {
			return err
		}
	}
	_, err = s.exec(ctx, "UPDATE trail_head SET hash = ? WHERE one = 1", string(prev))
	return err
}

const eventColumns = "SELECT seq, at, who, what, about, folder, was, is_now, why, prev, hash FROM events "

func scanEvent(scan func(...any) error) (trail.Event, error) {
	var e trail.Event
	var at, prev, hash string
	if err := scan(&e.Seq, &at, &e.Who, &e.What, &e.About, &e.In, &e.Was, &e.Is, &e.Why, &prev, &hash); err != nil {
		return e, err
	}
	e.Prev, e.Hash = digest.Digest(prev), digest.Digest(hash)
	t, err := readStamp(at)
	if err != nil {
		return e, fault.Because(err, fault.Invalid, "trail_broken", "trail event "+e.About, "event %d carries no readable time: it was changed after it was written. Restore from a backup and compare.", e.Seq)
	}
	e.At = t
	return e, nil
}

// Trail lists events about a record or in a folder, newest first; about "" lists all.
func (s *Store) Trail(ctx context.Context, about string, limit int) ([]trail.Event, error) {
	found := []trail.Event{}
	where, args := "", []any{}
	if about != "" {
		where, args = "WHERE about = ? OR folder = ? ", []any{about, about}
	}
	err := s.each(ctx, func(scan func(...any) error) error {
		e, err := scanEvent(scan)
		found = append(found, e)
		return err
	}, eventColumns+where+"ORDER BY seq DESC LIMIT ?", append(args, limited(limit, 10_000))...)
	return found, err
}

// CheckTrail walks the whole chain and holds it against its head. It gives the number of the last event and its
// hash, worth keeping elsewhere.
// Fault: Invalid "trail_broken", naming the event and the record it is about.
func (s *Store) CheckTrail(ctx context.Context) (int64, digest.Digest, error) {
	var c trail.Check
	var seq int64
	var hash string
	// One statement, so that head and events are of one moment.
	err := s.each(ctx, func(scan func(...any) error) error {
		e, err := scanEvent(func(into ...any) error { return scan(append(into, &seq, &hash)...) })
		if err != nil {
			return err
		}
		return c.Next(e)
	}, "SELECT e.seq, e.at, e.who, e.what, e.about, e.folder, e.was, e.is_now, e.why, e.prev, e.hash, h.seq, h.hash FROM events e CROSS JOIN trail_head h ORDER BY e.seq")
	if err != nil {
		return 0, "", err
	}
	if seq == 0 { // no event at all: the head must say so too
		if err := s.one(ctx, "trail", []any{&seq, &hash}, "SELECT seq, hash FROM trail_head"); err != nil {
			return 0, "", err
		}
	}
	return seq, digest.Digest(hash), c.End(seq, digest.Digest(hash))
}
