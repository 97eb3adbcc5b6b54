package runner_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"firstoff/fault"
	"firstoff/runner"
	"firstoff/store"
	"firstoff/store/pgtest"
)

func TestSQLite(t *testing.T) {
	suite(t, func(t *testing.T) string { return filepath.Join(t.TempDir(), "desk.db") })
}

func TestPostgres(t *testing.T) {
	server := pgtest.Start(t)
	suite(t, func(t *testing.T) string { return server.Database(t) })
}

func suite(t *testing.T, dsn func(t *testing.T) string) {
	for _, c := range []struct {
		name string
		test func(t *testing.T, d *desk)
	}{
		{"run once when committed, never when rolled back", once},
		{"result and end in one transaction", together},
		{"failed and run again", again},
		{"given up", givenUp},
		{"cancelled while waiting", cancelWaiting},
		{"cancelled while running", cancelRunning},
		{"orphans", orphans},
		{"an orphan that killed too often", poison},
		{"cut off by our own end", cutOff},
		{"unknown kind", unknownKind},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, newDesk(t, dsn(t))) })
	}
}

// desk is a store with a runner.
type desk struct {
	t *testing.T
	s *store.Store
	r *runner.Runner

	mu   sync.Mutex
	runs map[string]int
	lost map[string]int
}

func newDesk(t *testing.T, dsn string) *desk {
	s, err := store.Open(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	d := &desk{t: t, s: s, runs: map[string]int{}, lost: map[string]int{}}
	d.r = d.runner()
	if err := s.Migrate(t.Context(), d.r.Migrate); err != nil {
		t.Fatal(err)
	}
	return d
}

// runner is a process's runner; the test may have several, one after the other.
func (d *desk) runner() *runner.Runner { return d.runnerOf(3) }

func (d *desk) runnerOf(workers int) *runner.Runner {
	r, err := runner.New(runner.Database{DB: d.s.DB(), Pool: d.s.Pool(), Tx: store.Tx},
		runner.Options{Workers: workers, Sole: true, Quick: true, Retry: func(int) time.Duration { return 0 }})
	if err != nil {
		d.t.Fatal(err)
	}
	return r
}

func (d *desk) enqueue(kind string, ids ...string) {
	d.t.Helper()
	if err := d.s.InTx(d.t.Context(), func(c context.Context) error {
		for _, id := range ids {
			if err := d.r.Enqueue(c, kind, id); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		d.t.Fatal(err)
	}
}

func (d *desk) ran(id string) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.runs[id]++
	return d.runs[id]
}

// lostIt counts what was given up, and signals.
func (d *desk) lostIt(done chan<- string) runner.GivenUp {
	return func(_ context.Context, id string, last error) error {
		d.mu.Lock()
		d.lost[id]++
		d.mu.Unlock()
		done <- id
		return nil
	}
}

func (d *desk) start() {
	d.t.Helper()
	if err := d.r.Start(d.t.Context()); err != nil {
		d.t.Fatal(err)
	}
}

func (d *desk) stop() {
	d.t.Helper()
	if err := d.r.Stop(context.Background()); err != nil {
		d.t.Fatal(err)
	}
}

// wait gives the next n signals.
func (d *desk) wait(c <-chan string, n int) (got []string) {
	d.t.Helper()
	for range n {
		select {
		case s := <-c:
			got = append(got, s)
		case <-time.After(30 * time.Second):
			d.t.Fatalf("waited in vain; came: %v", got)
		}
	}
	return got
}

func (d *desk) unfinished(want int) {
	d.t.Helper()
	n, err := d.r.Unfinished(d.t.Context())
	if err != nil || n != want {
		d.t.Errorf("%d tasks unfinished, want %d (%v)", n, want, err)
	}
}

func once(t *testing.T, d *desk) {
	done := make(chan string, 100)
	d.r.Handle("work", func(_ context.Context, id string) error { d.ran(id); done <- id; return nil }, nil)
	no := errors.New("no")
	if err := d.s.InTx(t.Context(), func(c context.Context) error {
		if err := d.r.Enqueue(c, "work", "never-1"); err != nil {
			t.Error(err)
		}
		return no
	}); !errors.Is(err, no) {
		t.Fatal(err)
	}
	if f := fault.Of(d.r.Enqueue(t.Context(), "work", "outside-1")); f == nil || f.Code != "task_outside" {
		t.Errorf("asked for outside a transaction: %v", f)
	}
	d.start()
	for i := range 20 {
		d.enqueue("work", fmt.Sprintf("T-%d", i))
	}
	d.wait(done, 20)
	d.stop()
	for id, n := range d.runs {
		if n != 1 {
			t.Errorf("%s was run %d times", id, n)
		}
	}
	if len(d.runs) != 20 {
		t.Errorf("%d tasks were run, want 20", len(d.runs))
	}
	d.unfinished(0)
}

// A handler whose transaction fails after Complete leaves neither result nor end behind.
func together(t *testing.T, d *desk) {
	done := make(chan string, 10)
	d.r.Handle("work", func(c context.Context, id string) error {
		n := d.ran(id)
		err := d.s.InTx(c, func(c context.Context) error {
			if _, err := d.s.Next(c, "results"); err != nil {
				return err
			}
			if err := d.r.Complete(c); err != nil {
				return err
			}
			if n == 1 {
				return errors.New("the first transaction fails")
			}
			return nil
		})
		if err == nil {
			n, err := d.r.Unfinished(c)
			done <- fmt.Sprint(n, err)
			return errors.New("an error after the end has no effect")
		}
		return err
	}, nil)
	d.enqueue("work", "T-1")
	d.start()
	if got := d.wait(done, 1)[0]; got != "0<nil>" && got != "0 <nil>" {
		t.Errorf("right after the commit unfinished are %s", got)
	}
	d.stop()
	d.unfinished(0)
	if d.runs["T-1"] != 2 {
		t.Errorf("run %d times, want 2", d.runs["T-1"])
	}
	if err := d.s.InTx(t.Context(), func(c context.Context) error {
		n, err := d.s.Next(c, "results")
		if n != 1002 {
			t.Errorf("the next result would be %d, want 1002: one was written", n)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

func again(t *testing.T, d *desk) {
	done := make(chan string, 10)
	d.r.Handle("work", func(_ context.Context, id string) error {
		if n := d.ran(id); n < 3 {
			return errors.New("not yet")
		}
		done <- id
		return nil
	}, d.lostIt(done))
	d.enqueue("work", "T-1")
	d.start()
	d.wait(done, 1)
	d.stop()
	if d.runs["T-1"] != 3 || d.lost["T-1"] != 0 {
		t.Errorf("run %d times, given up %d", d.runs["T-1"], d.lost["T-1"])
	}
	d.unfinished(0)
}

func givenUp(t *testing.T, d *desk) {
	done := make(chan string, 10)
	d.r.Handle("work", func(_ context.Context, id string) error {
		if d.ran(id); id == "panics-1" {
			panic("a defect")
		}
		return errors.New("never")
	}, d.lostIt(done))
	d.enqueue("work", "fails-1", "panics-1")
	d.start()
	d.wait(done, 2)
	d.stop()
	for _, id := range []string{"fails-1", "panics-1"} {
		if d.runs[id] != runner.Attempts || d.lost[id] != 1 {
			t.Errorf("%s: run %d times, given up %d; want %d and 1", id, d.runs[id], d.lost[id], runner.Attempts)
		}
	}
	d.unfinished(0)
}

func cancelWaiting(t *testing.T, d *desk) {
	done := make(chan string, 10)
	d.r.Handle("work", func(_ context.Context, id string) error { d.ran(id); done <- id; return nil }, nil)
	d.enqueue("work", "T-1", "T-2", "T-10")
	if err := d.s.InTx(t.Context(), func(c context.Context) error {
		return errors.Join(d.r.Cancel(c, "work", "T-1"), d.r.Cancel(c, "work", "none"), d.r.Cancel(c, "other", "T-2"))
	}); err != nil {
		t.Fatal(err)
	}
	d.start()
	d.wait(done, 2)
	d.stop()
	if d.runs["T-1"] != 0 || d.runs["T-2"] != 1 || d.runs["T-10"] != 1 {
		t.Errorf("runs: %v", d.runs)
	}
	d.unfinished(0)
}

func cancelRunning(t *testing.T, d *desk) {
	began, ended := make(chan string), make(chan string, 10)
	d.r.Handle("work", func(c context.Context, id string) error {
		d.ran(id)
		began <- id
		<-c.Done()
		ended <- id
		return c.Err()
	}, d.lostIt(ended))
	d.enqueue("work", "T-1")
	d.start()
	d.wait(began, 1)
	if err := d.r.Cancel(t.Context(), "work", "T-1"); err != nil {
		t.Fatal(err)
	}
	d.wait(ended, 1)
	d.stop()
	if d.runs["T-1"] != 1 {
		t.Errorf("run %d times", d.runs["T-1"])
	}
	d.unfinished(0)
}

// die makes it look as if a process had died while it ran the waiting tasks.
func (d *desk) die(attempt int) {
	d.t.Helper()
	text := fmt.Sprintf("UPDATE river_job SET state = 'running', attempt = %d, attempted_at = ", attempt)
	if d.s.Pool() == nil {
		text += "datetime('now'), attempted_by = jsonb('[\"firstoff-dead\"]')"
	} else {
		text += "now(), attempted_by = ARRAY['somebody-before', 'firstoff-dead']"
	}
	if _, err := d.s.DB().ExecContext(d.t.Context(), text); err != nil {
		d.t.Fatal(err)
	}
}

func orphans(t *testing.T, d *desk) {
	done := make(chan string, 10)
	d.r.Handle("work", func(_ context.Context, id string) error { d.ran(id); done <- id; return nil }, d.lostIt(done))
	d.enqueue("work", "T-1", "T-2")
	d.die(1)
	d.start()
	d.wait(done, 2)
	d.stop()
	if d.runs["T-1"] != 1 || d.runs["T-2"] != 1 || len(d.lost) != 0 {
		t.Errorf("runs %v, given up %v", d.runs, d.lost)
	}
	d.unfinished(0)
	if d.s.Pool() == nil {
		return
	}
	// On PostgreSQL what a living process runs is left alone.
	// The first has one pair of hands, so that it cannot take up what is asked for later.
	began, release := make(chan string, 10), make(chan bool)
	d.r = d.runnerOf(1)
	d.r.Handle("work", func(_ context.Context, id string) error {
		d.ran(id)
		began <- id
		<-release
		done <- id
		return nil
	}, nil)
	d.enqueue("work", "T-3")
	first := d.r
	d.start()
	d.wait(began, 1)
	d.r = d.runner()
	d.r.Handle("work", func(_ context.Context, id string) error { d.ran(id); done <- "second " + id; return nil }, nil)
	d.start()
	d.enqueue("work", "T-4")
	if got := d.wait(done, 1)[0]; got != "second T-4" {
		t.Errorf("the second process ran %q", got)
	}
	close(release)
	d.wait(done, 1)
	d.stop()
	d.r = first
	d.stop()
	if d.runs["T-3"] != 1 {
		t.Errorf("a task of a living process was run %d times", d.runs["T-3"])
	}
}

func poison(t *testing.T, d *desk) {
	done := make(chan string, 10)
	d.r.Handle("work", func(_ context.Context, id string) error { d.ran(id); return nil }, d.lostIt(done))
	d.enqueue("work", "T-1")
	d.die(runner.Attempts)
	d.start()
	d.wait(done, 1)
	d.stop()
	if d.runs["T-1"] != 0 || d.lost["T-1"] != 1 {
		t.Errorf("runs %v, given up %v", d.runs, d.lost)
	}
	d.unfinished(0)
}

func cutOff(t *testing.T, d *desk) {
	began, done := make(chan string), make(chan string, 10)
	handle := func(c context.Context, id string) error {
		if n := d.ran(id); n <= runner.Attempts+1 {
			began <- id
			<-c.Done()
			return errors.New("an error that does not say why")
		}
		done <- id
		return nil
	}
	d.r.Handle("work", handle, d.lostIt(done))
	d.enqueue("work", "T-1")
	for range runner.Attempts + 1 { // more often than a task may fail
		d.start()
		d.wait(began, 1)
		now, cancel := context.WithCancel(context.Background())
		cancel() // no patience: cut off at once
		_ = d.r.Stop(now)
		d.unfinished(1)
		d.r = d.runner()
		d.r.Handle("work", handle, d.lostIt(done))
	}
	d.start()
	d.wait(done, 1)
	d.stop()
	if len(d.lost) != 0 {
		t.Errorf("given up: %v", d.lost)
	}
	d.unfinished(0)
}

func unknownKind(t *testing.T, d *desk) {
	done := make(chan string, 10)
	d.r.Handle("work", func(_ context.Context, id string) error { done <- id; return nil }, nil)
	d.enqueue("bygone", "T-1")
	d.enqueue("work", "T-2")
	d.start()
	d.wait(done, 1)
	d.stop()
	d.unfinished(0)
}
