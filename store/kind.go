package store

import (
	"context"
	"encoding/json"
	"strconv"
	"strings"

	"firstoff/fault"
)

// kind tells how a sort of record is kept: its table, its number and version, and the columns beside the JSON.
type kind[T any] struct {
	table   string
	id      func(*T) string
	version func(*T) *int
	names   []string       // of the searched columns
	columns func(*T) []any // their values
}

// serial is the number in a readable id: 1003 of "R-1003"; the last one of "Q-1001-A" is 1001.
func serial(id string) int64 {
	for _, p := range strings.Split(id, "-") {
		if n, err := strconv.ParseInt(p, 10, 64); err == nil {
			return n
		}
	}
	return 0
}

func (k *kind[T]) add(ctx context.Context, s *Store, r *T) error {
	*k.version(r) = 1
	body, err := json.Marshal(r)
	if err != nil {
		return err
	}
	return k.insert(ctx, s, r, string(body))
}

func (k *kind[T]) insert(ctx context.Context, s *Store, r *T, body string) error {
	id := k.id(r)
	args := append([]any{id, serial(id), 1, body}, k.columns(r)...)
	text := "INSERT INTO " + k.table + " (id, no, version, body"
	for _, n := range k.names {
		text += ", " + n
	}
	text += ") VALUES (?, ?, ?, ?" + strings.Repeat(", ?", len(k.names)) + ")"
	_, err := s.exec(ctx, text, args...)
	return fault.At(err, id)
}

func (k *kind[T]) save(ctx context.Context, s *Store, r *T) error {
	v := k.version(r)
	*v++
	body, err := json.Marshal(r)
	if err != nil {
		*v--
		return err
	}
	if err := k.update(ctx, s, r, string(body)); err != nil {
		*v--
		return err
	}
	return nil
}

// update replaces the record whose kept version is one less than r's.
func (k *kind[T]) update(ctx context.Context, s *Store, r *T, body string) error {
	id, v := k.id(r), *k.version(r)
	text := "UPDATE " + k.table + " SET version = ?, body = ?"
	args := append([]any{v, body}, k.columns(r)...)
	for _, n := range k.names {
		text += ", " + n + " = ?"
	}
	n, err := s.exec(ctx, text+" WHERE id = ? AND version = ?", append(args, id, v-1)...)
	if err != nil {
		return fault.At(err, id)
	}
	if n == 0 {
		if _, err := k.get(ctx, s, id); err != nil {
			return err
		}
		return fault.New(fault.Conflict, "changed_meanwhile", id, "Somebody changed this meanwhile; look at it again and repeat your change.")
	}
	return nil
}

func (k *kind[T]) get(ctx context.Context, s *Store, id string) (T, error) {
	var r T
	var body string
	if err := s.one(ctx, id, []any{&body}, "SELECT body FROM "+k.table+" WHERE id = ?", id); err != nil {
		return r, err
	}
	return r, decode(body, &r)
}

// list reads the records a query over "body" finds.
func (k *kind[T]) list(ctx context.Context, s *Store, where string, args ...any) ([]T, error) {
	found := []T{}
	err := s.each(ctx, func(scan func(...any) error) error {
		var body string
		if err := scan(&body); err != nil {
			return err
		}
		var r T
		if err := decode(body, &r); err != nil {
			return err
		}
		found = append(found, r)
		return nil
	}, "SELECT body FROM "+k.table+" "+where, args...)
	return found, err
}

func (k *kind[T]) count(ctx context.Context, s *Store, where string, args ...any) (int, error) {
	var n int
	err := s.one(ctx, k.table, []any{&n}, "SELECT count(*) FROM "+k.table+" "+where, args...)
	return n, err
}

func decode(body string, into any) error {
	if err := json.Unmarshal([]byte(body), into); err != nil {
		return fault.Because(err, fault.Internal, "record_damaged", "", "A record cannot be read any more; run the doctor and restore from a backup.")
	}
	return nil
}

// in makes "column IN (?, ?)" and its arguments; no values at all makes it true.
func in(column string, values []string) (string, []any) {
	if len(values) == 0 {
		return "1 = 1", nil
	}
	args := make([]any, len(values))
	for i, v := range values {
		args[i] = v
	}
	return column + " IN (?" + strings.Repeat(", ?", len(values)-1) + ")", args
}

// like makes a condition that finds text anywhere in a column of lower-case text.
func like(column, text string) (string, []any) {
	text = strings.TrimSpace(text)
	if text == "" {
		return "1 = 1", nil
	}
	esc := strings.NewReplacer(`!`, `!!`, `%`, `!%`, `_`, `!_`).Replace(strings.ToLower(text))
	return column + " LIKE ? ESCAPE '!'", []any{"%" + esc + "%"}
}

func limited(n, most int) int {
	if n <= 0 || n > most {
		return most
	}
	return n
}
