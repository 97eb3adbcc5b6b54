package blob

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"strings"

	"gocloud.dev/blob"
	_ "gocloud.dev/blob/s3blob" // addresses s3://
	"gocloud.dev/gcerrors"

	"firstoff/digest"
	"firstoff/fault"
)

// Bucket is a place behind the S3 protocol.
type Bucket struct{ b *blob.Bucket }

var _ Place = (*Bucket)(nil)

// inMemory is how much of an upload waits in memory before it goes to a temporary file.
const inMemory = 8 << 20

func openBucket(ctx context.Context, address string) (*Bucket, error) {
	b, err := blob.OpenBucket(ctx, address)
	if err != nil {
		return nil, fault.Because(err, fault.Invalid, "blob_address", "", "The address of the file store cannot be used; write it as s3://bucket?region=eu-central-1&endpoint=https://host.")
	}
	ok, err := b.IsAccessible(ctx)
	if err != nil || !ok {
		_ = b.Close()
		return nil, fault.Because(err, fault.Busy, "blob_away", "", "The file store does not answer or has no such bucket; check the address and the credentials.")
	}
	return &Bucket{b: b}, nil
}

func object(d digest.Digest) string { return "sha256/" + string(d[:2]) + "/" + string(d) }

// Put implements Place.
func (k *Bucket) Put(ctx context.Context, r io.Reader) (digest.Digest, int64, error) {
	h := digest.New()
	r = &patient{ctx: ctx, r: r}
	var head bytes.Buffer
	n, err := copyTo(&head, h, io.LimitReader(r, inMemory))
	if err != nil {
		return "", 0, err
	}
	var whole io.ReadSeeker = bytes.NewReader(head.Bytes())
	if n == inMemory {
		t, err := os.CreateTemp("", "firstoff-upload-*")
		if err != nil {
			return "", 0, disk(err)
		}
		defer func() {
			_ = t.Close()
			_ = os.Remove(t.Name())
		}()
		if _, err := t.Write(head.Bytes()); err != nil {
			return "", 0, disk(err)
		}
		head = bytes.Buffer{}
		more, err := copyTo(t, h, r)
		if err != nil {
			return "", 0, err
		}
		n += more
		if _, err := t.Seek(0, io.SeekStart); err != nil {
			return "", 0, disk(err)
		}
		whole = t
	}
	d := digest.Sum(h)
	if have, err := k.Stat(ctx, d); err == nil && have == n {
		return d, n, nil
	}
	// A writer whose context has ended stores nothing when it is closed.
	up, cancel := context.WithCancel(ctx)
	defer cancel()
	w, err := k.b.NewWriter(up, object(d), &blob.WriterOptions{ContentType: "application/octet-stream"})
	if err != nil {
		return "", 0, remote(err, d)
	}
	if _, err := io.Copy(w, whole); err != nil {
		cancel()
		_ = w.Close()
		return "", 0, remote(err, d)
	}
	if err := w.Close(); err != nil {
		return "", 0, remote(err, d)
	}
	if have, err := k.Stat(ctx, d); err != nil || have != n {
		return "", 0, fault.Because(err, fault.Busy, "blob_away", "file "+d.Short(), "The file store took the file but does not show it whole; try again.")
	}
	return d, n, nil
}

// Open implements Place.
func (k *Bucket) Open(ctx context.Context, d digest.Digest) (io.ReadSeekCloser, error) {
	if !d.Valid() {
		return nil, malformed(d)
	}
	r, err := k.b.NewReader(ctx, object(d), nil)
	if err != nil {
		return nil, remote(err, d)
	}
	return &download{r, d}, nil
}

// download is a reader whose errors are faults.
type download struct {
	*blob.Reader
	d digest.Digest
}

func (r *download) Read(p []byte) (int, error) {
	n, err := r.Reader.Read(p)
	if err != nil && err != io.EOF {
		err = remote(err, r.d)
	}
	return n, err
}

// WriteTo hides the reader's own, which would pass errors by.
func (r *download) WriteTo(w io.Writer) (int64, error) {
	return io.Copy(w, struct{ io.Reader }{r})
}

// Stat implements Place.
func (k *Bucket) Stat(ctx context.Context, d digest.Digest) (int64, error) {
	if !d.Valid() {
		return 0, malformed(d)
	}
	a, err := k.b.Attributes(ctx, object(d))
	if err != nil {
		return 0, remote(err, d)
	}
	return a.Size, nil
}

// Each implements Place.
func (k *Bucket) Each(ctx context.Context, do func(d digest.Digest, size int64) error) error {
	it := k.b.List(&blob.ListOptions{Prefix: "sha256/"})
	for {
		o, err := it.Next(ctx)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return remote(err, "")
		}
		d := digest.Digest(o.Key[strings.LastIndexByte(o.Key, '/')+1:])
		if !d.Valid() {
			continue
		}
		if err := do(d, o.Size); err != nil {
			return err
		}
	}
}

// Close implements Place.
func (k *Bucket) Close() error { return k.b.Close() }

func remote(err error, d digest.Digest) error {
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return err
	case gcerrors.Code(err) == gcerrors.NotFound:
		return missing(err, d)
	case strings.Contains(err.Error(), "checksum did not match"): // the client library's own check; its type is internal
		return fault.Because(err, fault.Invalid, "blob_damaged", "file "+d.Short(), damage)
	case gcerrors.Code(err) == gcerrors.Canceled:
		return errors.Join(context.Canceled, err)
	}
	return fault.Because(err, fault.Busy, "blob_away", "file "+d.Short(), "The file store does not answer as it should; try again, and check its address and credentials.")
}
