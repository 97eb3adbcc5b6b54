package estimate

// Terms are the parts of a line's machine time that calibration finds factors for: what Factors.Roads and Factors.Layers multiply, and the
// rest. They are of the plain physics, without any factor, in s, for all builds of the line; RoadsS + LayersS + OtherS is its time.
type Terms struct {
	RoadsS  float64 `json:"roads_s"`
	LayersS float64 `json:"layers_s,omitempty"`
	OtherS  float64 `json:"other_s,omitempty"`
}

// Batch is what one line puts into a build: its terms, the share of its pieces that are in it, and the builds it was estimated to take.
type Batch struct {
	Terms  Terms
	Share  float64 // 0..1
	Builds int
}

// Together are the terms of one build of several lines. What pieces add (roads) is summed over them; what a build takes by its height
// (layers) and at all (the rest) is the most any of them needs. On a bed that is spread and scanned for the whole chamber the roads are of the chamber.
func Together(in []Batch, bed bool) Terms {
	var t Terms
	for _, b := range in {
		per := float64(max(1, b.Builds))
		if bed {
			t.RoadsS = max(t.RoadsS, b.Terms.RoadsS/per)
		} else {
			t.RoadsS += b.Terms.RoadsS * b.Share
		}
		t.LayersS, t.OtherS = max(t.LayersS, b.Terms.LayersS/per), max(t.OtherS, b.Terms.OtherS/per)
	}
	return t
}

// S is the time of the terms.
func (t Terms) S() float64 { return t.RoadsS + t.LayersS + t.OtherS }
