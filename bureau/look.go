package bureau

import (
	"context"
	"io"
	"slices"

	"firstoff/client"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/trail"
)

func (f Filter) page() (offset, limit int) {
	offset, limit = max(0, f.Offset), f.Limit
	if limit <= 0 {
		limit = 50
	}
	return offset, min(limit, 500)
}

// Requests lists requests, newest first.
func (b *Bureau) Requests(ctx context.Context, f Filter) (Listing[RequestRow], error) {
	var out Listing[RequestRow]
	out.Offset, out.Limit = f.page()
	found, total, err := b.p.Records.Requests(ctx, f.States, f.Like, out.Offset, out.Limit)
	if err != nil {
		return out, err
	}
	out.Total, out.Items = total, make([]RequestRow, 0, len(found))
	ids, clients := make([]string, len(found)), make([]string, len(found))
	for i, r := range found {
		ids[i], clients[i] = r.ID, r.ClientID
	}
	tallies, err := b.p.Records.Tallies(ctx, ids)
	if err != nil {
		return out, err
	}
	names, err := b.p.Records.ClientNames(ctx, clients)
	if err != nil {
		return out, err
	}
	for _, r := range found {
		out.Items = append(out.Items, RequestRow{Request: r, Tally: tallies[r.ID], ClientName: names[r.ClientID]})
	}
	return out, nil
}

// Request is everything about one request.
func (b *Bureau) Request(ctx context.Context, id string) (Folder, error) {
	var f Folder
	var err error
	if f.Request, err = b.p.Records.Request(ctx, id); err != nil {
		return f, err
	}
	if f.Client, err = b.p.Records.Client(ctx, f.Request.ClientID); err != nil {
		return f, err
	}
	if f.Files, err = b.p.Records.Files(ctx, id); err != nil {
		return f, err
	}
	lines, err := b.p.Records.Lines(ctx, id)
	if err != nil {
		return f, err
	}
	names := map[string]string{}
	for _, file := range f.Files {
		names[file.ID] = file.Name
	}
	f.Lines = make([]LineView, 0, len(lines))
	for i, l := range lines {
		v := LineView{Line: l, FileName: names[l.FileID]}
		v.Position = i + 1
		f.Lines = append(f.Lines, v)
	}
	if f.Quotations, _, err = b.p.Records.Quotations(ctx, id, nil, 0, 500); err != nil {
		return f, err
	}
	if f.Orders, err = b.p.Records.OrdersOf(ctx, id); err != nil {
		return f, err
	}
	if f.Messages, err = b.p.Records.Messages(ctx, id); err != nil {
		return f, err
	}
	f.Trail, err = b.p.Records.Trail(ctx, id, 200)
	return f, err
}

// File finds a file by number.
func (b *Bureau) File(ctx context.Context, id string) (request.File, error) {
	return b.p.Records.File(ctx, id)
}

// Line finds a line by number.
func (b *Bureau) Line(ctx context.Context, id string) (LineView, error) {
	l, err := b.p.Records.Line(ctx, id)
	if err != nil {
		return LineView{}, err
	}
	v := LineView{Line: l}
	f, err := b.p.Records.File(ctx, l.FileID)
	if err != nil {
		return v, err
	}
	v.FileName = f.Name
	all, err := b.p.Records.Lines(ctx, l.RequestID)
	v.Position = 1 + slices.IndexFunc(all, func(o request.Line) bool { return o.ID == l.ID })
	return v, err
}

// OpenFile reads a file as the client sent it.
func (b *Bureau) OpenFile(ctx context.Context, fileID string) (request.File, io.ReadSeekCloser, error) {
	f, err := b.p.Records.File(ctx, fileID)
	if err != nil {
		return f, nil, err
	}
	r, err := b.p.Blobs.Open(ctx, f.Digest)
	return f, r, err
}

// OpenModel reads a line's model for the viewer (GLB). Fault: NotFound "model_missing".
func (b *Bureau) OpenModel(ctx context.Context, lineID string) (request.Line, io.ReadSeekCloser, error) {
	l, err := b.p.Records.Line(ctx, lineID)
	if err != nil {
		return l, nil, err
	}
	if l.Viewer == "" {
		return l, nil, fault.New(fault.NotFound, "model_missing", lineID, "There is no model to show for this part.")
	}
	r, err := b.p.Blobs.Open(ctx, l.Viewer)
	return l, r, err
}

// Clients finds clients by a part of firm, contact or e-mail.
func (b *Bureau) Clients(ctx context.Context, like string, limit int) ([]client.Client, error) {
	return b.p.Records.Clients(ctx, like, limit)
}

// Trail lists what happened to a record or in a folder, newest first.
func (b *Bureau) Trail(ctx context.Context, about string, limit int) ([]trail.Event, error) {
	return b.p.Records.Trail(ctx, about, limit)
}
