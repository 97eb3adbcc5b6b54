package blob

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"syscall"

	"firstoff/digest"
	"firstoff/fault"
)

// Folder is a place on a disk.
type Folder struct{ root string }

var _ Place = (*Folder)(nil)

// OpenFolder opens a folder, making it if absent.
// Fault: Invalid "blob_address".
func OpenFolder(path string) (*Folder, error) {
	root, err := filepath.Abs(path)
	if err != nil || path == "" {
		return nil, fault.New(fault.Invalid, "blob_address", path, "Name the folder the files are kept in.")
	}
	f := &Folder{root: root}
	for _, d := range []string{f.incoming(), filepath.Join(root, "sha256")} {
		if err := os.MkdirAll(d, 0o700); err != nil {
			return nil, fault.Because(err, fault.Invalid, "blob_address", path, "The folder for the files cannot be made; may it be written?")
		}
	}
	return f, nil
}

func (f *Folder) incoming() string { return filepath.Join(f.root, "incoming") }

func (f *Folder) path(d digest.Digest) string {
	return filepath.Join(f.root, "sha256", string(d[:2]), string(d))
}

// Sweep removes what interrupted uploads left behind. Only for the one process that owns the folder.
func (f *Folder) Sweep() error {
	left, err := os.ReadDir(f.incoming())
	for _, e := range left {
		err = errors.Join(err, os.Remove(filepath.Join(f.incoming(), e.Name())))
	}
	return err
}

// Put implements Place.
func (f *Folder) Put(ctx context.Context, r io.Reader) (d digest.Digest, n int64, err error) {
	t, err := os.CreateTemp(f.incoming(), "part-*")
	if err != nil {
		return "", 0, disk(err)
	}
	defer func() {
		_ = t.Close()
		_ = os.Remove(t.Name()) // gone already when it was moved to its place
	}()
	h := digest.New()
	n, err = copyTo(t, h, &patient{ctx: ctx, r: r})
	if err != nil {
		return "", 0, err
	}
	d = digest.Sum(h)
	at := f.path(d)
	if s, err := os.Stat(at); err == nil && s.Size() == n {
		return d, n, nil
	}
	if err := t.Sync(); err != nil {
		return "", 0, disk(err)
	}
	if err := t.Chmod(0o400); err != nil {
		return "", 0, disk(err)
	}
	if err := ctx.Err(); err != nil {
		return "", 0, err
	}
	if err := os.MkdirAll(filepath.Dir(at), 0o700); err != nil {
		return "", 0, disk(err)
	}
	if err := os.Rename(t.Name(), at); err != nil {
		return "", 0, disk(err)
	}
	for _, p := range []string{filepath.Dir(at), filepath.Join(f.root, "sha256")} {
		if err := syncFolder(p); err != nil {
			return "", 0, disk(err)
		}
	}
	return d, n, nil
}

// copyTo copies r to w and h. Errors of r come back as they are, errors of w as a fault of the disk.
func copyTo(w, h io.Writer, r io.Reader) (n int64, err error) {
	buf := make([]byte, 256<<10)
	for {
		k, rerr := r.Read(buf)
		if k > 0 {
			h.Write(buf[:k])
			if _, err := w.Write(buf[:k]); err != nil {
				return n, disk(err)
			}
			n += int64(k)
		}
		if rerr == io.EOF {
			return n, nil
		}
		if rerr != nil {
			return n, rerr
		}
	}
}

func disk(err error) error {
	if errors.Is(err, syscall.ENOSPC) {
		return fault.Because(err, fault.Busy, "disk_full", "", "The disk that holds the files is full; free some space and try again.")
	}
	return fault.Because(err, fault.Internal, "blob_disk", "", "The folder that holds the files cannot be written; check the disk and its permissions.")
}

// syncFolder makes a rename durable. Where folders cannot be synced (some systems), the rename stands as it is.
func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer func() { _ = d.Close() }()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, fs.ErrPermission) {
		return err
	}
	return nil
}

// Open implements Place.
func (f *Folder) Open(_ context.Context, d digest.Digest) (io.ReadSeekCloser, error) {
	if !d.Valid() {
		return nil, malformed(d)
	}
	r, err := os.Open(f.path(d))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, missing(err, d)
	}
	if err != nil {
		return nil, disk(err)
	}
	return r, nil
}

// Stat implements Place.
func (f *Folder) Stat(_ context.Context, d digest.Digest) (int64, error) {
	if !d.Valid() {
		return 0, malformed(d)
	}
	s, err := os.Stat(f.path(d))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, missing(err, d)
	}
	if err != nil {
		return 0, disk(err)
	}
	return s.Size(), nil
}

// Each implements Place.
func (f *Folder) Each(ctx context.Context, do func(d digest.Digest, size int64) error) error {
	shelves, err := os.ReadDir(filepath.Join(f.root, "sha256"))
	if err != nil {
		return disk(err)
	}
	for _, s := range shelves {
		files, err := os.ReadDir(filepath.Join(f.root, "sha256", s.Name()))
		if err != nil {
			return disk(err)
		}
		sort.Slice(files, func(i, j int) bool { return files[i].Name() < files[j].Name() })
		for _, e := range files {
			d := digest.Digest(e.Name())
			if !d.Valid() {
				continue
			}
			i, err := e.Info()
			if err != nil {
				return disk(err)
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := do(d, i.Size()); err != nil {
				return err
			}
		}
	}
	return nil
}

// Close implements Place.
func (f *Folder) Close() error { return nil }
