package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"firstoff/appraise"
	"firstoff/bureau/planning"
	"firstoff/desk/offer"
	"firstoff/shopfloor/schedule"
)

// Planning is what the plan's operations need.
type Planning interface {
	InForce(ctx context.Context) (planning.Kept, error)
	Try(ctx context.Context, c planning.Change) (planning.Proposal, error)
	Decide(ctx context.Context, who string, c planning.Change) (planning.Proposal, error)
	TakeBack(ctx context.Context, who, on string) (planning.Kept, error)
}

// Hasten is what the questions for earlier days need.
type Hasten interface {
	SoonerOrder(ctx context.Context, orderID, lineID string) (appraise.Sooner, error)
	SoonerLine(ctx context.Context, lineID, option string) (appraise.Sooner, offer.Option, error)
}

// planChanged is what a change came to, or would come to.
type planChanged struct {
	Plan    string            `json:"plan,omitempty" doc:"State of the plan that was kept; empty when it was only tried."`
	What    string            `json:"what"`
	Changes *schedule.Changes `json:"changes" doc:"What moved, and which promises are at risk now."`
}

func (s *server) plan(a huma.API) {
	serve(s, a, "GET", "/plan", "plan", "The plan in force: decisions, builds formed, who and what does which operation when", func(ctx context.Context, _ *struct{}) (planning.Kept, error) {
		return s.Plans.InForce(ctx)
	})
	type change struct {
		Body planning.Change
	}
	serve(s, a, "POST", "/plan/try", "tryPlan", "What a change of the plan would come to; nothing is kept", func(ctx context.Context, in *change) (planChanged, error) {
		p, err := s.Plans.Try(ctx, in.Body)
		return planChanged{What: p.What, Changes: p.Changes}, err
	})
	serve(s, a, "POST", "/plan", "changePlan", "Change the plan: move or release an operation, an absence, lines into one build or apart, a decision dropped", func(ctx context.Context, in *change) (planChanged, error) {
		p, err := s.Plans.Decide(ctx, who, in.Body)
		return planChanged{Plan: p.Kept.ID, What: p.What, Changes: p.Changes}, err
	})
	if s.Hasten != nil {
		type line struct {
			ByID
			Line string `path:"line"`
		}
		serve(s, a, "GET", "/orders/{id}/lines/{line}/sooner", "soonerOrder", "What would bring a line of an order forward", func(ctx context.Context, in *line) (appraise.Sooner, error) {
			return s.Hasten.SoonerOrder(ctx, in.ID, in.Line)
		})
		type asked struct {
			ByID
			Option string `query:"option" doc:"Empty: the one chosen, else the desk's pick."`
		}
		serve(s, a, "GET", "/lines/{id}/sooner", "soonerLine", "What would bring a line forward that is not ordered yet", func(ctx context.Context, in *asked) (appraise.Sooner, error) {
			x, _, err := s.Hasten.SoonerLine(ctx, in.ID, in.Option)
			return x, err
		})
	}
	type on struct {
		Body struct {
			On string `json:"on,omitempty" doc:"The state of the plan you saw; empty: whatever is in force."`
		}
	}
	serve(s, a, "POST", "/plan/back", "takePlanBack", "Take the last decision back", func(ctx context.Context, in *on) (planning.Kept, error) {
		return s.Plans.TakeBack(ctx, who, in.Body.On)
	})
}
