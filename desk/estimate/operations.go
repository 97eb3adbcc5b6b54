package estimate

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"firstoff/shop"
)

// Route is which operations a line needs besides its build.
type Route struct {
	Process string // process code
	Support string // kind of support used: breakaway, soluble, gel, anchor, post; empty = none
	Finish  string // "" = as built
	Inspect string // "" = visual
	Inserts int    // threaded inserts a part takes
}

// Work is one operation of a route with its amounts for the whole line.
type Work struct {
	Op          *shop.Operation
	Resource    *shop.Resource
	Batches     int
	HandsS      float64
	ElapsedS    float64 // in the resource, all batches
	ResourceH   float64
	Consumables float64 // minor units
	Formula     string
}

// Applies says whether an operation belongs to a route.
func Applies(o *shop.Operation, r Route) bool {
	if len(o.Processes) > 0 {
		ok := false
		for _, p := range o.Processes {
			ok = ok || p == r.Process
		}
		if !ok {
			return false
		}
	}
	kind, of, _ := strings.Cut(o.When, ":")
	switch kind {
	case "", "always":
		return true
	case "support":
		return of == r.Support && r.Support != ""
	case "finish":
		return of == r.Finish && r.Finish != ""
	case "insert":
		return r.Inserts > 0
	case "inspect":
		level := r.Inspect
		if level == "" {
			level = "visual"
		}
		return of == level
	}
	return false
}

// Operations are the works of a route in sequence: hands = set-up + per part + per cm² of its area; baths and ovens take
// batches by their litres (parts lie at a third of the volume of their boxes' sum at best: boxes count full) and run
// by themselves.
func Operations(cat *shop.Catalogue, r Route, e *Estimate, qty int) []Work {
	var out []Work
	for i := range cat.Operations {
		o := &cat.Operations[i]
		if !Applies(o, r) {
			continue
		}
		w := Work{Op: o, Batches: 1}
		q := float64(qty)
		if o.Resource != "" {
			w.Resource = cat.Resource(o.Resource)
			if w.Resource != nil && w.Resource.Liters > 0 {
				w.Batches = max(1, int(math.Ceil(e.BoxL*q/w.Resource.Liters-1e-9)))
			}
		}
		var cm2 float64
		switch o.Area {
		case "contact":
			cm2 = e.ContactMM2 / 100
		case "surface":
			cm2 = e.SurfaceMM2 / 100
		case "support":
			cm2 = e.SupportMM2 / 100
		}
		each := o.PartMin
		if o.When == "insert" {
			each *= float64(r.Inserts)
		}
		w.HandsS = 60 * (o.SetUpMin*float64(w.Batches) + q*(each+o.PerCM2Min*cm2))
		w.ResourceH = float64(w.Batches) * (o.ElapsedH + o.PerMMElapsedH*e.DepthMM)
		w.ElapsedS = w.ResourceH * 3600
		w.Consumables = o.MaterialFixedMinor*float64(w.Batches) + o.MaterialMinorPerCM2*cm2*q
		w.Formula = fmt.Sprintf("%.4g min set-up × %d + %d × (%.4g min", o.SetUpMin, w.Batches, qty, each)
		if o.PerCM2Min > 0 {
			w.Formula += fmt.Sprintf(" + %.4g min/cm² × %.1f cm²", o.PerCM2Min, cm2)
		}
		w.Formula += ")"
		out = append(out, w)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Op.Sequence < out[j].Op.Sequence })
	return out
}

// Step is the work as a step of the route.
func (w Work) Step() Step {
	res := ""
	if w.Resource != nil {
		res = w.Resource.ID
	}
	return Step{Operation: w.Op.ID, Name: w.Op.Name, Resource: res, Skill: w.Op.Skill, HandsS: w.HandsS, ElapsedS: w.ElapsedS,
		SpreadPct: w.Op.SpreadPct, Batch: true, Unattended: w.ElapsedS > 0}
}

// BuildSteps are the builds of a line on their machine, one step a build (a long row of like builds is one step), each with the
// hands that set it up; unloading is hands after it.
func (e *Estimate) BuildSteps(m *shop.Machine, spreadPct float64) []Step {
	n := e.Builds
	if n == 0 {
		return nil
	}
	groups := min(n, 20)
	out := append([]Step(nil), e.Before...)
	for g := 0; g < groups; g++ {
		k := float64(n) / float64(groups)
		el := e.BuildS.Mean / float64(n) * k
		if groups == n && n > 1 { // full builds first, the last takes the rest
			el = e.LongestS
			if g == n-1 {
				el = e.BuildS.Mean - e.LongestS*float64(n-1)
			}
		}
		out = append(out, Step{Operation: "build", Name: "build on " + m.Name, Resource: m.ID, Skill: "operate",
			HandsS: e.SetUpS / float64(n) * k, ElapsedS: el, SpreadPct: spreadPct, Batch: true, Unattended: true})
	}
	out = append(out, Step{Operation: "unload", Name: "unload", Skill: "operate", HandsS: e.UnloadS, SpreadPct: 20, Batch: true})
	return out
}
