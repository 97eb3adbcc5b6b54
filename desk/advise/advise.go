package advise

import (
	"fmt"
	"sort"
	"strings"

	"firstoff/part"
	"firstoff/shop"
)

// Case is what is asked.
type Case struct {
	Requirement part.Requirement
	Facts       part.Facts
	Qty         int
	// Fits says whether the part goes into an envelope in any pose, edge margin on each side in x and y; nil compares sorted boxes.
	Fits func(env shop.Envelope, edgeMM float64) bool
}

// Reason is one thing that was weighed: a factor on the fitness below 1, or above for what suits.
type Reason struct {
	Code   string
	Factor float64
	Text   string // in the client's language
	Source string
}

// Route is one answered route.
type Route struct {
	Process  *shop.Process
	Machine  *shop.Machine      // nil for partners
	Partner  *shop.Partner      // nil for machines
	Offer    *shop.PartnerOffer // of the partner
	Material *shop.Material
	Refused  *Refusal // nil: feasible
	Fitness  float64
	Reasons  []Reason
	Cautions []string
}

// Refusal is the one reason that matters.
type Refusal struct {
	Code   string
	Reason string
	Change string
	Source string
	Whole  bool // holds for the machine or partner whatever the material
}

// Envelope is the route's build box.
func (r *Route) Envelope() (shop.Envelope, float64) {
	if r.Machine != nil {
		return r.Machine.Room(), r.Machine.EdgeMM
	}
	return r.Offer.Envelope, 0
}

// Who names the machine or the partner.
func (r *Route) Who() string {
	if r.Machine != nil {
		return r.Machine.ID
	}
	return r.Partner.ID
}

// Answer goes through every route of the shop and its partners, machines in the catalogue's order first.
func Answer(c Case, cat *shop.Catalogue) []Route {
	var out []Route
	for i := range cat.Machines {
		m := &cat.Machines[i]
		for _, id := range m.Materials {
			out = append(out, Route{Process: cat.Process(m.Process), Machine: m, Material: cat.Material(id)})
		}
	}
	for i := range cat.Partners {
		p := &cat.Partners[i]
		for j := range p.Offers {
			o := &p.Offers[j]
			for _, id := range o.Materials {
				out = append(out, Route{Process: cat.Process(o.Process), Partner: p, Offer: o, Material: cat.Material(id)})
			}
		}
	}
	kept := out[:0]
	for _, r := range out {
		if r.Process == nil || r.Material == nil {
			continue // the catalogue's check names what is missing
		}
		x := asking{Case: &c, cat: cat, r: &r}
		x.judge()
		kept = append(kept, r)
	}
	return kept
}

// asking is one route on trial.
type asking struct {
	*Case
	cat *shop.Catalogue
	r   *Route
	req *part.Requirement
}

func (a *asking) judge() {
	a.req = &a.Requirement
	a.r.Fitness = 1
	for _, rule := range rules {
		if ref := rule.judge(a); ref != nil {
			ref.Code = rule.code
			if ref.Source == "" {
				ref.Source = rule.source
			}
			a.r.Refused, a.r.Fitness = ref, 0
			return
		}
	}
	if a.r.Fitness > 1 {
		a.r.Fitness = 1
	}
	a.r.Cautions = append(a.r.Cautions, a.r.Process.Cautions...)
}

// weigh notes something that speaks for or against the route.
func (a *asking) weigh(code string, factor float64, source, format string, args ...any) {
	a.r.Fitness *= factor
	a.r.Reasons = append(a.r.Reasons, Reason{code, factor, fmt.Sprintf(format, args...), source})
}

// caution adds a caution once.
func (a *asking) caution(text string) { a.r.Cautions = append(a.r.Cautions, text) }

func no(format string, args ...any) *Refusal { return &Refusal{Reason: fmt.Sprintf(format, args...)} }

func (r *Refusal) but(format string, args ...any) *Refusal {
	r.Change = fmt.Sprintf(format, args...)
	return r
}

func (r *Refusal) whole() *Refusal { r.Whole = true; return r }

// others names up to three materials of the catalogue for which ok holds, for "what would change it".
func (a *asking) others(ok func(m *shop.Material) bool) string {
	var names []string
	seen := map[string]bool{}
	add := func(id string) {
		m := a.cat.Material(id)
		if m == nil || seen[id] || !ok(m) {
			return
		}
		seen[id] = true
		names = append(names, m.ID)
	}
	for i := range a.cat.Machines {
		for _, id := range a.cat.Machines[i].Materials {
			add(id)
		}
	}
	for i := range a.cat.Partners {
		for _, o := range a.cat.Partners[i].Offers {
			for _, id := range o.Materials {
				add(id)
			}
		}
	}
	if len(names) == 0 {
		return "Nothing in the catalogue does; lower the wish or ask a partner."
	}
	sort.Strings(names)
	more := ""
	if len(names) > 4 {
		names, more = names[:4], " and others"
	}
	return "Would do: " + strings.Join(names, ", ") + more + "."
}

// Best is the feasible routes by fitness, best first; ties keep the catalogue's order.
func Best(routes []Route) []Route {
	var out []Route
	for _, r := range routes {
		if r.Refused == nil {
			out = append(out, r)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Fitness > out[j].Fitness })
	return out
}
