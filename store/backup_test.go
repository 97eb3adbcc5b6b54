package store_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"firstoff/fault"
	"firstoff/store"
	"firstoff/store/storetest"
	"firstoff/trail"
)

// carried exports one store into another and expects the same text out of that.
func carried(t *testing.T, from, to *store.Store) {
	c := t.Context()
	for range 3 {
		_, r, _, _ := storetest.Folder(t, c, from)
		if err := from.Log(c, trail.Event{Who: "x", What: "opened", About: r}); err != nil {
			t.Fatal(err)
		}
	}
	var text, again bytes.Buffer
	if err := from.Export(c, &text); err != nil {
		t.Fatal(err)
	}
	if err := to.Import(c, bytes.NewReader(text.Bytes())); err != nil {
		t.Fatal(err)
	}
	if err := to.Export(c, &again); err != nil {
		t.Fatal(err)
	}
	if text.String() != again.String() {
		t.Errorf("what was carried over reads differently")
	}
	if n, _, err := to.CheckTrail(c); err != nil || n != 3 {
		t.Errorf("trail carried over: %d, %v", n, err)
	}
	if f := fault.Of(to.Import(c, bytes.NewReader(text.Bytes()))); f == nil || f.Code != "records_not_empty" {
		t.Errorf("a second import: %v", f)
	}
	storetest.Folder(t, c, to) // numbers go on where they were
}

// TestBackupWhileWriting: a copy made while others write holds whole transactions only, and can be worked on.
func TestBackupWhileWriting(t *testing.T) {
	s := lite(t)
	c, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	first := make(chan bool)
	wg.Go(func() {
		for i := 0; c.Err() == nil; i++ {
			_ = s.InTx(c, func(c context.Context) error {
				n, err := s.Next(c, "pair")
				if err != nil {
					return err
				}
				if _, err := s.Next(c, "twin"); err != nil {
					return err
				}
				return s.Log(c, trail.Event{What: "pair", About: fmt.Sprint(n)})
			})
			if i == 5 {
				close(first)
			}
		}
	})
	<-first
	dir := filepath.Join(t.TempDir(), "backup")
	if _, err := s.Backup(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	stop()
	wg.Wait()
	if _, err := s.Backup(t.Context(), dir); fault.Of(err) == nil || fault.Of(err).Code != "backup_exists" {
		t.Errorf("a backup over a backup: %v", err)
	}
	to := lite(t)
	if err := to.Restore(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	last, _, err := to.CheckTrail(t.Context())
	if err != nil || last < 5 {
		t.Fatalf("trail of the copy: %d events, %v", last, err)
	}
	var pair, twin int64
	if err := to.InTx(t.Context(), func(c context.Context) (err error) {
		if pair, err = to.Next(c, "pair"); err != nil {
			return err
		}
		twin, err = to.Next(c, "twin")
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if pair != twin || pair != 1000+last+1 {
		t.Errorf("the copy holds half a transaction: next numbers %d and %d after %d events", pair, twin, last)
	}
	if err := to.Restore(t.Context(), t.TempDir()); fault.Of(err).Code != "backup_missing" {
		t.Errorf("restoring from an empty folder: %v", err)
	}
}

// TestDamagedBackup: cut off or changed anywhere, a backup is refused whole.
func TestDamagedBackup(t *testing.T) {
	from := lite(t)
	storetest.Folder(t, t.Context(), from)
	var text bytes.Buffer
	if err := from.Export(t.Context(), &text); err != nil {
		t.Fatal(err)
	}
	whole := text.String()
	lines := strings.SplitAfter(whole, "\n")
	bad := map[string]string{
		"empty":         "",
		"no backup":     "hello",
		"other schema":  strings.Replace(whole, `"schema":`, `"schema":9`, 1),
		"cut off":       strings.Join(lines[:len(lines)-2], ""),
		"row missing":   strings.Join(append(append([]string{}, lines[:1]...), lines[2:]...), ""),
		"no such table": strings.Replace(whole, "\n[1,", "\n[99,", 1),
		"no number":     strings.Replace(whole, "\n[1,", "\n[1.5,", 1),
		"too short":     lines[0] + "[0]\n",
	}
	to := lite(t)
	for name, b := range bad {
		f := fault.Of(to.Import(t.Context(), strings.NewReader(b)))
		if f == nil || f.Kind != fault.Invalid {
			t.Errorf("%s: %v", name, f)
		}
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for range 60 {
		b := []byte(whole)[:rng.IntN(len(whole)-2)]
		if f := fault.Of(to.Import(t.Context(), bytes.NewReader(b))); f == nil || f.Kind != fault.Invalid {
			t.Errorf("cut at %d: %v", len(b), f)
		}
	}
	if err := to.Import(t.Context(), strings.NewReader(whole)); err != nil {
		t.Errorf("after all that the good one: %v", err)
	}
	damaged := filepath.Join(t.TempDir(), "b")
	if _, err := from.Backup(t.Context(), damaged); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(damaged, "records.db")
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b[:len(b)/2], 0o600); err != nil {
		t.Fatal(err)
	}
	if f := fault.Of(lite(t).Restore(t.Context(), damaged)); f == nil || f.Kind == fault.Internal {
		t.Errorf("half a database file: %v", f)
	}
}
