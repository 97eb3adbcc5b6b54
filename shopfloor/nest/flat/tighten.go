package flat

import (
	"context"
	"math"
)

// Tighten lays the pieces of one tray again so that they reach less far along its depth (y), as a strip of the tray's width; ok is
// false when that is no better than depth.
func Tighten(ctx context.Context, shapes []Shape, kinds []int, bed Bed, depth float64, lim Limits) (spots []Spot, reach float64, rounds int, ok bool) {
	// The strip runs along y of the tray: turned by −90° its length is x again.
	side := make([]Shape, len(shapes))
	for i, s := range shapes {
		side[i] = Shape{Outline: s.Outline, Area: s.Area, Turns: make([]Turned, len(s.Turns))}
		for j, u := range s.Turns {
			side[i].Turns[j] = u.turnedBy(-90)
		}
	}
	l := Strip(ctx, side, kinds, bed.W, bed.Spacing, lim)
	if l.Length >= depth || l.Length > bed.H {
		return nil, 0, l.Rounds, false
	}
	spots = make([]Spot, len(kinds))
	for i, s := range l.Spots {
		t := &shapes[kinds[i]].Turns[s.Turn].Box
		x, y := bed.W-s.Y, s.X
		// back inside after rounding
		x = math.Max(-t.MinX, math.Min(bed.W-t.MaxX, x))
		y = math.Max(-t.MinY, math.Min(bed.H-t.MaxY, y))
		spots[i] = Spot{0, s.Turn, x, y}
		reach = math.Max(reach, y+t.MaxY)
	}
	return spots, reach, l.Rounds, true
}

// turnedBy is the turned shape turned further, its ring and pieces with it.
func (t *Turned) turnedBy(deg float64) Turned {
	v := Turned{Deg: t.Deg + deg, Ring: t.Ring.Rotate(deg), Pieces: turnPieces(t.Pieces, deg)}
	v.Box = v.Ring.Box()
	return v
}
