package main

import (
	"bytes"
	"context"
	"slices"
	"strings"

	"firstoff/appraise"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/stl"
	"firstoff/intake/threemf"
	"firstoff/paper"
	"firstoff/shop"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/traveller"
)

// handing hands on what the desk decided: the mended part in the pose it was estimated in, standing on z = 0 with its corner at the origin, and
// a build with its pieces laid out.
type handing struct{ o *opened }

// Posed is posed, for papers.
func (h handing) Posed(ctx context.Context, t traveller.Traveller) (*mesh.Mesh, error) {
	return h.posed(ctx, t)
}

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
	in, l, err := h.laid(ctx, b, m)
	if err != nil {
		return nil, err
	}
	for _, x := range in {
		out.Objects = append(out.Objects, content.Body{Name: x.Name, Mesh: x.Mesh})
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

// laid lays a build's pieces out.
func (h handing) laid(ctx context.Context, b build.Build, m *shop.Machine) ([]appraise.Posed, appraise.Layout, error) {
	var in []appraise.Posed
	for _, x := range b.Slots {
		t, err := h.o.store.Traveller(ctx, x.Traveller)
		if err != nil {
			return nil, appraise.Layout{}, err
		}
		posed, err := h.posed(ctx, t)
		if err != nil {
			return nil, appraise.Layout{}, err
		}
		in = append(in, appraise.Posed{Name: t.Name, Mesh: posed, Pieces: x.Pieces})
	}
	l, err := appraise.LayOut(ctx, m, in)
	return in, l, err
}

// Slot is where a traveller's pieces lie: in the newest build that holds them and is not over, else in the newest at all.
func (h handing) Slot(ctx context.Context, t traveller.Traveller) (paper.Slot, error) {
	all, err := h.o.store.Builds(ctx, nil, 500)
	if err != nil {
		return paper.Slot{}, err
	}
	holds := func(b build.Build) bool {
		return b.Word != build.Dropped && slices.ContainsFunc(b.Slots, func(s build.Slot) bool { return s.Traveller == t.ID })
	}
	i := slices.IndexFunc(all, func(b build.Build) bool { return holds(b) && b.Word.Open() })
	if i < 0 {
		i = slices.IndexFunc(all, holds)
	}
	if i < 0 {
		return paper.Slot{}, nil
	}
	b := all[i]
	m := h.o.shop.Load().Machine(b.Machine)
	if m == nil {
		return paper.Slot{}, nil
	}
	_, l, err := h.laid(ctx, b, m)
	if err != nil { // a part that is gone: the card is printed without
		return paper.Slot{}, nil
	}
	name, _, _ := strings.Cut(m.Name, ",")
	out := paper.Slot{Build: b.ID, Machine: name, W: l.Size.X, D: l.Size.Y}
	for _, x := range l.Pieces {
		out.Pieces = append(out.Pieces, paper.SlotPiece{ID: x.Piece, Mine: b.Slots[x.Part].Traveller == t.ID, Outline: x.Outline, Z: x.Move.Z})
	}
	return out, nil
}
