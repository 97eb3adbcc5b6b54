package making

import (
	"context"
	"slices"
	"time"

	"firstoff/desk/estimate"
	"firstoff/fault"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/traveller"
)

// BuildCard is a build with what happened to it.
type BuildCard struct {
	Build  build.Build   `json:"build"`
	State  build.State   `json:"state"`
	Events []build.Event `json:"events"`
}

// PlanBuild gathers all pieces of these travellers that lie at their making operation into one run of a machine. id is the
// device's, so that a form sent twice is one build.
// Faults: NotFound "machine_unknown"; Conflict "nothing_waiting", "build_mixed", "build_planned".
func (f *Floor) PlanBuild(ctx context.Context, who, id, machine string, travellers []string) (build.Build, error) {
	cat := f.p.Catalogue()
	m := cat.Machine(machine)
	var b build.Build
	if m == nil {
		return b, fault.New(fault.NotFound, "machine_unknown", machine, "The shop has no machine %q.", machine)
	}
	err := f.once(ctx, id, "builds", func(ctx context.Context) error {
		open, err := f.p.Records.Builds(ctx, []string{string(build.Planned), string(build.Running), string(build.Paused)}, 500)
		if err != nil {
			return err
		}
		b = build.Build{Machine: machine, Process: m.Process, Made: f.now(), Word: build.Planned}
		var in []estimate.Batch
		plain, terms := 0.0, true
		for _, tid := range travellers {
			t, err := f.p.Records.Traveller(ctx, tid)
			if err != nil {
				return err
			}
			es, err := happened[traveller.Event](ctx, f.p.Records, tid)
			if err != nil {
				return err
			}
			if b.Material == "" {
				b.Material, b.LayerMM = t.Material, t.LayerMM
			}
			if t.Material != b.Material || t.LayerMM != b.LayerMM || t.Process != m.Process {
				return fault.New(fault.Conflict, "build_mixed", tid, "%s needs %s, %s at %g mm; one build has one process, material and layer.", tid, t.Process, t.Material, t.LayerMM)
			}
			at := t.Making()
			slot := build.Slot{Traveller: tid, Op: at, Name: t.Name}
			for _, p := range traveller.Fold(t, es).Pieces {
				if p.At == at && !p.Scrap && !p.Away {
					slot.Pieces = append(slot.Pieces, p.ID)
				}
			}
			if len(slot.Pieces) == 0 {
				return fault.New(fault.Conflict, "nothing_waiting", tid, "No piece of %s waits to be built: what comes before the build is not reported finished yet, or all are made.", tid)
			}
			for _, x := range open {
				for _, p := range x.Pieces() {
					if slices.Contains(slot.Pieces, p) {
						return fault.New(fault.Conflict, "build_planned", p, "Piece %s is in build %s already.", p, x.ID)
					}
				}
			}
			share := float64(len(slot.Pieces)) / float64(max(1, len(t.Pieces)))
			batch, err := f.batch(ctx, t, share)
			if err != nil {
				return err
			}
			in, plain = append(in, batch), plain+t.Operations[at-1].ElapsedS*min(1, share)
			terms = terms && batch.Terms.S() > 0
			b.Slots = append(b.Slots, slot)
		}
		b.PlannedS = plain
		if terms {
			b.PlannedS = estimate.Together(in, m.PBF != nil).S()
		}
		b.Checks = build.CheckList(cat, machine, b.Material)
		if err := b.Plan(); err != nil {
			return err
		}
		if b.ID, err = f.number(ctx, "B"); err != nil {
			return err
		}
		if err := f.p.Records.AddBuild(ctx, &b); err != nil {
			return err
		}
		return f.log(ctx, who, "build.planned", "builds", b.ID, "", b)
	})
	return b, err
}

// batch is what a traveller's order line puts into a build.
func (f *Floor) batch(ctx context.Context, t traveller.Traveller, share float64) (estimate.Batch, error) {
	o, err := f.p.Records.Order(ctx, t.OrderID)
	if err != nil {
		return estimate.Batch{}, err
	}
	for _, l := range o.Lines {
		if l.Position == t.Position {
			return estimate.Batch{Terms: l.Option.Terms, Share: share, Builds: l.Option.Builds}, nil
		}
	}
	return estimate.Batch{}, nil
}

// Build shows a build with its state.
func (f *Floor) Build(ctx context.Context, id string) (BuildCard, error) {
	b, err := f.p.Records.Build(ctx, id)
	if err != nil {
		return BuildCard{}, err
	}
	es, err := happened[build.Event](ctx, f.p.Records, id)
	return BuildCard{b, build.Fold(b, es), es}, err
}

// Builds lists builds, newest first; states empty means all.
func (f *Floor) Builds(ctx context.Context, states []string) ([]build.Build, error) {
	return f.p.Records.Builds(ctx, states, 200)
}

// ReportBuild keeps what happened to a build, once, and reports to its travellers what follows: their operation starts
// and pauses with it, its lots are in their pieces; when it is done its pieces go on; when it fails those lost are
// scrap and made again, the others go on.
// Faults: those of build.Admit and traveller.Admit; NotFound "lot_unknown"; Conflict "lot_held", "lot_expired".
func (f *Floor) ReportBuild(ctx context.Context, e build.Event) (BuildCard, error) {
	e.Reason, e.Lot, e.Who = tidy(e.Reason), tidy(e.Lot), tidy(e.Who)
	e.At, e.Received = f.moment(e.At), f.now()
	err := f.again(ctx, func(ctx context.Context) error {
		b, err := f.p.Records.Build(ctx, e.Build)
		if err != nil {
			return err
		}
		before, err := happened[build.Event](ctx, f.p.Records, b.ID)
		if err != nil {
			return err
		}
		s, fresh, err := build.Admit(b, before, e)
		if err != nil || !fresh {
			return err
		}
		if e.Kind == build.Lot {
			if err := f.usable(ctx, e.Lot); err != nil {
				return err
			}
		}
		if err := f.p.Records.TakeID(ctx, e.ID, b.ID); err != nil {
			return err
		}
		b.Word = s.Word
		if err := f.p.Records.SaveBuild(ctx, &b); err != nil {
			return err
		}
		for _, slot := range b.Slots {
			if slot, err = f.present(ctx, slot); err != nil {
				return err
			}
			if es := passed(b, slot, s, e); len(es) > 0 {
				if _, err := f.report(ctx, slot.Traveller, es); err != nil {
					return err
				}
			}
		}
		return f.log(ctx, e.Who, string(e.Kind), b.ID, b.ID, e.Reason, e)
	})
	if err != nil {
		return BuildCard{}, err
	}
	return f.Build(ctx, e.Build)
}

// present is a slot without the pieces that were withdrawn from their traveller meanwhile.
func (f *Floor) present(ctx context.Context, slot build.Slot) (build.Slot, error) {
	t, err := f.p.Records.Traveller(ctx, slot.Traveller)
	if err != nil {
		return slot, err
	}
	es, err := happened[traveller.Event](ctx, f.p.Records, t.ID)
	if err != nil {
		return slot, err
	}
	s := traveller.Fold(t, es)
	slot.Pieces = slices.DeleteFunc(slices.Clone(slot.Pieces), func(id string) bool {
		return slices.ContainsFunc(s.Pieces, func(p traveller.Piece) bool { return p.ID == id && p.Away })
	})
	return slot, nil
}

// passed is what an event of a build means for one of its travellers.
func passed(b build.Build, slot build.Slot, s build.State, e build.Event) []traveller.Event {
	one := traveller.Event{Traveller: slot.Traveller, Op: slot.Op, Machine: b.Machine, Build: b.ID, Who: e.Who, At: e.At, Received: e.Received, Reason: e.Reason}
	as := func(k traveller.Kind, change func(*traveller.Event)) traveller.Event {
		x := one
		x.Kind, x.ID = k, derived(e.ID, slot.Traveller+" "+string(k))
		if change != nil {
			change(&x)
		}
		return x
	}
	if len(slot.Pieces) == 0 {
		return nil
	}
	switch e.Kind {
	case build.Start:
		out := []traveller.Event{as(traveller.Start, nil)}
		for _, l := range s.Lots { // named before the start
			out = append(out, as(traveller.UseLot, func(x *traveller.Event) {
				x.Lot, x.Pieces, x.ID = l, slot.Pieces, derived(e.ID, slot.Traveller+" lot "+l)
			}))
		}
		return out
	case build.Pause:
		return []traveller.Event{as(traveller.Pause, nil)}
	case build.Resume:
		return []traveller.Event{as(traveller.Start, nil)}
	case build.Lot:
		if s.Word == build.Planned {
			return nil
		}
		return []traveller.Event{as(traveller.UseLot, func(x *traveller.Event) { x.Lot, x.Pieces = e.Lot, slot.Pieces })}
	case build.Finish, build.Fail:
		var lost, whole []string
		for _, p := range slot.Pieces {
			if slices.Contains(s.Lost, p) {
				lost = append(lost, p)
			} else {
				whole = append(whole, p)
			}
		}
		out := []traveller.Event{as(traveller.Finish, func(x *traveller.Event) {
			x.Good, x.Scrap, x.Goods, x.Pieces = len(whole), len(lost), whole, lost
		})}
		if len(lost) > 0 {
			out = append(out, as(traveller.Remake, func(x *traveller.Event) { x.Pieces = lost; x.At = e.At.Add(time.Microsecond) }))
		}
		return out
	}
	return nil
}
