package main

import (
	"bytes"
	"context"
	"fmt"

	"firstoff/appraise"
	"firstoff/bureau/planning"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/glb"
	"firstoff/shopfloor/traveller"
)

// composing lays out the builds of the plan.
type composing struct{ o *opened }

// Composed is a build of the plan.
func (c composing) Composed(ctx context.Context, task string) (planning.Composed, error) {
	return c.o.plans.Composed(ctx, task)
}

// LayOut lays its pieces into the machine.
func (c composing) LayOut(ctx context.Context, b planning.Composed) (appraise.Layout, error) {
	in, err := c.posed(ctx, b)
	if err != nil {
		return appraise.Layout{}, err
	}
	return appraise.LayOut(ctx, &b.Machine, in)
}

func (c composing) posed(ctx context.Context, b planning.Composed) ([]appraise.Posed, error) {
	var in []appraise.Posed
	for _, w := range b.Lines {
		m, err := handing{c.o}.posed(ctx, traveller.Traveller{LineID: w.Line.LineID, Pose: w.Line.Option.Pose})
		if err != nil {
			return nil, err
		}
		p := appraise.Posed{Name: w.Line.Name, Mesh: m}
		for _, x := range w.Line.Pieces {
			p.Pieces = append(p.Pieces, x.ID)
		}
		in = append(in, p)
	}
	return in, nil
}

// Model is the laid out build for the viewer, on a thin plate as large as the build volume.
func (c composing) Model(ctx context.Context, b planning.Composed) ([]byte, error) {
	in, err := c.posed(ctx, b)
	if err != nil {
		return nil, err
	}
	l, err := appraise.LayOut(ctx, &b.Machine, in)
	if err != nil {
		return nil, err
	}
	bodies := []content.Body{{Name: "platform", Mesh: plate(l.Size)}}
	for _, p := range l.Pieces {
		bodies = append(bodies, content.Body{Name: p.Piece, Mesh: in[p.Part].Mesh.Transformed(p.Turn, 1, p.Move)})
	}
	var out bytes.Buffer
	if err := glb.Write(&out, bodies); err != nil {
		return nil, fmt.Errorf("the model of the build: %w", err)
	}
	return out.Bytes(), nil
}

// plate is a box a hundredth of the platform thick, its top at z = 0.
func plate(size r3.Vec) *mesh.Mesh {
	t := max(size.X, size.Y) / 100
	m := &mesh.Mesh{}
	for i := range 8 {
		x, y, z := 0.0, 0.0, -t
		if i&1 != 0 {
			x = size.X
		}
		if i&2 != 0 {
			y = size.Y
		}
		if i&4 != 0 {
			z = 0
		}
		m.Pos = append(m.Pos, float32(x), float32(y), float32(z))
	}
	m.Tri = []uint32{0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5}
	return m
}
