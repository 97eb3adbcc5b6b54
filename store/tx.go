package store

import (
	"context"
	"database/sql"
	"errors"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"firstoff/fault"
	"firstoff/trail"
)

// open is the transaction a context carries.
type open struct {
	s      *Store
	tx     *sql.Tx
	events []trail.Event // to be sealed last, so that the chain's head is locked as shortly as can be
}

type key struct{}

// Tx is the transaction ctx carries, or nil. For the task queue.
func Tx(ctx context.Context) *sql.Tx {
	if o, ok := ctx.Value(key{}).(*open); ok {
		return o.tx
	}
	return nil
}

// patience bounds a transaction whose caller set no deadline; tries bounds how often it is run again after the
// database chose it as the victim of a deadlock.
const (
	patience = 30 * time.Second
	tries    = 8
)

// InTx runs do in one write transaction; see bureau.Records.
func (s *Store) InTx(ctx context.Context, do func(ctx context.Context) error) error {
	if o, ok := ctx.Value(key{}).(*open); ok && o.s == s {
		return do(ctx)
	}
	if _, ok := ctx.Deadline(); !ok {
		c, cancel := context.WithTimeout(ctx, patience)
		defer cancel()
		ctx = c
	}
	var err error
	for try := range tries {
		if err = s.once(ctx, do); err == nil || !again(err) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Duration(1<<try) * time.Millisecond):
		}
	}
	return fault.Because(err, fault.Busy, "records_busy", "", "The records are very busy just now; try again in a moment.")
}

func (s *Store) once(ctx context.Context, do func(ctx context.Context) error) (err error) {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return plain(err)
	}
	done := false
	defer func() {
		if !done { // also when do panics
			_ = tx.Rollback()
		}
	}()
	o := &open{s: s, tx: tx}
	ctx = context.WithValue(ctx, key{}, o)
	if err := do(ctx); err != nil {
		return err
	}
	if err := s.seal(ctx, o); err != nil {
		return err
	}
	done = true
	if err := tx.Commit(); err != nil {
		return plain(err)
	}
	return nil
}

// again says whether the database asks for the transaction to be run once more.
func again(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && (pg.Code == "40001" || pg.Code == "40P01")
}

// exec runs a statement inside the transaction of ctx, or in one of its own.
func (s *Store) exec(ctx context.Context, text string, args ...any) (int64, error) {
	if err := clean(args); err != nil {
		return 0, err
	}
	var res sql.Result
	var err error
	if o, ok := ctx.Value(key{}).(*open); ok && o.s == s {
		res, err = o.tx.ExecContext(ctx, s.bind(text), args...)
	} else {
		res, err = s.write.ExecContext(ctx, s.bind(text), args...)
	}
	if err != nil {
		return 0, plain(err)
	}
	return res.RowsAffected()
}

// query asks inside the transaction of ctx, or on the reading side.
func (s *Store) query(ctx context.Context, text string, args ...any) (*sql.Rows, error) {
	if err := clean(args); err != nil {
		return nil, err
	}
	if o, ok := ctx.Value(key{}).(*open); ok && o.s == s {
		r, err := o.tx.QueryContext(ctx, s.bind(text), args...)
		return r, plain(err)
	}
	r, err := s.read.QueryContext(ctx, s.bind(text), args...)
	return r, plain(err)
}

// each calls row for every row found.
func (s *Store) each(ctx context.Context, row func(scan func(...any) error) error, text string, args ...any) (err error) {
	rows, err := s.query(ctx, text, args...)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		if err := row(rows.Scan); err != nil {
			return err
		}
	}
	return plain(rows.Err())
}

// one scans a single row; what names it for the fault NotFound "not_found".
func (s *Store) one(ctx context.Context, what string, into []any, text string, args ...any) error {
	found := false
	err := s.each(ctx, func(scan func(...any) error) error {
		found = true
		return scan(into...)
	}, text, args...)
	if err != nil {
		return err
	}
	if !found {
		return fault.New(fault.NotFound, "not_found", what, "There is no such record.")
	}
	return nil
}

// bind turns "?" into "$1", "$2" … for PostgreSQL. Statements hold no question mark otherwise.
func (s *Store) bind(text string) string {
	if !s.postgres {
		return text
	}
	var b strings.Builder
	b.Grow(len(text) + 16)
	n := 0
	for i := range len(text) {
		if text[i] == '?' {
			n++
			b.WriteByte('$')
			b.WriteString(strconv.Itoa(n))
			continue
		}
		b.WriteByte(text[i])
	}
	return b.String()
}

// clean turns away text that PostgreSQL cannot hold, on both dialects alike: NUL and invalid UTF-8.
func clean(args []any) error {
	for _, a := range args {
		if t, ok := a.(string); ok && (strings.IndexByte(t, 0) >= 0 || !utf8.ValidString(t)) {
			return fault.New(fault.Invalid, "text_unreadable", "", "A text holds characters that cannot be kept (a zero byte or broken UTF-8); type it again.")
		}
	}
	return nil
}

// plain turns a driver's error into a fault, where a person could do something about it.
func plain(err error) error {
	var pg *pgconn.PgError
	var lite *sqlite.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &pg) && pg.Code == "23505",
		errors.As(err, &lite) && (lite.Code() == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY || lite.Code() == sqlite3.SQLITE_CONSTRAINT_UNIQUE):
		return fault.Because(err, fault.Conflict, "exists", "", "A record with this number is there already.")
	case errors.As(err, &pg) && pg.Code == "23503",
		errors.As(err, &lite) && lite.Code() == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
		return fault.Because(err, fault.NotFound, "not_found", "", "The record this one belongs to does not exist.")
	case errors.As(err, &pg) && pg.Code == "53100",
		errors.As(err, &lite) && lite.Code()&0xff == sqlite3.SQLITE_FULL:
		return fault.Because(err, fault.Busy, "disk_full", "", "The disk that holds the records is full; free some space and try again.")
	case errors.As(err, &lite) && lite.Code()&0xff == sqlite3.SQLITE_BUSY:
		return fault.Because(err, fault.Busy, "records_busy", "", "The records are held by another program; try again in a moment.")
	}
	return err
}

const layout = "2006-01-02T15:04:05.000000Z"

// stamp writes a time so that text order is time order.
func stamp(t time.Time) string { return t.UTC().Format(layout) }

func readStamp(s string) (time.Time, error) { return time.Parse(layout, s) }

func yes(b bool) int {
	if b {
		return 1
	}
	return 0
}
