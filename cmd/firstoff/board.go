package main

import (
	"context"
	"encoding/json"
	"time"

	"firstoff/appraise"
	"firstoff/bureau/planning"
	"firstoff/digest"
)

// wall answers for the wall board from the desk's records, plan and catalogue as they are now.
type wall struct{ o *opened }

// wallSeed is the luck of bureau's simulations, so that the board and the options share what was played.
const wallSeed = 1

// Board is the plan in force.
func (w wall) Board(ctx context.Context) (appraise.Board, planning.Kept, error) {
	k, err := w.o.plans.InForce(ctx)
	if err != nil {
		return appraise.Board{}, k, err
	}
	load, err := w.o.Load(ctx)
	if err != nil {
		return appraise.Board{}, k, err
	}
	b, err := w.o.desk.Board(ctx, w.o.shop.Load(), load, k.Plan, time.Now(), wallSeed)
	return b, k, err
}

// Try is the board as a change would make it.
func (w wall) Try(ctx context.Context, c planning.Change) (appraise.Board, planning.Proposal, error) {
	p, err := w.o.plans.Try(ctx, c)
	if err != nil {
		return appraise.Board{}, p, err
	}
	load, err := w.o.Load(ctx)
	if err != nil {
		return appraise.Board{}, p, err
	}
	load.Decided = w.o.plans.DecidedBy(p.Kept)
	text, err := json.Marshal(load.Decided)
	if err != nil {
		return appraise.Board{}, p, err
	}
	load.Revision = digest.Of(append(text, load.Revision...))
	b, err := w.o.desk.Board(ctx, w.o.shop.Load(), load, p.Kept.Plan, time.Now(), wallSeed)
	return b, p, err
}

// Decide makes a change of the plan.
func (w wall) Decide(ctx context.Context, who string, c planning.Change) (planning.Proposal, error) {
	return w.o.plans.Decide(ctx, who, c)
}

// TakeBack undoes the last one.
func (w wall) TakeBack(ctx context.Context, who, on string) (planning.Kept, error) {
	return w.o.plans.TakeBack(ctx, who, on)
}

// WhatIf asks about work without taking it on.
func (w wall) WhatIf(ctx context.Context, q appraise.WhatIf) (appraise.Expected, error) {
	load, err := w.o.Load(ctx)
	if err != nil {
		return appraise.Expected{}, err
	}
	return w.o.desk.WhatIf(ctx, w.o.shop.Load(), load, time.Now(), wallSeed, q)
}
