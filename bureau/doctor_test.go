package bureau_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/blob"
	"firstoff/bureau"
	"firstoff/client"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/store/pgtest"
)

// bad lists what the doctor does not find good.
func (d *desk) bad(deep bool) (bad []string) {
	var verify func(context.Context, digest.Digest) error
	if deep {
		verify = func(c context.Context, s digest.Digest) error { return blob.Verify(c, d.files, s) }
	}
	for _, l := range bureau.Doctor(d.c, d.s, d.files, verify) {
		if !l.Good {
			bad = append(bad, l.Message)
		}
	}
	return bad
}

// TestDoctor harms a desk behind its back in each way the doctor says it finds, and expects the record to be named.
func TestDoctor(t *testing.T) {
	for _, h := range []struct {
		name string
		deep bool
		sql  []string
		file func(path string) error // done to the kept file
		want []string
	}{
		{name: "an issued price", sql: []string{"DROP TRIGGER sealed_update", "UPDATE sealed SET body = replace(body, '\"unit_price_minor\":1000', '\"unit_price_minor\":1001')"}, want: []string{"Q-1001-A"}},
		{name: "an issued quotation lost", sql: []string{"DROP TRIGGER sealed_delete", "DELETE FROM sealed"}, want: []string{"Q-1001-A"}},
		{name: "another seal, well made", sql: []string{
			"INSERT INTO sealed (digest, body) VALUES ('" + string(digest.Of([]byte("{}"))) + "', '{}')",
			"UPDATE quotations SET body = replace(body, (SELECT frozen FROM quotations), '" + string(digest.Of([]byte("{}"))) + "')"}, want: []string{"Q-1001-A", "another content"}},
		{name: "one letter of an event", sql: []string{"DROP TRIGGER events_update", "UPDATE events SET who = 'Estimator' WHERE what = 'quotation.issued'"}, want: []string{"trail event Q-1001-A"}},
		{name: "a file gone", file: os.Remove, want: []string{"F-1001", "not in the store"}},
		{name: "a file cut off", file: func(p string) error { return writeOver(p, "part a 100") }, want: []string{"F-1001", "10 bytes and had 11"}},
		{name: "a file changed", deep: true, file: func(p string) error { return writeOver(p, "part a 1001") }, want: []string{"F-1001", "no longer matches"}},
		{name: "a newer schema", sql: []string{"INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, 1)"}, want: []string{"version 99"}},
	} {
		t.Run(h.name, func(t *testing.T) {
			d := newDesk(t).start()
			f, _, _ := d.issued("part a 1000")
			if bad := d.bad(true); len(bad) > 0 {
				t.Fatalf("before any harm: %q", bad)
			}
			for _, text := range h.sql {
				if _, err := d.s.DB().ExecContext(d.c, text); err != nil {
					t.Fatal(err)
				}
			}
			if h.file != nil {
				s := f.Files[0].Digest
				var path string
				d.must(filepath.Walk(d.dir, func(p string, _ os.FileInfo, err error) error {
					if filepath.Base(p) == string(s) {
						path = p
					}
					return err
				}))
				d.must(h.file(path))
			}
			bad := d.bad(h.deep)
			if len(bad) != 1 {
				t.Fatalf("the doctor says: %q", bad)
			}
			for _, w := range h.want {
				if !strings.Contains(bad[0], w) {
					t.Errorf("the doctor says %q, which does not name %q", bad[0], w)
				}
			}
		})
	}
}

func writeOver(path, text string) error {
	if err := os.Chmod(path, 0o600); err != nil {
		return err
	}
	return os.WriteFile(path, []byte(text), 0o600)
}

// TestBackupAndRestore: a desk that was copied while it worked is carried to PostgreSQL, where everything is there, links
// lead where they led, and work that had not ended is taken up.
func TestBackupAndRestore(t *testing.T) {
	d := newDesk(t)
	hold := make(chan bool)
	began := make(chan bool, 10)
	d.start()
	_, id, token := d.issued("part a 1000")
	d.bench.mu.Lock()
	d.bench.hold = func(ctx context.Context, _ string) { began <- true; <-hold }
	d.bench.mu.Unlock()
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Client: client.Client{Firm: "Y"}})
	d.must(err)
	_, err = d.ReceiveFile(d.c, "estimator", r.ID, "b.txt", strings.NewReader("part b 5"))
	d.must(err)
	<-began
	backup := t.TempDir()
	_, err = d.s.Backup(d.c, backup) // records first: files are only ever added
	d.must(err)
	kept, err := blob.OpenFolder(filepath.Join(backup, "files"))
	d.must(err)
	n, _, err := blob.Copy(d.c, d.files, kept)
	d.must(err)
	close(hold)
	if n != 3 { // two files and a model
		t.Errorf("%d files copied", n)
	}

	e := deskAt(t, t.TempDir(), pgtest.Start(t).Database(t))
	e.must(e.s.Restore(e.c, backup))
	_, _, err = blob.Copy(e.c, kept, e.files)
	e.must(err)
	took, err := e.TakeUp(e.c)
	e.must(err)
	again, err := e.TakeUp(e.c)
	e.must(err)
	if again != 0 {
		t.Errorf("%d taken up a second time", again)
	}
	e.start()
	f := e.ready(r.ID)
	if took != 1 || f.Files[0].State != request.Ready || len(f.Lines) != 1 {
		t.Errorf("%d taken up: %+v", took, f.Files)
	}
	v, err := e.ClientView(e.c, token)
	e.must(err)
	if v.Quotation.ID != id || v.Quotation.Body.Lines[0].UnitPrice != 1000 {
		t.Errorf("the link leads to %+v", v.Quotation)
	}
	o, err := e.ClientAccept(e.c, token, bureau.Acceptance{Quotation: id, Name: "B"})
	e.must(err)
	if o.ID != "O-1001" {
		t.Errorf("order %s", o.ID)
	}
	e.sound()
}

// TestTwoProcesses: what one process enters another analyses, and the first sees it happen.
func TestTwoProcesses(t *testing.T) {
	dir, dsn := t.TempDir(), pgtest.Start(t).Database(t)
	face, works := deskAt(t, dir, dsn), deskAt(t, dir, dsn).start()
	f := face.request("part a 1000", "broken")
	if f.Files[0].State != request.Ready || f.Files[1].State != request.Failed || len(face.bench.reads) != 0 || len(works.bench.reads) != 2 {
		t.Errorf("files %+v, read here %v, there %v", f.Files, face.bench.reads, works.bench.reads)
	}
	// Cancelled on one side, an analysis on the other comes to nothing.
	works.bench.mu.Lock()
	began, told := make(chan bool), make(chan bool)
	works.bench.hold = func(ctx context.Context, _ string) { began <- true; <-ctx.Done(); close(told) }
	works.bench.mu.Unlock()
	slow, err := face.ReceiveFile(face.c, "estimator", f.Request.ID, "slow.txt", strings.NewReader("part b 5"))
	face.must(err)
	<-began
	_, err = face.CancelAnalysis(face.c, "estimator", slow.ID)
	face.must(err)
	select {
	case <-told: // the reading there ends
	case <-face.c.Done():
		t.Fatal("the other process does not hear of it")
	}
	works.must(works.r.Stop(works.c))
	if f = face.folder(f.Request.ID); f.Files[2].Problem.Code != "analysis_cancelled" || len(f.Lines) != 1 {
		t.Errorf("%+v", f.Files[2])
	}
	face.sound()
}
