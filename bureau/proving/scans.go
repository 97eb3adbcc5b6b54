package proving

import (
	"bytes"
	"context"
	"io"
	"time"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/glb"
	"firstoff/quality/scan"
	"firstoff/unit"
)

// Scan is one comparison of measured points with a line's part. ID is a readable number, e.g. "S-1001".
type Scan struct {
	ID      string        `json:"id"`
	OrderID string        `json:"order_id"`
	LineID  string        `json:"line_id"`
	Piece   string        `json:"piece,omitempty"`
	Part    string        `json:"part"`
	File    string        `json:"file"`
	Points  digest.Digest `json:"points"` // the measured file as it came
	Map     digest.Digest `json:"map"`    // GLB, coloured by deviation
	Report  digest.Digest `json:"report"` // PDF
	Result  scan.Result   `json:"result"`
	By      string        `json:"by"`
	At      time.Time     `json:"at"`
	Version int           `json:"version"`
}

// Scanning is the measured half: what reads points and the part as drawn, and prints the report.
type Scanning interface {
	Points(ctx context.Context, name string, data []byte, u unit.Length) ([]r3.Vec, error)
	// Nominal is the mended part of a request's line, in mm.
	Nominal(ctx context.Context, lineID string) (*mesh.Mesh, error)
	Report(points, nominal string, made time.Time, r scan.Result, at []float64, m *mesh.Mesh) ([]byte, error)
}

// Blobs keeps files by digest.
type Blobs interface {
	Put(ctx context.Context, r io.Reader) (digest.Digest, int64, error)
	Open(ctx context.Context, d digest.Digest) (io.ReadSeekCloser, error)
}

// mostPoints bounds a scan at the desk; the command line takes more.
const mostPoints = 5_000_000

// Compare holds measured points against the part of an order's line and keeps points, map, report and figures. One comparison at a time uses
// all cores; others wait, or stop when their asker goes.
// Faults: those of reading and of scan.Compare; NotFound for an unknown order or line; Unsupported "no_scanning".
func (h *House) Compare(ctx context.Context, who, orderID string, position int, piece, name string, data []byte, u unit.Length, tolerance float64) (Scan, error) {
	out := Scan{OrderID: orderID, Piece: tidy(piece), File: name, By: who}
	if h.p.Scanning == nil || h.p.Blobs == nil {
		return out, fault.New(fault.Unsupported, "no_scanning", "", "This desk was started without what compares scans.")
	}
	if tolerance < 0 || tolerance > 1000 {
		return out, fault.New(fault.Invalid, "tolerance_range", "tolerance", "A profile tolerance lies between 0 and 1000 mm.")
	}
	o, err := h.p.Records.Order(ctx, orderID)
	if err != nil {
		return out, err
	}
	for _, l := range o.Lines {
		if l.Position == position {
			out.LineID, out.Part = l.LineID, l.Name
		}
	}
	if out.LineID == "" {
		return out, fault.New(fault.NotFound, "line_unknown", o.ID, "Order %s has no line %d.", o.ID, position)
	}
	select {
	case h.comparing <- struct{}{}:
		defer func() { <-h.comparing }()
	case <-ctx.Done():
		return out, ctx.Err()
	}
	pts, err := h.p.Scanning.Points(ctx, name, data, u)
	if err != nil {
		return out, err
	}
	if len(pts) > mostPoints {
		return out, fault.New(fault.TooLarge, "too_many_points", name, "The scan has %d points; thin it to %d.", len(pts), mostPoints)
	}
	m, err := h.p.Scanning.Nominal(ctx, out.LineID)
	if err != nil {
		return out, err
	}
	var at []float64
	{
		r, devs, err := scan.Compare(pts, m, tolerance)
		if err != nil {
			return out, err
		}
		out.Result, at = r, scan.Vertices(devs, m)
	}
	if ctx.Err() != nil {
		return out, ctx.Err()
	}
	out.At = h.now()
	colors := make([]content.RGBA, len(at))
	for i, d := range at {
		colors[i] = scan.Colors[scan.Band(d, out.Result.BandMM)]
	}
	var view bytes.Buffer
	if err := glb.WriteParts(&view, []glb.Part{{Body: content.Body{Name: out.Part, Mesh: m}, VertexColor: colors}}); err != nil {
		return out, err
	}
	report, err := h.p.Scanning.Report(name, out.Part, out.At, out.Result, at, m)
	if err != nil {
		return out, err
	}
	for _, k := range []struct {
		b    []byte
		into *digest.Digest
	}{{data, &out.Points}, {view.Bytes(), &out.Map}, {report, &out.Report}} {
		if *k.into, _, err = h.p.Blobs.Put(ctx, bytes.NewReader(k.b)); err != nil {
			return out, err
		}
	}
	err = h.again(ctx, func(ctx context.Context) (err error) {
		if out.ID, err = h.number(ctx, "S"); err != nil {
			return err
		}
		if err := h.p.Records.AddScan(ctx, &out); err != nil {
			return err
		}
		return h.log(ctx, who, "scan.compared", out.ID, orderID, "", out)
	})
	return out, err
}

// Scan finds a comparison; Scans lists those of an order.
func (h *House) Scan(ctx context.Context, id string) (Scan, error) {
	return h.p.Records.Scan(ctx, id)
}

// Scans lists those of an order, oldest first.
func (h *House) Scans(ctx context.Context, orderID string) ([]Scan, error) {
	return h.p.Records.ScansOf(ctx, orderID)
}

// OpenScan opens a kept file of a comparison: "map", "report" or "points".
func (h *House) OpenScan(ctx context.Context, id, what string) (Scan, io.ReadSeekCloser, error) {
	s, err := h.p.Records.Scan(ctx, id)
	if err != nil {
		return s, nil, err
	}
	d := map[string]digest.Digest{"map": s.Map, "report": s.Report, "points": s.Points}[what]
	if d == "" || h.p.Blobs == nil {
		return s, nil, fault.New(fault.NotFound, "not_found", what, "A comparison has a map, a report and its points.")
	}
	r, err := h.p.Blobs.Open(ctx, d)
	return s, r, err
}
