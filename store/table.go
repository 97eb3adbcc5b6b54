package store

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"time"

	"firstoff/desk/quote"
	"firstoff/digest"
	"firstoff/fault"
)

// PutTable keeps a computed table of options under the digest of the question it answers. A table with all its reasons
// is over a megabyte of text that says the same things again and again, so it is packed.
func (s *Store) PutTable(ctx context.Context, key digest.Digest, a quote.Answer) error {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestSpeed)
	if err != nil {
		return err
	}
	if err := errors.Join(json.NewEncoder(z).Encode(a), z.Close()); err != nil {
		return err
	}
	_, err = s.exec(ctx, "INSERT INTO answers (question, made, body) VALUES (?, ?, ?) ON CONFLICT (question) DO UPDATE SET made = excluded.made, body = excluded.body",
		string(key), stamp(a.MadeFrom.Now), b.Bytes())
	return err
}

// Table finds a kept table. One that cannot be read any more counts as forgotten: it can be computed again.
// Fault: NotFound "not_found".
func (s *Store) Table(ctx context.Context, key digest.Digest) (quote.Answer, error) {
	var a quote.Answer
	var body []byte
	if err := s.one(ctx, "options "+key.Short(), []any{&body}, "SELECT body FROM answers WHERE question = ?", string(key)); err != nil {
		return a, err
	}
	z, err := gzip.NewReader(bytes.NewReader(body))
	if err == nil {
		err = json.NewDecoder(z).Decode(&a)
	}
	if err != nil {
		return quote.Answer{}, fault.Because(err, fault.NotFound, "not_found", "options "+key.Short(), "These options are not known any more; look at the line again.")
	}
	return a, nil
}

// PruneTables forgets tables made before at, except those a line shows. It says how many.
func (s *Store) PruneTables(ctx context.Context, before time.Time) (int64, error) {
	return s.exec(ctx, "DELETE FROM answers WHERE made < ? AND question NOT IN (SELECT answer FROM lines)", stamp(before))
}
