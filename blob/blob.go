package blob

import (
	"context"
	"io"
	"strings"

	"firstoff/digest"
	"firstoff/fault"
)

// Place keeps files by digest.
type Place interface {
	// Put stores what r gives and says what it was. An error of r is returned as it is.
	Put(ctx context.Context, r io.Reader) (digest.Digest, int64, error)
	// Open reads a kept file. Fault: NotFound "blob_missing".
	Open(ctx context.Context, d digest.Digest) (io.ReadSeekCloser, error)
	// Stat gives the size. Fault: NotFound "blob_missing".
	Stat(ctx context.Context, d digest.Digest) (int64, error)
	// Each calls do for every kept file, in order of digest.
	Each(ctx context.Context, do func(d digest.Digest, size int64) error) error
	// Close lets go of the place.
	Close() error
}

// Open opens the place that address names: "s3://bucket?region=…&endpoint=…", else the path of a folder, which is made
// if absent. Credentials for S3 come from the usual AWS_… variables or files.
// Faults: Invalid "blob_address", Busy "blob_away".
func Open(ctx context.Context, address string) (Place, error) {
	if strings.HasPrefix(address, "s3://") {
		return openBucket(ctx, address)
	}
	return OpenFolder(strings.TrimPrefix(address, "file://"))
}

// Verify reads a kept file again and holds it against its digest.
// Faults: NotFound "blob_missing", Invalid "blob_damaged".
func Verify(ctx context.Context, p Place, d digest.Digest) error {
	r, err := p.Open(ctx, d)
	if err != nil {
		return err
	}
	defer func() { _ = r.Close() }()
	h := digest.New()
	if _, err := io.Copy(h, &patient{ctx: ctx, r: r}); err != nil {
		return err
	}
	if digest.Sum(h) != d {
		return fault.New(fault.Invalid, "blob_damaged", "file "+d.Short(), damage)
	}
	return nil
}

// Copy brings every file of one place into another that lacks it, and says how many and how many bytes. Each is held
// against its digest on the way.
func Copy(ctx context.Context, from, to Place) (files int, bytes int64, err error) {
	err = from.Each(ctx, func(d digest.Digest, size int64) error {
		if have, err := to.Stat(ctx, d); err == nil && have == size {
			return nil
		}
		r, err := from.Open(ctx, d)
		if err != nil {
			return err
		}
		defer func() { _ = r.Close() }()
		got, n, err := to.Put(ctx, r)
		if err != nil {
			return err
		}
		if got != d {
			return fault.New(fault.Invalid, "blob_damaged", "file "+d.Short(), damage)
		}
		files++
		bytes += n
		return nil
	})
	return files, bytes, err
}

const damage = "The kept file no longer matches its digest: it was damaged where it lies. Restore it from a backup."

func missing(err error, d digest.Digest) error {
	return fault.Because(err, fault.NotFound, "blob_missing", "file "+d.Short(), "The file is not in the store any more; restore it from a backup.")
}

func malformed(d digest.Digest) error {
	return fault.New(fault.Invalid, "digest_form", "", "%q is not a digest: 64 hex digits are wanted.", string(d))
}

// patient is a reader that stops when its context ends.
type patient struct {
	ctx context.Context
	r   io.Reader
}

func (p *patient) Read(b []byte) (int, error) {
	if err := p.ctx.Err(); err != nil {
		return 0, err
	}
	return p.r.Read(b)
}
