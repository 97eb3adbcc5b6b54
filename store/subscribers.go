package store

import (
	"context"

	"firstoff/post"
	"firstoff/trail"
)

var subscribers = kind[post.Subscriber]{
	table:   "subscribers",
	id:      func(s *post.Subscriber) string { return s.ID },
	version: func(s *post.Subscriber) *int { return &s.Version },
	columns: func(*post.Subscriber) []any { return nil },
}

// AddSubscriber keeps a new subscriber.
func (s *Store) AddSubscriber(ctx context.Context, x *post.Subscriber) error {
	return subscribers.add(ctx, s, x)
}

// SaveSubscriber replaces a subscriber.
func (s *Store) SaveSubscriber(ctx context.Context, x *post.Subscriber) error {
	return subscribers.save(ctx, s, x)
}

// Subscriber finds a subscriber by number.
func (s *Store) Subscriber(ctx context.Context, id string) (post.Subscriber, error) {
	return subscribers.get(ctx, s, id)
}

// Subscribers lists all, oldest first.
func (s *Store) Subscribers(ctx context.Context) ([]post.Subscriber, error) {
	return subscribers.list(ctx, s, "ORDER BY no LIMIT 1000")
}

// DeleteSubscriber forgets a subscriber.
func (s *Store) DeleteSubscriber(ctx context.Context, id string) error {
	_, err := s.exec(ctx, "DELETE FROM subscribers WHERE id = ?", id)
	return err
}

// EventsAfter lists events of the trail that follow on one, in order.
func (s *Store) EventsAfter(ctx context.Context, seq int64, limit int) ([]trail.Event, error) {
	found := []trail.Event{}
	err := s.each(ctx, func(scan func(...any) error) error {
		e, err := scanEvent(scan)
		found = append(found, e)
		return err
	}, eventColumns+"WHERE seq > ? ORDER BY seq LIMIT ?", seq, limited(limit, 10_000))
	return found, err
}

// LastEvent is the number of the trail's last event; 0 when there is none.
func (s *Store) LastEvent(ctx context.Context) (int64, error) {
	var seq int64
	err := s.one(ctx, "trail", []any{&seq}, "SELECT seq FROM trail_head WHERE one = 1")
	return seq, err
}
