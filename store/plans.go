package store

import (
	"context"

	"firstoff/bureau/planning"
	"firstoff/fault"
)

var plans = kind[planning.Kept]{
	table:   "plans",
	id:      func(k *planning.Kept) string { return k.ID },
	version: func(k *planning.Kept) *int { return &k.Version },
	columns: func(*planning.Kept) []any { return nil },
}

// AddPlan keeps a new state of the plan.
func (s *Store) AddPlan(ctx context.Context, k *planning.Kept) error { return plans.add(ctx, s, k) }

// SavePlan replaces a state of the plan.
func (s *Store) SavePlan(ctx context.Context, k *planning.Kept) error { return plans.save(ctx, s, k) }

// Plan finds a state of the plan.
func (s *Store) Plan(ctx context.Context, id string) (planning.Kept, error) {
	return plans.get(ctx, s, id)
}

// LatestPlan is the plan in force. Fault: NotFound "not_found" before there is one.
func (s *Store) LatestPlan(ctx context.Context) (planning.Kept, error) {
	all, err := plans.list(ctx, s, "ORDER BY no DESC LIMIT 1")
	if err == nil && len(all) == 0 {
		err = fault.New(fault.NotFound, "not_found", "plan", "There is no plan yet.")
	}
	if err != nil {
		return planning.Kept{}, err
	}
	return all[0], nil
}

// PrunePlans forgets all states of the plan but the newest.
func (s *Store) PrunePlans(ctx context.Context, keep int) error {
	_, err := s.exec(ctx, "DELETE FROM plans WHERE no <= (SELECT MAX(no) FROM plans) - ?", keep)
	return err
}
