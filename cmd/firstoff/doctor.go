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

type doctorCmd struct {
	place
	Deep bool `help:"Read every kept file again and compare it with its digest."`
	JSON bool `help:"Answer as JSON."`
}

// Help is printed below the options.
func (c *doctorCmd) Help() string {
	return `Looks whether the desk's folder is sound: catalogue, tables, the chain of events, sealed quotations, kept files. Changes nothing. Exit status 1 if anything is wrong.`
}

// examined is one thing the doctor looked at.
type examined struct {
	What    string `json:"what"`
	Good    bool   `json:"good"`
	Message string `json:"message"`
}

// Run examines the place.
func (c *doctorCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	var list []examined
	note := func(what string, err error, good string, args ...any) {
		e := examined{What: what, Good: err == nil, Message: fmt.Sprintf(good, args...)}
		if err != nil {
			e.Message = fault.Of(err).Error()
			if f := fault.Of(err); f.Kind == fault.Internal && f.Err != nil {
				e.Message = f.Err.Error()
			}
			a.bad = true
		}
		list = append(list, e)
	}
	c.examine(ctx, note)
	a.ok(struct {
		Good  bool       `json:"good"`
		Looks []examined `json:"looks"`
	}{!a.bad, list}, func(w io.Writer) {
		for _, e := range list {
			word := "good"
			if !e.Good {
				word = "BAD "
			}
			fmt.Fprintf(w, "%s  %-10s %s\n", word, e.What, e.Message)
		}
	})
	return a.end()
}

func (c *doctorCmd) examine(ctx context.Context, note func(what string, err error, good string, args ...any)) {
	cat, err := catalogueOf(c.shopFile())
	if err != nil {
		note("catalogue", err, "")
	} else {
		note("catalogue", nil, "%d machines, %d materials, %d partners", len(cat.Machines), len(cat.Materials), len(cat.Partners))
	}
	note("CAD kernel", cadAvailable(), "STEP, IGES and BREP can be read")
	dsn := c.Database
	if dsn == "" {
		dsn = filepath.Join(c.Dir, "records.db")
		if _, err := os.Stat(dsn); err != nil {
			note("records", nil, "none yet in %s", c.Dir)
			return
		}
	}
	st, err := store.Open(ctx, dsn)
	if err != nil {
		note("records", err, "")
		return
	}
	defer func() { _ = st.Close() }()
	have, want, err := st.Schema(ctx)
	if err == nil && have != want {
		err = fault.New(fault.Conflict, "schema", "records", "The tables are at version %d, this program wants %d; start it once to bring them up to date.", have, want)
	}
	note("records", err, "tables at version %d", have)
	if err != nil {
		return
	}
	n, head, err := st.CheckTrail(ctx)
	note("events", err, "%d events, chain unbroken, head %s", n, head.Short())
	sealed := 0
	err = st.EachSealed(ctx, func(d digest.Digest, body []byte) error {
		sealed++
		if digest.Of(body) != d {
			return fault.New(fault.Conflict, "quotation_changed", "", "A sealed quotation does not match its seal %s.", d.Short())
		}
		return nil
	})
	note("quotations", err, "%d sealed, all as issued", sealed)
	address := c.Blobs
	if address == "" {
		address = filepath.Join(c.Dir, "files")
	}
	place, err := blob.Open(ctx, address)
	if err != nil {
		note("files", err, "")
		return
	}
	defer func() { _ = place.Close() }()
	files, bytes := 0, int64(0)
	err = place.Each(ctx, func(d digest.Digest, size int64) error {
		files++
		bytes += size
		if !c.Deep {
			return nil
		}
		r, err := place.Open(ctx, d)
		if err != nil {
			return err
		}
		defer func() { _ = r.Close() }()
		h := digest.New()
		if _, err := io.Copy(h, r); err != nil {
			return err
		}
		if digest.Sum(h) != d {
			return fault.New(fault.Conflict, "file_changed", d.Short(), "A kept file does not match its digest any more.")
		}
		return nil
	})
	word := "present"
	if c.Deep {
		word = "read and unchanged"
	}
	note("files", err, "%d kept, %.1f MB, %s", files, float64(bytes)/(1<<20), word)
}
