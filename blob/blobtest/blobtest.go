// Package blobtest is the one suite that every place for files must pass, readers that fail on purpose included. For
// tests only.
package blobtest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"sync"
	"testing"
	"testing/iotest"

	"firstoff/blob"
	"firstoff/digest"
	"firstoff/fault"
)

// Run runs the suite; open gives an empty place each time.
func Run(t *testing.T, open func(t *testing.T) blob.Place) {
	for _, c := range []struct {
		name string
		test func(t *testing.T, p blob.Place)
	}{
		{"put and open", putAndOpen},
		{"same content twice", twice},
		{"missing", missing},
		{"seek", seek},
		{"failing reader", failingReader},
		{"cancelled", cancelled},
		{"at the same time", atOnce},
		{"each", each},
		{"copy and verify", copyAndVerify},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, open(t)) })
	}
}

// Content is n bytes that look like nothing, the same for the same seed.
func Content(n int, seed uint64) []byte {
	b := make([]byte, n)
	r := rand.NewChaCha8([32]byte{byte(seed), byte(seed >> 8)})
	_, _ = r.Read(b)
	return b
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func code(t *testing.T, err error, want string) {
	t.Helper()
	if f := fault.Of(err); f == nil || f.Code != want {
		t.Fatalf("want fault %s, got %v", want, err)
	}
}

func get(t *testing.T, p blob.Place, d digest.Digest) []byte {
	t.Helper()
	r, err := p.Open(t.Context(), d)
	must(t, err)
	defer func() { _ = r.Close() }()
	b, err := io.ReadAll(r)
	must(t, err)
	return b
}

func count(t *testing.T, p blob.Place) int {
	t.Helper()
	n := 0
	must(t, p.Each(t.Context(), func(digest.Digest, int64) error { n++; return nil }))
	return n
}

// Sizes around the edges of buffers and of what waits in memory (8 MiB), up to several parts of a multi-part upload.
func putAndOpen(t *testing.T, p blob.Place) {
	for _, n := range []int{0, 1, 84, 256 << 10, 256<<10 + 1, 8<<20 - 1, 8 << 20, 8<<20 + 1, 13 << 20} {
		b := Content(n, uint64(n))
		d, size, err := p.Put(t.Context(), iotest.HalfReader(bytes.NewReader(b)))
		must(t, err)
		if d != digest.Of(b) || size != int64(n) {
			t.Errorf("%d bytes: put as %s, %d bytes", n, d.Short(), size)
		}
		if !bytes.Equal(get(t, p, d), b) {
			t.Errorf("%d bytes came back differently", n)
		}
		if have, err := p.Stat(t.Context(), d); err != nil || have != int64(n) {
			t.Errorf("%d bytes: stat says %d, %v", n, have, err)
		}
	}
}

func twice(t *testing.T, p blob.Place) {
	b := Content(1000, 1)
	for range 2 {
		_, _, err := p.Put(t.Context(), iotest.DataErrReader(bytes.NewReader(b)))
		must(t, err)
	}
	if n := count(t, p); n != 1 {
		t.Errorf("%d files kept, want 1", n)
	}
}

func missing(t *testing.T, p blob.Place) {
	none := digest.Of([]byte("none"))
	_, err := p.Open(t.Context(), none)
	code(t, err, "blob_missing")
	_, err = p.Stat(t.Context(), none)
	code(t, err, "blob_missing")
	for _, d := range []digest.Digest{"", "../../etc/passwd", none[:63], none + "0"} {
		_, err = p.Open(t.Context(), d)
		code(t, err, "digest_form")
		_, err = p.Stat(t.Context(), d)
		code(t, err, "digest_form")
	}
}

func seek(t *testing.T, p blob.Place) {
	b := Content(1<<20, 2)
	d, _, err := p.Put(t.Context(), bytes.NewReader(b))
	must(t, err)
	r, err := p.Open(t.Context(), d)
	must(t, err)
	defer func() { _ = r.Close() }()
	rng := rand.New(rand.NewPCG(3, 4))
	for range 20 {
		at, n := rng.IntN(len(b)), 1+rng.IntN(5000)
		n = min(n, len(b)-at)
		whence, off := io.SeekStart, int64(at)
		if rng.IntN(3) == 0 {
			whence, off = io.SeekEnd, int64(at-len(b))
		}
		if got, err := r.Seek(off, whence); err != nil || got != int64(at) {
			t.Fatalf("seek to %d: %d, %v", at, got, err)
		}
		part := make([]byte, n)
		if _, err := io.ReadFull(r, part); err != nil || !bytes.Equal(part, b[at:at+n]) {
			t.Fatalf("%d bytes at %d came differently (%v)", n, at, err)
		}
	}
	if end, err := r.Seek(0, io.SeekEnd); err != nil || end != int64(len(b)) {
		t.Errorf("the end is at %d, %v", end, err)
	}
}

func failingReader(t *testing.T, p blob.Place) {
	broken := errors.New("the line broke")
	for _, n := range []int{0, 1, 300 << 10, 9 << 20} {
		_, _, err := p.Put(t.Context(), io.MultiReader(bytes.NewReader(Content(n, 5)), iotest.ErrReader(broken)))
		if !errors.Is(err, broken) {
			t.Errorf("after %d bytes: want the reader's error, got %v", n, err)
		}
	}
	if n := count(t, p); n != 0 {
		t.Errorf("%d files are left of uploads that failed", n)
	}
}

// stopper ends the context once it has given n bytes, and goes on giving.
type stopper struct {
	r    io.Reader
	n    int
	stop context.CancelFunc
}

func (s *stopper) Read(b []byte) (int, error) {
	n, err := s.r.Read(b)
	if s.n -= n; s.n <= 0 {
		s.stop()
	}
	return n, err
}

func cancelled(t *testing.T, p blob.Place) {
	for _, n := range []int{1, 200 << 10, 8<<20 + 5, 10 << 20} {
		ctx, stop := context.WithCancel(t.Context())
		_, _, err := p.Put(ctx, &stopper{bytes.NewReader(Content(10<<20, 6)), n, stop})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("ended after %d bytes: %v", n, err)
		}
		stop()
	}
	if n := count(t, p); n != 0 {
		t.Errorf("%d files are left of uploads that were cancelled", n)
	}
}

func atOnce(t *testing.T, p blob.Place) {
	var wg sync.WaitGroup
	for i := range 12 {
		wg.Go(func() {
			b := Content(100_000, uint64(i%3)) // four times each
			d, _, err := p.Put(t.Context(), bytes.NewReader(b))
			if err != nil || d != digest.Of(b) {
				t.Errorf("put %d: %v", i, err)
			}
		})
	}
	wg.Wait()
	if n := count(t, p); n != 3 {
		t.Errorf("%d files kept, want 3", n)
	}
	for i := range 3 {
		b := Content(100_000, uint64(i))
		if !bytes.Equal(get(t, p, digest.Of(b)), b) {
			t.Errorf("file %d came back differently", i)
		}
	}
}

func each(t *testing.T, p blob.Place) {
	want := map[digest.Digest]int64{}
	for i := range 20 {
		d, n, err := p.Put(t.Context(), bytes.NewReader(Content(i*7, uint64(i))))
		must(t, err)
		want[d] = n
	}
	last := digest.Digest("")
	must(t, p.Each(t.Context(), func(d digest.Digest, n int64) error {
		if d <= last {
			t.Errorf("%s came after %s", d.Short(), last.Short())
		}
		last = d
		if want[d] != n {
			t.Errorf("%s has %d bytes, want %d", d.Short(), n, want[d])
		}
		delete(want, d)
		return nil
	}))
	if len(want) > 0 {
		t.Errorf("%d files did not come", len(want))
	}
	enough := errors.New("enough")
	if err := p.Each(t.Context(), func(digest.Digest, int64) error { return enough }); !errors.Is(err, enough) {
		t.Errorf("want the caller's error, got %v", err)
	}
}

func copyAndVerify(t *testing.T, p blob.Place) {
	other, err := blob.OpenFolder(t.TempDir())
	must(t, err)
	for i := range 5 {
		_, _, err := p.Put(t.Context(), bytes.NewReader(Content(5000, uint64(i))))
		must(t, err)
	}
	for _, want := range []int{5, 0} { // the second time nothing is lacking
		n, bytes, err := blob.Copy(t.Context(), p, other)
		must(t, err)
		if n != want || bytes != int64(want)*5000 {
			t.Errorf("%d files, %d bytes copied, want %d", n, bytes, want)
		}
	}
	d := digest.Of(Content(5000, 3))
	must(t, blob.Verify(t.Context(), p, d))
	must(t, blob.Verify(t.Context(), other, d))
	code(t, blob.Verify(t.Context(), p, digest.Of([]byte("none"))), "blob_missing")
}
