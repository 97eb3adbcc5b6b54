package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"firstoff/blob"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/store"
)

type backupCmd struct {
	place
	To   string `arg:"" help:"Empty folder to write the backup into." placeholder:"FOLDER"`
	JSON bool   `help:"Answer as JSON."`
}

// Help is printed below the options.
func (c *backupCmd) Help() string {
	return `Copies records, kept files and the catalogue while the desk goes on working. Records are copied first, so every file they name is in the copy.`
}

// copied is what a backup or restore moved.
type copied struct {
	Records string `json:"records"`
	Files   int    `json:"files"`
	Bytes   int64  `json:"bytes"`
}

// Run copies the desk's things.
func (c *backupCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	st, blobs, err := c.place.parts(ctx, false)
	if err != nil {
		return a.stop(err)
	}
	defer func() { _ = st.Close(); _ = blobs.Close() }()
	out := copied{}
	if out.Records, err = st.Backup(ctx, c.To); err != nil {
		return a.stop(err)
	}
	if text, err := os.ReadFile(c.shopFile()); err == nil {
		if err := os.WriteFile(filepath.Join(c.To, "shop.yaml"), text, 0o600); err != nil {
			return a.stop(fault.Because(err, fault.Invalid, "backup_folder", c.To, "The catalogue cannot be written there."))
		}
	}
	to, err := blob.OpenFolder(filepath.Join(c.To, "files"))
	if err != nil {
		return a.stop(err)
	}
	defer func() { _ = to.Close() }()
	if out.Files, out.Bytes, err = copyBlobs(ctx, blobs, to); err != nil {
		return a.stop(err)
	}
	a.ok(out, func(w io.Writer) {
		fmt.Fprintf(w, "backed up to %s: records, catalogue, %d files, %.1f MB\n", c.To, out.Files, float64(out.Bytes)/(1<<20))
	})
	return a.end()
}

type restoreCmd struct {
	place
	From string `arg:"" help:"Folder a backup was written into." placeholder:"FOLDER"`
	JSON bool   `help:"Answer as JSON."`
}

// Help is printed below the options.
func (c *restoreCmd) Help() string {
	return `Puts a backup into an empty desk: a new folder, or an empty PostgreSQL database and S3 store. Nothing is ever written over. Run "firstoff doctor --deep" afterwards.`
}

// Run puts a backup back.
func (c *restoreCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return a.stop(fault.Because(err, fault.Invalid, "folder", c.Dir, "The desk's folder cannot be made."))
	}
	st, blobs, err := c.place.parts(ctx, true)
	if err != nil {
		return a.stop(err)
	}
	defer func() { _ = st.Close(); _ = blobs.Close() }()
	if err := st.Migrate(ctx); err != nil {
		return a.stop(err)
	}
	if err := st.Restore(ctx, c.From); err != nil {
		return a.stop(err)
	}
	out := copied{Records: c.From}
	if _, err := os.Stat(filepath.Join(c.From, "files")); err == nil {
		from, err := blob.OpenFolder(filepath.Join(c.From, "files"))
		if err != nil {
			return a.stop(err)
		}
		defer func() { _ = from.Close() }()
		if out.Files, out.Bytes, err = copyBlobs(ctx, from, blobs); err != nil {
			return a.stop(err)
		}
	}
	if text, err := os.ReadFile(filepath.Join(c.From, "shop.yaml")); err == nil {
		if _, err := os.Stat(c.shopFile()); os.IsNotExist(err) {
			if err := os.WriteFile(c.shopFile(), text, 0o600); err != nil {
				return a.stop(fault.Because(err, fault.Invalid, "folder", c.Dir, "The catalogue cannot be written there."))
			}
		}
	}
	a.ok(out, func(w io.Writer) {
		fmt.Fprintf(w, "restored from %s: records, %d files, %.1f MB\n", c.From, out.Files, float64(out.Bytes)/(1<<20))
	})
	return a.end()
}

// parts opens database and files without standing a bureau on them. A folder that is not there is a fault unless it may be made.
func (p *place) parts(ctx context.Context, mayMake bool) (*store.Store, blob.Place, error) {
	dsn := p.Database
	if dsn == "" {
		dsn = filepath.Join(p.Dir, "records.db")
		if _, err := os.Stat(dsn); err != nil && !mayMake {
			return nil, nil, fault.New(fault.NotFound, "desk_missing", p.Dir, "There is no desk in this folder; name one with --dir.")
		}
	}
	st, err := store.Open(ctx, dsn)
	if err != nil {
		return nil, nil, err
	}
	address := p.Blobs
	if address == "" {
		address = filepath.Join(p.Dir, "files")
	}
	b, err := blob.Open(ctx, address)
	if err != nil {
		_ = st.Close()
		return nil, nil, err
	}
	return st, b, nil
}

// copyBlobs copies every kept file and makes sure that it arrives as what it is.
func copyBlobs(ctx context.Context, from, to blob.Place) (n int, bytes int64, err error) {
	err = from.Each(ctx, func(d digest.Digest, size int64) error {
		if _, err := to.Stat(ctx, d); err == nil {
			return nil
		}
		r, err := from.Open(ctx, d)
		if err != nil {
			return err
		}
		defer func() { _ = r.Close() }()
		got, _, err := to.Put(ctx, r)
		if err != nil {
			return err
		}
		if got != d {
			return fault.New(fault.Conflict, "file_changed", d.Short(), "A kept file does not match its digest any more.")
		}
		n++
		bytes += size
		return nil
	})
	return n, bytes, err
}
