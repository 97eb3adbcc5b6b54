package store_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"firstoff/fault"
	"firstoff/store"
	"firstoff/store/pgtest"
	"firstoff/store/storetest"
	"firstoff/trail"
)

func lite(t *testing.T) *store.Store {
	return at(t, filepath.Join(t.TempDir(), "with space #1", "desk.db"))
}

func at(t *testing.T, dsn string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	if err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSQLite(t *testing.T) { storetest.Run(t, lite) }

func TestPostgres(t *testing.T) {
	server := pgtest.Start(t)
	storetest.Run(t, func(t *testing.T) *store.Store { return at(t, server.Database(t)) })
	t.Run("starting at the same time", func(t *testing.T) { together(t, server.Database(t)) })
	t.Run("one flipped byte", func(t *testing.T) { flipped(t, at(t, server.Database(t))) })
	t.Run("carried over", func(t *testing.T) { carried(t, lite(t), at(t, server.Database(t))) })
	t.Run("carried back", func(t *testing.T) { carried(t, at(t, server.Database(t)), lite(t)) })
}

// Programs that start at the same time on one database wait for one another's migration.
func together(t *testing.T, dsn string) {
	var wg sync.WaitGroup
	for range 5 {
		wg.Go(func() {
			s, err := store.Open(context.Background(), dsn)
			if err != nil {
				t.Error(err)
				return
			}
			defer func() { _ = s.Close() }()
			if err := s.Migrate(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
}

// TestFullSync: the writer syncs at each commit, on every connection it may open.
func TestFullSync(t *testing.T) {
	s := lite(t)
	var sync, mode string
	if err := s.DB().QueryRow("PRAGMA synchronous").Scan(&sync); err != nil {
		t.Fatal(err)
	}
	if err := s.DB().QueryRow("PRAGMA journal_mode").Scan(&mode); err != nil {
		t.Fatal(err)
	}
	if sync != "2" || mode != "wal" {
		t.Errorf("synchronous %s (2 is FULL), journal %s", sync, mode)
	}
}

func TestAddresses(t *testing.T) {
	file := filepath.Join(t.TempDir(), "no database")
	if err := os.WriteFile(file, []byte(strings.Repeat("this is a text, not a database. ", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, dsn := range []string{"", "sqlite:", "postgres://%zz", file, filepath.Join(file, "below a file", "desk.db")} {
		s, err := store.Open(t.Context(), dsn)
		if err == nil {
			err = s.Migrate(t.Context())
			_ = s.Close()
		}
		if f := fault.Of(err); f == nil || f.Code != "database_address" {
			t.Errorf("%q: %v", dsn, err)
		}
	}
	_, err := store.Open(t.Context(), "postgres://nobody@127.0.0.1:1/none?connect_timeout=2")
	if f := fault.Of(err); f == nil || f.Code != "database_away" || strings.Contains(f.Error(), "nobody") {
		t.Errorf("a database that is not there: %v", err)
	}
}

func TestOneFlippedByte(t *testing.T) { flipped(t, lite(t)) }

// flipped changes one byte of one column of one event behind the program's back, for each column, and expects the
// check to find it and to name the record.
func flipped(t *testing.T, s *store.Store) {
	c := t.Context()
	for _, about := range []string{"R-1001", "L-1002", "Q-1003-A"} {
		if err := s.Log(c, trail.Event{Who: "estimator", What: "line.quantity", About: about, In: "R-1001", Was: "12", Is: "20", Why: "asked by phone"}); err != nil {
			t.Fatal(err)
		}
	}
	for _, text := range map[string][]string{
		"sqlite":   {"DROP TRIGGER events_update", "DROP TRIGGER events_delete"},
		"postgres": {"DROP TRIGGER events_written_once ON events"},
	}[s.Dialect()] {
		if _, err := s.DB().ExecContext(c, text); err != nil {
			t.Fatal(err)
		}
	}
	run := func(text string) {
		t.Helper()
		if _, err := s.DB().ExecContext(c, text); err != nil {
			t.Fatal(err)
		}
	}
	for _, col := range []string{"at", "who", "what", "about", "folder", "was", "is_now", "why", "prev", "hash"} {
		// The last character of the second event's column becomes another one.
		run("CREATE TABLE kept AS SELECT * FROM events WHERE seq = 2")
		run("UPDATE events SET " + col + " = substr(" + col + ", 1, length(" + col + ") - 1) || CASE substr(" + col + ", length(" + col + "), 1) WHEN 'b' THEN 'c' ELSE 'b' END WHERE seq = 2")
		_, _, err := s.CheckTrail(c)
		f := fault.Of(err)
		if f == nil || f.Code != "trail_broken" || !strings.Contains(f.Error(), "event 2") && !strings.Contains(f.Error(), "event 3") {
			t.Errorf("column %s: one byte was changed, the check says: %v", col, err)
		} else if col != "about" && col != "hash" && !strings.Contains(f.Where, "L-1002") {
			t.Errorf("column %s: the record is not named: %v", col, f)
		}
		run("UPDATE events SET " + col + " = (SELECT " + col + " FROM kept) WHERE seq = 2")
		run("DROP TABLE kept")
		if n, _, err := s.CheckTrail(c); err != nil || n != 3 {
			t.Fatalf("put right again, the check says: %v", err)
		}
	}
	for _, text := range []string{"DELETE FROM events WHERE seq = 3", "UPDATE trail_head SET seq = 2"} {
		run(text)
		if _, _, err := s.CheckTrail(c); err == nil {
			t.Errorf("%q went unnoticed", text)
		}
	}
}
