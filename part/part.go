// Package part is the client's part: what was sent, what it must do, and the facts computed from it.
package part

import (
	"firstoff/digest"
	"firstoff/geom/r3"
)

// Requirement is what the part must do, in the client's words. The zero value means "nothing special".
type Requirement struct {
	Purpose      string   `json:"purpose,omitempty" yaml:"purpose"` // show | fit | function | jig | tooling-thermoforming | tooling-moulding | casting-master | end-use
	TemperatureC float64  `json:"temperature_c,omitempty" yaml:"temperature_c"`
	Loaded       bool     `json:"loaded,omitempty" yaml:"loaded"` // that temperature under load
	MinEMPa      float64  `json:"min_e_mpa,omitempty" yaml:"min_e_mpa"`
	MinUTSMPa    float64  `json:"min_uts_mpa,omitempty" yaml:"min_uts_mpa"`
	ShoreA       float64  `json:"shore_a,omitempty" yaml:"shore_a"`
	ShoreD       float64  `json:"shore_d,omitempty" yaml:"shore_d"`
	Impact       bool     `json:"impact,omitempty" yaml:"impact"`
	Sliding      bool     `json:"sliding,omitempty" yaml:"sliding"` // friction, scuffing
	Outdoor      bool     `json:"outdoor,omitempty" yaml:"outdoor"`
	Chemicals    bool     `json:"chemicals,omitempty" yaml:"chemicals"`
	Food         bool     `json:"food,omitempty" yaml:"food"`
	Skin         bool     `json:"skin,omitempty" yaml:"skin"`
	Sterilise    string   `json:"sterilise,omitempty" yaml:"sterilise"` // steam | eto | gamma | h2o2
	Flame        bool     `json:"flame,omitempty" yaml:"flame"`
	ESD          bool     `json:"esd,omitempty" yaml:"esd"`
	Clear        bool     `json:"clear,omitempty" yaml:"clear"`
	Watertight   bool     `json:"watertight,omitempty" yaml:"watertight"`
	Colors       []string `json:"colors,omitempty" yaml:"colors"`
	ToleranceMM  float64  `json:"tolerance_mm,omitempty" yaml:"tolerance_mm"` // ± on the tightest size
	OverMM       float64  `json:"over_mm,omitempty" yaml:"over_mm"`           // the length it holds over; 0 = the longest extent
	Finish       string   `json:"finish,omitempty" yaml:"finish"`             // "" as built | sanded | primed | painted | vapour | dyed | clear-polished
	Inspect      string   `json:"inspect,omitempty" yaml:"inspect"`           // "" visual | dimensions | first-article
	Inserts      int      `json:"inserts,omitempty" yaml:"inserts"`           // threaded inserts to set in each part
	HollowMM     float64  `json:"hollow_mm,omitempty" yaml:"hollow_mm"`       // made hollow to walls of this, with drain holes, where the process allows; 0 = solid
	MaterialID   string   `json:"material,omitempty" yaml:"material"`         // asked for by name
	Process      string   `json:"process,omitempty" yaml:"process"`
	NeedBy       string   `json:"need_by,omitempty" yaml:"need_by"` // 2006-01-02
	BudgetMinor  int64    `json:"budget_minor,omitempty" yaml:"budget_minor"`
	Notes        string   `json:"notes,omitempty" yaml:"notes"`
	// Bodies assigns materials or hardness to single bodies by name (several materials in one part).
	Bodies []BodyWish `json:"bodies,omitempty" yaml:"bodies"`
}

// BodyWish is what one body of the part should be made of.
type BodyWish struct {
	Body     string  `json:"body" yaml:"body"`
	ShoreA   float64 `json:"shore_a,omitempty" yaml:"shore_a"`
	Rigid    bool    `json:"rigid,omitempty" yaml:"rigid"`
	Color    string  `json:"color,omitempty" yaml:"color"`
	Material string  `json:"material,omitempty" yaml:"material"`
}

// Place is somewhere on the mended whole: a point and some of its facets (at most 512).
type Place struct {
	At     r3.Vec   `json:"at_mm"`
	Facets []uint32 `json:"facets,omitempty"`
}

// Facts are what was computed from one file's geometry, once per content. mm throughout.
type Facts struct {
	Digest       digest.Digest `json:"sha256"`
	Kernel       int           `json:"kernel"` // version of the computation
	Name         string        `json:"name"`
	Bodies       int           `json:"bodies"`
	Triangles    int           `json:"triangles"`
	Closed       bool          `json:"closed"`
	VolumeMM3    float64       `json:"volume_mm3"`
	AreaMM2      float64       `json:"area_mm2"`
	Min          r3.Vec        `json:"bbox_min_mm"`
	Max          r3.Vec        `json:"bbox_max_mm"`
	OrientedMM   [3]float64    `json:"oriented_box_mm"` // smallest box, sorted long to short
	Mended       []string      `json:"mended,omitempty"`
	MinWallMM    float64       `json:"min_wall_mm"` // 5th percentile by area
	MedianWallMM float64       `json:"median_wall_mm"`
	MinGapMM     float64       `json:"min_gap_mm"`
	Thin         *Place        `json:"thin,omitempty"`   // where walls are as thin as MinWallMM or thinner
	Narrow       *Place        `json:"narrow,omitempty"` // where gaps are as narrow as MinGapMM or narrower
	TrappedMM3   float64       `json:"trapped_mm3"`
	Holes        []Hole        `json:"holes,omitempty"` // known from exact faces (CAD files only)
}

// Hole is a cylindrical hole, in mm.
type Hole struct {
	DiameterMM float64 `json:"diameter_mm"`
	DepthMM    float64 `json:"depth_mm"`
	Through    bool    `json:"through,omitempty"`
}

// KernelVersion is written into Facts; raise it when the computation changes so that cached facts are made anew.
const KernelVersion = 3
