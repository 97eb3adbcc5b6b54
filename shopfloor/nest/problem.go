package nest

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/shopfloor/nest/flat"
)

// Kind of container.
type Kind string

const (
	InStrip     Kind = "strip"    // width along y, as long as needed along x
	OnPlatforms Kind = "platform" // as many rectangles, width along x and depth along y, as needed
	InChambers  Kind = "chamber"  // boxes, each filled as low as can be; as many as needed when the height is stated
)

// Container is what the items are laid in.
type Container struct {
	Kind     Kind    `json:"kind"`
	WidthMM  float64 `json:"width_mm"`
	DepthMM  float64 `json:"depth_mm,omitempty"`
	HeightMM float64 `json:"height_mm,omitempty"` // of a chamber; 0 is as high as needed
	MarginMM float64 `json:"margin_mm,omitempty"` // kept free along the walls; 0 lets pieces touch them
}

// Turns are the rotations an item may take.
type Turns struct {
	Deg  []float64 // about z; none means as drawn
	Free bool      // the search chooses
}

// UnmarshalJSON reads a list of degrees or the word "free".
func (t *Turns) UnmarshalJSON(b []byte) error {
	var word string
	if json.Unmarshal(b, &word) == nil && !bytes.Equal(b, []byte("null")) {
		if word != "free" {
			return fmt.Errorf("rotations_deg is %q; it is a list of degrees or the word \"free\"", word)
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

// Item is one kind of piece: an outline, or a mesh.
type Item struct {
	ID       string       `json:"id"`
	Quantity int          `json:"quantity"`
	Polygon  [][2]float64 `json:"polygon,omitempty"`
	MeshPath string       `json:"mesh,omitempty"` // where the caller finds Mesh
	Turns    Turns        `json:"rotations_deg"`
	Priority int          `json:"priority,omitempty"` // smaller goes into an earlier container

	Mesh *mesh.Mesh `json:"-"` // mm; must be set before Solve when MeshPath is
}

// UnmarshalJSON takes a missing quantity as one.
func (it *Item) UnmarshalJSON(b []byte) error {
	type plain Item
	p := plain{Quantity: 1}
	if err := json.Unmarshal(b, &p); err != nil {
		return err
	}
	*it = Item(p)
	return nil
}

// Problem is what to lay where.
type Problem struct {
	Container Container `json:"container"`
	SpacingMM float64   `json:"spacing_mm"`
	Items     []Item    `json:"items"`
}

const (
	maxBytes   = 64 << 20
	maxPieces  = 20000
	maxCorners = 200000 // of one outline
)

// Read reads a problem from JSON and checks it; meshes are still to be loaded by the caller.
func Read(b []byte) (Problem, error) {
	var p Problem
	if len(b) > maxBytes {
		return p, fault.New(fault.TooLarge, "nest_bytes", "", "The problem has %d bytes; at most %d are read.", len(b), maxBytes)
	}
	if err := json.Unmarshal(b, &p); err != nil {
		where := ""
		var se *json.SyntaxError
		var te *json.UnmarshalTypeError
		switch {
		case errors.As(err, &se):
			where = fmt.Sprintf("byte %d", se.Offset)
		case errors.As(err, &te):
			where = te.Field
		}
		return Problem{}, fault.Because(err, fault.Invalid, "nest_json", where, "The nesting problem is not the JSON expected (%v).", err)
	}
	if err := p.check(); err != nil {
		return Problem{}, err
	}
	return p, nil
}

func good(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) && math.Abs(v) < 1e9 }

// check says what is wrong with a problem.
func (p *Problem) check() error {
	c := &p.Container
	sized := func(name string, v float64) error {
		if !good(v) || v <= 0 {
			return fault.New(fault.Invalid, "nest_container", "container."+name, "The %s of a %s must be a length above zero, not %g.", name, c.Kind, v)
		}
		return nil
	}
	if c.Kind != InStrip && c.Kind != OnPlatforms && c.Kind != InChambers {
		return fault.New(fault.Invalid, "nest_container", "container.kind", "The container is of kind %q; it must be strip, platform or chamber.", c.Kind)
	}
	if err := sized("width_mm", c.WidthMM); err != nil {
		return err
	}
	if c.Kind != InStrip {
		if err := sized("depth_mm", c.DepthMM); err != nil {
			return err
		}
	}
	if !good(c.HeightMM) || c.HeightMM < 0 {
		return fault.New(fault.Invalid, "nest_container", "container.height_mm", "The height must be zero (as high as needed) or more, not %g.", c.HeightMM)
	}
	if !good(c.MarginMM) || c.MarginMM < 0 || 2*c.MarginMM >= c.WidthMM || c.Kind != InStrip && 2*c.MarginMM >= c.DepthMM {
		return fault.New(fault.Invalid, "nest_margin", "container.margin_mm", "A margin of %g mm leaves no room; it must be zero or more and below half the container.", c.MarginMM)
	}
	if !good(p.SpacingMM) || p.SpacingMM < 0 {
		return fault.New(fault.Invalid, "nest_spacing", "spacing_mm", "The spacing must be zero or more, not %g.", p.SpacingMM)
	}
	seen := map[string]bool{}
	pieces := 0
	for i := range p.Items {
		it := &p.Items[i]
		where := fmt.Sprintf("items[%d]", i)
		if it.ID == "" || seen[it.ID] {
			return fault.New(fault.Invalid, "nest_item", where, "Every item needs an id of its own; %q is missing or used twice.", it.ID)
		}
		seen[it.ID] = true
		if it.Quantity < 0 || it.Quantity > maxPieces {
			return fault.New(fault.Invalid, "nest_quantity", where, "The quantity %d must lie between 0 and %d.", it.Quantity, maxPieces)
		}
		pieces += it.Quantity
		for _, d := range it.Turns.Deg {
			if !good(d) {
				return fault.New(fault.Invalid, "nest_turn", where, "A rotation is not a number of degrees.")
			}
		}
		if len(it.Turns.Deg) > 360 {
			return fault.New(fault.TooLarge, "nest_turn", where, "%d rotations are listed; at most 360 are, or \"free\".", len(it.Turns.Deg))
		}
		switch {
		case (it.Polygon != nil) == (it.MeshPath != "" || it.Mesh != nil):
			return fault.New(fault.Invalid, "nest_item", where, "The item must have either a polygon or a mesh.")
		case it.Polygon != nil && c.Kind == InChambers:
			return fault.New(fault.Invalid, "nest_item", where, "A chamber takes meshes; this item is a polygon.")
		case it.Polygon != nil:
			if err := checkOutline(it.Polygon, where); err != nil {
				return err
			}
		}
	}
	if pieces > maxPieces {
		return fault.New(fault.TooLarge, "nest_pieces", "items", "The items are %d pieces; at most %d are laid at once.", pieces, maxPieces)
	}
	return nil
}

func checkOutline(o [][2]float64, where string) error {
	if len(o) > maxCorners {
		return fault.New(fault.TooLarge, "nest_outline", where, "The outline has %d corners; at most %d are read.", len(o), maxCorners)
	}
	q := make(flat.Poly, len(o))
	for k, v := range o {
		if !good(v[0]) || !good(v[1]) {
			return fault.New(fault.Invalid, "nest_outline", fmt.Sprintf("%s.polygon[%d]", where, k), "The corner is not a point within 1,000 km.")
		}
		q[k] = flat.Pt{X: v[0], Y: v[1]}
	}
	tip, needle := flat.Needle(q)
	q = flat.Clean(q)
	if q != nil && needle {
		return fault.New(fault.Invalid, "nest_outline", where, "The outline doubles back on itself at (%g, %g); leave that corner out.", tip.X, tip.Y)
	}
	if q == nil {
		return fault.New(fault.Invalid, "nest_outline", where, "The outline has no area; give at least three corners that are not on one line.")
	}
	if i, j, bad := flat.Crossing(q); bad {
		return fault.New(fault.Invalid, "nest_outline", where, "The outline crosses itself: the side from (%g, %g) meets the side from (%g, %g); draw it as a simple ring.", q[i].X, q[i].Y, q[j].X, q[j].Y)
	}
	return nil
}

// Options bounds a search. With neither Rounds nor Seconds the first layout is returned.
type Options struct {
	Seconds float64 // of wall clock
	Rounds  int     // passes of each searcher; the result then depends on nothing but problem, Rounds, Seed and Threads
	Seed    int64
	Threads int // searchers side by side; 0 takes 2

	// Finish, when done, turns a strip search from exploring to finishing; nil does so after 80 % of Seconds or Rounds.
	// For callers who end the search by their own clock, through the context.
	Finish context.Context
}

// Placement is where one piece lies.
type Placement struct {
	ID          string      `json:"id"`
	Container   int         `json:"container"`
	XMM         float64     `json:"x_mm"`
	YMM         float64     `json:"y_mm"`
	ZMM         float64     `json:"z_mm"`
	RotationDeg *float64    `json:"rotation_deg,omitempty"` // strip, platform
	Pose        *[4]float64 `json:"pose,omitempty"`         // chamber: unit quaternion w, x, y, z
}

// Result is a layout.
type Result struct {
	Placements []Placement `json:"placements"`
	Containers int         `json:"containers"`
	LengthMM   float64     `json:"length_mm"`   // strip: used length; platform: used depth of the last; chamber: height of the last
	Density    float64     `json:"density"`     // share of the used area or room that the pieces fill
	LowerBound float64     `json:"lower_bound"` // strip: mm; chamber of no stated height: mm; else containers
	Gap        float64     `json:"gap"`         // how far the result lies above LowerBound, as a share of it
	Seconds    float64     `json:"seconds"`     // filled by the caller, who has a clock
	Rounds     int         `json:"rounds"`      // of all searchers
}
