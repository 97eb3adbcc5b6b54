package making

import (
	"bytes"
	"context"
	"io"
	"net/http"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shopfloor/traveller"
)

// Photos keeps pictures by digest.
type Photos interface {
	Put(ctx context.Context, r io.Reader) (digest.Digest, int64, error)
	Open(ctx context.Context, d digest.Digest) (io.ReadSeekCloser, error)
}

// mostPhoto is how large a picture may be.
const mostPhoto = 20 << 20

// Photo keeps a picture taken at a machine as a note of the traveller, once.
// Faults: Unsupported "no_photos"; Invalid "photo_form"; TooLarge "photo_too_large"; those of Report.
func (f *Floor) Photo(ctx context.Context, e traveller.Event, r io.Reader) (Card, error) {
	if f.p.Photos == nil {
		return Card{}, fault.New(fault.Unsupported, "no_photos", "", "This desk keeps no photos.")
	}
	data, err := io.ReadAll(io.LimitReader(r, mostPhoto+1))
	if err != nil {
		return Card{}, err
	}
	if len(data) > mostPhoto {
		return Card{}, fault.New(fault.TooLarge, "photo_too_large", "photo", "A photo may have %d MiB at most; take it smaller.", mostPhoto>>20)
	}
	switch http.DetectContentType(data) {
	case "image/jpeg", "image/png", "image/webp":
	default:
		return Card{}, fault.New(fault.Invalid, "photo_form", "photo", "This is no photo; take it as JPEG, PNG or WebP.")
	}
	if e.Photo, _, err = f.p.Photos.Put(ctx, bytes.NewReader(data)); err != nil {
		return Card{}, err
	}
	e.Kind = traveller.Note
	return f.Report(ctx, e)
}

// OpenPhoto opens a picture of a traveller. Fault: NotFound "photo_unknown" for one that is not of it.
func (f *Floor) OpenPhoto(ctx context.Context, id string, d digest.Digest) (io.ReadSeekCloser, error) {
	c, err := f.Card(ctx, id)
	if err != nil {
		return nil, err
	}
	for _, e := range c.Events {
		if e.Photo == d && d != "" && f.p.Photos != nil {
			return f.p.Photos.Open(ctx, d)
		}
	}
	return nil, fault.New(fault.NotFound, "photo_unknown", id, "This traveller has no such photo.")
}
