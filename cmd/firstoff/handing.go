package main

import (
	"bytes"
	"cmp"
	"context"
	"slices"

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

// Build is a build as 3MF: every piece in its pose, laid in rows on the platform with the machine's spacing, deepest first. It is a proposal; what
// stands above one another in a chamber is laid out at the machine. Fault: Conflict "build_too_full".
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
	type piece struct {
		object int
		size   r3.Vec
		id     string
	}
	var all []piece
	for _, s := range b.Slots {
		t, err := h.o.store.Traveller(ctx, s.Traveller)
		if err != nil {
			return nil, err
		}
		posed, err := h.posed(ctx, t)
		if err != nil {
			return nil, err
		}
		out.Objects = append(out.Objects, content.Body{Name: t.Name, Mesh: posed})
		for _, p := range s.Pieces {
			all = append(all, piece{len(out.Objects) - 1, posed.Box().Size(), p})
		}
	}
	slices.SortStableFunc(all, func(a, b piece) int { return cmp.Compare(b.size.Y, a.size.Y) })
	x, y, deep := m.EdgeMM, m.EdgeMM, 0.0
	for _, p := range all {
		if x > m.EdgeMM && x+p.size.X > m.Envelope.X-m.EdgeMM {
			x, y, deep = m.EdgeMM, y+deep+m.SpacingMM, 0
		}
		if x+p.size.X > m.Envelope.X-m.EdgeMM+1e-6 || y+p.size.Y > m.Envelope.Y-m.EdgeMM+1e-6 || p.size.Z > m.Envelope.Z+1e-6 {
			return nil, fault.New(fault.Conflict, "build_too_full", b.ID, "The pieces of %s do not lie side by side on %s; lay them out at the machine, or split the build.", b.ID, m.Name)
		}
		out.Items = append(out.Items, threemf.Item{Object: p.object, Turn: r3.Identity, Move: r3.Vec{X: x, Y: y}, PartNumber: p.id})
		x, deep = x+p.size.X+m.SpacingMM, max(deep, p.size.Y)
	}
	var w bytes.Buffer
	err = threemf.Write(&w, out)
	return w.Bytes(), err
}
