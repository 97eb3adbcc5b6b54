package estimate

// Terms are the parts of a line's machine time that calibration finds factors for: what Factors.Roads and Factors.Layers multiply, and the
// rest. They are of the plain physics, without any factor, in s, for all builds of the line; RoadsS + LayersS + OtherS is its time.
type Terms struct {
	RoadsS  float64 `json:"roads_s"`
	LayersS float64 `json:"layers_s,omitempty"`
	OtherS  float64 `json:"other_s,omitempty"`
}

// TermsOf finds the terms of a line by asking for each what doubling it adds, so that it holds for every family whatever its formula.
// Three estimates from kept layers. ok as Of.
func TermsOf(l Line) (Terms, bool) {
	with := func(f Factors) float64 {
		l.Factor = f
		e, ok := Of(l)
		if !ok {
			return -1
		}
		return e.BuildS.Mean
	}
	plain := with(Factors{})
	if plain < 0 {
		return Terms{}, false
	}
	t := Terms{RoadsS: with(Factors{Roads: 2}) - plain, LayersS: with(Factors{Layers: 2}) - plain}
	t.OtherS = max(0, plain-t.RoadsS-t.LayersS)
	return t, true
}
