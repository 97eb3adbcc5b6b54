package inspect

import (
	"fmt"
	"math"
	"strings"

	"firstoff/fault"
)

// Kind is what sort of requirement a characteristic is.
type Kind string

const (
	Linear           Kind = "linear"
	Diameter         Kind = "diameter"
	Radius           Kind = "radius" // external radii and chamfer heights
	Angle            Kind = "angle"
	Straightness     Kind = "straightness"
	Flatness         Kind = "flatness"
	Perpendicularity Kind = "perpendicularity"
	Symmetry         Kind = "symmetry"
	RunOut           Kind = "run-out"
	Position         Kind = "position"
	Profile          Kind = "profile" // of a surface, equal on both sides
	Roughness        Kind = "roughness"
	Mass             Kind = "mass"
	Hardness         Kind = "hardness"
	Visual           Kind = "visual" // judged by eye: 1 good, 0 not
	Other            Kind = "other"
)

// Kinds are all kinds.
func Kinds() []Kind {
	return []Kind{Linear, Diameter, Radius, Angle, Straightness, Flatness, Perpendicularity, Symmetry, RunOut, Position, Profile, Roughness, Mass, Hardness, Visual, Other}
}

// Zone says whether the kind is a width that begins at zero and has only an upper limit.
func (k Kind) Zone() bool {
	switch k {
	case Straightness, Flatness, Perpendicularity, Symmetry, RunOut, Position, Profile, Roughness:
		return true
	}
	return false
}

// Designator says how much hangs on a characteristic.
type Designator string

const (
	Critical Designator = "critical" // someone may be hurt: none accepted
	Key      Designator = "key"
	Major    Designator = "major"
	Minor    Designator = "minor"
)

// AQL is the acceptance quality limit usual for a designator (common practice: major 1.0 to 2.5, minor 4.0). False for
// critical ones: every part is inspected and none accepted.
func (d Designator) AQL() (float64, bool) {
	switch d {
	case Critical:
		return 0, false
	case Key:
		return 1.0, true
	case Minor:
		return 4.0, true
	}
	return 2.5, true
}

// Limits are what a value may be. A limit that is not there is marked so.
type Limits struct {
	Lower   float64 `json:"lower"`
	Upper   float64 `json:"upper"`
	NoLower bool    `json:"noLower,omitempty"`
	NoUpper bool    `json:"noUpper,omitempty"`
}

// Within are limits on both sides.
func Within(lower, upper float64) Limits { return Limits{Lower: lower, Upper: upper} }

// UpTo is an upper limit only.
func UpTo(upper float64) Limits { return Limits{Upper: upper, NoLower: true} }

// From is a lower limit only.
func From(lower float64) Limits { return Limits{Lower: lower, NoUpper: true} }

// Width is the tolerance; infinite with one limit.
func (l Limits) Width() float64 {
	if l.NoLower || l.NoUpper {
		return math.Inf(1)
	}
	return l.Upper - l.Lower
}

// String is the limits for a report.
func (l Limits) String() string {
	switch {
	case l.NoLower && l.NoUpper:
		return "no limits"
	case l.NoLower:
		return fmt.Sprintf("at most %g", l.Upper)
	case l.NoUpper:
		return fmt.Sprintf("at least %g", l.Lower)
	}
	return fmt.Sprintf("%g to %g", l.Lower, l.Upper)
}

// Characteristic is one thing to be measured, with its balloon on the drawing.
type Characteristic struct {
	Balloon    int        `json:"balloon"`
	Name       string     `json:"name"`
	Kind       Kind       `json:"kind"`
	Designator Designator `json:"designator"`
	Nominal    float64    `json:"nominal"`
	Limits     Limits     `json:"limits"`
	Unit       string     `json:"unit"`             // mm, deg, um, g, …
	Places     int        `json:"places,omitempty"` // how many like places; 0 means 1
	Zone       string     `json:"zone,omitempty"`   // sheet and field, or a region of the part
	Source     string     `json:"source,omitempty"` // where the limits come from: drawing, ISO 2768-m, …
	Note       string     `json:"note,omitempty"`
}

// Check says what is wrong with a characteristic, or nil.
func (c Characteristic) Check() error {
	where := fmt.Sprintf("balloon %d", c.Balloon)
	bad := func(code, format string, args ...any) error {
		return fault.New(fault.Invalid, code, where, format, args...)
	}
	known := false
	for _, k := range Kinds() {
		known = known || k == c.Kind
	}
	switch {
	case c.Balloon < 1:
		return bad("balloon_missing", "a characteristic needs a balloon number of 1 or more")
	case strings.TrimSpace(c.Name) == "":
		return bad("name_missing", "say in a word or two what is measured")
	case !known:
		return bad("kind_unknown", "there is no kind of characteristic %q", string(c.Kind))
	case c.Designator != Critical && c.Designator != Key && c.Designator != Major && c.Designator != Minor:
		return bad("designator_unknown", "a characteristic is critical, key, major or minor, not %q", string(c.Designator))
	case !finite(c.Nominal) || !c.Limits.NoLower && !finite(c.Limits.Lower) || !c.Limits.NoUpper && !finite(c.Limits.Upper):
		return bad("limits_not_numbers", "nominal and limits must be numbers")
	case c.Limits.NoLower && c.Limits.NoUpper:
		return bad("limits_missing", "give at least one limit, or take a general tolerance")
	case !c.Limits.NoLower && !c.Limits.NoUpper && c.Limits.Lower > c.Limits.Upper:
		return bad("limits_crossed", "the lower limit %g is above the upper %g", c.Limits.Lower, c.Limits.Upper)
	case c.Places < 0:
		return bad("places_negative", "the number of places cannot be negative")
	}
	return nil
}

// CheckAll holds every characteristic, and that no balloon stands twice.
func CheckAll(cs []Characteristic) error {
	seen := map[int]bool{}
	for _, c := range cs {
		if err := c.Check(); err != nil {
			return err
		}
		if seen[c.Balloon] {
			return fault.New(fault.Invalid, "balloon_twice", fmt.Sprintf("balloon %d", c.Balloon), "two characteristics have this balloon; number them anew")
		}
		seen[c.Balloon] = true
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
