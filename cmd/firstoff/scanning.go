package main

import (
	"context"
	"io"
	"time"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/paper"
	"firstoff/quality/scan"
	"firstoff/unit"
)

// scanning reads what comparisons need from the desk's own files.
type scanning struct{ o *opened }

func (s scanning) Points(ctx context.Context, name string, data []byte, u unit.Length) ([]r3.Vec, error) {
	return scan.Points(ctx, s.o.desk.Reader, name, data, u, s.o.desk.Limits)
}

func (s scanning) Nominal(ctx context.Context, lineID string) (*mesh.Mesh, error) {
	l, err := s.o.store.Line(ctx, lineID)
	if err != nil {
		return nil, err
	}
	f, err := s.o.store.File(ctx, l.FileID)
	if err != nil {
		return nil, err
	}
	r, err := s.o.blobs.Open(ctx, f.Digest)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	data, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	return s.o.desk.Nominal(ctx, f.Name, data, f.Unit.Answer, l.Member)
}

func (s scanning) Report(points, nominal string, made time.Time, r scan.Result, at []float64, m *mesh.Mesh) ([]byte, error) {
	return (&paper.Press{Catalogue: s.o.shop.Load}).Scan(points, nominal, made, r, at, m)
}
