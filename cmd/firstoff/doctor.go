package main

import (
	"context"
	"fmt"
	"io"

	"firstoff/blob"
	"firstoff/bureau"
	"firstoff/digest"
	"firstoff/fault"
)

type doctorCmd struct {
	place
	Deep bool `help:"Read every kept file again and compare it with its digest."`
	JSON bool `help:"Answer as JSON."`
}

// Help is printed below the options.
func (c *doctorCmd) Help() string {
	return `Looks whether the desk's folder is sound: catalogue, tables, the chain of events, sealed quotations, kept files and what refers to them. Changes nothing. Keep the head of the chain it prints elsewhere: it proves later that nothing before it was changed. Exit status 1 if anything is wrong.`
}

// Run examines the place.
func (c *doctorCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	var list []bureau.Look
	note := func(what string, err error, good string, args ...any) {
		l := bureau.Look{What: what, Good: err == nil, Message: fmt.Sprintf(good, args...)}
		if err != nil {
			l.Message = fault.Of(err).Error()
		}
		list = append(list, l)
	}
	c.examine(ctx, note, &list)
	for _, l := range list {
		a.bad = a.bad || !l.Good
	}
	a.ok(struct {
		Good  bool          `json:"good"`
		Looks []bureau.Look `json:"looks"`
	}{!a.bad, list}, func(w io.Writer) {
		for _, l := range list {
			word := "good"
			if !l.Good {
				word = "BAD "
			}
			fmt.Fprintf(w, "%s  %-10s %s\n", word, l.What, l.Message)
		}
	})
	return a.end()
}

func (c *doctorCmd) examine(ctx context.Context, note func(what string, err error, good string, args ...any), list *[]bureau.Look) {
	cat, err := catalogueOf(c.shopFile())
	if err != nil {
		note("catalogue", err, "")
	} else {
		note("catalogue", nil, "%d machines, %d materials, %d partners", len(cat.Machines), len(cat.Materials), len(cat.Partners))
	}
	note("CAD kernel", cadAvailable(), "STEP, IGES and BREP can be read")
	st, blobs, err := c.place.parts(ctx, false)
	if err != nil {
		if fault.Of(err).Code == "desk_missing" {
			note("records", nil, "none yet in %s", c.Dir)
		} else {
			note("records", err, "")
		}
		return
	}
	defer func() { _ = st.Close(); _ = blobs.Close() }()
	var verify func(ctx context.Context, d digest.Digest) error
	if c.Deep {
		verify = func(ctx context.Context, d digest.Digest) error { return blob.Verify(ctx, blobs, d) }
	}
	*list = append(*list, bureau.Doctor(ctx, st, blobs, verify)...)
}
