package offer

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"firstoff/desk/advise"
	"firstoff/desk/estimate"
	"firstoff/desk/price"
	"firstoff/geom/cores"
	"firstoff/shop"
)

// walk goes from routes to a table.
type walk struct {
	e     *Evaluator
	j     *Job
	cat   *shop.Catalogue
	s     *Settings
	table Table
	asks  []Ask
	// By option, of what is made here; kept for whole answers only.
	sheets map[string]price.Sheet
	routes map[string]*advise.Route
}

func (w *walk) refuse(r *advise.Route, support string, layer float64, code, reason, change string) {
	f := Refusal{Process: r.Process.Code, Material: r.Material.ID, Support: support, LayerMM: layer, Code: code, Reason: reason, Change: change}
	if r.Machine != nil {
		f.Machine = r.Machine.ID
	} else {
		f.Partner = r.Partner.ID
	}
	w.table.Refused = append(w.table.Refused, f)
}

// group answers the routes of one machine or of one partner's offer.
func (w *walk) group(ctx context.Context, rs []advise.Route) error {
	if done, err := w.several(rs); done || err != nil {
		return err
	}
	// one refusal for the whole machine when the reason does not depend on the material
	if first := rs[0].Refused; first != nil && first.Whole {
		same := true
		for i := range rs {
			same = same && rs[i].Refused != nil && rs[i].Refused.Code == first.Code
		}
		if same {
			w.refuse(&rs[0], "", 0, first.Code, first.Reason, first.Change)
			w.table.Refused[len(w.table.Refused)-1].Material = ""
			return nil
		}
	}
	for i := range rs {
		r := &rs[i]
		if err := ctx.Err(); err != nil {
			return err
		}
		if f := r.Refused; f != nil {
			w.refuse(r, "", 0, f.Code, f.Reason, f.Change)
			continue
		}
		if r.Partner != nil {
			w.bought(r)
			continue
		}
		done, err := w.madeHollow(r)
		if !done && err == nil {
			err = w.made(r)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// supportsFor are the support materials of the machine that go with the build material; one nil when none is needed.
func supportsFor(cat *shop.Catalogue, m *shop.Machine, p *shop.Process, mat *shop.Material) (fit []*shop.Material, unfit []*shop.Material) {
	if !p.NeedsSupport {
		return []*shop.Material{nil}, nil
	}
	for _, id := range m.Supports {
		s := cat.Material(id)
		if s == nil {
			continue
		}
		if len(s.SupportsFor) == 0 || goesWith(s, mat) {
			fit = append(fit, s)
		} else {
			unfit = append(unfit, s)
		}
	}
	if len(m.Supports) == 0 { // metal beds and vats support in the build material
		fit = []*shop.Material{nil}
	}
	return fit, unfit
}

// goesWith says whether a support goes with a material, or with all that a mixed one is made of.
func goesWith(s *shop.Material, mat *shop.Material) bool {
	for _, id := range strings.Split(mat.ID, "+") {
		if !slices.Contains(s.SupportsFor, id) {
			return false
		}
	}
	return true
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-6 }

// made answers one material on one machine: every support, layer height and infill it offers.
func (w *walk) made(r *advise.Route) error {
	m, p := r.Machine, r.Process
	chosen := w.e.choose(m, p, w.cat)
	if !chosen.ok {
		w.refuse(r, "", 0, "envelope", "The part goes into this machine in none of the poses tried.", "Split it, or choose a larger machine.")
		return nil
	}
	fit, unfit := supportsFor(w.cat, m, p, r.Material)
	for _, s := range unfit {
		w.refuse(r, s.ID, 0, "support_material", fmt.Sprintf("%s does not go with %s.", s.Name, r.Material.Name), "Another support or material.")
	}
	if len(fit) == 0 && p.NeedsSupport {
		w.refuse(r, "", 0, "support_material", fmt.Sprintf("No support of %s goes with %s.", m.Name, r.Material.Name), "Another material.")
		return nil
	}
	layers := m.LayersMM
	if m.Cast != nil {
		layers = []float64{0}
	} else if w.s.LayerMM > 0 {
		layers = only(m.LayersMM, w.s.LayerMM)
		if layers == nil {
			w.refuse(r, "", 0, "layer_asked", fmt.Sprintf("%s does not build layers of %g mm.", m.Name, w.s.LayerMM), "Leave the layer height open.")
			return nil
		}
	}
	infills := []float64{100}
	if m.MEX != nil {
		infills = m.MEX.InfillsPct
		if len(infills) == 0 {
			infills = []float64{100}
		}
	}
	if w.s.InfillPct > 0 {
		if infills = only(infills, w.s.InfillPct); infills == nil {
			w.refuse(r, "", 0, "infill_asked", fmt.Sprintf("%s does not offer %g %% fill.", m.Name, w.s.InfillPct), "Leave the infill open.")
			return nil
		}
	}
	for _, t := range layers {
		if m.MEX != nil && w.j.Facts.MinWallMM > 0 {
			if road := estimate.RoadWidth(m.MEX, t); w.j.Facts.MinWallMM < road {
				w.refuse(r, "", t, "wall_road", fmt.Sprintf("Walls of %.2f mm are thinner than one road of %.2f mm at layers of %g mm.", w.j.Facts.MinWallMM, road, t), "A thinner layer, or thicker walls.")
				continue
			}
		}
		st, err := w.stackFor(r, chosen, t)
		if err != nil {
			return err
		}
		if m.MEX != nil && len(st.Layers) == 0 || st.SizeMM.Z < t/2 {
			w.refuse(r, "", t, "too_flat", fmt.Sprintf("The part is %.3f mm high as laid, less than a layer of %g mm.", st.SizeMM.Z, t), "A thinner layer, or a thicker part.")
			continue
		}
		if st.SizeMM.Z > m.Room().Z+0.02 {
			w.refuse(r, "", t, "envelope", fmt.Sprintf("The part stands %.1f mm high; %s builds %.1f mm.", st.SizeMM.Z, m.Name, m.Room().Z), "Split it, or choose a larger machine.")
			continue
		}
		pack := w.s.Packer(estimate.Piece{SizeMM: st.SizeMM, VolumeMM3: st.VolumeMM3, Mesh: w.e.mesh, Pose: chosen.q}, m, w.j.Qty)
		if pack.PerBuild < 1 { // straight rows do not see a part that lies askew or fills the plate to the edge
			pack = estimate.Packing{PerBuild: 1, Columns: 1, Rows: 1, Levels: 1, StepX: st.SizeMM.X, StepY: st.SizeMM.Y}
		}
		for _, sup := range fit {
			for _, infill := range infills {
				w.option(r, chosen, st, sup, t, infill, pack)
			}
		}
	}
	return nil
}

func only(all []float64, v float64) []float64 {
	for _, x := range all {
		if near(x, v) {
			return []float64{x}
		}
	}
	return nil
}

// stackFor gives the layers an option is estimated from: the true ones for extrusion, coarse ones where only box, volume and supports
// count, none at all for powder.
func (w *walk) stackFor(r *advise.Route, chosen *posed, t float64) (*estimate.Stack, error) {
	p, m := r.Process, r.Machine
	if m.MEX != nil {
		return w.e.stack(chosen.q, t, estimate.Cut{SelfSupportDeg: p.SelfSupportDeg, SkinMM: m.MEX.SkinMM, InterfaceLayers: m.MEX.InterfaceLayers, Supported: p.NeedsSupport, Roads: true,
			BandMM: float64(m.MEX.Contours) * estimate.RoadWidth(m.MEX, t)})
	}
	if p.NeedsSupport {
		coarse := math.Max(0.2, chosen.size.Z/160)
		s, err := w.e.stack(chosen.q, coarse, estimate.Cut{SelfSupportDeg: math.Max(p.SelfSupportDeg, 1), Supported: true})
		if err != nil {
			return nil, err
		}
		c := *s
		c.Layers, c.SideMM2 = nil, chosen.side
		return &c, nil
	}
	return &estimate.Stack{SizeMM: chosen.size, VolumeMM3: math.Abs(w.e.meas.VolumeMM3), SurfaceMM2: w.e.meas.AreaMM2, Pose: chosen.q, SideMM2: chosen.side}, nil
}

// option estimates, prices and words one option.
func (w *walk) option(r *advise.Route, chosen *posed, st *estimate.Stack, sup *shop.Material, t, infill float64, pack estimate.Packing) {
	m, p, q := r.Machine, r.Process, w.j.Qty
	line := estimate.Line{Stack: st, Machine: m, Process: p, Material: r.Material, Support: sup, LayerMM: t, InfillPct: infill, Qty: q, Packing: pack}
	if w.s.Factors != nil {
		line.Factor = w.s.Factors(m.ID, r.Material.ID, t)
	}
	est, ok := estimate.Of(line)
	if !ok {
		w.refuse(r, "", t, "no_model", fmt.Sprintf("The catalogue states no parameters to estimate %s with.", m.Name), "Complete the machine in the catalogue.")
		return
	}
	kind := ""
	if sup != nil && (est.SupportG.Mean > 0 || m.MEX != nil && m.MEX.BaseLayers > 0) {
		kind = sup.Support
	} else if sup == nil {
		kind = est.SupportKind
	}
	route := estimate.Route{Process: p.Code, Support: kind, Finish: w.j.Requirement.Finish, Inspect: w.j.Requirement.Inspect, Inserts: w.j.Requirement.Inserts}
	works := estimate.Operations(w.cat, route, &est, q)
	loaded := holds(m, strings.Split(r.Material.ID, "+")) && (sup == nil || slices.Contains(m.Loaded, sup.ID))
	change := 0.0
	if !loaded && len(m.Loaded) > 0 {
		change = m.ChangeoverMin * 60
	}
	sheet := price.Made{Cat: w.cat, Line: line, Estimate: est, Works: works, ChangeoverS: change}.Sheet()
	pr := price.Of(sheet)

	o := Option{Process: p.Code, Machine: m.ID, Material: r.Material.ID, LayerMM: t, InfillPct: infill, Pose: chosen.q.Array(),
		BuildS: est.BuildS.Mean, BuildSD: est.BuildS.SD, Builds: est.Builds, PerBuild: est.PerBuild,
		PartG: est.PartG.Mean, SupportG: est.SupportG.Mean, UnitPrice: pr.Unit, Total: pr.Total, CostTotal: pr.Cost}
	o.Set = line.Factor.ID
	o.Terms = est.Terms
	if sup != nil {
		o.Support = sup.ID
	}
	o.ID = fmt.Sprintf("%s/%s/%s/%g/%g", m.ID, r.Material.ID, o.Support, t, o.InfillPct)
	if w.s.Promise != nil {
		if w.sheets == nil {
			w.sheets, w.routes = map[string]price.Sheet{}, map[string]*advise.Route{}
		}
		w.sheets[o.ID], w.routes[o.ID] = sheet, r
	}
	o.Steps = stepsOf(works, est.BuildSteps(m, m.SpreadPct))
	for _, s := range o.Steps {
		o.HandsS += s.HandsS
	}
	o.HandsS += change
	w.fitness(&o, r, line, &est)
	o.Cautions = cautions(r.Cautions, works)
	o.Why = append([]Why{pr.Why, {Name: "machine time", Value: est.BuildS.Mean / 3600, Unit: "h", Formula: fmt.Sprintf("%d builds, %d to a build, ± %.2f h", est.Builds, est.PerBuild, est.BuildS.SD/3600), Origin: string(m.Origin), Parts: nonzero(est.Parts)},
		{Name: "mass of one part", Value: est.PartG.Mean, Unit: "g", Formula: "road or solid volume × density", Origin: string(r.Material.Origin), Parts: []Why{{Name: "support", Value: est.SupportG.Mean, Unit: "g"}}}}, fitnessWhy(&o, r))
	if !loaded && len(m.Loaded) > 0 {
		o.Notes = append(o.Notes, fmt.Sprintf("%s is not loaded now: a changeover of %.0f min comes first", r.Material.Name, m.ChangeoverMin))
	}
	if est.Share < 1 {
		o.Notes = append(o.Notes, fmt.Sprintf("shares a build with other orders and pays %.1f %% of it", est.Share*100))
	}
	w.table.Options = append(w.table.Options, o)
	w.asks = append(w.asks, Ask{Qty: q, Machine: m, Material: r.Material, Loaded: loaded, ChangeoverS: change, FailPct: m.FailPct, Shared: m.PBF != nil && !m.PBF.Metal})
}

// holds says whether all of these are in the machine now.
func holds(m *shop.Machine, ids []string) bool {
	for _, id := range ids {
		if !slices.Contains(m.Loaded, id) {
			return false
		}
	}
	return true
}

func nonzero(in []Why) []Why {
	var out []Why
	for _, x := range in {
		if x.Value != 0 {
			out = append(out, x)
		}
	}
	return out
}

// stepsOf puts the builds among the operations: what is prepared first (sequence under 20), then builds, then the rest.
func stepsOf(works []estimate.Work, builds []Step) []Step {
	var out []Step
	i := 0
	for ; i < len(works) && works[i].Op.Sequence < 20; i++ {
		out = append(out, works[i].Step())
	}
	out = append(out, builds...)
	for ; i < len(works); i++ {
		out = append(out, works[i].Step())
	}
	return out
}

func cautions(of []string, works []estimate.Work) []string {
	var out []string
	add := func(s string) {
		if s != "" && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	for _, s := range of {
		add(s)
	}
	for _, k := range works {
		for _, s := range k.Op.Cautions {
			add(s)
		}
		if k.Resource != nil {
			for _, s := range k.Resource.Cautions {
				add(s)
			}
		}
	}
	return out
}

// bought answers one material of a partner's offer.
func (w *walk) bought(r *advise.Route) {
	j, o := w.j, r.Offer
	box := j.Facts.OrientedMM[0] * j.Facts.OrientedMM[1] * j.Facts.OrientedMM[2]
	g := j.Facts.VolumeMM3 / 1000 * r.Material.DensityGCM3
	est := estimate.Estimate{SurfaceMM2: j.Facts.AreaMM2, BoxL: box / 1e6, PartG: estimate.Within(g, 3)}
	works := estimate.Operations(w.cat, estimate.Route{Process: r.Process.Code, Finish: j.Requirement.Finish, Inspect: j.Requirement.Inspect, Inserts: j.Requirement.Inserts}, &est, j.Qty)
	b := price.Bought{Cat: w.cat, Partner: r.Partner, Offer: o, Process: r.Process, Qty: j.Qty, VolumeMM3: j.Facts.VolumeMM3, AreaMM2: j.Facts.AreaMM2, BoxMM3: box, PartG: g, Works: works}
	pr := price.Of(b.Sheet())
	days := b.Days()
	opt := Option{ID: fmt.Sprintf("%s/%s/%s", r.Partner.ID, r.Process.Code, r.Material.ID), Process: r.Process.Code, Partner: r.Partner.ID, Material: r.Material.ID, LayerMM: o.LayerMM, InfillPct: 100,
		Pose: [4]float64{1, 0, 0, 0}, PartG: g, UnitPrice: pr.Unit, Total: pr.Total, CostTotal: pr.Cost}
	out := Step{Operation: "partner", Name: "made by " + r.Partner.Name, Resource: r.Partner.ID, ElapsedS: float64(days) * 86400, Unattended: true, Batch: true}
	if days > 0 {
		out.SpreadPct = 100 * o.SpreadDays / float64(days)
	}
	opt.Steps = stepsOf(works, []Step{out})
	for _, s := range opt.Steps {
		opt.HandsS += s.HandsS
	}
	opt.Fitness = clamp01(r.Fitness)
	for _, x := range r.Reasons {
		opt.Notes = append(opt.Notes, x.Text)
	}
	if n := b.Tools(); n > 0 {
		opt.Notes = append(opt.Notes, fmt.Sprintf("%d silicone tools of about %d shots each", n, max(1, o.MouldLife)))
	}
	opt.Cautions = cautions(r.Cautions, works)
	opt.Why = []Why{pr.Why, {Name: "days at the partner", Value: float64(days), Unit: "d", Formula: fmt.Sprintf("%d + %d transit, spread %.1f", days-r.Partner.TransitDays, r.Partner.TransitDays, o.SpreadDays), Origin: string(o.Origin)}, fitnessWhy(&opt, r)}
	w.table.Options = append(w.table.Options, opt)
	w.asks = append(w.asks, Ask{Qty: j.Qty, Material: r.Material, Partner: r.Partner, PartnerDays: days, SpreadDays: o.SpreadDays})
}

// date asks the promise for every option.
func (w *walk) date() {
	if w.s.Promise == nil {
		return
	}
	cores.Each(len(w.table.Options), 8, func(_, from, to int) {
		for i := from; i < to; i++ {
			o := &w.table.Options[i]
			a := w.asks[i]
			a.Option, a.Steps = o, o.Steps
			d := w.s.Promise(a)
			o.P50, o.P90, o.LeadDays, o.Binding, o.Odds = d.P50, d.P90, d.LeadDays, d.Binding, d.Odds
		}
	})
}

// fitness is the route's, moved by what layer and infill do to the wishes.
func (w *walk) fitness(o *Option, r *advise.Route, l estimate.Line, est *estimate.Estimate) {
	f := r.Fitness
	for _, x := range r.Reasons {
		o.Notes = append(o.Notes, x.Text)
	}
	req := &w.j.Requirement
	if m := l.Machine.MEX; m != nil {
		strong := req.MinUTSMPa > 0 || req.MinEMPa > 0 || req.Impact || req.Purpose == "function" || req.Purpose == "end-use" || req.Purpose == "jig"
		if l.InfillPct < 100 {
			if strong {
				f *= 0.7 + 0.3*l.InfillPct/100
				o.Notes = append(o.Notes, fmt.Sprintf("%.0f %% fill: walls carry, the inside does little", l.InfillPct))
			}
			if req.Watertight {
				f *= 0.6
			}
		}
	}
	fine := req.Purpose == "show" || req.Purpose == "casting-master" || req.ToleranceMM > 0
	if n := len(l.Machine.LayersMM); fine && n > 1 {
		lo, hi := slices.Min(l.Machine.LayersMM), slices.Max(l.Machine.LayersMM)
		if hi > lo {
			f *= 1 - 0.15*(l.LayerMM-lo)/(hi-lo)
		}
		if l.LayerMM >= 0.33 {
			o.Notes = append(o.Notes, fmt.Sprintf("layers of %g mm show", l.LayerMM))
		}
	}
	o.Fitness = clamp01(f)
}

func clamp01(f float64) float64 { return math.Max(0, math.Min(1, f)) }

func fitnessWhy(o *Option, r *advise.Route) Why {
	y := Why{Name: "fitness", Value: o.Fitness, Formula: "product of what was weighed, at most 1", Origin: "desk/advise"}
	for _, x := range r.Reasons {
		y.Parts = append(y.Parts, Why{Name: x.Code, Value: x.Factor, Unit: "factor", Formula: x.Text, Origin: x.Source})
	}
	if r.Fitness > 0 && math.Abs(o.Fitness/r.Fitness-1) > 1e-9 {
		y.Parts = append(y.Parts, Why{Name: "layer and infill", Value: o.Fitness / r.Fitness, Unit: "factor", Origin: "common practice"})
	}
	return y
}
