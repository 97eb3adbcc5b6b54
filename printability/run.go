package printability

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

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
	Pose        *r3.Quat      // a chosen pose; nil: none is
	Poses       []r3.Quat     // poses the part may be laid in: what a pose brings with it is told where no pose avoids it
	Searching   bool          // many poses are looked over: coarser cells do
	Geometry    *Geometry     // nil: only what the facts tell
}

// rule is one way to look. General rules are asked once, without a process; the others once a process, those of a pose for the chosen pose and
// for all poses together.
type rule struct {
	code    string
	general bool
	look    func(q *Question) []part.Finding
	posed   posing
}

// posing is what becomes of a rule when no pose is chosen yet.
type posing int

const (
	noPose      posing = iota // not a rule of a pose
	unavoidable               // told where every pose brings it
	anyPose                   // told also where only some poses bring it
)

var rules = []rule{
	{"open_surface", true, openSurface, noPose},
	{"mended", true, mended, noPose},
	{"size", true, size, noPose},
	{"bodies", true, bodies, noPose},
	{"touching", true, meet, noPose},
	{"sagitta", true, sagitta, noPose},
	{"knife_edge", true, knifeEdge, noPose},
	{"slender", true, slender, noPose},
	{"wall", false, wall, noPose},
	{"gap", false, gap, noPose},
	{"trapped", false, trapped, noPose},
	{"tolerance", false, tolerance, noPose},
	{"warp", false, warp, noPose},
	{"fit", false, fit, noPose},
	{"hole", false, hole, noPose},
	{"pin", false, pin, noPose},
	{"relief", false, relief, noPose},
	{"stroke", false, stroke, noPose},
	{"escape", false, escape, noPose},
	{"touch", false, touch, noPose},
	{"lump", false, lump, noPose},
	{"overhang", false, overhang, unavoidable},
	{"island", false, island, unavoidable},
	{"cup", false, cup, anyPose},
	{"tip_over", false, tip, unavoidable},
	{"roughness", false, rough, unavoidable},
}

// Run looks with every rule that applies: the general ones if the question has no process, those of the process otherwise.
func Run(q Question) []part.Finding {
	var out []part.Finding
	for i := range rules {
		r := &rules[i]
		if r.general != (q.Process == nil) {
			continue
		}
		found := r.look(&q)
		if r.posed != noPose && len(q.Poses) > 0 && q.Geometry != nil {
			found = append(found, inAllPoses(r, &q)...)
		}
		for _, f := range found {
			if f.Code == "" {
				f.Code = r.code
			}
			if q.Process != nil {
				f.Process = q.Process.Code
			}
			if q.Geometry != nil && len(f.Points) == 0 {
				f.Points = q.Geometry.points(f.Facets)
			}
			out = append(out, f)
		}
	}
	return out
}

// mostPoints is how many facets of a finding are marked in a picture.
const mostPoints = 48

func (g *Geometry) points(facets []uint32) []r3.Vec {
	n := min(mostPoints, len(facets))
	var out []r3.Vec
	for i := range n {
		if f := facets[i*len(facets)/n]; int(f) < g.Mesh.Facets() {
			out = append(out, g.middle(f))
		}
	}
	return out
}

// inAllPoses asks a rule of a pose for every pose the part may be laid in. What none avoids is told with the least of it; a warning that only some
// poses bring becomes a note how many.
func inAllPoses(r *rule, q *Question) []part.Finding {
	var least *part.Finding
	had := 0
	for i := range q.Poses {
		k := *q
		k.Pose, k.Poses, k.Searching = &q.Poses[i], nil, true
		found := r.look(&k)
		if len(found) == 0 {
			if r.posed == unavoidable {
				return nil
			}
			continue
		}
		had++
		if f := found[0]; least == nil || f.Value*sense(r) < least.Value*sense(r) {
			least = &f
		}
	}
	if least == nil {
		return nil
	}
	n := len(q.Poses)
	if had < n {
		least.Severity = Note
		least.Message = fmt.Sprintf("In %d of %d poses tried: %s", had, n, strings.Replace(least.Message, "In this pose a cup", "a cup", 1))
		return one(*least)
	}
	best := fmt.Sprintf("Even in the best of %d poses tried", n)
	least.Message = strings.Replace(strings.Replace(least.Message, "In this pose", best, 1), "As posed", best, 1)
	return one(*least)
}

// sense is 1 where less of a rule's value is better, −1 where more is.
func sense(r *rule) float64 {
	if r.code == "tip_over" {
		return -1
	}
	return 1
}

// Sides are the six ways to lay a part on the faces of its box as sent.
func Sides() []r3.Quat {
	x, y := r3.Vec{X: 1}, r3.Vec{Y: 1}
	return []r3.Quat{r3.Identity, r3.AxisAngle(x, math.Pi), r3.AxisAngle(x, math.Pi/2), r3.AxisAngle(x, -math.Pi/2), r3.AxisAngle(y, math.Pi/2), r3.AxisAngle(y, -math.Pi/2)}
}

// Shop looks at a part for every process of a catalogue: general findings first, then by process in the catalogue's order, stops first
// within each. Rules of a pose are asked for the six sides of its box.
func Shop(f part.Facts, r part.Requirement, g *Geometry, cat *shop.Catalogue) []part.Finding {
	return ShopPosed(f, r, g, cat, nil)
}

// ShopPosed is Shop for a part whose pose is chosen; nil: it is not.
func ShopPosed(f part.Facts, r part.Requirement, g *Geometry, cat *shop.Catalogue, pose *r3.Quat) []part.Finding {
	q := Question{Facts: f, Requirement: r, Geometry: g, Pose: pose}
	if g != nil {
		q.Poses = Sides()
	}
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
