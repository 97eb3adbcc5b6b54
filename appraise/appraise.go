package appraise

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"sync"
	"time"

	"firstoff/bureau"
	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/desk/promise"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/intake"
	"firstoff/intake/content"
	"firstoff/intake/glb"
	"firstoff/part"
	"firstoff/part/survey"
	"firstoff/shop"
	"firstoff/shop/calendar"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/work"
	"firstoff/unit"
)

// Desk reads files and answers questions about parts.
type Desk struct {
	Reader intake.Reader
	Limits content.Limits
	// Findings looks at a part for what is hard about making it; nil: nothing is looked for.
	Findings func(ctx context.Context, s *survey.Survey) []part.Finding
	// ToleranceMM is the tightest tolerance asked of what is read; 0: not known yet.
	ToleranceMM float64
	// Packer lays copies on a platform; nil: by outlines where these hold more than rows of boxes.
	Packer estimate.Packer
	// Replications of the load for one promise; 0 = the planner's default.
	Replications int
	Threads      int

	mu       sync.Mutex
	planners map[plannerKey]*promise.Planner
}

var _ bureau.Appraiser = (*Desk)(nil)

type plannerKey struct {
	catalogue, load digest.Digest
	now             int64
	seed            uint64
	front           bool // only what runs is in the load
}

// Read finds the parts in a file's bytes; see bureau.Appraiser.
func (d *Desk) Read(ctx context.Context, name string, data []byte, said unit.Length, step func(string, float64)) ([]bureau.Piece, error) {
	if step == nil {
		step = func(string, float64) {}
	}
	step("reading", 0.05)
	all, err := d.Reader.ReadAll(ctx, name, data, intake.Options{Unit: said, Limits: d.Limits, ToleranceMM: d.ToleranceMM})
	if err != nil {
		return nil, err
	}
	var out []bureau.Piece
	for i, o := range all {
		at := 0.2 + 0.5*float64(i)/float64(len(all))
		step("measuring", at)
		p, err := d.piece(ctx, o)
		if err != nil {
			if len(all) == 1 {
				return nil, err
			}
			f := fault.Of(err)
			out = append(out, bureau.Piece{Name: nameOf(o, i), Problem: &request.Problem{Code: f.Code, Message: f.Message, Where: f.Where}})
			continue
		}
		out = append(out, p)
	}
	step("options", 0.7)
	return out, nil
}

func nameOf(o intake.Outcome, i int) string {
	if o.File != nil && o.File.Name != "" {
		return o.File.Name
	}
	if o.Name != "" {
		return o.Name
	}
	return fmt.Sprintf("member %d", i+1)
}

func (d *Desk) piece(ctx context.Context, o intake.Outcome) (bureau.Piece, error) {
	if o.Err != nil {
		return bureau.Piece{}, o.Err
	}
	s, err := survey.Of(ctx, o.File, survey.Options{Walls: true})
	if err != nil {
		return bureau.Piece{}, err
	}
	p := bureau.Piece{Name: s.File.Name, Format: s.File.Format, Warnings: s.File.Warnings, Facts: s.Facts,
		Unit: request.UnitQuestion{Name: s.File.Unit.Name, Stated: s.File.Unit.Stated, Confidence: s.File.Unit.Confidence, Question: s.File.Unit.Question}}
	bodies := make([]content.Body, len(s.Bodies))
	var byName []offer.Body
	for i, b := range s.Bodies {
		p.Bodies = append(p.Bodies, b.Name)
		bodies[i] = content.Body{Name: b.Name, Mesh: b.Mended, Color: b.Color}
		byName = append(byName, offer.Body{Name: b.Name, Mesh: b.Mended})
	}
	if d.Findings != nil {
		p.Findings = d.Findings(ctx, s)
	}
	var view bytes.Buffer
	if err := glb.Write(&view, bodies); err != nil {
		return bureau.Piece{}, err
	}
	p.Viewer = view.Bytes()
	e := offer.For(s.Whole)
	facts, mesh := s.Facts, s.Whole
	pack := d.Packer
	if pack == nil {
		pack = newTrays().Pack
	}
	p.Evaluate = func(ctx context.Context, a bureau.Ask) (offer.Table, error) {
		prom, err := d.Promise(ctx, a.Catalogue, a.Load, a.Now, a.Seed)
		if err != nil {
			return offer.Table{}, err
		}
		front, err := d.front(ctx, a.Catalogue, a.Load, a.Now, a.Seed)
		if err != nil {
			return offer.Table{}, err
		}
		return e.Evaluate(ctx, offer.Job{Mesh: mesh, Facts: facts, Requirement: a.Requirement, Qty: a.Qty, File: a.Name, Bodies: byName}, a.Catalogue,
			offer.Settings{Promise: prom, Front: front, Keep: a.Keep, Packer: pack, LayerMM: a.LayerMM, InfillPct: a.InfillPct, Factors: a.Coefficients.Of})
	}
	return p, nil
}

// nowStep is how long a played load stays good: promises are in days, so half an hour changes nothing.
const nowStep = 30 * time.Minute

// Promise plays the catalogue's work in hand and the open orders, and answers dates under that load.
func (d *Desk) Promise(ctx context.Context, cat *shop.Catalogue, load bureau.Load, now time.Time, seed uint64) (offer.Promise, error) {
	p, _, err := d.planner(ctx, cat, load, now, seed)
	if err != nil {
		return nil, err
	}
	return dated(cat, p), nil
}

// dated asks a planner.
func dated(cat *shop.Catalogue, p *promise.Planner) offer.Promise {
	return func(a offer.Ask) offer.Dated {
		material := ""
		if a.Material != nil {
			material = a.Material.ID
		}
		ans := p.Date(work.Route("new", a.Steps, a.Machine, material, cat, a.SpreadDays))
		return offer.Dated{P50: ans.P50.Format(time.DateOnly), P90: ans.P90.Format(time.DateOnly), LeadDays: ans.LeadDays, Binding: bindingName(cat, ans.Binding), Odds: ans.Odds}
	}
}

// bindingName says what a date waits for in the shop's own names.
func bindingName(cat *shop.Catalogue, id string) string {
	if m := cat.Machine(id); m != nil {
		return m.Name
	}
	if r := cat.Resource(id); r != nil {
		return r.Name
	}
	return id
}

func (d *Desk) planner(ctx context.Context, cat *shop.Catalogue, load bureau.Load, now time.Time, seed uint64) (*promise.Planner, *calendar.Calendar, error) {
	cal, err := calendar.Of(cat)
	if err != nil {
		return nil, nil, fault.Because(err, fault.Internal, "calendar", "shop", "The shop's calendar cannot be made.")
	}
	now = now.Truncate(nowStep)
	key := plannerKey{catalogue: cat.Revision, load: load.Revision, now: now.Unix(), seed: seed}
	d.mu.Lock()
	p := d.planners[key]
	d.mu.Unlock()
	if p != nil {
		return p, cal, nil
	}
	left, has, err := Load(ctx, cat, cal, load, now)
	if err != nil {
		return nil, nil, err
	}
	p, err = promise.New(ctx, cat, cal, left, now, promise.Settings{Replications: d.Replications, Seed: seed, Threads: max(1, d.Threads), Level: load.Level, Loaded: has, Away: load.Decided.Away})
	if err != nil {
		return nil, nil, err
	}
	d.keep(key, p)
	return p, cal, nil
}

// front answers dates for work that goes before everything that waits.
func (d *Desk) front(ctx context.Context, cat *shop.Catalogue, load bureau.Load, now time.Time, seed uint64) (*offer.Front, error) {
	cal, err := calendar.Of(cat)
	if err != nil {
		return nil, fault.Because(err, fault.Internal, "calendar", "shop", "The shop's calendar cannot be made.")
	}
	now = now.Truncate(nowStep)
	left, has, err := Load(ctx, cat, cal, load, now)
	if err != nil {
		return nil, err
	}
	key := plannerKey{cat.Revision, load.Revision, now.Unix(), seed, true}
	d.mu.Lock()
	p := d.planners[key]
	d.mu.Unlock()
	if p == nil {
		var running capacity.Load
		for _, j := range left.Jobs {
			if j.Ops[0].RunningOn != "" {
				running.Jobs = append(running.Jobs, j)
			}
		}
		p, err = promise.New(ctx, cat, cal, running, now, promise.Settings{Replications: d.Replications, Seed: seed, Threads: max(1, d.Threads), Level: load.Level, Loaded: has, Away: load.Decided.Away})
		if err != nil {
			return nil, err
		}
		d.keep(key, p)
	}
	waiting := func(machine string) (jobs int, hours float64) {
		for _, j := range left.Jobs {
			for _, o := range j.Ops {
				if o.RunningOn == "" && len(o.Resource) > 0 && o.Resource[0] == machine {
					jobs++
					hours += o.Seconds / 3600
				}
			}
		}
		return jobs, hours
	}
	return &offer.Front{Date: dated(cat, p), Waiting: waiting}, nil
}

// keep remembers a planner; when there are many, all are forgotten.
func (d *Desk) keep(key plannerKey, p *promise.Planner) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.planners == nil || len(d.planners) >= 32 {
		d.planners = map[plannerKey]*promise.Planner{}
	}
	d.planners[key] = p
}

// Load is all work in hand at now: what is left of the catalogue's, and of the open orders, and what machines have loaded.
func Load(ctx context.Context, cat *shop.Catalogue, cal *calendar.Calendar, load bureau.Load, now time.Time) (capacity.Load, map[string]string, error) {
	asOf := now
	if t, err := time.Parse(time.RFC3339, cat.WorkloadAsOf); err == nil && t.Before(now) {
		asOf = t
	}
	var left capacity.Load
	var has map[string]string
	var err error
	if load.Decided.Backlog == nil {
		left, has, err = promise.Backlogged(ctx, cat, cal, asOf, now)
	} else {
		left, err = promise.Backlog(cat, cal, asOf)
	}
	if err != nil {
		return left, nil, err
	}
	left.Jobs = work.Backlog(left.Jobs, load.Decided, now.Unix())
	if has == nil {
		has = map[string]string{}
	}
	maps.Copy(has, load.Floor.Loaded)
	left.Jobs = append(left.Jobs, work.Jobs(load.Orders, load.Floor, load.Decided, cat, cal.Location(), now)...)
	for i := range left.Jobs {
		left.Jobs[i].Release = max(left.Jobs[i].Release, now.Unix())
	}
	return left, has, nil
}
