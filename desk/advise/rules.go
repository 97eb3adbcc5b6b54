package advise

import (
	"math"
	"slices"
	"strings"

	"firstoff/part"
	"firstoff/shop"
)

// rule is one consideration. A refusal ends the trial; otherwise it may weigh on the fitness.
type rule struct {
	code   string
	source string
	judge  func(a *asking) *Refusal
}

const practice = "common practice"

// rules in the order in which a refusal matters: what the client fixed, what cannot be made at all, what the material cannot stand, what
// would come out badly.
var rules = []rule{
	{"process_asked", practice, processAsked},
	{"material_asked", practice, materialAsked},
	{"envelope", practice, envelope},
	{"wall", "process_limits.csv: smallest feature and wall", wall},
	{"several_materials", "handbook 2.5: one model material per extrusion build, several per jetting build", severalMaterials},
	{"temperature", "materials.csv: heat deflection temperature", temperature},
	{"flame", "handbook 5.2: only with a lot certificate", flame},
	{"esd", practice, esd},
	{"sterilise", "materials.csv: sterilisation; handbook 5.3", sterilise},
	{"food", "handbook 5.3", food},
	{"skin", "handbook 5.3", skin},
	{"clear", "handbook 5.2: clear is jetting, vat curing or clear casting, then polishing", clear},
	{"hardness", "materials.csv: Shore hardness", hardness},
	{"stiffness", "materials.csv: modulus", stiffness},
	{"strength", "materials.csv: tensile strength", strength},
	{"impact", "materials.csv: notched Izod", impact},
	{"outdoors", "handbook 5.2: outdoors, UV", outdoors},
	{"chemicals", "handbook 5.2: chemical resistance", chemicals},
	{"sliding", "handbook 5.2: low friction", sliding},
	{"tolerance", "process_limits.csv: tolerance; handbook 6.4: ratio of callout to process range", tolerance},
	{"finish", practice, finish},
	{"colour", practice, colour},
	{"purpose", "handbook 5.2", purpose},
	{"watertight", practice, watertight},
	{"trapped", "handbook 2.4: escape of powder, resin, support", trapped},
	{"quantity", "handbook 5.2: many small parts, big and sturdy", quantity},
	{"metal", practice, metalForPlastic},
	{"surface", "process_limits.csv: roughness", surface},
}

func processAsked(a *asking) *Refusal {
	if p := a.req.Process; p != "" && p != a.r.Process.Code {
		return no("The client asked for %s.", p).but("Drop the wish for a process.").whole()
	}
	return nil
}

func materialAsked(a *asking) *Refusal {
	if id := a.req.MaterialID; id != "" && id != a.r.Material.ID {
		return no("The client asked for %s.", id).but("Drop the wish for a material.")
	}
	return nil
}

// SortedFits compares the sorted sides of the smallest box with the sorted sides of an envelope, edges off.
func SortedFits(oriented [3]float64, env shop.Envelope, edge float64) bool {
	b := []float64{oriented[0], oriented[1], oriented[2]}
	e := []float64{env.X - 2*edge, env.Y - 2*edge, env.Z}
	slices.Sort(b)
	slices.Sort(e)
	for i := range b {
		if b[i] > e[i]+1e-9 {
			return false
		}
	}
	return true
}

func envelope(a *asking) *Refusal {
	env, edge := a.r.Envelope()
	if env.X <= 0 {
		return nil
	}
	ok := false
	if a.Fits != nil {
		ok = a.Fits(env, edge)
	} else {
		ok = SortedFits(a.Facts.OrientedMM, env, edge)
	}
	if ok {
		return nil
	}
	o := a.Facts.OrientedMM
	return no("The part (smallest box %.0f × %.0f × %.0f mm) goes into %.0f × %.0f × %.0f mm in no pose.", o[0], o[1], o[2], env.X, env.Y, env.Z).
		but("Split it and bond the pieces, or choose a larger machine.").whole()
}

func wall(a *asking) *Refusal {
	w := a.Facts.MinWallMM
	p := a.r.Process
	if w <= 0 {
		return nil
	}
	if p.MinFeatureMM > 0 && w < p.MinFeatureMM {
		return no("Walls of %.2f mm are thinner than what %s builds at all (%.2f mm).", w, p.Name, p.MinFeatureMM).
			but("Thicken the walls to %.1f mm or more.", p.MinWallFreeMM).whole()
	}
	if w < p.MinWallHeldMM {
		a.weigh("wall", 0.7, string(p.Origin), "walls of %.2f mm are below the %.1f mm that are safe", w, p.MinWallHeldMM)
	} else if w < p.MinWallFreeMM {
		a.weigh("wall", 0.9, string(p.Origin), "free-standing walls of %.2f mm are delicate here (%.1f mm)", w, p.MinWallFreeMM)
	}
	return nil
}

func severalMaterials(a *asking) *Refusal {
	n := kinds(a.req.Bodies)
	if n < 2 {
		return nil
	}
	if !a.r.Process.ManyMaterials {
		return no("The bodies ask for %d different materials; %s builds one at a time.", n, a.r.Process.Name).
			but("Print the bodies apart and assemble them, or have it jetted.").whole()
	}
	if a.r.Machine == nil {
		return no("%s is asked for one material at a time.", a.r.Partner.Name).but("Have it jetted here.").whole()
	}
	if a.r.Machine.MJT != nil && a.r.Machine.MJT.Slots < 2 {
		return no("%s holds %d build material at a time.", a.r.Machine.Name, a.r.Machine.MJT.Slots).
			but("A jetting machine with more material slots.").whole()
	}
	recipes, ref := Assign(a.req.Bodies, a.r.Machine, a.cat)
	if ref != nil {
		return ref
	}
	for _, r := range recipes {
		for _, b := range r.Bases {
			if b.Material.ID == a.r.Material.ID {
				return nil
			}
		}
	}
	return no("None of the bodies is made of %s.", a.r.Material.Name).but("It is not needed for this part.")
}

// HeatLimit is the temperature in °C a material is trusted to: heat deflection at 1.82 MPa under load, at 0.45 MPa otherwise, each at the
// cautious end of the catalogue's range; metals and the like return +Inf, unknown 0.
func HeatLimit(m *shop.Material, loaded bool) float64 {
	if m.EMPa.Lo >= 30000 {
		return math.Inf(1)
	}
	if loaded || m.HDT045C.Lo == 0 {
		if m.HDT182C.Lo > 0 {
			if !loaded && m.GlassC.Lo > m.HDT182C.Lo {
				// between heat deflection and softening the part keeps its shape without load for a while: half way is taken
				return (m.HDT182C.Lo + math.Min(m.GlassC.Lo, m.HDT182C.Lo+40)) / 2
			}
			return m.HDT182C.Lo
		}
		return 0
	}
	return m.HDT045C.Lo
}

func temperature(a *asking) *Refusal {
	t := a.req.TemperatureC
	if t <= 40 {
		return nil
	}
	m := a.r.Material
	lim := HeatLimit(m, a.req.Loaded)
	load := "without load"
	if a.req.Loaded {
		load = "under load"
	}
	do := func(m *shop.Material) bool { return HeatLimit(m, a.req.Loaded) >= t }
	switch {
	case lim == 0 && t <= 60 && m.Flexible && !a.req.Loaded:
		a.weigh("temperature", 0.7, string(m.Origin), "no heat deflection is stated for %s; %.0f °C without load is usual", m.Name, t)
		return nil
	case lim == 0:
		return no("No heat deflection temperature is stated for %s, and %.0f °C are asked.", m.Name, t).but("%s", a.others(do))
	case t > lim:
		return no("%s gives way at about %.0f °C %s; %.0f °C are asked.", m.Name, lim, load, t).but("%s", a.others(do))
	case t > lim-10:
		a.weigh("temperature", 0.8, string(m.Origin), "%.0f °C is within 10 °C of where %s gives way", t, m.Name)
	}
	return nil
}

func flame(a *asking) *Refusal {
	if !a.req.Flame {
		return nil
	}
	if !a.r.Material.Flame {
		return no("There is no flame certificate by lot for %s.", a.r.Material.Name).but("%s", a.others(func(m *shop.Material) bool { return m.Flame }))
	}
	a.weigh("flame", 1, "handbook 5.3", "quote the lot certificate and the thickness it holds for")
	return nil
}

func esd(a *asking) *Refusal {
	if a.req.ESD && !a.r.Material.ESD {
		return no("%s is not static-dissipative.", a.r.Material.Name).but("%s", a.others(func(m *shop.Material) bool { return m.ESD }))
	}
	return nil
}

func sterilise(a *asking) *Refusal {
	s := a.req.Sterilise
	if s == "" {
		return nil
	}
	if !slices.Contains(a.r.Material.Sterilise, s) {
		return no("%s does not stand %s sterilising.", a.r.Material.Name, s).but("%s", a.others(func(m *shop.Material) bool { return slices.Contains(m.Sterilise, s) }))
	}
	if s == "steam" && HeatLimit(a.r.Material, false) < 134 {
		a.weigh("sterilise", 0.6, string(a.r.Material.Origin), "steam at 134 °C: a few cycles only")
	}
	a.caution("Not for implant or patient contact unless contracted under the client's quality system.")
	return nil
}

func food(a *asking) *Refusal {
	if !a.req.Food {
		return nil
	}
	if a.r.Material.Food == "" {
		return no("There is no food-contact route for %s.", a.r.Material.Name).but("%s", a.others(func(m *shop.Material) bool { return m.Food != "" }))
	}
	a.weigh("food", 0.8, "handbook 5.3", "%s", a.r.Material.Food)
	a.caution("Not declared for food contact unless the certified lot, process and post-treatment are stated; porous layers harbour germs; local code decides.")
	return nil
}

func skin(a *asking) *Refusal {
	if !a.req.Skin {
		return nil
	}
	if a.r.Material.Bio == "" {
		return no("Nothing is tested for skin contact with %s.", a.r.Material.Name).but("%s", a.others(func(m *shop.Material) bool { return m.Bio != "" }))
	}
	a.weigh("skin", 0.9, "handbook 5.3", "%s", a.r.Material.Bio)
	a.caution("A resin certificate is not a device certificate: the finished part must be judged.")
	return nil
}

func clear(a *asking) *Refusal {
	if !a.req.Clear {
		return nil
	}
	if !a.r.Material.Clear {
		return no("%s is not clear.", a.r.Material.Name).but("%s", a.others(func(m *shop.Material) bool { return m.Clear }))
	}
	if a.r.Process.Code == "MEX" {
		return no("Extruded roads are not clear whatever the material.").but("Jetting, vat curing or clear casting.").whole()
	}
	return nil
}

func within(v float64, r shop.Range, slack float64) bool {
	return r.Hi > 0 && v >= r.Lo-slack && v <= r.Hi+slack
}

func hardness(a *asking) *Refusal {
	m := a.r.Material
	if s := a.req.ShoreA; s > 0 {
		if !within(s, m.ShoreA, 3) {
			return no("%s is not rubber of Shore A %.0f.", m.Name, s).but("%s", a.others(func(m *shop.Material) bool { return within(s, m.ShoreA, 3) }))
		}
		return nil
	}
	if s := a.req.ShoreD; s > 0 {
		if !within(s, m.ShoreD, 3) {
			return no("Shore D %.0f is not stated for %s.", s, m.Name).but("%s", a.others(func(m *shop.Material) bool { return within(s, m.ShoreD, 3) }))
		}
		return nil
	}
	if m.Flexible && len(a.req.Bodies) == 0 && a.req.MaterialID == "" {
		a.weigh("hardness", 0.3, practice, "%s is rubber, and nothing soft is asked for", m.Name)
	}
	return nil
}

func stiffness(a *asking) *Refusal {
	e, m := a.req.MinEMPa, a.r.Material
	if e <= 0 {
		return nil
	}
	if m.EMPa.Hi < e {
		return no("%s has a modulus of at most %.0f MPa; %.0f are asked.", m.Name, m.EMPa.Hi, e).but("%s", a.others(func(m *shop.Material) bool { return m.EMPa.Hi >= e }))
	}
	if m.EMPa.Lo < e {
		a.weigh("stiffness", 0.8, string(m.Origin), "modulus %.0f to %.0f MPa: ask for the lot's certificate", m.EMPa.Lo, m.EMPa.Hi)
	}
	return nil
}

func strength(a *asking) *Refusal {
	s, m := a.req.MinUTSMPa, a.r.Material
	if s <= 0 {
		return nil
	}
	if m.UTSMPa.Hi < s {
		return no("%s carries at most %.0f MPa; %.0f are asked.", m.Name, m.UTSMPa.Hi, s).but("%s", a.others(func(m *shop.Material) bool { return m.UTSMPa.Hi >= s }))
	}
	if m.UTSMPa.Lo < s {
		a.weigh("strength", 0.8, string(m.Origin), "strength %.0f to %.0f MPa in the layer plane", m.UTSMPa.Lo, m.UTSMPa.Hi)
	}
	if z := m.ZFactor; z > 0 && z < 1 && m.UTSMPa.Lo*z < s {
		a.weigh("strength", 0.9, string(m.Origin), "across the layers it keeps about %.0f %% of that: mind the pose", z*100)
	}
	a.caution("Prototype, not rated: no load-bearing, pressure or lifting use without the client's own test.")
	return nil
}

func impact(a *asking) *Refusal {
	if !a.req.Impact {
		return nil
	}
	m := a.r.Material
	tough := func(m *shop.Material) bool {
		return m.Flexible || m.EMPa.Lo >= 30000 || m.IzodJM.Hi >= 80
	}
	if m.IzodJM.Hi > 0 && m.IzodJM.Hi <= 40 && !m.Flexible {
		return no("%s is brittle (notched Izod %.0f to %.0f J/m).", m.Name, m.IzodJM.Lo, m.IzodJM.Hi).but("%s", a.others(tough))
	}
	if !tough(m) {
		a.weigh("impact", 0.7, string(m.Origin), "%s is only moderately tough", m.Name)
	}
	return nil
}

func outdoors(a *asking) *Refusal {
	if !a.req.Outdoor || a.r.Material.EMPa.Lo >= 30000 {
		return nil
	}
	switch m := a.r.Material; m.UV {
	case "good", "excellent":
	case "moderate":
		a.weigh("outdoors", 0.75, string(m.Origin), "%s outdoors: paint it or choose black", m.Name)
	default:
		return no("%s yellows and embrittles in sunlight.", m.Name).but("%s", a.others(func(m *shop.Material) bool { return m.UV == "good" || m.UV == "moderate" }))
	}
	return nil
}

func chemicals(a *asking) *Refusal {
	if !a.req.Chemicals {
		return nil
	}
	switch m := a.r.Material; m.Chemical {
	case "good", "excellent":
	case "moderate":
		a.weigh("chemicals", 0.75, string(m.Origin), "%s stands some chemicals: name the medium", m.Name)
	default:
		return no("%s is attacked by solvents and oils.", m.Name).but("%s", a.others(func(m *shop.Material) bool { return m.Chemical == "good" || m.Chemical == "moderate" }))
	}
	return nil
}

func sliding(a *asking) *Refusal {
	if !a.req.Sliding {
		return nil
	}
	switch m := a.r.Material; m.Friction {
	case "low":
	case "medium":
		a.weigh("sliding", 0.7, string(m.Origin), "%s slides and wears moderately", m.Name)
	default:
		return no("%s drags and wears when it slides.", m.Name).but("%s", a.others(func(m *shop.Material) bool { return m.Friction == "low" }))
	}
	return nil
}

// Achievable is the ± a process holds over a length: the larger of its fixed part and its share of the length.
func Achievable(p *shop.Process, overMM float64) float64 {
	return math.Max(p.TolFixedMM, p.TolPerLength*overMM)
}

func longest(r *part.Requirement, f *part.Facts) float64 {
	if r.OverMM > 0 {
		return r.OverMM
	}
	s := f.Max.Sub(f.Min)
	return math.Max(s.X, math.Max(s.Y, s.Z))
}

func tolerance(a *asking) *Refusal {
	t := a.req.ToleranceMM
	if t <= 0 {
		return nil
	}
	p := a.r.Process
	l := longest(a.req, &a.Facts)
	can := Achievable(p, l)
	if can <= 0 {
		return nil
	}
	switch ratio := t / can; {
	case ratio < 1-1e-9:
		return no("%s holds ±%.3f mm over %.0f mm; ±%.3f mm are asked.", p.Name, can, l, t).
			but("Machine the tight features afterwards, ask for ±%.2f mm, or a finer process.", math.Ceil(can*100-1e-9)/100).whole()
	case ratio < 1.33:
		a.weigh("tolerance", 0.85, "handbook 6.4", "±%.3f mm is just what %s holds over %.0f mm: first article", t, p.Name, l)
	}
	return nil
}

// FinishFor says whether the shop has an operation that gives a process a finish.
func FinishFor(cat *shop.Catalogue, process, finish string) bool {
	for i := range cat.Operations {
		o := &cat.Operations[i]
		if o.When != "finish:"+finish {
			continue
		}
		if len(o.Processes) == 0 || slices.Contains(o.Processes, process) {
			return true
		}
	}
	return false
}

func finish(a *asking) *Refusal {
	f := a.req.Finish
	if f == "" {
		return nil
	}
	if !FinishFor(a.cat, a.r.Process.Code, f) {
		return no("We have no way to give parts of %s the finish %q.", a.r.Process.Name, f).but("Ask for another finish.").whole()
	}
	m := a.r.Material
	switch {
	case f == "clear-polished" && !m.Clear:
		return no("%s does not polish clear.", m.Name).but("%s", a.others(func(m *shop.Material) bool { return m.Clear }))
	case m.Flexible && (f == "sanded" || f == "primed" || f == "painted"):
		return no("Rubber cannot be sanded or painted to last.").but("Leave %s as built.", m.Name)
	case f == "vapour" && strings.HasPrefix(m.ID, "PEI"):
		return no("%s does not smooth in solvent vapour.", m.Name).but("Sand it instead.")
	}
	return nil
}

func colour(a *asking) *Refusal {
	if len(a.req.Colors) == 0 || a.req.Finish == "painted" {
		return nil
	}
	if len(a.req.Colors) > 1 {
		if !a.r.Process.ManyMaterials {
			return no("%d colours in one part: %s builds one.", len(a.req.Colors), a.r.Process.Name).but("Have it painted, or jetted in several materials.").whole()
		}
		return nil
	}
	c, m := a.req.Colors[0], a.r.Material
	near, d, ok := NearestColor(m, c)
	switch {
	case ok && d <= nearColour:
	case ok && d <= farColour:
		a.weigh("colour", 0.8, "CIEDE2000 (Sharma, Wu & Dalal 2005)", "the nearest of %s is %s, a visible difference of %.0f", m.Name, near, d)
	default:
		return no("%s does not come in %s.", m.Name, c).but("Paint it, or: %s", a.others(func(m *shop.Material) bool { return HasColor(m, c) }))
	}
	return nil
}

func acrylate(m *shop.Material) bool {
	return slices.Contains(m.Processes, "MJT") || slices.Contains(m.Processes, "VPP")
}

func purpose(a *asking) *Refusal {
	m, p := a.r.Material, a.r.Process
	metal := m.EMPa.Lo >= 30000
	jettedRubber := m.Flexible && slices.Contains(m.Processes, "MJT")
	switch a.req.Purpose {
	case "show":
		if p.Code == "MEX" {
			a.weigh("purpose", 0.7, "handbook 5.2", "layers show on extruded parts: sand and paint for show")
		}
	case "function", "end-use", "jig":
		if jettedRubber {
			return no("Jetted rubber looks like rubber but tears in use.").but("%s", a.others(func(m *shop.Material) bool { return m.Flexible && !slices.Contains(m.Processes, "MJT") }))
		}
		if acrylate(m) && !m.Flexible {
			f := 0.6
			if a.req.Purpose == "end-use" {
				f = 0.4
			}
			a.weigh("purpose", f, "materials.csv: creep and ageing", "%s creeps, yellows and ages: fine for a test, not for service", m.Name)
		}
		if p.Code == "CAST" {
			a.weigh("purpose", 0.9, practice, "castings carry loads like moulded urethane")
		}
	case "tooling-thermoforming":
		if m.Flexible {
			return no("A forming tool of rubber gives way.").but("A stiff material.")
		}
		if l := HeatLimit(m, true); l < 75 && !metal {
			return no("Hot sheet softens a forming tool of %s (%.0f °C).", m.Name, l).but("%s", a.others(func(m *shop.Material) bool { return HeatLimit(m, true) >= 75 }))
		}
		if p.Code == "MEX" {
			a.weigh("purpose", 1.1, practice, "sparse extruded tools breathe: vacuum draws through them")
		}
	case "tooling-moulding":
		if l := HeatLimit(m, false); m.Flexible || l < 90 && !metal {
			return no("Moulding melts and presses a tool of %s.", m.Name).but("%s", a.others(func(m *shop.Material) bool { return !m.Flexible && HeatLimit(m, false) >= 90 }))
		}
		if !metal {
			a.weigh("purpose", 0.5, practice, "a polymer tool gives tens of shots at most")
		}
	case "casting-master":
		if p.Code == "MEX" || p.Code == "CAST" {
			return no("A casting master must be smooth; %s is not the way.", p.Name).but("Jetting or vat curing.").whole()
		}
		if m.Flexible {
			return no("A master must be stiff.").but("A rigid resin.")
		}
		if p.RaUM > 6 {
			a.weigh("purpose", 0.4, "process_limits.csv: roughness", "roughness of about %.0f µm: much sanding before the silicone", p.RaUM)
		}
	}
	return nil
}

// metalForPlastic: metal serves nearly everything, so it counts less where nothing asks for it.
func metalForPlastic(a *asking) *Refusal {
	if a.r.Material.EMPa.Lo < 30000 {
		return nil
	}
	q := a.req
	if q.MinEMPa > 8000 || q.MinUTSMPa > 80 || q.TemperatureC >= 150 || q.Sterilise == "steam" || q.Purpose == "tooling-moulding" || q.MaterialID != "" {
		return nil
	}
	a.weigh("metal", 0.5, practice, "metal is more than is asked for")
	return nil
}

func watertight(a *asking) *Refusal {
	if !a.req.Watertight {
		return nil
	}
	switch a.r.Process.Code {
	case "MEX":
		a.weigh("watertight", 0.7, practice, "extruded walls weep: solid fill and sealing")
	case "PBF-LB/P", "PBF-IrL/P":
		a.weigh("watertight", 0.8, practice, "sintered walls are porous: seal them")
	}
	a.caution("Prototype, not rated for pressure.")
	return nil
}

func trapped(a *asking) *Refusal {
	v := a.Facts.TrappedMM3
	if v <= 0 {
		return nil
	}
	share := 0.0
	if a.Facts.VolumeMM3 > 0 {
		share = v / a.Facts.VolumeMM3
	}
	p := a.r.Process
	switch {
	case p.Code == "CAST" || p.Code == "CNC":
		return no("A closed hollow of %.1f cm³ cannot be %s.", v/1000, map[string]string{"CAST": "cast in one piece", "CNC": "reached by a cutter"}[p.Code]).
			but("Open the hollow or split the part.").whole()
	case p.EscapeHoleMM > 0:
		a.weigh("trapped", math.Max(0.5, 0.9-share), string(p.Origin), "%.1f cm³ are closed in: powder or resin stays inside without two holes of %.1f mm", v/1000, p.EscapeHoleMM)
	case p.NeedsSupport:
		a.weigh("trapped", math.Max(0.6, 0.95-share), practice, "%.1f cm³ are closed in: support inside cannot be taken out", v/1000)
	}
	return nil
}

func quantity(a *asking) *Refusal {
	q := max(1, a.Qty)
	litres := a.Facts.VolumeMM3 / 1e6
	s := a.Facts.OrientedMM
	switch a.r.Process.Code {
	case "MEX":
		if q >= 50 && s[0] < 120 {
			a.weigh("quantity", 0.8, "handbook 5.2", "many small parts: slow by extrusion")
		}
	case "PBF-LB/P", "PBF-IrL/P":
		if q >= 20 {
			a.weigh("quantity", 1.1, "handbook 5.2", "many parts share one powder bed")
		}
	case "MJT":
		if litres > 0.6 {
			a.weigh("quantity", 0.75, "handbook 5.2", "%.1f litres of resin: dear and heavy", litres)
		}
	case "CAST":
		switch {
		case q < 8:
			a.weigh("quantity", 0.6, "handbook 3.6", "a silicone tool pays from about ten castings")
		case q <= 200:
			a.weigh("quantity", 1.1, "handbook 3.6", "castings suit ten to a few hundred")
		}
	case "CNC":
		if q >= 1 && s[0] > 0 && a.Facts.VolumeMM3 < 0.15*s[0]*s[1]*s[2] {
			a.weigh("quantity", 0.8, practice, "nine tenths of the stock would be milled away")
		}
	}
	return nil
}

func surface(a *asking) *Refusal {
	ra := a.r.Process.RaUM
	switch {
	case a.req.Purpose == "show" && a.req.Finish == "" && ra > 4:
		a.weigh("surface", 0.85, string(a.r.Process.Origin), "as-built roughness of about %.0f µm", ra)
	case ra > 0 && ra <= 4 && (a.req.Purpose == "show" || a.req.Purpose == "casting-master"):
		a.weigh("surface", 1, string(a.r.Process.Origin), "smooth as built (about %.0f µm)", ra)
	}
	if a.req.Purpose == "" || a.req.Purpose == "function" {
		// anisotropy is worth a note only where nothing else was asked
		if z := a.r.Material.ZFactor; z > 0 && z < 0.7 {
			a.weigh("layers", 0.95, string(a.r.Material.Origin), "weaker across the layers (about %.0f %%)", z*100)
		}
	}
	return nil
}
