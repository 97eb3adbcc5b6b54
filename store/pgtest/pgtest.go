// Package pgtest starts a real PostgreSQL for tests, out of Debian's folders, in a temporary folder, reachable by a
// socket only, and ends it with the test. PostgreSQL refuses to run as root, so as root it is started as the user
// "postgres". For tests only.
package pgtest

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"sort"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver named "pgx"

	"firstoff/checks"
)

// Server is a running PostgreSQL.
type Server struct {
	dir string
	n   atomic.Int64
}

// Start starts a server. Where there is no PostgreSQL the test is left out, under CI it fails.
func Start(t testing.TB) *Server {
	t.Helper()
	bin := binaries()
	if bin == "" {
		checks.Missing(t, "PostgreSQL (Debian: apt-get install postgresql)")
	}
	dir, err := os.MkdirTemp("", "firstoff-pg-") // short: a socket's path has 107 bytes at most
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	as := owner(t, dir)
	data := filepath.Join(dir, "data")
	initdb := exec.Command(filepath.Join(bin, "initdb"), "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync", "--no-instructions")
	initdb.SysProcAttr, initdb.Dir = as(), dir
	if out, err := initdb.CombinedOutput(); err != nil {
		t.Fatalf("initdb: %v\n%s", err, out)
	}
	server := exec.Command(filepath.Join(bin, "postgres"), "-D", data, "-k", dir, "-c", "listen_addresses=", "-c", "fsync=off", "-c", "max_connections=200", "-c", "shared_buffers=32MB", "-c", "logging_collector=off", "-c", "log_min_messages=fatal")
	server.SysProcAttr, server.Dir = as(), dir
	log, err := os.Create(filepath.Join(dir, "log"))
	if err != nil {
		t.Fatal(err)
	}
	server.Stdout, server.Stderr = log, log
	started, ended := make(chan error, 1), make(chan struct{})
	go func() {
		// The server is told to end when this thread does, so the thread must live as long as the server.
		runtime.LockOSThread()
		err := server.Start()
		started <- err
		if err == nil {
			_ = server.Wait()
		}
		close(ended)
	}()
	if err := <-started; err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = server.Process.Signal(os.Interrupt) // fast shutdown
		<-ended
		_ = log.Close()
	})
	s := &Server{dir: dir}
	s.wait(t, ended)
	return s
}

func (s *Server) wait(t testing.TB, ended <-chan struct{}) {
	db, err := sql.Open("pgx", s.dsn("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	for {
		if err = db.PingContext(ctx); err == nil {
			return
		}
		select {
		case <-ended:
			text, _ := os.ReadFile(filepath.Join(s.dir, "log"))
			t.Fatalf("PostgreSQL ended at once:\n%s", text)
		case <-ctx.Done():
			t.Fatalf("PostgreSQL does not answer: %v", err)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func (s *Server) dsn(name string) string {
	return "postgres://postgres@/" + name + "?host=" + s.dir
}

// Database makes an empty database and gives its address.
func (s *Server) Database(t testing.TB) string {
	t.Helper()
	db, err := sql.Open("pgx", s.dsn("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	name := fmt.Sprintf("desk%d", s.n.Add(1))
	if _, err := db.Exec("CREATE DATABASE " + name); err != nil {
		t.Fatal(err)
	}
	return s.dsn(name)
}

// binaries is the folder of the newest PostgreSQL installed, or empty.
func binaries() string {
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/postgres")
	sort.Slice(found, func(i, j int) bool { return version(found[i]) < version(found[j]) })
	if len(found) > 0 {
		return filepath.Dir(found[len(found)-1])
	}
	if p, err := exec.LookPath("postgres"); err == nil {
		return filepath.Dir(p)
	}
	return ""
}

func version(path string) int {
	n, _ := strconv.Atoi(filepath.Base(filepath.Dir(filepath.Dir(path))))
	return n
}

// postgresUser is who runs the server when the test runs as root.
func postgresUser(t testing.TB, dir string) (uid, gid uint32) {
	u, err := user.Lookup("postgres")
	if err != nil {
		checks.Missing(t, "the user postgres, under whom PostgreSQL runs when the tests run as root")
	}
	a, _ := strconv.ParseUint(u.Uid, 10, 32)
	b, _ := strconv.ParseUint(u.Gid, 10, 32)
	if err := os.Chown(dir, int(a), int(b)); err != nil {
		t.Fatal(err)
	}
	return uint32(a), uint32(b)
}
