package inspect

import (
	"math"
	"time"

	"firstoff/fault"
)

// Budget is what the uncertainty of one measurement is made of; all standard uncertainties in the value's unit except
// Resolution, the instrument's smallest step.
type Budget struct {
	Calibration float64 `json:"calibration"` // from its certificate: U/k
	Repeat      float64 `json:"repeat"`
	Temperature float64 `json:"temperature"` // see Thermal
	Resolution  float64 `json:"resolution"`  // a step d counts d/√12
}

// Combined is u_c, the root of the sum of squares.
func (b Budget) Combined() float64 {
	return math.Sqrt(b.Calibration*b.Calibration + b.Repeat*b.Repeat + b.Temperature*b.Temperature + b.Resolution*b.Resolution/12)
}

// Thermal is how much a length grows: L·α·ΔT, α in 1/K. Nylon has about 1e-4: 200 mm grow 0.10 mm in 5 K, more than
// most tolerances; state 20 °C or the room's value (ISO 1).
func Thermal(length, alpha, dT float64) float64 { return length * alpha * dT }

// Instrument is something that measures.
type Instrument struct {
	ID         string    `json:"id"`
	Name       string    `json:"name"`
	From       float64   `json:"from"` // range, in Unit
	To         float64   `json:"to"`
	Unit       string    `json:"unit"`
	U          float64   `json:"u"`          // expanded uncertainty (k = 2) at size 0
	UPer       float64   `json:"uPer"`       // and per unit of size: 1/300000 for L/300 in µm
	Resolution float64   `json:"resolution"` // smallest step
	Due        time.Time `json:"due"`        // next calibration; zero: never calibrated
	Withdrawn  bool      `json:"withdrawn,omitempty"`
}

// Usual are instruments as a workshop commonly has them (common practice; a real one goes by its certificate).
func Usual() []Instrument {
	return []Instrument{
		{ID: "calliper-150", Name: "calliper", To: 150, Unit: "mm", U: 0.03, Resolution: 0.01},
		{ID: "height-300", Name: "height gauge", To: 300, Unit: "mm", U: 0.03, Resolution: 0.01},
		{ID: "micrometer-25", Name: "micrometer", To: 25, Unit: "mm", U: 0.006, Resolution: 0.001},
		{ID: "cmm-500", Name: "touch CMM", To: 500, Unit: "mm", U: 0.005, UPer: 0.001 / 300, Resolution: 0.0001},
		{ID: "scanner", Name: "structured light scanner", To: 500, Unit: "mm", U: 0.04, Resolution: 0.001},
		{ID: "balance", Name: "balance", To: 3000, Unit: "g", U: 0.05, Resolution: 0.01},
		{ID: "durometer", Name: "Shore durometer", To: 100, Unit: "Shore", U: 2, Resolution: 0.5},
	}
}

// Ready says whether the instrument may be used for a value at a time, and why not. Fault kind Conflict.
func (i Instrument) Ready(value float64, at time.Time) error {
	switch {
	case i.Withdrawn:
		return fault.New(fault.Conflict, "instrument_withdrawn", i.ID, "this instrument is withdrawn; take another")
	case i.Due.IsZero():
		return fault.New(fault.Conflict, "instrument_not_calibrated", i.ID, "this instrument was never calibrated; have it calibrated or take another")
	case !at.Before(i.Due):
		return fault.New(fault.Conflict, "instrument_overdue", i.ID, "its calibration was due on %s; have it calibrated or take another", i.Due.Format("2006-01-02"))
	case value < i.From || value > i.To:
		return fault.New(fault.Conflict, "instrument_range", i.ID, "%g is outside its range of %g to %g %s; take another", value, i.From, i.To, i.Unit)
	}
	return nil
}

// Standard is the standard uncertainty u at a value: its certificate, its resolution, and what else the caller knows.
func (i Instrument) Standard(value float64, rest Budget) float64 {
	rest.Calibration = math.Hypot(rest.Calibration, (i.U+i.UPer*math.Abs(value))/2)
	rest.Resolution = math.Max(rest.Resolution, i.Resolution)
	return rest.Combined()
}

// Suits says whether the expanded uncertainty at a value is at most a tenth of the tolerance (common practice); the
// ratio is U/T.
func (i Instrument) Suits(value float64, l Limits) (ratio float64, ok bool) {
	ratio = 2 * i.Standard(value, Budget{}) / l.Width()
	return ratio, ratio <= 0.1
}
