package part

import "firstoff/geom/r3"

// Finding is something about the part that matters for making it (DESIGN §7).
type Finding struct {
	Code     string  `json:"code"`
	Severity string  `json:"severity"`          // note | warning | stop
	Process  string  `json:"process,omitempty"` // empty: holds for all
	Message  string  `json:"message"`
	Value    float64 `json:"value,omitempty"`
	Limit    float64 `json:"limit,omitempty"`
	Unit     string  `json:"unit,omitempty"`
	Source   string  `json:"source,omitempty"`
	At       *r3.Vec `json:"at_mm,omitempty"`
	// Facets are some of the facets of the mended whole that it is about, for the picture; at most 512.
	Facets []uint32 `json:"facets,omitempty"`
	// Points are middles of some of those facets, to be marked in a picture; at most 48.
	Points []r3.Vec `json:"points_mm,omitempty"`
}
