package paper

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"slices"

	"codeberg.org/go-pdf/fpdf"

	"firstoff/geom/engrave"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shopfloor/traveller"
)

// Poses shows how parts lie in the machine.
type Poses interface {
	// Posed is a traveller's part in the pose it is built in, standing on z = 0.
	Posed(ctx context.Context, t traveller.Traveller) (*mesh.Mesh, error)
	// Slot is where the traveller's pieces lie in the build that holds them; an empty Build: in none yet.
	Slot(ctx context.Context, t traveller.Traveller) (Slot, error)
}

// Slot is a build seen from above.
type Slot struct {
	Build   string
	Machine string
	W, D    float64 // of the platform, mm
	Pieces  []SlotPiece
}

// SlotPiece is one piece of the build; Mine are the traveller's.
type SlotPiece struct {
	ID      string
	Mine    bool
	Outline [][2]float64 // mm from the platform's near left corner
	Z       float64      // mm above the platform
}

// place draws the pose and the slot side by side. A part that is not kept any more leaves its place empty.
func (p *Press) place(ctx context.Context, s *sheet, t traveller.Traveller) error {
	if p.Poses == nil || t.Partner != "" {
		return nil
	}
	const high, half = 58.0, 84.0
	m, err := p.Poses.Posed(ctx, t)
	if err != nil {
		return nil
	}
	slot, err := p.Poses.Slot(ctx, t)
	if err != nil {
		return err
	}
	s.heading("As it lies in the machine")
	s.room(high + 12)
	y := s.GetY()
	box := m.Box().Size()
	floor := floorOf(m)
	var out bytes.Buffer
	if err := png.Encode(&out, engrave.Draw([]*mesh.Mesh{floor, m}, engrave.Options{From: r3.Vec{X: 0.55, Y: -1, Z: 0.45}})); err != nil {
		return err
	}
	s.picture("pose "+t.ID, out.Bytes(), left, y, half*0.9)
	s.SetXY(left, y+high+1)
	s.quiet(8)
	s.CellFormat(half, 4, fmt.Sprintf("build direction up; %.1f × %.1f mm on the platform, %.1f mm high", box.X, box.Y, box.Z), "", 0, "L", false, 0, "")
	x := left + half + 6
	if slot.Build == "" {
		s.SetXY(x, y+4)
		s.quiet(9)
		s.MultiCell(wide-half-6, 4.6, "It lies in no build yet. Print the traveller again when it does, and its slot stands here.", "", "L", false)
		s.SetY(y + high + 6)
		return nil
	}
	w := wide - half - 6
	scale := min(w/slot.W, high/slot.D)
	s.SetDrawColor(inkRGB[0], inkRGB[1], inkRGB[2])
	s.SetLineWidth(0.35)
	s.Rect(x, y, slot.W*scale, slot.D*scale, "D")
	s.SetLineWidth(0.2)
	n := 0
	for _, mine := range []bool{false, true} { // what the card is about lies on top
		for _, q := range slot.Pieces {
			if q.Mine != mine {
				continue
			}
			var ring []fpdf.PointType
			for _, v := range q.Outline {
				ring = append(ring, fpdf.PointType{X: x + v[0]*scale, Y: y + (slot.D-v[1])*scale})
			}
			style := "D"
			s.SetFillColor(0xC9, 0xD8, 0xD5)
			if mine {
				style = "FD"
				n++
			}
			s.Polygon(ring, style)
		}
	}
	s.SetXY(x, y+high+1)
	s.quiet(8)
	s.MultiCell(w, 3.8, fmt.Sprintf("%s on %s from above, %g × %g mm; filled: the %d of this card%s", slot.Build, slot.Machine, slot.W, slot.D, n, corner(slot)), "", "L", false)
	s.SetY(max(s.GetY(), y+high+6))
	return nil
}

// corner says where the first of the traveller's pieces lies, to find it on the platform.
func corner(slot Slot) string {
	i := slices.IndexFunc(slot.Pieces, func(q SlotPiece) bool { return q.Mine && len(q.Outline) > 0 })
	if i < 0 {
		return ""
	}
	q := slot.Pieces[i]
	lo := q.Outline[0]
	for _, v := range q.Outline {
		lo = [2]float64{min(lo[0], v[0]), min(lo[1], v[1])}
	}
	at := fmt.Sprintf("; %s from %.0f, %.0f mm", q.ID, lo[0], lo[1])
	if q.Z > 0.5 {
		at += fmt.Sprintf(", %.0f mm up", q.Z)
	}
	return at
}

// floorOf is a thin plate under a part, a quarter larger than its shadow, to show what it stands on.
func floorOf(m *mesh.Mesh) *mesh.Mesh {
	b := m.Box()
	w := b.Size().Mul(0.15)
	t := float32(max(b.Size().X, b.Size().Y) / 80)
	x0, x1, y0, y1, z := float32(b.Min.X-w.X), float32(b.Max.X+w.X), float32(b.Min.Y-w.Y), float32(b.Max.Y+w.Y), float32(b.Min.Z)
	return &mesh.Mesh{
		Pos: []float32{x0, y0, z - t, x1, y0, z - t, x0, y1, z - t, x1, y1, z - t, x0, y0, z, x1, y0, z, x0, y1, z, x1, y1, z},
		Tri: []uint32{0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5},
	}
}
