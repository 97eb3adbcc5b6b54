package main

import (
	"bytes"
	"context"

	"firstoff/appraise"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/stl"
	"firstoff/intake/threemf"
	"firstoff/shopfloor/traveller"
)

// handing hands on what the desk decided: the mended part in the pose it was estimated in, standing on z = 0 with its corner at the origin, and
// a build with its pieces laid out.
type handing struct{ o *opened }

func (h handing) posed(ctx context.Context, t traveller.Traveller) (*mesh.Mesh, error) {
	m, err := scanning{h.o}.Nominal(ctx, t.LineID)
	if err != nil {
		return nil, err
	}
	q := r3.Quat{W: t.Pose[0], X: t.Pose[1], Y: t.Pose[2], Z: t.Pose[3]}
	if q == (r3.Quat{}) {
		q = r3.Identity
	}
	at := m.Transformed(q, 1, r3.Vec{})
	return at.Transformed(r3.Identity, 1, at.Box().Min.Mul(-1)), nil
}

// Part is one traveller's part as "stl" or "3mf".
func (h handing) Part(ctx context.Context, id, form string) ([]byte, error) {
	t, err := h.o.store.Traveller(ctx, id)
	if err != nil {
		return nil, err
	}
	m, err := h.posed(ctx, t)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	switch form {
	case "stl":
		err = stl.Write(&b, t.ID+" "+t.Name, m)
	case "3mf":
		build := threemf.Place([]content.Body{{Name: t.Name, Mesh: m}})
		build.Title, build.Items[0].PartNumber = t.ID+" "+t.Name, t.ID
		err = threemf.Write(&b, build)
	default:
		err = fault.New(fault.NotFound, "form_unknown", form, "A part comes as .stl or .3mf.")
	}
	return b.Bytes(), err
}

// Build is a build as 3MF: every piece in its pose, laid out as appraise.LayOut proposes. Fault: Conflict "build_too_full".
func (h handing) Build(ctx context.Context, id string) ([]byte, error) {
	b, err := h.o.store.Build(ctx, id)
	if err != nil {
		return nil, err
	}
	m := h.o.shop.Load().Machine(b.Machine)
	if m == nil {
		return nil, fault.New(fault.NotFound, "machine_unknown", b.Machine, "The shop has no machine %q any more.", b.Machine)
	}
	out := threemf.Build{Title: b.ID}
	var in []appraise.Posed
	for _, x := range b.Slots {
		t, err := h.o.store.Traveller(ctx, x.Traveller)
		if err != nil {
			return nil, err
		}
		posed, err := h.posed(ctx, t)
		if err != nil {
			return nil, err
		}
		in = append(in, appraise.Posed{Name: t.Name, Mesh: posed, Pieces: x.Pieces})
		out.Objects = append(out.Objects, content.Body{Name: t.Name, Mesh: posed})
	}
	l, err := appraise.LayOut(ctx, m, in)
	if err != nil {
		return nil, err
	}
	if len(l.Left) > 0 {
		return nil, fault.New(fault.Conflict, "build_too_full", b.ID, "%d pieces of %s find no room on %s; lay them out at the machine, or split the build.", len(l.Left), b.ID, m.Name)
	}
	for _, p := range l.Pieces {
		out.Items = append(out.Items, threemf.Item{Object: p.Part, Turn: p.Turn, Move: p.Move, PartNumber: p.Piece})
	}
	var w bytes.Buffer
	err = threemf.Write(&w, out)
	return w.Bytes(), err
}
