// Package s3test starts a real S3 server for tests (versitygw over a temporary folder), built once from the module in
// tools/s3server and kept in the user's cache. It ends with the test. For tests only.
package s3test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"firstoff/checks"
	"firstoff/digest"
)

// Server is a running S3 server.
type Server struct {
	addr, root string
	mu         sync.Mutex
	n          int
}

// Start starts a server and sets the credentials for this process. Where it can be neither found nor built the test is
// left out, under CI it fails. Not in parallel tests: it sets the environment.
func Start(t testing.TB) *Server {
	t.Helper()
	bin, err := binary()
	if err != nil {
		checks.Missing(t, fmt.Sprintf("the S3 server (go build in tools/s3server): %v", err))
	}
	root := t.TempDir()
	meta := t.TempDir()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	_ = l.Close()
	t.Setenv("AWS_ACCESS_KEY_ID", "desk")
	t.Setenv("AWS_SECRET_ACCESS_KEY", "desk-secret")
	t.Setenv("AWS_EC2_METADATA_DISABLED", "true")
	cmd := exec.Command(bin, "--access", "desk", "--secret", "desk-secret", "--port", addr, "--quiet", "posix", "--sidecar", meta, root)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = cmd.Stdout
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var said strings.Builder
	done := make(chan struct{})
	go func() {
		defer close(done)
		_, _ = io.Copy(&said, bufio.NewReader(out))
		_ = cmd.Wait()
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-done
	})
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		r, err := http.Get("http://" + addr + "/")
		if err == nil {
			_ = r.Body.Close()
			return &Server{addr: addr, root: root}
		}
		select {
		case <-done:
			t.Fatalf("the S3 server ended at once:\n%s", said.String())
		default:
		}
		if time.Now().After(end) {
			t.Fatalf("the S3 server does not answer: %v", err)
		}
	}
}

// Bucket makes an empty bucket and gives its address for blob.Open.
func (s *Server) Bucket(t testing.TB) string {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.n++
	name := fmt.Sprintf("desk-%d", s.n)
	if err := os.Mkdir(filepath.Join(s.root, name), 0o755); err != nil { // a bucket is a folder there
		t.Fatal(err)
	}
	return s.Address(name)
}

// Address is the address of a bucket that may not exist.
func (s *Server) Address(name string) string {
	return "s3://" + name + "?region=us-east-1&use_path_style=true&endpoint=http://" + s.addr
}

// Folder is where the server keeps a bucket's objects.
func (s *Server) Folder(address string) string {
	name, _, _ := strings.Cut(strings.TrimPrefix(address, "s3://"), "?")
	return filepath.Join(s.root, name)
}

// binary builds the server, or finds the one built before from the same versions.
func binary() (string, error) {
	src := filepath.Join(checks.Root(), "tools", "s3server")
	sum, err := os.ReadFile(filepath.Join(src, "go.sum"))
	if err != nil {
		return "", err
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir()
	}
	dir := filepath.Join(cache, "firstoff-tests")
	at := filepath.Join(dir, "s3server-"+digest.Of(sum).Short())
	if _, err := os.Stat(at); err == nil {
		return at, nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	tmp := fmt.Sprintf("%s.%d", at, os.Getpid())
	cmd := exec.Command("go", "build", "-C", src, "-o", tmp, "github.com/versity/versitygw/cmd/versitygw")
	cmd.Env = append(os.Environ(), "GOFLAGS=", "GOWORK=off")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, strings.TrimSpace(string(out)))
	}
	return at, os.Rename(tmp, at)
}
