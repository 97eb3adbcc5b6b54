// Package unit holds the length units people and files use, and the words for printing them.
// Inside the program every length is in mm.
package unit

import (
	"strings"

	"firstoff/fault"
)

// Length is a unit of length by its short name: mm, cm, m, in, ft, um.
type Length string

const (
	MM   Length = "mm"
	CM   Length = "cm"
	M    Length = "m"
	Inch Length = "in"
	Foot Length = "ft"
	UM   Length = "um"
)

var mm = map[Length]float64{MM: 1, CM: 10, M: 1000, Inch: 25.4, Foot: 304.8, UM: 0.001}

// MM is the unit's length in millimetres, exactly (the inch is 25.4 mm by definition, ISO 80000-3); 0 if unknown.
func (l Length) MM() float64 { return mm[l] }

var words = map[string]Length{
	"mm": MM, "millimeter": MM, "millimetre": MM, "millimeters": MM, "millimetres": MM,
	"cm": CM, "centimeter": CM, "centimetre": CM, "centimeters": CM, "centimetres": CM,
	"m": M, "meter": M, "metre": M, "meters": M, "metres": M,
	"in": Inch, "inch": Inch, "inches": Inch, "\"": Inch,
	"ft": Foot, "foot": Foot, "feet": Foot,
	"um": UM, "µm": UM, "micron": UM, "micrometer": UM, "micrometre": UM, "microns": UM,
}

// Parse reads a unit's name in any usual spelling.
// Fault: Invalid "unit_unknown".
func Parse(s string) (Length, error) {
	if u, ok := words[strings.ToLower(strings.TrimSpace(s))]; ok {
		return u, nil
	}
	return "", fault.New(fault.Invalid, "unit_unknown", "", "The unit %q is not known; use mm, cm, m, in, ft or um.", s)
}
