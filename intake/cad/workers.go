package cad

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"sync"
	"time"

	"firstoff/intake/content"
)

// Workers bounds how many children work at once, each with up to the memory cap, and keeps idle ones for the
// next file, which then need not wait for the kernel to load (about a fifth of a second and 150 MB each). A child that met a deadline, a cap or a crash is never kept, and every
// file gets a fresh instance of the kernel in any case.
type Workers struct {
	mu     sync.Mutex
	idle   []*child
	slots  chan struct{} // one taken for each file being read
	closed bool
}

// idleLife is how long an idle child is kept, and filesEach how many files one reads.
const (
	idleLife  = 3 * time.Minute
	filesEach = 50
)

// NewWorkers lets up to n children work at once and keeps as many; at least 1.
func NewWorkers(n int) *Workers { return &Workers{slots: make(chan struct{}, max(n, 1))} }

// enter waits for its turn; leave must be called after a nil error.
func (w *Workers) enter(ctx context.Context) error {
	if w == nil {
		return nil
	}
	select {
	case w.slots <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (w *Workers) leave() {
	if w != nil {
		<-w.slots
	}
}

// Close ends the idle children; those at work end with their file.
func (w *Workers) Close() {
	w.mu.Lock()
	list := w.idle
	w.idle, w.closed = nil, true
	w.mu.Unlock()
	for _, c := range list {
		c.end()
	}
}

func (w *Workers) take(cfg kernelConfig) *child {
	if w == nil {
		return nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	for i, c := range w.idle {
		if c.cfg == cfg && c.timer.Stop() {
			w.idle = append(w.idle[:i], w.idle[i+1:]...)
			return c
		}
	}
	return nil
}

func (w *Workers) give(c *child) {
	if w == nil || c.files >= filesEach {
		c.end()
		return
	}
	w.mu.Lock()
	kept := !w.closed && len(w.idle) < cap(w.slots)
	if kept {
		c.timer = time.AfterFunc(idleLife, func() { w.drop(c) })
		w.idle = append(w.idle, c)
	}
	w.mu.Unlock()
	if !kept {
		c.end()
	}
}

func (w *Workers) drop(c *child) {
	w.mu.Lock()
	for i := range w.idle {
		if w.idle[i] == c {
			w.idle = append(w.idle[:i], w.idle[i+1:]...)
			break
		}
	}
	w.mu.Unlock()
	c.end()
}

// child is one process.
type child struct {
	cfg    kernelConfig
	cmd    *exec.Cmd
	in     io.WriteCloser
	out    io.Reader
	stderr *tail
	files  int
	timer  *time.Timer
}

func startChild(cfg kernelConfig) (*child, error) {
	if os.Getenv(childEnv) != "" {
		return nil, errors.New("cad: a child must not start children: ChildMain was not called first")
	}
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	c := &child{cfg: cfg, stderr: &tail{}}
	// ChildMain looks at the environment only. The argument keeps a test binary whose TestMain forgot to call
	// it from running its tests again: it ends at once, and Read says that the child broke down.
	c.cmd = exec.Command(self, "-test.run=^$")
	c.cmd.Env = []string{childEnv + "=1", "GOMAXPROCS=2", "GOTRACEBACK=single"}
	c.cmd.Stderr = c.stderr
	if c.in, err = c.cmd.StdinPipe(); err != nil {
		return nil, err
	}
	if c.out, err = c.cmd.StdoutPipe(); err != nil {
		return nil, err
	}
	return c, c.cmd.Start()
}

// ask sends one request and reads the answer. When ctx ends the child is killed.
func (c *child) ask(ctx context.Context, q *request, data []byte, lim content.Limits) (*answer, error) {
	defer context.AfterFunc(ctx, func() { _ = c.cmd.Process.Kill() })()
	c.files++
	q.Size = len(data)
	sent := make(chan error, 1)
	go func() {
		err := writeFrame(c.in, q)
		if err == nil {
			_, err = c.in.Write(data)
		}
		sent <- err
	}()
	a, err := readAnswer(c.out, lim)
	if err != nil { // whatever the child still does, it must not hold up the writer
		_ = c.cmd.Process.Kill()
	}
	if e := <-sent; err == nil {
		err = e
	}
	return a, err
}

// end closes the child's input and waits for it, not for ever.
func (c *child) end() {
	_ = c.in.Close()
	t := time.AfterFunc(5*time.Second, func() { _ = c.cmd.Process.Kill() })
	_ = c.cmd.Wait()
	t.Stop()
}

// kill ends a child that is no longer of use and says how it ended.
func (c *child) kill() error {
	_ = c.cmd.Process.Kill()
	_ = c.in.Close()
	return c.cmd.Wait()
}

// tail keeps the first and the last of what is written to it.
type tail struct {
	mu   sync.Mutex
	head bytes.Buffer
	last []byte
}

const tailSize = 2 << 10

func (t *tail) Write(b []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if room := tailSize - t.head.Len(); room > 0 {
		t.head.Write(b[:min(room, len(b))])
	}
	t.last = append(t.last, b...)
	if n := len(t.last) - tailSize; n > 0 {
		t.last = append(t.last[:0], t.last[n:]...)
	}
	return len(b), nil
}

// String is what was kept.
func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.head.Len() < tailSize {
		return t.head.String()
	}
	return t.head.String() + "\n…\n" + string(t.last)
}
