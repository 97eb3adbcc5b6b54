package nest

import (
	"encoding/json"
	"fmt"

	"firstoff/geom/mesh"
)

// Kind of container.
type Kind string

const (
	Strip       Kind = "strip"    // width along y, as long as needed along x
	OnPlatforms Kind = "platform" // as many rectangles as needed
	InChambers  Kind = "chamber"  // as many boxes as needed, each as low as can be
)

// Container is what the items are laid in, mm.
type Container struct {
	Kind   Kind    `json:"kind"`
	Width  float64 `json:"width_mm"`
	Depth  float64 `json:"depth_mm,omitempty"`
	Height float64 `json:"height_mm,omitempty"`
	Margin float64 `json:"margin_mm,omitempty"` // kept free along the border; 0 when left out
}

// Turns lists the rotations an item may take, degrees; Free lets the search choose.
type Turns struct {
	Deg  []float64
	Free bool
}

// UnmarshalJSON reads a list of numbers or the word "free".
func (t *Turns) UnmarshalJSON(b []byte) error {
	var word string
	if json.Unmarshal(b, &word) == nil {
		if word != "free" {
			return fmt.Errorf("rotations are %q, not a list of degrees or \"free\"", word)
		}
		*t = Turns{Free: true}
		return nil
	}
	*t = Turns{}
	return json.Unmarshal(b, &t.Deg)
}

// MarshalJSON writes what UnmarshalJSON reads.
func (t Turns) MarshalJSON() ([]byte, error) {
	if t.Free {
		return []byte(`"free"`), nil
	}
	if t.Deg == nil {
		return []byte("[]"), nil
	}
	return json.Marshal(t.Deg)
}

// Item is one kind of piece.
type Item struct {
	ID       string       `json:"id"`
	Quantity int          `json:"quantity"`
	Polygon  [][2]float64 `json:"polygon,omitempty"`
	MeshPath string       `json:"mesh,omitempty"` // read by the caller into Mesh
	Turns    *Turns       `json:"rotations_deg,omitempty"`
	Priority int          `json:"priority,omitempty"` // smaller goes into earlier containers

	Mesh *mesh.Mesh `json:"-"`
}

// Problem is what to lay where.
type Problem struct {
	Container Container `json:"container"`
	Spacing   float64   `json:"spacing_mm"`
	Items     []Item    `json:"items"`
}
