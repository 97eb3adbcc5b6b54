package main

import (
	"context"
	"time"

	"firstoff/appraise"
)

// wall answers for the wall board from the desk's records and catalogue as they are now.
type wall struct{ o *opened }

// wallSeed is the luck of bureau's simulations, so that the board and the options share what was played.
const wallSeed = 1

// Board is the plan in force.
func (w wall) Board(ctx context.Context) (appraise.Board, error) {
	k, err := w.o.plans.InForce(ctx)
	if err != nil {
		return appraise.Board{}, err
	}
	load, err := w.o.Load(ctx)
	if err != nil {
		return appraise.Board{}, err
	}
	return w.o.desk.Board(ctx, w.o.shop.Load(), load, k.Plan, time.Now(), wallSeed)
}

// WhatIf asks about work without taking it on.
func (w wall) WhatIf(ctx context.Context, q appraise.WhatIf) (appraise.Expected, error) {
	load, err := w.o.Load(ctx)
	if err != nil {
		return appraise.Expected{}, err
	}
	return w.o.desk.WhatIf(ctx, w.o.shop.Load(), load, time.Now(), wallSeed, q)
}
