package store

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"firstoff/fault"
)

// Backup writes a whole copy of the records into folder while the desk goes on working: records.db on SQLite
// (VACUUM INTO, for copying the live file would miss what is still in its log), records.jsonl on
// PostgreSQL (Export). It gives the file's path. Fault: Conflict "backup_exists".
func (s *Store) Backup(ctx context.Context, folder string) (path string, err error) {
	name := "records.db"
	if s.postgres {
		name = "records.jsonl"
	}
	path = filepath.Join(folder, name)
	if _, err := os.Stat(path); err == nil {
		return "", fault.New(fault.Conflict, "backup_exists", path, "There is a backup here already; name an empty folder.")
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return "", fault.Because(err, fault.Invalid, "backup_folder", folder, "The folder for the backup cannot be made.")
	}
	if s.postgres {
		f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return "", fault.Because(err, fault.Invalid, "backup_folder", folder, "The backup cannot be written there.")
		}
		err = errors.Join(s.Export(ctx, f), f.Sync(), f.Close())
		return path, err
	}
	// A connection of its own: neither the single writer nor a reader that must not write is held up.
	db, err := sql.Open("sqlite", fileURL(s.path)+"?_pragma=busy_timeout(10000)")
	if err != nil {
		return "", err
	}
	defer func() { _ = db.Close() }()
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", path); err != nil {
		return "", plain(err)
	}
	return path, syncFile(path)
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Restore puts the copy made by Backup in from into the empty database behind s, whichever dialect either is.
// Faults: NotFound "backup_missing"; Conflict "records_not_empty"; Invalid "backup_damaged".
func (s *Store) Restore(ctx context.Context, from string) error {
	if f, err := os.Open(filepath.Join(from, "records.jsonl")); err == nil {
		defer func() { _ = f.Close() }()
		return s.Import(ctx, f)
	}
	path := filepath.Join(from, "records.db")
	if _, err := os.Stat(path); err != nil {
		return fault.New(fault.NotFound, "backup_missing", from, "There is no backup of records in this folder.")
	}
	// The copy is brought up to date in a place of its own, never in the backup.
	dir, err := os.MkdirTemp("", "firstoff-restore-*")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(dir) }()
	work := filepath.Join(dir, "records.db")
	if err := copyFile(path, work); err != nil {
		return err
	}
	src, err := Open(ctx, work)
	if err != nil {
		return err
	}
	defer func() { _ = src.Close() }()
	var whole string
	if err := src.read.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&whole); err != nil || whole != "ok" {
		return fault.Because(err, fault.Invalid, "backup_damaged", path, "The backup is damaged (%s); take another one.", whole)
	}
	if err := src.Migrate(ctx); err != nil {
		return err
	}
	r, w := io.Pipe()
	go func() { w.CloseWithError(src.Export(ctx, w)) }()
	err = s.Import(ctx, r)
	_ = r.CloseWithError(errors.New("the import ended"))
	return err
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer func() { _ = in.Close() }()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// exported are the tables in an order in which each refers to earlier ones only. Computed options (answers) are left
// out: they are computed again when somebody looks.
var exported = []struct{ name, columns, order string }{
	{"series", "name, last", "name"},
	{"clients", "id, no, version, body, name, search", "id"},
	{"requests", "id, no, version, body, client_id, state, received, search", "id"},
	{"files", "id, no, version, body, request_id, state, digest, asking, received", "id"},
	{"lines", "id, no, version, body, request_id, file_id, position, answer", "id"},
	{"messages", "id, no, version, body, request_id, question, at", "id"},
	{"sealed", "digest, body", "digest"},
	{"quotations", "id, no, version, body, number, request_id, state, created, frozen", "id"},
	{"links", "hash, number, made", "hash"},
	{"orders", "id, no, version, body, request_id, quotation_id, state, promised", "id"},
	{"events", "seq, at, who, what, about, folder, was, is_now, why, prev, hash", "seq"},
	{"trail_head", "one, seq, hash", "one"},
	{"coefficient_versions", "id, no, version, body", "id"},
	{"plans", "id, no, version, body", "id"},
	{"scans", "id, no, version, body, order_id", "id"},
	{"sheets", "id, no, version, body, traveller, order_id, stream, state", "id"},
	{"instruments", "id, no, version, body", "id"},
	{"nonconformances", "id, no, version, body, order_id, traveller, state", "id"},
	{"certificates", "id, no, version, body, order_id", "id"},
	{"subscribers", "id, no, version, body", "id"},
	{"purchases", "id, no, version, body, partner, state, need_by", "id"},
	{"travellers", "id, no, version, body, order_id, position, state, promised", "id"},
	{"builds", "id, no, version, body, machine, state", "id"},
	{"lots", "id, no, version, body, material, state, search", "id"},
	{"lot_parents", "child, parent", "parent, child"},
	{"device_events", "id, about", "id"},
	{"touches", "piece, op, lot, number, machine, build, who, at, scrap, traveller, order_id, client_id, digest", "piece, op, lot"},
}

// exportFormat is the version of the text that Export writes.
const exportFormat = 1

type exportHead struct {
	Firstoff int   `json:"firstoff_records"`
	Schema   int64 `json:"schema"`
}

type exportEnd struct {
	Rows int `json:"rows"`
}

// Export writes all records as JSON, one row a line: a head, [table number, values…] for each row, an end with the number of
// rows. It is of one moment, whatever is written meanwhile. Tasks are not in it: bureau.TakeUp asks for them anew.
func (s *Store) Export(ctx context.Context, w io.Writer) error {
	_, schema, err := s.Schema(ctx)
	if err != nil {
		return err
	}
	opts := &sql.TxOptions{ReadOnly: true, Isolation: sql.LevelRepeatableRead}
	if !s.postgres {
		opts = nil // a read transaction of SQLite sees one moment as it is
	}
	tx, err := s.read.BeginTx(ctx, opts)
	if err != nil {
		return plain(err)
	}
	defer func() { _ = tx.Rollback() }()
	b := bufio.NewWriterSize(w, 64<<10)
	out := json.NewEncoder(b)
	out.SetEscapeHTML(false)
	if err := out.Encode(exportHead{exportFormat, schema}); err != nil {
		return err
	}
	n := 0
	for i, t := range exported {
		rows, err := tx.QueryContext(ctx, "SELECT "+t.columns+" FROM "+t.name+" ORDER BY "+t.order)
		if err != nil {
			return plain(err)
		}
		width := strings.Count(t.columns, ",") + 1
		for rows.Next() {
			row := make([]any, width+1)
			into := make([]any, width)
			row[0] = i
			for k := range into {
				into[k] = &row[k+1]
			}
			if err := rows.Scan(into...); err != nil {
				_ = rows.Close()
				return err
			}
			for k, v := range row {
				if raw, ok := v.([]byte); ok {
					row[k] = string(raw)
				}
			}
			if err := out.Encode(row); err != nil {
				_ = rows.Close()
				return err
			}
			n++
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return plain(err)
		}
	}
	if err := out.Encode(exportEnd{n}); err != nil {
		return err
	}
	return b.Flush()
}

// Import reads what Export wrote into an empty database, all of it or nothing.
// Faults: Conflict "records_not_empty"; Invalid "backup_damaged", "backup_unknown".
func (s *Store) Import(ctx context.Context, r io.Reader) error {
	in := json.NewDecoder(bufio.NewReaderSize(r, 64<<10))
	in.UseNumber()
	var head exportHead
	if err := in.Decode(&head); err != nil || head.Firstoff != exportFormat {
		return fault.Because(err, fault.Invalid, "backup_unknown", "", "This is not a backup of records that this program can read.")
	}
	if _, want, err := s.Schema(ctx); err != nil {
		return err
	} else if head.Schema != want {
		return fault.New(fault.Invalid, "backup_unknown", "", "The backup has schema %d and this program wants %d; restore it with the firstoff that wrote it, then start this one.", head.Schema, want)
	}
	c, cancel := context.WithCancel(ctx)
	defer cancel()
	tx, err := s.write.BeginTx(c, nil)
	if err != nil {
		return plain(err)
	}
	defer func() { _ = tx.Rollback() }()
	if err := s.empty(c, tx); err != nil {
		return err
	}
	inserts := make([]*sql.Stmt, len(exported))
	for i, t := range exported {
		width := strings.Count(t.columns, ",") + 1
		text := "INSERT INTO " + t.name + " (" + t.columns + ") VALUES (?" + strings.Repeat(", ?", width-1) + ")"
		if inserts[i], err = tx.PrepareContext(c, s.bind(text)); err != nil {
			return plain(err)
		}
	}
	n := 0
	for {
		var raw json.RawMessage
		if err := in.Decode(&raw); err != nil {
			return damaged(err)
		}
		if len(raw) > 0 && raw[0] == '{' {
			var end exportEnd
			if err := json.Unmarshal(raw, &end); err != nil || end.Rows != n {
				return damaged(fmt.Errorf("%d rows of %d", n, end.Rows))
			}
			break
		}
		if err := importRow(c, inserts, raw); err != nil {
			return err
		}
		n++
	}
	return plain(tx.Commit())
}

func importRow(ctx context.Context, inserts []*sql.Stmt, raw []byte) error {
	table, values, err := readRow(raw)
	if err != nil {
		return damaged(err)
	}
	if _, err := inserts[table].ExecContext(ctx, values...); err != nil {
		return damaged(err)
	}
	return nil
}

// readRow reads [table, values…]: whole numbers and texts, as many as the table has columns.
func readRow(raw []byte) (table int, values []any, err error) {
	var row []any
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	if err := d.Decode(&row); err != nil {
		return 0, nil, err
	}
	for k, v := range row {
		switch v := v.(type) {
		case string:
			if strings.IndexByte(v, 0) >= 0 {
				return 0, nil, errors.New("a zero byte in a text")
			}
		case json.Number:
			if row[k], err = v.Int64(); err != nil {
				return 0, nil, err
			}
		default:
			return 0, nil, fmt.Errorf("a value that is neither number nor text: %v", v)
		}
	}
	if len(row) < 2 {
		return 0, nil, errors.New("a row without values")
	}
	t, ok := row[0].(int64)
	if !ok || t < 0 || t >= int64(len(exported)) || len(row)-1 != strings.Count(exported[t].columns, ",")+1 {
		return 0, nil, errors.New("no such table or another number of columns")
	}
	return int(t), row[1:], nil
}

func damaged(err error) error {
	return fault.Because(err, fault.Invalid, "backup_damaged", "", "The backup of the records is damaged or cut off; take another one. Nothing was changed.")
}

// empty makes sure that nothing would be mixed or lost, and makes room for the exported head of the trail.
func (s *Store) empty(ctx context.Context, tx *sql.Tx) error {
	for _, t := range exported {
		if t.name == "trail_head" {
			continue
		}
		var n int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM "+t.name).Scan(&n); err != nil {
			return plain(err)
		}
		if n > 0 {
			return fault.New(fault.Conflict, "records_not_empty", "", "There are records here already; restore into an empty folder or database.")
		}
	}
	_, err := tx.ExecContext(ctx, "DELETE FROM trail_head")
	return plain(err)
}
