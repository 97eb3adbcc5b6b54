package appraise

import (
	"math"
	"sync"

	"firstoff/desk/estimate"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/shop"
	"firstoff/shopfloor/nest"
)

// mostOutlines is how many copies in rows a build may hold for outlines still to be nested: beyond it the straight rows count.
const mostOutlines = 60

// trays packs copies of a part by the outline of its pose (nest.Platform) where that holds more than straight rows of
// boxes do; never fewer. Powder and binder beds, filled in height too, stay with the rows. Answers are kept for as long as the
// part is at hand. Safe for concurrent use.
type trays struct {
	mu    sync.Mutex
	lines map[poseOf]*outline
	kept  map[trayOf]*tray
}

type poseOf struct {
	mesh *mesh.Mesh
	pose r3.Quat
}

type trayOf struct {
	poseOf
	w, d, spacing, edge float64
}

type outline struct {
	once sync.Once
	ring [][2]float64 // nil: none
	area float64
}

type tray struct {
	once sync.Once
	x, y []float64 // used length of the first n copies, index n−1
}

func newTrays() *trays { return &trays{lines: map[poseOf]*outline{}, kept: map[trayOf]*tray{}} }

// Pack is an estimate.Packer.
func (t *trays) Pack(p estimate.Piece, m *shop.Machine, qty int) estimate.Packing {
	rows := estimate.Rows(p, m, qty)
	if p.Mesh == nil || rows.PerBuild < 1 || rows.PerBuild > mostOutlines || m.BJT != nil || m.PBF != nil && !m.PBF.Metal {
		return rows
	}
	key := trayOf{poseOf{p.Mesh, p.Pose}, m.Envelope.X, m.Envelope.Y, m.SpacingMM, m.EdgeMM}
	t.mu.Lock()
	k, o := t.kept[key], t.lines[key.poseOf]
	if k == nil {
		k = &tray{}
		t.kept[key] = k
	}
	if o == nil {
		o = &outline{}
		t.lines[key.poseOf] = o
	}
	t.mu.Unlock()
	k.once.Do(func() { k.fill(o, key) })
	if len(k.x) <= rows.PerBuild {
		return rows
	}
	out := rows
	out.PerBuild = len(k.x)
	out.Extent = func(n int) (x, y float64) {
		if n <= rows.PerBuild { // as many as stand in rows are laid in rows
			return rows.Used(n, p.SizeMM)
		}
		n = min(n, len(k.x))
		x, y = rows.Used(rows.PerBuild, p.SizeMM) // one more copy never takes less
		return max(x, k.x[n-1]), max(y, k.y[n-1])
	}
	return out
}

// fill lays one full tray; it stays empty where the outline cannot be had or covers most of its box, so that rows are as good.
func (k *tray) fill(o *outline, at trayOf) {
	o.once.Do(func() {
		ring, _, err := nest.Footprint(at.mesh.Transformed(at.pose, 1, r3.Vec{}))
		if err != nil {
			return
		}
		o.ring, o.area = ring, area(ring)
	})
	if o.area <= 0 {
		return
	}
	x0, x1, y0, y1 := bounds(o.ring, 0)
	if o.area > 0.9*(x1-x0)*(y1-y0) {
		return
	}
	most := int((at.w+at.spacing)*(at.d+at.spacing)/o.area) + 1
	filled, err := nest.Platform([]nest.Part{{ID: "part", Quantity: most, Outline: o.ring}}, at.w, at.d, at.spacing, at.edge, nest.Quick{Rounds: -1})
	if err != nil || len(filled) == 0 {
		return
	}
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, p := range filled[0].Pieces {
		x0, x1, y0, y1 := bounds(o.ring, p.RotationDeg)
		lo = [2]float64{min(lo[0], p.XMM+x0), min(lo[1], p.YMM+y0)}
		hi = [2]float64{max(hi[0], p.XMM+x1), max(hi[1], p.YMM+y1)}
		k.x, k.y = append(k.x, hi[0]-lo[0]), append(k.y, hi[1]-lo[1])
	}
}

func area(ring [][2]float64) float64 {
	var a float64
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		a += p[0]*q[1] - p[1]*q[0]
	}
	return math.Abs(a) / 2
}

func bounds(ring [][2]float64, deg float64) (x0, x1, y0, y1 float64) {
	s, c := math.Sincos(deg * math.Pi / 180)
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range ring {
		x, y := p[0]*c-p[1]*s, p[0]*s+p[1]*c
		x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
	}
	return
}
