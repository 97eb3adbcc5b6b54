package bureau

import (
	"context"
	"fmt"

	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/trail"
)

// Archive is what the doctor asks of the records.
type Archive interface {
	Schema(ctx context.Context) (have, want int64, err error)
	CheckTrail(ctx context.Context) (events int64, head digest.Digest, err error)
	EachSealed(ctx context.Context, do func(d digest.Digest, body []byte) error) error
	EachQuotation(ctx context.Context, do func(quote.Quotation) error) error
	EachFile(ctx context.Context, do func(request.File) error) error
	EachLine(ctx context.Context, do func(request.Line) error) error
	Trail(ctx context.Context, about string, limit int) ([]trail.Event, error)
}

// Look is one thing the doctor looked at.
type Look struct {
	What    string `json:"what"`
	Good    bool   `json:"good"`
	Message string `json:"message"`
}

// Doctor looks whether records and files are sound and belong together, and changes nothing. verify reads one kept
// file again and holds it against its digest; nil only looks whether each is there with its size.
//
// It finds: a schema that does not fit; one changed byte anywhere in the trail or in an issued quotation, naming the
// record; an issued quotation whose seal is not the one the trail says was issued; a file or model that a record
// refers to and that is missing, cut off or (with verify) damaged.
func Doctor(ctx context.Context, a Archive, blobs Blobs, verify func(ctx context.Context, d digest.Digest) error) []Look {
	d := doctor{ctx: ctx, a: a, blobs: blobs, verify: verify}
	have, want, err := a.Schema(ctx)
	if err == nil && have != want {
		err = fault.New(fault.Conflict, "schema", "records", "The tables are at version %d and this program wants %d; start it once to bring them up to date.", have, want)
	}
	if d.note("records", err, "tables at version %d", have); err != nil {
		return d.looks
	}
	n, head, err := a.CheckTrail(ctx)
	d.note("events", err, "%d events, chain unbroken, head %s", n, head)
	d.quotations()
	d.files()
	return d.looks
}

type doctor struct {
	ctx    context.Context
	a      Archive
	blobs  Blobs
	verify func(ctx context.Context, d digest.Digest) error
	looks  []Look
}

// note enters one look; a bad one says what is wrong instead.
func (d *doctor) note(what string, err error, good string, args ...any) {
	l := Look{What: what, Good: err == nil, Message: fmt.Sprintf(good, args...)}
	if f := fault.Of(err); f != nil {
		l.Message = f.Error()
		if f.Kind == fault.Internal && f.Err != nil {
			l.Message += " (" + f.Err.Error() + ")"
		}
	}
	d.looks = append(d.looks, l)
}

// quotations holds each sealed body against its digest, and each issued quotation's seal against the trail.
func (d *doctor) quotations() {
	sound := map[digest.Digest]bool{}
	err := d.a.EachSealed(d.ctx, func(s digest.Digest, body []byte) error {
		sound[s] = digest.Of(body) == s
		return nil
	})
	n := 0
	if err == nil {
		err = d.a.EachQuotation(d.ctx, func(q quote.Quotation) error {
			if q.Frozen == "" {
				return nil
			}
			n++
			if !sound[q.Frozen] {
				d.note("quotation", fault.New(fault.Invalid, "quotation_changed", q.ID, "What was issued is not what is kept: it was changed or lost. Restore from a backup and compare."), "")
				return nil
			}
			return d.asIssued(q)
		})
	}
	d.note("quotations", err, "%d issued, each looked at", n)
}

func (d *doctor) asIssued(q quote.Quotation) error {
	events, err := d.a.Trail(d.ctx, q.ID, 1000)
	if err != nil {
		return err
	}
	for _, e := range events {
		if e.What == quotationIssued && e.About == q.ID {
			if e.Is != string(q.Frozen) {
				d.note("quotation", fault.New(fault.Invalid, "quotation_changed", q.ID, "The trail says that another content was issued under this number. Restore from a backup and compare."), "")
			}
			return nil
		}
	}
	d.note("quotation", fault.New(fault.Invalid, "quotation_changed", q.ID, "The trail knows nothing of this quotation having been issued. Restore from a backup and compare."), "")
	return nil
}

// files looks for every file and model that a record refers to.
func (d *doctor) files() {
	n, seen := 0, map[digest.Digest]bool{}
	look := func(id string, s digest.Digest, size int64) {
		if s == "" || seen[s] {
			return
		}
		seen[s] = true
		n++
		have, err := d.blobs.Stat(d.ctx, s)
		if err == nil && size >= 0 && have != size {
			err = fault.New(fault.Invalid, "blob_damaged", "file "+s.Short(), "The kept file has %d bytes and had %d; restore it from a backup.", have, size)
		}
		if err == nil && d.verify != nil {
			err = d.verify(d.ctx, s)
		}
		if err != nil {
			d.note("file", fault.At(err, id), "")
		}
	}
	err := d.a.EachFile(d.ctx, func(f request.File) error {
		look(f.ID+" "+f.Name, f.Digest, f.Size)
		return d.ctx.Err()
	})
	if err == nil {
		err = d.a.EachLine(d.ctx, func(l request.Line) error {
			look(l.ID+" model", l.Viewer, -1)
			return d.ctx.Err()
		})
	}
	word := "looked for"
	if d.verify != nil {
		word = "read again"
	}
	d.note("files", err, "%d files and models, each %s", n, word)
}
