package bureau

import (
	"context"
	"errors"
	"fmt"
	"io"

	"firstoff/desk/request"
	"firstoff/fault"
)

// OpenRequest opens a folder, keeping the client if they are new.
// Faults: those of client.Check and request.CheckDate; NotFound "not_found" for an unknown client.
func (b *Bureau) OpenRequest(ctx context.Context, who string, n NewRequest) (request.Request, error) {
	var r request.Request
	var err error
	if n.Title, err = tidy("title", n.Title, 200); err != nil {
		return r, err
	}
	if n.Note, err = tidy("note", n.Note, 10_000); err != nil {
		return r, err
	}
	if err := request.CheckDate(n.NeedBy); err != nil {
		return r, err
	}
	c := n.Client
	for _, f := range []*string{&c.Firm, &c.Contact, &c.Email, &c.Phone} {
		if *f, err = tidy("client", *f, 200); err != nil {
			return r, err
		}
	}
	if c.ID == "" {
		if err := c.Check(); err != nil {
			return r, err
		}
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) error {
		c := c
		if c.ID == "" {
			id, err := b.number(ctx, "C")
			if err != nil {
				return err
			}
			c.ID, c.Created = id, b.now()
			if err := b.p.Records.AddClient(ctx, &c); err != nil {
				return err
			}
			if err := b.note(ctx, who, "client.kept", c.ID, "", nil, c.Name(), ""); err != nil {
				return err
			}
		} else if c, err = b.p.Records.Client(ctx, c.ID); err != nil {
			return err
		}
		id, err := b.number(ctx, "R")
		if err != nil {
			return err
		}
		r = request.Request{ID: id, Title: n.Title, ClientID: c.ID, State: request.Open, Received: b.now(), NeedBy: n.NeedBy, Note: n.Note}
		if r.Title == "" {
			r.Title = "Parts for " + c.Name()
		}
		if err := b.p.Records.AddRequest(ctx, &r); err != nil {
			return err
		}
		return b.note(ctx, who, "request.opened", r.ID, r.ID, nil, r.Title, "")
	})
	return r, err
}

// ReceiveFile keeps what r gives under its digest and, in one transaction, enters the file in the folder and asks for its
// analysis. When it returns the file is safe.
// Faults: Conflict "request_closed"; TooLarge "file_too_large"; an error of r as it is.
func (b *Bureau) ReceiveFile(ctx context.Context, who, requestID, name string, r io.Reader) (request.File, error) {
	var f request.File
	name = fileName(name)
	if _, err := b.live(ctx, requestID); err != nil { // before a long upload, not after it
		return f, err
	}
	in := &capped{r: r, left: b.p.MaxFile}
	d, size, err := b.p.Blobs.Put(ctx, in)
	if errors.Is(err, errTooLarge) {
		return f, fault.New(fault.TooLarge, "file_too_large", name, "The file is larger than %s; send it in parts, or with fewer triangles.", inWords(b.p.MaxFile))
	}
	if err != nil {
		return f, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) error {
		q, err := b.live(ctx, requestID)
		if err != nil {
			return err
		}
		id, err := b.number(ctx, "F")
		if err != nil {
			return err
		}
		f = request.File{ID: id, RequestID: requestID, Digest: d, Name: name, Size: size, State: request.Waiting, Received: b.now(), Round: 1}
		if err := b.p.Records.AddFile(ctx, &f); err != nil {
			return err
		}
		if err := b.settle(ctx, q); err != nil {
			return err
		}
		if err := b.p.Tasks.Enqueue(ctx, TaskAnalyse, taskID(f)); err != nil {
			return err
		}
		return b.note(ctx, who, "file.received", f.ID, requestID, nil, fmt.Sprintf("%s, %d bytes, %s", name, size, d), "")
	})
	if err == nil {
		b.news.tell(progressOf(f))
	}
	return f, err
}

func taskID(f request.File) string { return fmt.Sprintf("%s-%d", f.ID, f.Round) }

// live finds a request that is still being worked on. Fault: Conflict "request_closed".
func (b *Bureau) live(ctx context.Context, id string) (request.Request, error) {
	r, err := b.p.Records.Request(ctx, id)
	if err == nil && !r.State.Live() {
		err = fault.New(fault.Conflict, "request_closed", id, "This request is %s; open it again first.", r.State)
	}
	return r, err
}

// settle writes down the state that follows from the request's files.
func (b *Bureau) settle(ctx context.Context, r request.Request) error {
	files, err := b.p.Records.Files(ctx, r.ID)
	if err != nil {
		return err
	}
	s := request.Settle(r.State, files)
	if s == r.State {
		return nil
	}
	r.State = s
	return b.p.Records.SaveRequest(ctx, &r)
}

// ChangeRequest changes title, need-by date or note; nil leaves as it is.
func (b *Bureau) ChangeRequest(ctx context.Context, who, requestID string, version int, title, needBy, note *string) (request.Request, error) {
	var r request.Request
	err := b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if r, err = b.p.Records.Request(ctx, requestID); err != nil {
			return err
		}
		if err := seen(r.ID, version, r.Version); err != nil {
			return err
		}
		was := [3]string{r.Title, r.NeedBy, r.Note}
		if title != nil {
			if r.Title, err = tidy("title", *title, 200); err != nil {
				return err
			}
		}
		if needBy != nil {
			if err := request.CheckDate(*needBy); err != nil {
				return err
			}
			r.NeedBy = *needBy
		}
		if note != nil {
			if r.Note, err = tidy("note", *note, 10_000); err != nil {
				return err
			}
		}
		if err := b.p.Records.SaveRequest(ctx, &r); err != nil {
			return err
		}
		return b.note(ctx, who, "request.changed", r.ID, r.ID, was, [3]string{r.Title, r.NeedBy, r.Note}, "")
	})
	return r, err
}

// CloseRequest marks a request as lost or withdrawn.
// Faults: Invalid "request_state"; Conflict "request_closed".
func (b *Bureau) CloseRequest(ctx context.Context, who, requestID string, to request.State, reason string) (request.Request, error) {
	if to != request.Lost && to != request.Withdrawn {
		return request.Request{}, fault.New(fault.Invalid, "request_state", requestID, "A request is closed as lost or as withdrawn.")
	}
	return b.turn(ctx, who, requestID, reason, func(r *request.Request) error {
		if !r.State.Live() {
			return fault.New(fault.Conflict, "request_closed", r.ID, "This request is %s already.", r.State)
		}
		r.State = to
		return nil
	})
}

// ReopenRequest takes a lost or withdrawn request up again. Fault: Conflict "request_state".
func (b *Bureau) ReopenRequest(ctx context.Context, who, requestID string) (request.Request, error) {
	return b.turn(ctx, who, requestID, "", func(r *request.Request) error {
		if r.State != request.Lost && r.State != request.Withdrawn {
			return fault.New(fault.Conflict, "request_state", r.ID, "This request is %s and need not be opened again.", r.State)
		}
		r.State = request.Open
		return nil
	})
}

func (b *Bureau) turn(ctx context.Context, who, id, reason string, to func(*request.Request) error) (request.Request, error) {
	var r request.Request
	reason, err := tidy("reason", reason, 1000)
	if err != nil {
		return r, err
	}
	err = b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if r, err = b.p.Records.Request(ctx, id); err != nil {
			return err
		}
		was := r.State
		if err := to(&r); err != nil {
			return err
		}
		r.Reason = reason
		files, err := b.p.Records.Files(ctx, id)
		if err != nil {
			return err
		}
		r.State = request.Settle(r.State, files)
		if err := b.p.Records.SaveRequest(ctx, &r); err != nil {
			return err
		}
		return b.note(ctx, who, "request.state", r.ID, r.ID, string(was), string(r.State), reason)
	})
	return r, err
}

var errTooLarge = errors.New("too large")

// capped is a reader that fails once more than left bytes came.
type capped struct {
	r    io.Reader
	left int64
}

func (c *capped) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.left -= int64(n)
	if c.left < 0 {
		return n, errTooLarge
	}
	return n, err
}

// inWords says a size.
func inWords(n int64) string {
	switch {
	case n >= 1<<30:
		return fmt.Sprintf("%.3g GiB", float64(n)/(1<<30))
	case n >= 1<<20:
		return fmt.Sprintf("%.3g MiB", float64(n)/(1<<20))
	}
	return fmt.Sprintf("%d bytes", n)
}
