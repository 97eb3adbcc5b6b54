package estimate

import (
	"math"

	"firstoff/money"
)

// Spread is an uncertain quantity: mean and one standard deviation, in the unit of the field that holds it.
type Spread struct {
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
}

// Sure is a quantity without spread.
func Sure(v float64) Spread { return Spread{Mean: v} }

// Within is v with a standard deviation of pct per cent of it.
func Within(v, pct float64) Spread { return Spread{v, math.Abs(v) * pct / 100} }

// Plus adds a quantity that errs independently of this one.
func (s Spread) Plus(t Spread) Spread { return Spread{s.Mean + t.Mean, math.Hypot(s.SD, t.SD)} }

// Along adds a quantity that errs together with this one (same machine, same material: correlation 1).
func (s Spread) Along(t Spread) Spread { return Spread{s.Mean + t.Mean, s.SD + t.SD} }

// Times scales.
func (s Spread) Times(f float64) Spread { return Spread{s.Mean * f, math.Abs(s.SD * f)} }

// Why is one node of an explanation: a quantity, how it was computed, from what, and where the coefficients came from.
// A money tree's Amount is the exact sum of its children's amounts when it has children.
type Why struct {
	Name    string       `json:"name"`
	Formula string       `json:"formula,omitempty"`
	Value   float64      `json:"value,omitempty"`
	SD      float64      `json:"sd,omitempty"` // one standard deviation, where the quantity is uncertain
	Unit    string       `json:"unit,omitempty"`
	Amount  money.Amount `json:"amount_minor,omitempty"`
	Origin  string       `json:"origin,omitempty"`
	Parts   []Why        `json:"parts,omitempty"`
}

// Step is one operation of a route as it will be worked: on a machine, by a person, in a bath, at a partner.
type Step struct {
	Operation  string  `json:"operation"` // "build" or shop.Operation.ID
	Name       string  `json:"name"`
	Resource   string  `json:"resource,omitempty"` // machine or resource id, partner id
	Skill      string  `json:"skill,omitempty"`
	HandsS     float64 `json:"hands_s"`   // a person's time
	ElapsedS   float64 `json:"elapsed_s"` // in the machine or bath, besides the hands
	SpreadPct  float64 `json:"spread_pct"`
	Batch      bool    `json:"batch,omitempty"`
	Unattended bool    `json:"unattended,omitempty"`
}
