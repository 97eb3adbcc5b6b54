package store

import (
	"context"
	"strings"

	"firstoff/digest"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/traveller"
)

// ── Travellers ───────────────────────────────────────────────────────────────────────────────────

var travellers = kind[traveller.Traveller]{
	table:   "travellers",
	id:      func(t *traveller.Traveller) string { return t.ID },
	version: func(t *traveller.Traveller) *int { return &t.Version },
	names:   []string{"order_id", "position", "state", "promised"},
	columns: func(t *traveller.Traveller) []any {
		return []any{t.OrderID, t.Position, string(t.Word), t.Promised}
	},
}

// AddTraveller keeps a new traveller. An order's line has one only: Conflict "exists".
func (s *Store) AddTraveller(ctx context.Context, t *traveller.Traveller) error {
	return travellers.add(ctx, s, t)
}

// SaveTraveller replaces a traveller.
func (s *Store) SaveTraveller(ctx context.Context, t *traveller.Traveller) error {
	return travellers.save(ctx, s, t)
}

// Traveller finds a traveller by number.
func (s *Store) Traveller(ctx context.Context, id string) (traveller.Traveller, error) {
	return travellers.get(ctx, s, id)
}

// Travellers lists by promised date, soonest first.
func (s *Store) Travellers(ctx context.Context, states []string, offset, limit int) ([]traveller.Traveller, int, error) {
	cond, args := in("state", states)
	total, err := travellers.count(ctx, s, "WHERE "+cond, args...)
	if err != nil {
		return nil, 0, err
	}
	found, err := travellers.list(ctx, s, "WHERE "+cond+" ORDER BY promised, no LIMIT ? OFFSET ?", append(args, limited(limit, 2000), max(0, offset))...)
	return found, total, err
}

// TravellersOf lists an order's travellers by position.
func (s *Store) TravellersOf(ctx context.Context, orderID string) ([]traveller.Traveller, error) {
	return travellers.list(ctx, s, "WHERE order_id = ? ORDER BY position", orderID)
}

// OrdersWithoutTravellers lists orders to be made that no traveller was opened for yet, oldest first.
func (s *Store) OrdersWithoutTravellers(ctx context.Context, limit int) ([]order.Order, error) {
	return orders.list(ctx, s, "WHERE state IN ('accepted', 'in work') AND NOT EXISTS (SELECT 1 FROM travellers t WHERE t.order_id = orders.id) ORDER BY no LIMIT ?", limited(limit, 500))
}

// TravellersToStop lists travellers still open although their order was cancelled.
func (s *Store) TravellersToStop(ctx context.Context) ([]traveller.Traveller, error) {
	return travellers.list(ctx, s, "WHERE state NOT IN ('done', 'cancelled') AND order_id IN (SELECT id FROM orders WHERE state = 'cancelled') ORDER BY no LIMIT 500")
}

// ── Builds ───────────────────────────────────────────────────────────────────────────────────────

var builds = kind[build.Build]{
	table:   "builds",
	id:      func(b *build.Build) string { return b.ID },
	version: func(b *build.Build) *int { return &b.Version },
	names:   []string{"machine", "state"},
	columns: func(b *build.Build) []any { return []any{b.Machine, string(b.Word)} },
}

// AddBuild keeps a new build.
func (s *Store) AddBuild(ctx context.Context, b *build.Build) error { return builds.add(ctx, s, b) }

// SaveBuild replaces a build.
func (s *Store) SaveBuild(ctx context.Context, b *build.Build) error { return builds.save(ctx, s, b) }

// Build finds a build by number.
func (s *Store) Build(ctx context.Context, id string) (build.Build, error) {
	return builds.get(ctx, s, id)
}

// Builds lists newest first.
func (s *Store) Builds(ctx context.Context, states []string, limit int) ([]build.Build, error) {
	cond, args := in("state", states)
	return builds.list(ctx, s, "WHERE "+cond+" ORDER BY no DESC LIMIT ?", append(args, limited(limit, 500))...)
}

// ── Lots ─────────────────────────────────────────────────────────────────────────────────────────

var lots = kind[feedstock.Lot]{
	table:   "lots",
	id:      func(l *feedstock.Lot) string { return l.ID },
	version: func(l *feedstock.Lot) *int { return &l.Version },
	names:   []string{"material", "state", "search"},
	columns: func(l *feedstock.Lot) []any {
		return []any{l.Material, string(l.Word), strings.ToLower(l.ID + "\n" + l.SupplierLot + "\n" + l.Material)}
	},
}

// AddLot keeps a new lot, and what it was blended from.
func (s *Store) AddLot(ctx context.Context, l *feedstock.Lot) error {
	if err := lots.add(ctx, s, l); err != nil {
		return err
	}
	for _, p := range l.Parents {
		if _, err := s.exec(ctx, "INSERT INTO lot_parents (child, parent) VALUES (?, ?)", l.ID, p.Lot); err != nil {
			return err
		}
	}
	return nil
}

// SaveLot replaces a lot. What it was blended from stays as it was.
func (s *Store) SaveLot(ctx context.Context, l *feedstock.Lot) error { return lots.save(ctx, s, l) }

// Lot finds a lot by number.
func (s *Store) Lot(ctx context.Context, id string) (feedstock.Lot, error) {
	return lots.get(ctx, s, id)
}

// Lots lists newest first; text is a part of number, supplier's lot or material.
func (s *Store) Lots(ctx context.Context, states []string, text string, limit int) ([]feedstock.Lot, error) {
	cond, args := in("state", states)
	if c, a := like("search", text); len(a) > 0 {
		cond, args = cond+" AND "+c, append(args, a...)
	}
	return lots.list(ctx, s, "WHERE "+cond+" ORDER BY no DESC LIMIT ?", append(args, limited(limit, 500))...)
}

// ── What happened ────────────────────────────────────────────────────────────────────────────────

// OnFloor is what the names of the floor's events in the trail begin with.
const OnFloor = "floor."

// Happened hands over the floor's events about a record, oldest first, as they stand in the trail.
func (s *Store) Happened(ctx context.Context, about string, do func(event []byte) error) error {
	return s.each(ctx, func(scan func(...any) error) error {
		var is string
		if err := scan(&is); err != nil {
			return err
		}
		return do([]byte(is))
	}, "SELECT is_now FROM events WHERE about = ? AND what LIKE '"+OnFloor+"%' ORDER BY seq", about)
}

// TakeID makes sure that the id a device gave to its event is not taken again. Fault: Conflict "exists".
func (s *Store) TakeID(ctx context.Context, id, about string) error {
	_, err := s.exec(ctx, "INSERT INTO device_events (id, about) VALUES (?, ?)", id, about)
	return err
}

// ChangeTouches takes touches of a traveller's pieces out of the search and puts others in.
func (s *Store) ChangeTouches(ctx context.Context, t traveller.Traveller, gone, come []traveller.Touch) error {
	for _, x := range gone {
		if _, err := s.exec(ctx, "DELETE FROM touches WHERE piece = ? AND op = ? AND lot = ?", x.Piece, x.Op, x.Lot); err != nil {
			return err
		}
	}
	const row = "(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
	const most = 500 // rows of one statement, well below the bind limits of both dialects
	for len(come) > 0 {
		n := min(len(come), most)
		args := make([]any, 0, 13*n)
		for _, x := range come[:n] {
			args = append(args, x.Piece, x.Op, x.Lot, traveller.Number(x.Piece), x.Machine, x.Build, x.Who, stamp(x.At), yes(x.Scrap), t.ID, t.OrderID, t.ClientID, string(t.Digest))
		}
		if _, err := s.exec(ctx, "INSERT INTO touches (piece, op, lot, number, machine, build, who, at, scrap, traveller, order_id, client_id, digest) VALUES "+row+strings.Repeat(", "+row, n-1), args...); err != nil {
			return err
		}
		come = come[n:]
	}
	return nil
}

// traced are the columns a trace may start from.
var traced = map[string]string{
	"piece": "t.number", "machine": "t.machine", "build": "t.build", "who": "t.who", "traveller": "t.traveller",
	"order": "t.order_id", "client": "t.client_id", "file": "t.digest",
}

// Trace finds in one query where something went: what is "lot" (with every lot blended from it), "piece" (its earlier
// and later attempts too), "machine", "build", "who", "traveller", "order", "client" or "file". At most limit rows, oldest
// first; more says whether there are others.
func (s *Store) Trace(ctx context.Context, what, of string, limit int) (found []traveller.Found, more bool, err error) {
	limit = limited(limit, 100_000)
	text := "SELECT t.piece, t.op, t.lot, t.number, t.machine, t.build, t.who, t.at, t.scrap, t.traveller, t.order_id, t.client_id, t.digest, COALESCE(c.name, '') FROM touches t LEFT JOIN clients c ON c.id = t.client_id "
	if what == "lot" {
		text = "WITH RECURSIVE down (id) AS (SELECT CAST(? AS TEXT) UNION SELECT p.child FROM lot_parents p JOIN down d ON p.parent = d.id) " + text +
			"WHERE t.lot IN (SELECT id FROM down)"
	} else {
		column, ok := traced[what]
		if !ok {
			return nil, false, nil
		}
		if what == "piece" {
			of = traveller.Number(of)
		}
		text += "WHERE " + column + " = ?"
	}
	found = []traveller.Found{}
	err = s.each(ctx, func(scan func(...any) error) error {
		var f traveller.Found
		var at, d string
		var scrap int
		if err := scan(&f.Piece, &f.Op, &f.Lot, &f.Number, &f.Machine, &f.Build, &f.Who, &at, &scrap, &f.Traveller, &f.OrderID, &f.ClientID, &d, &f.Client); err != nil {
			return err
		}
		f.Digest, f.Scrap = digest.Digest(d), scrap == 1
		f.At, _ = readStamp(at) // a row that is worked out; the truth is in the trail
		found = append(found, f)
		return nil
	}, text+" ORDER BY t.at, t.piece, t.op, t.lot LIMIT ?", of, limit+1)
	if len(found) > limit {
		found, more = found[:limit], true
	}
	return found, more, err
}
