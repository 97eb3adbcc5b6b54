// Package offer puts one option of a line side by side with the others: hours, grams, money, date, fitness,
// and ranks them by what the client wishes for.
package offer

import (
	"firstoff/desk/estimate"
	"firstoff/desk/promise"
	"firstoff/money"
)

// Spread is an uncertain quantity: mean and one standard deviation, in the unit of the field that holds it.
type Spread = estimate.Spread

// Why is one node of an explanation: a quantity, how it was computed, from what, and where the coefficients came from.
// A money tree's Amount is the exact sum of its children's amounts when it has children.
type Why = estimate.Why

// Step is one operation of a route as it will be worked: on a machine, by a person, in a bath, at a partner.
type Step = estimate.Step

// Option is a route evaluated for one line at its quantity (DESIGN §7). Times in s, masses in g, for one part unless said.
type Option struct {
	ID        string         `json:"id"`
	Process   string         `json:"process"`
	Machine   string         `json:"machine"` // empty for partner work
	Partner   string         `json:"partner,omitempty"`
	Material  string         `json:"material"`
	Support   string         `json:"support,omitempty"`
	LayerMM   float64        `json:"layer_mm"`
	InfillPct float64        `json:"infill_pct"` // 100 = solid
	Pose      [4]float64     `json:"pose"`       // unit quaternion w x y z
	BuildS    float64        `json:"build_s"`    // machine time of all builds of the line
	BuildSD   float64        `json:"build_sd_s"`
	Terms     estimate.Terms `json:"terms,omitzero"`         // of BuildS, without factors: what actuals are held against
	Set       string         `json:"coefficients,omitempty"` // the set of factors it was estimated with
	Builds    int            `json:"builds"`                 // builds the quantity needs when it has the machine to itself
	PerBuild  int            `json:"per_build"`              // parts a full build holds
	PartG     float64        `json:"part_g"`                 // one part
	SupportG  float64        `json:"support_g"`              // one part
	HandsS    float64        `json:"hands_s"`                // people's time for the line
	Steps     []Step         `json:"steps"`
	UnitPrice money.Amount   `json:"unit_price_minor"`
	Total     money.Amount   `json:"total_minor"` // quantity × unit price, before tax and order minimum
	CostTotal money.Amount   `json:"cost_total_minor"`
	P50       string         `json:"p50_date"` // 2006-01-02, ship date
	P90       string         `json:"p90_date"`
	LeadDays  int            `json:"lead_days"`         // business days to P90
	Binding   string         `json:"binding,omitempty"` // what the date waits for
	Odds      promise.Odds   `json:"odds,omitempty"`    // of the date, by business days from receipt
	Fitness   float64        `json:"fitness"`           // 0..1, how well it meets the requirement
	Notes     []string       `json:"notes,omitempty"`   // in the client's language: what this route means for the part
	Cautions  []string       `json:"cautions,omitempty"`
	Pareto    bool           `json:"pareto"`
	Tags      []string       `json:"tags,omitempty"` // soonest, thriftiest, best-suited, pick
	Why       []Why          `json:"why"`
}

// Refusal is a route that cannot be offered, with the reason that matters and what would change it.
type Refusal struct {
	Process  string  `json:"process"`
	Machine  string  `json:"machine,omitempty"`
	Partner  string  `json:"partner,omitempty"`
	Material string  `json:"material,omitempty"`
	Support  string  `json:"support,omitempty"`  // only this support is refused
	LayerMM  float64 `json:"layer_mm,omitempty"` // only this layer height is refused
	Code     string  `json:"code"`
	Reason   string  `json:"reason"`
	Change   string  `json:"change,omitempty"`
}

// Table is everything the desk can say about one line.
type Table struct {
	File     string    `json:"file"`
	Qty      int       `json:"qty"`
	Currency string    `json:"currency,omitempty"`
	Options  []Option  `json:"options"`
	Refused  []Refusal `json:"refused"`
	Picks    []Pick    `json:"picks,omitempty"`
	Hints    []Hint    `json:"hints,omitempty"`
	// Breaks are the pick's prices at other quantities, ascending.
	Breaks []Break `json:"breaks,omitempty"`
}

// Pick is one of the named suggestions with its reason in the client's language.
type Pick struct {
	Tag    string `json:"tag"` // soonest, thriftiest, best-suited, pick
	Option string `json:"option"`
	Reason string `json:"reason"`
}
