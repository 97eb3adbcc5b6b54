// Package build is one machine run, from heat-up to unload: which pieces of which travellers are in it, what was checked
// before the start, which lots went in, and how it ended. As on the travellers, the events are the truth.
//
//	planned → running ⇄ paused → done
//	    ↘         ↓        ↙
//	  dropped    failed
//
// A failed build says which of its pieces are lost; those are made again, the others go on. Units: s, mm.
// Promises: it cannot start with an open point on the check list (TestCheckList); of a failed build, the pieces lost and those
// that go on are together all of its pieces, none twice (TestFailed); sending events again changes nothing (TestSentTwice).
// Sources: start check list by common practice; cautions as the catalogue's processes state them.
package build

import (
	"slices"
	"time"

	"firstoff/fault"
	"firstoff/shop"
)

// Build is one machine run as planned. ID is a readable number, e.g. "B-1001".
type Build struct {
	ID       string    `json:"id"`
	Machine  string    `json:"machine"`
	Process  string    `json:"process"`
	Material string    `json:"material"`
	LayerMM  float64   `json:"layer_mm,omitempty"`
	PlannedS float64   `json:"planned_s,omitempty"`
	Slots    []Slot    `json:"slots"`
	Checks   []Check   `json:"checks"`
	Made     time.Time `json:"made"`
	Word     Word      `json:"word"` // a copy of Fold for searching
	Version  int       `json:"version"`
}

// Slot is what a build holds of one traveller.
type Slot struct {
	Traveller string   `json:"traveller"`
	Op        int      `json:"op"` // number of the traveller's operation
	Name      string   `json:"name"`
	Pieces    []string `json:"pieces"`
}

// Check is one point to be looked at before the start.
type Check struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Pieces lists all pieces in the build.
func (b Build) Pieces() []string {
	var out []string
	for _, s := range b.Slots {
		out = append(out, s.Pieces...)
	}
	return out
}

// Plan looks at a build before it is kept. Faults: Invalid "build_empty", "build_twice".
func (b Build) Plan() error {
	if b.Machine == "" || len(b.Pieces()) == 0 {
		return fault.New(fault.Invalid, "build_empty", b.ID, "A build needs a machine and at least one piece.")
	}
	p := b.Pieces()
	slices.Sort(p)
	for i := 1; i < len(p); i++ {
		if p[i] == p[i-1] {
			return fault.New(fault.Invalid, "build_twice", p[i], "Piece %s is in this build twice.", p[i])
		}
	}
	return nil
}

// CheckList is what is looked at before a build starts on a machine, common practice; the cautions of its process come last.
func CheckList(cat *shop.Catalogue, machine, material string) []Check {
	out := []Check{
		{"platform", "Platform clean, seated and level; nothing left of the last build."},
		{"file", "The build file on the machine is the one of this build."},
		{"material", "The loaded material is " + name(cat, material) + ", its lot is written down, and enough is left."},
	}
	m := cat.Machine(machine)
	if m == nil {
		return out
	}
	if mat := cat.Material(material); mat != nil && mat.DryingH > 0 {
		out = append(out, Check{"dry", "The material was dried."})
	}
	switch {
	case m.MEX != nil:
		out = append(out, Check{"tips", "Tips clean, of the right size, within their hours."})
	case m.MJT != nil:
		out = append(out, Check{"heads", "Head test printed and without gaps; waste container not full."})
	case m.PBF != nil:
		out = append(out, Check{"recoater", "Recoater clean and undamaged; window clean; powder share as written on the lot."})
	case m.VPP != nil:
		out = append(out, Check{"vat", "Vat without cured bits; level right; resin stirred."})
	}
	if p := cat.Process(m.Process); p != nil {
		for _, c := range p.Cautions {
			out = append(out, Check{"caution", c})
		}
	}
	for i := range out { // a code is the key of its tick
		n := 0
		for j := range i {
			if out[j].Code == out[i].Code || len(out[j].Code) > len(out[i].Code) && out[j].Code[:len(out[i].Code)+1] == out[i].Code+"-" {
				n++
			}
		}
		if n > 0 {
			out[i].Code += "-" + string(rune('1'+n))
		}
	}
	return out
}

func name(cat *shop.Catalogue, material string) string {
	if m := cat.Material(material); m != nil {
		return m.Name
	}
	return material
}
