package store

import (
	"context"
	"encoding/json"
	"time"

	"firstoff/desk/quote"
	"firstoff/digest"
)

// PutTable keeps a computed table of options under the digest of the question it answers.
func (s *Store) PutTable(ctx context.Context, key digest.Digest, a quote.Answer) error {
	body, err := json.Marshal(a)
	if err != nil {
		return err
	}
	_, err = s.exec(ctx, "INSERT INTO answers (question, made, body) VALUES (?, ?, ?) ON CONFLICT (question) DO UPDATE SET made = excluded.made", string(key), stamp(a.MadeFrom.Now), string(body))
	return err
}

// Table finds a kept table. Fault: NotFound "not_found".
func (s *Store) Table(ctx context.Context, key digest.Digest) (quote.Answer, error) {
	var t quote.Answer
	var body string
	if err := s.one(ctx, "options "+key.Short(), []any{&body}, "SELECT body FROM answers WHERE question = ?", string(key)); err != nil {
		return t, err
	}
	return t, decode(body, &t)
}

// PruneTables forgets tables made before at, except those a line shows. It says how many.
func (s *Store) PruneTables(ctx context.Context, before time.Time) (int64, error) {
	return s.exec(ctx, "DELETE FROM answers WHERE made < ? AND question NOT IN (SELECT answer FROM lines)", stamp(before))
}
