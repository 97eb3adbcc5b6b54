package store

import (
	"context"
	"encoding/json"
	"time"

	"firstoff/desk/quote"
	"firstoff/digest"
	"firstoff/fault"
)

var quotations = kind[quote.Quotation]{
	table:   "quotations",
	id:      func(q *quote.Quotation) string { return q.ID },
	version: func(q *quote.Quotation) *int { return &q.Version },
	names:   []string{"number", "request_id", "state", "created", "frozen"},
	columns: func(q *quote.Quotation) []any {
		return []any{q.Number, q.RequestID, string(q.State), stamp(q.Created), string(q.Frozen)}
	},
}

// outer is a quotation without its body once that is frozen: the body lies in table sealed, under its digest.
type outer struct {
	*quote.Quotation
	Body *quote.Body `json:"body,omitempty"`
}

func (s *Store) split(ctx context.Context, q *quote.Quotation) (string, error) {
	if q.Frozen == "" {
		b, err := json.Marshal(q)
		return string(b), err
	}
	n := 0
	if err := s.one(ctx, q.ID, []any{&n}, "SELECT count(*) FROM sealed WHERE digest = ?", string(q.Frozen)); err != nil {
		return "", err
	}
	if n == 0 {
		body, err := json.Marshal(q.Body)
		if err != nil {
			return "", err
		}
		if digest.Of(body) != q.Frozen {
			return "", fault.New(fault.Internal, "frozen_differs", q.ID, "The quotation's content is not what was frozen; nothing was kept.")
		}
		if _, err := s.exec(ctx, "INSERT INTO sealed (digest, body) VALUES (?, ?) ON CONFLICT (digest) DO NOTHING", string(q.Frozen), string(body)); err != nil {
			return "", err
		}
	}
	b, err := json.Marshal(outer{Quotation: q})
	return string(b), err
}

// fill puts the frozen bodies back.
func (s *Store) fill(ctx context.Context, qs []quote.Quotation) error {
	for i := range qs {
		if qs[i].Frozen == "" {
			continue
		}
		var body string
		if err := s.one(ctx, qs[i].ID, []any{&body}, "SELECT body FROM sealed WHERE digest = ?", string(qs[i].Frozen)); err != nil {
			return err
		}
		if err := decode(body, &qs[i].Body); err != nil {
			return fault.At(err, qs[i].ID)
		}
	}
	return nil
}

// AddQuotation keeps a new quotation or revision.
func (s *Store) AddQuotation(ctx context.Context, q *quote.Quotation) error {
	q.Version = 1
	body, err := s.split(ctx, q)
	if err != nil {
		return err
	}
	return quotations.insert(ctx, s, q, body)
}

// SaveQuotation replaces a quotation. Once its Frozen digest is set the body is written no more.
func (s *Store) SaveQuotation(ctx context.Context, q *quote.Quotation) error {
	q.Version++
	body, err := s.split(ctx, q)
	if err == nil {
		err = quotations.update(ctx, s, q, body)
	}
	if err != nil {
		q.Version--
	}
	return err
}

// Quotation finds a quotation by number and revision.
func (s *Store) Quotation(ctx context.Context, id string) (quote.Quotation, error) {
	q, err := quotations.get(ctx, s, id)
	if err != nil {
		return q, err
	}
	qs := []quote.Quotation{q}
	err = s.fill(ctx, qs)
	return qs[0], err
}

// Quotations lists newest first.
func (s *Store) Quotations(ctx context.Context, requestID string, states []string, offset, limit int) ([]quote.Quotation, int, error) {
	cond, args := in("state", states)
	where := "WHERE " + cond
	if requestID != "" {
		where += " AND request_id = ?"
		args = append(args, requestID)
	}
	total, err := quotations.count(ctx, s, where, args...)
	if err != nil {
		return nil, 0, err
	}
	found, err := quotations.list(ctx, s, where+" ORDER BY created DESC, no DESC, id DESC LIMIT ? OFFSET ?", append(args, limited(limit, 500), max(0, offset))...)
	if err != nil {
		return nil, 0, err
	}
	return found, total, s.fill(ctx, found)
}

// Revisions lists all revisions of a number, first to last.
func (s *Store) Revisions(ctx context.Context, number string) ([]quote.Quotation, error) {
	found, err := quotations.list(ctx, s, "WHERE number = ? ORDER BY created, length(id), id", number)
	if err != nil {
		return nil, err
	}
	return found, s.fill(ctx, found)
}

// AddLink keeps the hash of a client's link.
func (s *Store) AddLink(ctx context.Context, hash digest.Digest, number string, at time.Time) error {
	_, err := s.exec(ctx, "INSERT INTO links (hash, number, made) VALUES (?, ?, ?)", string(hash), number, stamp(at))
	return err
}

// Link finds the quotation number a link leads to.
func (s *Store) Link(ctx context.Context, hash digest.Digest) (string, error) {
	var number string
	err := s.one(ctx, "link", []any{&number}, "SELECT number FROM links WHERE hash = ?", string(hash))
	return number, err
}

// EachSealed hands over every frozen body with the digest it is kept under, for the doctor.
func (s *Store) EachSealed(ctx context.Context, do func(d digest.Digest, body []byte) error) error {
	return s.each(ctx, func(scan func(...any) error) error {
		var d, body string
		if err := scan(&d, &body); err != nil {
			return err
		}
		return do(digest.Digest(d), []byte(body))
	}, "SELECT digest, body FROM sealed ORDER BY digest")
}
