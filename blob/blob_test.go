package blob_test

import (
	"bytes"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"firstoff/blob"
	"firstoff/blob/blobtest"
	"firstoff/blob/s3test"
	"firstoff/digest"
	"firstoff/fault"
)

func TestFolder(t *testing.T) {
	blobtest.Run(t, func(t *testing.T) blob.Place {
		p, err := blob.Open(t.Context(), filepath.Join(t.TempDir(), "files here"))
		if err != nil {
			t.Fatal(err)
		}
		return p
	})
}

func TestS3(t *testing.T) {
	server := s3test.Start(t)
	open := func(t *testing.T, address string) blob.Place {
		p, err := blob.Open(t.Context(), address)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = p.Close() })
		return p
	}
	blobtest.Run(t, func(t *testing.T) blob.Place { return open(t, server.Bucket(t)) })
	t.Run("no such bucket", func(t *testing.T) {
		_, err := blob.Open(t.Context(), server.Address("none-such"))
		if f := fault.Of(err); f == nil || f.Code != "blob_away" {
			t.Errorf("%v", err)
		}
	})
	t.Run("damaged", func(t *testing.T) {
		address := server.Bucket(t)
		damaged(t, open(t, address), server.Folder(address))
	})
}

// damaged changes one bit of a kept file behind the program's back.
func damaged(t *testing.T, p blob.Place, root string) {
	d, _, err := p.Put(t.Context(), bytes.NewReader(blobtest.Content(100_000, 9)))
	if err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.Name() != string(d) {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		b[50_000] ^= 1
		if err := os.Chmod(path, 0o600); err != nil {
			return err
		}
		return os.WriteFile(path, b, 0o600)
	})
	if err != nil {
		t.Fatal(err)
	}
	if f := fault.Of(blob.Verify(t.Context(), p, d)); f == nil || f.Code != "blob_damaged" {
		t.Errorf("one bit of a kept file was changed, the check says: %v", f)
	}
	to, err := blob.OpenFolder(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := blob.Copy(t.Context(), p, to); fault.Of(err) == nil || fault.Of(err).Code != "blob_damaged" {
		t.Errorf("copying a damaged file: %v", err)
	}
}

func TestDamagedFolder(t *testing.T) {
	root := t.TempDir()
	p, err := blob.OpenFolder(root)
	if err != nil {
		t.Fatal(err)
	}
	damaged(t, p, root)
}

// TestNothingLeft: uploads that fail leave nothing beside the files either.
func TestNothingLeft(t *testing.T) {
	root := t.TempDir()
	p, err := blob.OpenFolder(root)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := p.Put(t.Context(), io.MultiReader(strings.NewReader("half a fi"), iotest.ErrReader(io.ErrUnexpectedEOF))); err == nil {
		t.Error("kept")
	}
	if _, _, err := p.Put(t.Context(), strings.NewReader("a file")); err != nil {
		t.Error(err)
	}
	if left, err := os.ReadDir(filepath.Join(root, "incoming")); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestSweep: what an upload that was cut off by the end of the program left behind goes at the next start, and is never
// taken for a file.
func TestSweep(t *testing.T) {
	root := t.TempDir()
	p, err := blob.OpenFolder(root)
	if err != nil {
		t.Fatal(err)
	}
	left := filepath.Join(root, "incoming", "part-123")
	if err := os.WriteFile(left, []byte("half a fi"), 0o600); err != nil {
		t.Fatal(err)
	}
	n := 0
	if err := p.Each(t.Context(), func(digest.Digest, int64) error { n++; return nil }); err != nil || n != 0 {
		t.Errorf("%d files, %v", n, err)
	}
	if err := p.Sweep(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(left); err == nil {
		t.Error("it is still there")
	}
}

func TestFolderAddresses(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, a := range []string{"", "file://", file, filepath.Join(file, "below")} {
		if _, err := blob.Open(t.Context(), a); fault.Of(err) == nil || fault.Of(err).Code != "blob_address" {
			t.Errorf("%q: %v", a, err)
		}
	}
}
