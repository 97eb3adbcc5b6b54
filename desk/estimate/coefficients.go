package estimate

import "math"

// Coefficients are what actuals said about machines and materials, kept apart from the physics: a set has a name and holds factors by machine,
// material and layer height. An estimate made with a set names it; old sets stay as they are. Where a set comes from is package calibrate's job.
type Coefficients struct {
	ID    string  // of the set; goes into every Factors that has no ID of its own
	Known []Keyed // in any order
}

// Keyed are factors and what they hold for. An empty material or a layer of 0 means any.
type Keyed struct {
	Machine  string
	Material string
	LayerMM  float64
	Factors  Factors
}

// Of are the factors for a machine, material and layer height: of the entries that hold for all three the most particular one, first in order
// among equals; the zero Factors, which change nothing, where there is none. A nil set knows nothing.
func (c *Coefficients) Of(machine, material string, layerMM float64) Factors {
	if c == nil {
		return Factors{}
	}
	best, at := -1, -1
	for i := range c.Known {
		k := &c.Known[i]
		if k.Machine != machine || k.Material != "" && k.Material != material || k.LayerMM > 0 && math.Abs(k.LayerMM-layerMM) > 5e-4 {
			continue
		}
		score := 0
		if k.Material != "" {
			score += 2
		}
		if k.LayerMM > 0 {
			score++
		}
		if score > best {
			best, at = score, i
		}
	}
	if at < 0 {
		return Factors{}
	}
	f := c.Known[at].Factors
	if f.ID == "" {
		f.ID = c.ID
	}
	return f
}
