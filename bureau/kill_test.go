package bureau_test

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"

	"firstoff/bureau"
	"firstoff/client"
	"firstoff/store/pgtest"
)

const (
	childDir   = "FIRSTOFF_TEST_DIR"
	childDSN   = "FIRSTOFF_TEST_DSN"
	childReads = "FIRSTOFF_TEST_READS"
)

// TestKillMinus9: the process is killed in the middle of ten analyses, three times; after the last start all ten
// finish, none was entered twice, nothing is lost.
func TestKillMinus9(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) { killed(t, "") })
	t.Run("PostgreSQL", func(t *testing.T) { killed(t, pgtest.Start(t).Database(t)) })
}

// TestChild is no test: it is the process that TestKillMinus9 kills. It runs what is to be run, says each file it begins
// to read, lets a given number of them through and then stays where it is.
func TestChild(t *testing.T) {
	if os.Getenv(childDir) == "" {
		return // run as a test there is nothing to do
	}
	var through int
	if _, err := fmt.Sscan(os.Getenv(childReads), &through); err != nil {
		t.Fatal(err)
	}
	d := deskAt(t, os.Getenv(childDir), os.Getenv(childDSN))
	var mu sync.Mutex
	d.bench.hold = func(_ context.Context, name string) {
		mu.Lock()
		through--
		stay := through < 0
		mu.Unlock()
		fmt.Println("reading", name, stay)
		if stay {
			select {}
		}
	}
	d.start()
	select {}
}

func killed(t *testing.T, dsn string) {
	const seed = 7
	rng := rand.New(rand.NewPCG(seed, seed))
	t.Logf("seed %d", seed)
	dir := t.TempDir()
	d := deskAt(t, dir, dsn)
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Title: "Ten", Client: client.Client{Firm: "X"}})
	d.must(err)
	for i := range 10 {
		_, err := d.ReceiveFile(d.c, "estimator", r.ID, fmt.Sprintf("%d.txt", i), strings.NewReader(fmt.Sprintf("part p%d %d\npart q%d 1", i, i+1, i)))
		d.must(err)
	}
	d.must(d.s.Close()) // from here on only the child works on it
	for range 3 {
		kill(t, dir, dsn, 1+rng.IntN(3))
	}

	d = deskAt(t, dir, dsn).start()
	f := d.ready(r.ID)
	if len(f.Files) != 10 || len(f.Lines) != 20 {
		t.Fatalf("%d files and %d lines, want 10 and 20", len(f.Files), len(f.Lines))
	}
	for i, file := range f.Files {
		if file.State != "ready" || file.Round != 1 {
			t.Errorf("%s is %s after round %d: %+v", file.Name, file.State, file.Round, file.Problem)
		}
		for k, l := range f.Lines[2*i : 2*i+2] {
			if want := fmt.Sprintf("%c%d", "pq"[k], i); l.Name != want || l.FileID != file.ID || l.Pick == nil {
				t.Errorf("line %d of %s is %s %+v", k, file.Name, l.Name, l.Pick)
			}
		}
	}
	entered := map[string]int{}
	for _, e := range f.Trail {
		if e.What == "file.analysed" {
			entered[e.About]++
		}
	}
	for _, file := range f.Files {
		if entered[file.ID] != 1 {
			t.Errorf("%s was entered %d times", file.ID, entered[file.ID])
		}
	}
	if n, err := d.r.Unfinished(d.c); err != nil || n != 0 {
		t.Errorf("%d tasks are left, %v", n, err)
	}
	d.sound()
}

// kill starts the child, waits until it has let some files through and is held up reading others, and kills it there.
func kill(t *testing.T, dir, dsn string, through int) {
	t.Helper()
	child := exec.Command(os.Args[0], "-test.run=^TestChild$", "-test.timeout=60s")
	child.Env = append(os.Environ(), childDir+"="+dir, childDSN+"="+dsn, fmt.Sprint(childReads, "=", through))
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	child.Stderr = os.Stderr
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	held, said := 0, []string{}
	for lines := bufio.NewScanner(out); held < 2 && lines.Scan(); {
		said = append(said, lines.Text())
		if strings.HasPrefix(lines.Text(), "reading") && strings.HasSuffix(lines.Text(), "true") {
			held++
		}
	}
	_ = child.Process.Kill()
	_ = child.Wait()
	if held < 2 {
		t.Fatalf("the child was not in the middle of its work when it was killed: %q", said)
	}
}
