package printability

import (
	"fmt"
	"slices"
	"sort"

	"firstoff/geom/r3"
	"firstoff/part"
	"firstoff/shop"
)

// Severities.
const (
	Note    = "note"
	Warning = "warning"
	Stop    = "stop"
)

// Space is a build envelope that a part may have to fit, by the name of its machine or partner.
type Space struct {
	Name     string
	Process  string
	Envelope shop.Envelope
	EdgeMM   float64
}

// Question is what a part is looked at for.
type Question struct {
	Facts       part.Facts
	Requirement part.Requirement
	Process     *shop.Process // nil: only the rules that hold for all
	LayerMM     float64       // 0: unknown
	RoadMM      float64       // road width of extrusion; 0: unknown
	Heated      bool          // the chamber is heated
	Spaces      []Space       // envelopes to fit; empty: not asked
	Pose        *r3.Quat      // nil: rules of a pose are left out
	Geometry    *Geometry     // nil: only what the facts tell
}

// rule is one way to look. General rules are asked once, without a process; the others once a process.
type rule struct {
	code    string
	general bool
	look    func(q *Question) []part.Finding
}

var rules = []rule{
	{"open_surface", true, openSurface},
	{"mended", true, mended},
	{"size", true, size},
	{"bodies", true, bodies},
	{"touching", true, meet},
	{"sagitta", true, sagitta},
	{"knife_edge", true, knifeEdge},
	{"slender", true, slender},
	{"wall", false, wall},
	{"gap", false, gap},
	{"trapped", false, trapped},
	{"tolerance", false, tolerance},
	{"warp", false, warp},
	{"fit", false, fit},
	{"hole", false, hole},
	{"pin", false, pin},
	{"relief", false, relief},
	{"escape", false, escape},
	{"touch", false, touch},
	{"lump", false, lump},
	{"overhang", false, overhang},
	{"island", false, island},
	{"cup", false, cup},
	{"tip_over", false, tip},
	{"roughness", false, rough},
}

// Run looks with every rule that applies: the general ones if the question has no process, those of the process otherwise.
func Run(q Question) []part.Finding {
	var out []part.Finding
	for i := range rules {
		r := &rules[i]
		if r.general != (q.Process == nil) {
			continue
		}
		for _, f := range r.look(&q) {
			if f.Code == "" {
				f.Code = r.code
			}
			if q.Process != nil {
				f.Process = q.Process.Code
			}
			out = append(out, f)
		}
	}
	return out
}

// Shop looks at a part for every process of a catalogue: general findings first, then by process in the catalogue's order, stops first
// within each.
func Shop(f part.Facts, r part.Requirement, g *Geometry, cat *shop.Catalogue) []part.Finding {
	q := Question{Facts: f, Requirement: r, Geometry: g}
	out := Run(q)
	weight := map[string]int{Stop: 0, Warning: 1, Note: 2}
	for i := range cat.Processes {
		p := &cat.Processes[i]
		k := q
		k.Process, k.Spaces = p, spaces(cat, p.Code)
		if len(k.Spaces) == 0 {
			continue // nobody works it
		}
		for _, m := range cat.Machines {
			if m.Process == p.Code && len(m.LayersMM) > 0 {
				if l := slices.Min(m.LayersMM); k.LayerMM == 0 || l < k.LayerMM {
					k.LayerMM = l // what the finest cannot do, none does
				}
				k.Heated = k.Heated || m.WarmUpH > 0
			}
		}
		found := Run(k)
		sort.SliceStable(found, func(a, b int) bool { return weight[found[a].Severity] < weight[found[b].Severity] })
		out = append(out, found...)
	}
	return out
}

func spaces(cat *shop.Catalogue, process string) []Space {
	var out []Space
	for _, m := range cat.Machines {
		if m.Process == process {
			out = append(out, Space{m.Name, process, m.Room(), m.EdgeMM})
		}
	}
	for _, p := range cat.Partners {
		for _, o := range p.Offers {
			if o.Process == process {
				out = append(out, Space{p.Name, process, o.Envelope, 0})
			}
		}
	}
	return out
}

func finding(severity, source string, value, limit float64, unit, format string, args ...any) part.Finding {
	return part.Finding{Severity: severity, Source: source, Value: value, Limit: limit, Unit: unit, Message: fmt.Sprintf(format, args...)}
}

// many is a number with its word.
func many(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

func one(f part.Finding) []part.Finding { return []part.Finding{f} }

const practice = "common practice"
