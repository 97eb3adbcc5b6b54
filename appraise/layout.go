package appraise

import (
	"context"
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shop"
	"firstoff/shopfloor/nest"
)

// Posed is a part in the pose it is built in, with its pieces by name.
type Posed struct {
	Name   string
	Mesh   *mesh.Mesh
	Pieces []string
}

// Laid is one piece where it lies: its part's mesh turned by Turn, then moved by Move, stands in the build volume with its corner at the origin.
type Laid struct {
	Part    int // index into what was given
	Piece   string
	Turn    r3.Quat
	Move    r3.Vec
	Outline [][2]float64 // from above, in the build volume
	HighMM  float64
}

// Layout is a build volume with pieces in it.
type Layout struct {
	Size    r3.Vec // of the build volume
	Chamber bool   // filled in height too
	Pieces  []Laid
	Left    []string // pieces for which there was no room
	Fill    float64  // share of the platform covered, or of the chamber up to its highest piece filled
	HighMM  float64  // the highest point
}

// LayOut lays pieces into the build volume of a machine: side by side by their outlines on a platform, in height too where powder carries
// them. It is the quick layout, a proposal for whoever stands at the machine. Faults: those of nest.Platform and nest.Chamber.
func LayOut(ctx context.Context, m *shop.Machine, in []Posed) (Layout, error) {
	out := Layout{Size: r3.Vec{X: m.Envelope.X, Y: m.Envelope.Y, Z: m.Envelope.Z}, Chamber: m.BJT != nil || m.PBF != nil && !m.PBF.Metal}
	if out.Chamber {
		return out, out.chamber(ctx, m, in)
	}
	var parts []nest.Part
	index := map[string]int{}
	lift := make([]float64, len(in))
	for i, p := range in {
		ring, up, err := nest.Footprint(p.Mesh)
		if err != nil {
			return out, err
		}
		lift[i], index[p.Name+"\x00"+string(rune(i))] = up, i
		parts = append(parts, nest.Part{ID: p.Name + "\x00" + string(rune(i)), Quantity: len(p.Pieces), Outline: ring})
	}
	trays, err := nest.Platform(parts, m.Envelope.X, m.Envelope.Y, m.SpacingMM, m.EdgeMM, nest.Quick{})
	if err != nil {
		return out, err
	}
	for t, tray := range trays {
		for _, p := range tray.Pieces {
			i := index[p.ID]
			if t > 0 {
				out.Left = append(out.Left, in[i].Pieces[p.Piece])
				continue
			}
			s, c := math.Sincos(p.RotationDeg * math.Pi / 180)
			x := Laid{Part: i, Piece: in[i].Pieces[p.Piece], Move: r3.Vec{X: p.XMM, Y: p.YMM, Z: lift[i]}, HighMM: in[i].Mesh.Box().Size().Z}
			x.Turn = r3.Quat{W: math.Cos(p.RotationDeg * math.Pi / 360), Z: math.Sin(p.RotationDeg * math.Pi / 360)}
			for _, q := range parts[i].Outline {
				x.Outline = append(x.Outline, [2]float64{q[0]*c - q[1]*s + p.XMM, q[0]*s + q[1]*c + p.YMM})
			}
			out.HighMM = max(out.HighMM, x.HighMM)
			out.Pieces = append(out.Pieces, x)
		}
		if t == 0 {
			out.Fill = tray.FillArea
		}
	}
	return out, nil
}

func (l *Layout) chamber(ctx context.Context, m *shop.Machine, in []Posed) error {
	var bodies []nest.Body
	index := map[string]int{}
	for i, p := range in {
		id := p.Name + "\x00" + string(rune(i))
		index[id] = i
		bodies = append(bodies, nest.Body{ID: id, Quantity: len(p.Pieces), Mesh: p.Mesh, Turns: nest.Turns{Deg: []float64{0, 90, 180, 270}}})
	}
	r, err := nest.Chamber(ctx, bodies, m.Envelope.X, m.Envelope.Y, m.Envelope.Z, m.SpacingMM, m.EdgeMM, nest.Options{})
	if err != nil {
		return err
	}
	next := make([]int, len(in))
	volume := 0.0
	for _, p := range r.Placements {
		i := index[p.ID]
		id := in[i].Pieces[next[i]]
		next[i]++
		if p.Container > 0 {
			l.Left = append(l.Left, id)
			continue
		}
		x := Laid{Part: i, Piece: id, Turn: r3.Identity, Move: r3.Vec{X: p.XMM, Y: p.YMM, Z: p.ZMM}}
		if p.Pose != nil {
			x.Turn = r3.Quat{W: p.Pose[0], X: p.Pose[1], Y: p.Pose[2], Z: p.Pose[3]}
		}
		at := in[i].Mesh.Transformed(x.Turn, 1, x.Move)
		ring, _, err := nest.Footprint(at)
		if err != nil {
			return err
		}
		x.Outline, x.HighMM = ring, at.Box().Size().Z
		l.HighMM = max(l.HighMM, at.Box().Max.Z)
		volume += math.Abs(at.Measure().VolumeMM3)
		l.Pieces = append(l.Pieces, x)
	}
	if room := m.Envelope.X * m.Envelope.Y * l.HighMM; room > 0 {
		l.Fill = volume / room
	}
	return nil
}
