package estimate

import (
	"math"

	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shop"
)

// Piece is what a packer places: one part in its pose.
type Piece struct {
	SizeMM    r3.Vec
	VolumeMM3 float64
	Mesh      *mesh.Mesh // nil where only the box is known
	Pose      r3.Quat
}

// Packing is how copies of a piece go onto a machine.
type Packing struct {
	PerBuild int     // copies a full build holds; 0 = not even one
	Turned   bool    // turned by 90° about z on the platform
	StepX    float64 // pitch of the copies along x and y, mm
	StepY    float64
	Columns  int // copies along x in a full row
	Rows     int
	Levels   int // on top of each other (powder beds)
	// Extent, if set, gives the used length along x and y of the n copies of one build (a packer that does not lay rows).
	Extent func(n int) (x, y float64) `json:"-"`
}

// Packer answers how many copies of a piece one build of a machine holds, of qty wanted.
type Packer func(p Piece, m *shop.Machine, qty int) Packing

// Used is the length along x and y that n copies of one build take, in rows along x.
func (k Packing) Used(n int, size r3.Vec) (x, y float64) {
	if k.Extent != nil {
		return k.Extent(n)
	}
	if n <= 0 || k.Columns <= 0 {
		return 0, 0
	}
	bx, by := size.X, size.Y
	if k.Turned {
		bx, by = by, bx
	}
	if lv := max(k.Levels, 1); lv > 1 {
		n = (n + lv - 1) / lv
	}
	cols := min(n, k.Columns)
	rows := (n + k.Columns - 1) / k.Columns
	return float64(cols-1)*k.StepX + bx, float64(rows-1)*k.StepY + by
}

// Rows is the default packer: boxes in rows, the book's form n = ⌊(PL − 2e + g)/(b + g)⌋ per axis (Gibson 16.6.2), the
// better of the two turns; in a powder bed also in levels, and not denser than the machine's usual packing share.
func Rows(p Piece, m *shop.Machine, qty int) Packing {
	best := Packing{}
	g, e := m.SpacingMM, m.EdgeMM
	fit := func(room, b float64) int {
		if b <= 0 {
			return 0
		}
		return int(math.Floor((room-2*e+g)/(b+g) + 1e-9))
	}
	size := p.SizeMM
	if m.BJT != nil { // green parts
		size = size.Mul(m.BJT.Growth())
	}
	for _, turned := range []bool{false, true} {
		bx, by := size.X, size.Y
		if turned {
			bx, by = by, bx
		}
		k := Packing{Turned: turned, StepX: bx + g, StepY: by + g, Columns: fit(m.Envelope.X, bx), Rows: fit(m.Envelope.Y, by), Levels: 1}
		if m.Envelope.Z+1e-9 < size.Z {
			continue
		}
		if m.PBF != nil && !m.PBF.Metal || m.BJT != nil {
			k.Levels = max(1, fit(m.Envelope.Z, size.Z))
		}
		k.PerBuild = k.Columns * k.Rows * k.Levels
		if m.PBF != nil && !m.PBF.Metal && m.PBF.PackPct > 0 && p.VolumeMM3 > 0 && k.PerBuild > 1 {
			room := m.Envelope.X * m.Envelope.Y * m.Envelope.Z * m.PBF.PackPct / 100
			k.PerBuild = max(1, min(k.PerBuild, int(room/p.VolumeMM3)))
		}
		if k.PerBuild > best.PerBuild {
			best = k
		}
	}
	return best
}

// builds splits a quantity into full builds and a last one.
func builds(qty, per int) (full, last int) {
	if per <= 0 || qty <= 0 {
		return 0, 0
	}
	full = qty / per
	last = qty - full*per
	return full, last
}
