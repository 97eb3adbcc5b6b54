package offer

import (
	"context"
	"math"
	"sync"

	"firstoff/desk/advise"
	"firstoff/desk/estimate"
	"firstoff/desk/promise"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/part"
	"firstoff/shop"
)

// Job is one line to be answered.
type Job struct {
	Mesh        *mesh.Mesh // the whole part, mm, mended as far as it goes
	Facts       part.Facts
	Requirement part.Requirement
	Qty         int
	File        string
	Bodies      []Body // by name; only needed where the requirement gives bodies different materials
}

// Settings are what the caller brings along. The zero value works: dates stay empty, boxes are packed in rows.
type Settings struct {
	Promise        Promise
	Front          *Front // nil: nothing is offered ahead of the queue
	Packer         estimate.Packer
	PoseCandidates int     // 0 takes 200
	LayerMM        float64 // only this layer height; 0 = all offered
	InfillPct      float64 // only this infill; 0 = all offered
	// Keep are options somebody has chosen that exist beside another only (rushed): they are offered whatever the pick is by now.
	Keep []string
	// Factors gives the calibrated factors of a machine, material and layer height; nil: none.
	Factors func(machine, material string, layerMM float64) estimate.Factors
}

// Ask is what a promise is asked for.
type Ask struct {
	Option      *Option // steps included; no money or date yet
	Steps       []Step
	Qty         int
	Machine     *shop.Machine // nil for partner work
	Material    *shop.Material
	Loaded      bool // the material is on the machine now
	ChangeoverS float64
	Partner     *shop.Partner
	PartnerDays int     // business days at the partner, transit included
	SpreadDays  float64 // of them, one sd
	FailPct     float64 // of builds
	Shared      bool    // the build is shared with other orders
}

// Dated is the answer: ship dates as 2006-01-02, business days to the P90, what the date waits for.
type Dated struct {
	P50, P90 string
	LeadDays int
	Binding  string
	Odds     promise.Odds
}

// Promise turns steps into dates under the present load. It must be safe for use by several goroutines.
type Promise func(a Ask) Dated

// Evaluator answers questions about one part and keeps what they share.
type Evaluator struct {
	mesh *mesh.Mesh
	meas mesh.Measures

	mu      sync.Mutex
	out     *outline
	cands   []pose
	ncand   int
	poses   map[poseKey]*posed
	stacks  map[stackKey]*stackEntry
	sides   map[r3.Quat]*profileEntry
	hull    *mesh.Mesh
	bodies  map[string]*Evaluator
	hollows map[float64]*hollowEntry
	splitBy map[string]*splitEntry
}

type profileEntry struct {
	once sync.Once
	p    *estimate.Profile
	err  error
}

type poseKey struct {
	machine, process string
	env              shop.Envelope
	edge             float64
}

// posed is the pose chosen for a machine.
type posed struct {
	pose
	side float64
	ok   bool
}

type stackKey struct {
	q         r3.Quat
	layer     float64
	skin      float64
	band      float64
	iface     int
	self      float64
	supported bool
	roads     bool
}

type stackEntry struct {
	once sync.Once
	s    *estimate.Stack
	err  error
}

// For makes an evaluator of a part. The mesh must not be changed afterwards.
func For(m *mesh.Mesh) *Evaluator {
	return &Evaluator{mesh: m, meas: m.Measure(), poses: map[poseKey]*posed{}, stacks: map[stackKey]*stackEntry{}, sides: map[r3.Quat]*profileEntry{}}
}

// Evaluate answers one job once. Asking again about the same part is cheaper through For.
func Evaluate(ctx context.Context, j Job, cat *shop.Catalogue, s Settings) (Table, error) {
	if j.Mesh == nil || j.Mesh.Facets() == 0 {
		return Table{}, fault.New(fault.Invalid, "part_empty", j.File, "The part has no surface; send a file with a body in it.")
	}
	return For(j.Mesh).Evaluate(ctx, j, cat, s)
}

// Evaluate answers a job about this evaluator's part (its Mesh is not looked at).
// Faults: Invalid "qty", "part_empty", "part_volume"; ctx's error when it ends first.
func (e *Evaluator) Evaluate(ctx context.Context, j Job, cat *shop.Catalogue, s Settings) (Table, error) {
	if j.Qty < 1 || j.Qty > 1_000_000 {
		return Table{}, fault.New(fault.Invalid, "qty", j.File, "The quantity is %d; give a whole number from 1 to 1 000 000.", j.Qty)
	}
	v := math.Abs(e.meas.VolumeMM3)
	if !(v > 0) || math.IsInf(v, 0) {
		return Table{}, fault.New(fault.Invalid, "part_volume", j.File, "The part encloses no volume; close its surface or thicken it.")
	}
	if j.Facts.VolumeMM3 == 0 {
		j.Facts.VolumeMM3 = v
	}
	if j.Facts.AreaMM2 == 0 {
		j.Facts.AreaMM2 = e.meas.AreaMM2
	}
	if j.Facts.Max == j.Facts.Min {
		j.Facts.Min, j.Facts.Max = e.meas.Box.Min, e.meas.Box.Max
	}
	if s.Packer == nil {
		s.Packer = estimate.Rows
	}
	if s.PoseCandidates <= 0 {
		s.PoseCandidates = 200
	}
	e.prepare(s.PoseCandidates)
	e.mu.Lock()
	box := e.smallestBox()
	e.mu.Unlock()
	if o := j.Facts.OrientedMM; o == [3]float64{} || box[0]*box[1]*box[2] < o[0]*o[1]*o[2] {
		j.Facts.OrientedMM = box // partners charge by it
	}
	routes := advise.Answer(advise.Case{Requirement: j.Requirement, Facts: j.Facts, Qty: j.Qty, Fits: e.fitsAnywhere}, cat)
	w := &walk{e: e, j: &j, cat: cat, s: &s, table: Table{File: j.File, Qty: j.Qty, Currency: cat.Firm.Currency, Options: []Option{}, Refused: []Refusal{}}}
	for i := 0; i < len(routes); {
		if err := ctx.Err(); err != nil {
			return Table{}, err
		}
		// the routes of one machine or one partner's offer
		k := i + 1
		for k < len(routes) && routes[k].Machine == routes[i].Machine && routes[k].Offer == routes[i].Offer {
			k++
		}
		if err := w.group(ctx, routes[i:k]); err != nil {
			return Table{}, err
		}
		i = k
	}
	if s.Promise != nil { // a whole answer, not one of many asked for a price only
		if err := w.splits(ctx); err != nil {
			return Table{}, err
		}
	}
	w.date()
	rank(&w.table, &j.Requirement)
	if s.Promise != nil {
		w.table.Hints = hints(&w.table)
		if err := w.otherPoses(); err != nil {
			return Table{}, err
		}
		w.hollowHint()
		w.rush()
		e.fillTray(ctx, j, cat, s, &w.table)
		e.quantities(ctx, j, cat, s, &w.table)
	}
	return w.table, nil
}

// prepare searches poses once.
func (e *Evaluator) prepare(n int) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.out == nil {
		e.out = outlineOf(e.mesh)
	}
	if e.ncand != n {
		e.cands, e.ncand = e.out.candidates(n), n
		e.poses = map[poseKey]*posed{}
	}
}

// smallestBox is the smallest box among the candidate poses, sides sorted long to short. The lock is held.
func (e *Evaluator) smallestBox() [3]float64 {
	best, out := math.Inf(1), [3]float64{}
	for i := range e.cands {
		z := e.cands[i].size
		if v := z.X * z.Y * z.Z; v < best {
			best = v
			a, b, c := z.X, z.Y, z.Z
			if a < b {
				a, b = b, a
			}
			if b < c {
				b, c = c, b
			}
			if a < b {
				a, b = b, a
			}
			out = [3]float64{a, b, c}
		}
	}
	return out
}

// fitsAnywhere says whether the part goes into an envelope: in one of the candidate poses, or in a turn that a search over all of
// them finds; that pose then joins the candidates.
func (e *Evaluator) fitsAnywhere(env shop.Envelope, edge float64) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	for i := range e.cands {
		if e.cands[i].fits(env, edge) {
			return true
		}
	}
	box := e.smallestBox()
	room := [3]float64{env.X - 2*edge, env.Y - 2*edge, env.Z}
	if box[0] > math.Sqrt(room[0]*room[0]+room[1]*room[1]+room[2]*room[2]) {
		return false // longer than the space's diagonal
	}
	if e.hull == nil {
		e.hull = mesh.ConvexHull(e.mesh)
	}
	// the edge is kept in x and y only: an envelope taller by it stands for that
	q, ok := mesh.FitsIn(e.hull, r3.Vec{X: env.X, Y: env.Y, Z: env.Z + 2*edge}, edge)
	if !ok {
		return false
	}
	c := e.out.as(q)
	if !c.fits(env, edge) {
		return false
	}
	e.cands = append(e.cands, c)
	return true
}

// profile gives the outlines of a pose, sampled once for all its layer heights.
func (e *Evaluator) profile(q r3.Quat) (*estimate.Profile, error) {
	e.mu.Lock()
	en := e.sides[q]
	if en == nil {
		en = &profileEntry{}
		e.sides[q] = en
	}
	e.mu.Unlock()
	en.once.Do(func() { en.p, en.err = estimate.ProfileOf(e.mesh, q) })
	return en.p, en.err
}

// stack gives the layers of a pose, cut once.
func (e *Evaluator) stack(q r3.Quat, layer float64, c estimate.Cut) (*estimate.Stack, error) {
	skin := 0.0
	if c.SkinMM > 0 {
		skin = math.Ceil(c.SkinMM/layer - 1e-9)
	}
	k := stackKey{q, layer, skin, c.BandMM, c.InterfaceLayers, c.SelfSupportDeg, c.Supported, c.Roads}
	e.mu.Lock()
	en := e.stacks[k]
	if en == nil {
		en = &stackEntry{}
		e.stacks[k] = en
	}
	e.mu.Unlock()
	en.once.Do(func() {
		if c.Roads {
			if c.Profile, en.err = e.profile(q); en.err != nil {
				return
			}
		}
		var all []*estimate.Stack
		all, en.err = estimate.FromMesh(e.mesh, e.meas, q, []float64{layer}, c)
		if en.err == nil {
			en.s = all[0]
		}
	})
	return en.s, en.err
}
