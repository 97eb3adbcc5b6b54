package estimate

// Terms are the parts of a line's machine time that calibration finds factors for: what Factors.Roads and Factors.Layers multiply, and the
// rest. They are of the plain physics, without any factor, in s, for all builds of the line; RoadsS + LayersS + OtherS is its time.
type Terms struct {
	RoadsS  float64 `json:"roads_s"`
	LayersS float64 `json:"layers_s,omitempty"`
	OtherS  float64 `json:"other_s,omitempty"`
}
