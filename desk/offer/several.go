package offer

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"firstoff/desk/advise"
	"firstoff/desk/estimate"
	"firstoff/desk/price"
	"firstoff/geom/mesh"
	"firstoff/money"
	"firstoff/shop"
)

// Body is one body of a part, for lines that ask for several materials.
type Body struct {
	Name string
	Mesh *mesh.Mesh // in the part's coordinates
}

// Hands for parts printed apart, common practice: to clean the faces, bond and align one body onto the rest.
const (
	assembleMin      = 9.0
	assembleSetUpMin = 10.0
)

// several answers a machine for bodies of different materials; done is false when the line asks for one.
func (w *walk) several(rs []advise.Route) (done bool, err error) {
	req := &w.j.Requirement
	if !advise.SeveralMaterials(req) || rs[0].Machine == nil {
		return false, nil
	}
	m := rs[0].Machine
	switch {
	case rs[0].Process.ManyMaterials:
		return w.inOneBuild(rs)
	case m.MEX != nil:
		return w.apart(rs)
	}
	return false, nil
}

// volumes are the bodies' volumes by name; bodies that are not known share what is left evenly.
func (w *walk) volumes() map[string]float64 {
	out := map[string]float64{}
	for _, b := range w.j.Bodies {
		out[b.Name] += math.Abs(b.Mesh.Measure().VolumeMM3)
	}
	return out
}

// inOneBuild offers a many-material machine with one material made up of what its bodies are made of, weighted by volume.
func (w *walk) inOneBuild(rs []advise.Route) (bool, error) {
	recipes, ref := advise.Assign(w.j.Requirement.Bodies, rs[0].Machine, w.cat)
	if ref != nil {
		return false, nil // the routes say so themselves
	}
	vol := w.volumes()
	total, known := 0.0, true
	for _, r := range recipes {
		total += vol[r.Body]
		known = known && vol[r.Body] > 0
	}
	share := map[string]float64{}
	var ids []string
	var notes []string
	for _, r := range recipes {
		part := 1 / float64(len(recipes))
		if known && total > 0 {
			part = vol[r.Body] / total
		}
		for _, b := range r.Bases {
			if _, ok := share[b.Material.ID]; !ok {
				ids = append(ids, b.Material.ID)
			}
			share[b.Material.ID] += part * b.Share
		}
		if r.Note != "" {
			notes = append(notes, r.Note)
		}
	}
	slices.Sort(ids)
	mix := shop.Material{ID: strings.Join(ids, "+"), Support: "", Origin: "mixed by volume of the bodies"}
	var names []string
	var minor float64
	for _, id := range ids {
		k := w.cat.Material(id)
		names = append(names, k.Name)
		mix.DensityGCM3 += share[id] * k.DensityGCM3
		minor += share[id] * k.DensityGCM3 * float64(k.PricePerKg)
		if mix.Processes == nil {
			mix.Processes = k.Processes
		}
	}
	mix.Name = strings.Join(names, " and ")
	mix.PricePerKg = money.Round(minor / mix.DensityGCM3)
	made := false
	for i := range rs {
		r := &rs[i]
		if r.Refused != nil {
			w.refuse(r, "", 0, r.Refused.Code, r.Refused.Reason, r.Refused.Change)
			continue
		}
		if made {
			continue // one build holds them all: this material is part of the mix
		}
		made = true
		x := *r
		x.Material = &mix
		for k := range rs { // as fit as the least fit of what it is made of
			if rs[k].Refused == nil && rs[k].Fitness < x.Fitness {
				x.Fitness, x.Reasons = rs[k].Fitness, rs[k].Reasons
			}
		}
		from := len(w.table.Options)
		if err := w.made(&x); err != nil {
			return true, err
		}
		for k := from; k < len(w.table.Options); k++ {
			w.table.Options[k].Notes = append(w.table.Options[k].Notes, notes...)
		}
	}
	return true, nil
}

// apart offers an extrusion machine honestly: each body printed of its own material, then assembled. One option a layer height, solid.
func (w *walk) apart(rs []advise.Route) (bool, error) {
	m := rs[0].Machine
	for i := range rs {
		if rs[i].Refused == nil || rs[i].Refused.Code != "several_materials" {
			return false, nil // something else stands in the way
		}
	}
	recipes, ref := advise.AssignApart(w.j.Requirement.Bodies, m, w.cat)
	if ref != nil || len(w.j.Bodies) < 2 {
		return false, nil
	}
	of := map[string]*shop.Material{}
	for _, r := range recipes {
		of[r.Body] = r.Bases[0].Material
	}
	var groups []string
	meshes := map[string][]*mesh.Mesh{}
	for _, b := range w.j.Bodies {
		k := of[b.Name]
		if k == nil { // a body nobody said anything about goes with the first
			k = recipes[0].Bases[0].Material
		}
		if meshes[k.ID] == nil {
			groups = append(groups, k.ID)
		}
		meshes[k.ID] = append(meshes[k.ID], b.Mesh)
	}
	if len(groups) < 2 {
		return false, nil
	}
	p := rs[0].Process
	q := w.j.Qty
	layers := m.LayersMM
	if w.s.LayerMM > 0 {
		layers = only(m.LayersMM, w.s.LayerMM)
	}
	offered := false
	var pieces []piece
	for _, id := range groups {
		for _, body := range meshes[id] {
			pieces = append(pieces, piece{w.cat.Material(id), body})
		}
	}
	n := len(w.j.Bodies)
	for _, t := range layers {
		as := assembly{machine: m, process: p, layerMM: t, pieces: pieces, suffix: "apart",
			handsS: 60 * (assembleSetUpMin + assembleMin*float64(n-1)*float64(q)), formula: fmt.Sprintf("%.4g min + %d × %d joints × %.4g min", assembleSetUpMin, q, n-1, assembleMin),
			note: fmt.Sprintf("one material a build here: %d bodies are printed apart and bonded by hand", n)}
		ok, err := w.assembled(as)
		if err != nil {
			return true, err
		}
		if !ok {
			return false, nil
		}
		offered = true
	}
	if offered { // what is not among the materials of the bodies is refused for that
		for i := range rs {
			if !slices.Contains(groups, rs[i].Material.ID) {
				w.refuse(&rs[i], "", 0, "several_materials", fmt.Sprintf("None of the bodies is made of %s.", rs[i].Material.Name), "It is not needed for this part.")
			}
		}
	}
	return offered, nil
}

// piece is one printed piece of an assembly.
type piece struct {
	material *shop.Material
	mesh     *mesh.Mesh
}

// assembly is a part made of pieces, printed for themselves on one machine and bonded.
type assembly struct {
	machine *shop.Machine
	process *shop.Process
	layerMM float64
	pieces  []piece // of one material after the other
	suffix  string  // of the option's number
	handsS  float64 // to put all of the line together
	formula string
	note    string
	fitness float64 // 0: 0.7
}

// assembled offers an assembly, solid; ok is false when a piece cannot be made.
func (w *walk) assembled(a assembly) (ok bool, err error) {
	m, p, q, t := a.machine, a.process, w.j.Qty, a.layerMM
	var sheet price.Sheet
	var steps []Step
	o := Option{Process: p.Code, Machine: m.ID, LayerMM: t, InfillPct: 100, Fitness: a.fitness}
	if o.Fitness == 0 {
		o.Fitness = 0.7
	}
	var why []Why
	var materials []string
	for i, pc := range a.pieces {
		mat := pc.material
		first := len(materials) == 0 || materials[len(materials)-1] != mat.ID
		if first {
			materials = append(materials, mat.ID)
		}
		e := w.e.body(a.suffix+mat.ID, i, pc.mesh)
		e.prepare(w.s.PoseCandidates)
		chosen := e.choose(m, p, w.cat)
		fit, _ := supportsFor(w.cat, m, p, mat)
		if !chosen.ok || len(fit) == 0 {
			return false, nil
		}
		sub := &walk{e: e, j: w.j, cat: w.cat, s: w.s}
		st, err := sub.stackFor(&advise.Route{Process: p, Machine: m, Material: mat}, chosen, t)
		if err != nil {
			return true, err
		}
		pack := w.s.Packer(estimate.Piece{SizeMM: st.SizeMM, VolumeMM3: st.VolumeMM3, Mesh: pc.mesh, Pose: chosen.q}, m, q)
		if pack.PerBuild < 1 {
			pack = estimate.Packing{PerBuild: 1, Columns: 1, Rows: 1, Levels: 1, StepX: st.SizeMM.X, StepY: st.SizeMM.Y}
		}
		line := estimate.Line{Stack: st, Machine: m, Process: p, Material: mat, Support: fit[0], LayerMM: t, InfillPct: 100, Qty: q, Packing: pack}
		est, good := estimate.Of(line)
		if !good {
			return false, nil
		}
		works := estimate.Operations(w.cat, estimate.Route{Process: p.Code, Support: kindOf(fit[0]), Finish: w.j.Requirement.Finish, Inspect: w.j.Requirement.Inspect}, &est, q)
		if i > 0 { // file work, look-over and packing happen once
			works = slices.DeleteFunc(works, func(k estimate.Work) bool {
				return k.Op.Skill == "estimate" || k.Op.Skill == "pack" || k.Op.Skill == "inspect"
			})
		}
		change := 0.0
		if first && i > 0 {
			change = m.ChangeoverMin * 60
		}
		s := price.Made{Cat: w.cat, Line: line, Estimate: est, Works: works, ChangeoverS: change}.Sheet()
		if sheet.Items == nil {
			sheet = s
		} else {
			for _, it := range s.Items {
				if it.Block != "packing" {
					sheet.Items = append(sheet.Items, it)
				}
			}
		}
		o.BuildS += est.BuildS.Mean
		o.BuildSD = math.Hypot(o.BuildSD, est.BuildS.SD)
		o.Builds += est.Builds
		o.PartG += est.PartG.Mean
		o.SupportG += est.SupportG.Mean
		o.HandsS += change
		steps = append(steps, stepsOf(works, est.BuildSteps(m, m.SpreadPct))...)
		if i == 0 {
			o.Pose = chosen.q.Array()
			if fit[0] != nil {
				o.Support = fit[0].ID
			}
		}
		o.PerBuild = max(o.PerBuild, est.PerBuild)
		why = append(why, Why{Name: "machine time of " + mat.Name, Value: est.BuildS.Mean / 3600, Unit: "h", Parts: nonzero(est.Parts)})
	}
	asm := estimate.Step{Operation: "assemble", Name: "assemble and bond", Skill: "finish", HandsS: a.handsS, SpreadPct: 40, Batch: true}
	sheet.Items = append(sheet.Items, price.Item{Block: "hands", Name: asm.Name, Formula: a.formula, Value: a.handsS / 3600, Unit: "h",
		Origin: "common practice", Minor: a.handsS / 3600 * float64(w.cat.Rates.FinisherPerH), Spent: true, Conv: true})
	pr := price.Of(sheet)
	o.Material = strings.Join(materials, "+")
	o.ID = fmt.Sprintf("%s/%s/%s/%g/%s", m.ID, o.Material, o.Support, t, a.suffix)
	o.UnitPrice, o.Total, o.CostTotal = pr.Unit, pr.Total, pr.Cost
	o.Steps = append(steps, asm)
	for _, s := range o.Steps {
		o.HandsS += s.HandsS
	}
	o.Notes = []string{a.note}
	o.Cautions = cautions(p.Cautions, nil)
	o.Why = append([]Why{pr.Why}, why...)
	w.table.Options = append(w.table.Options, o)
	w.asks = append(w.asks, Ask{Qty: q, Machine: m, Material: w.cat.Material(materials[0]), Loaded: slices.Contains(m.Loaded, materials[0]), ChangeoverS: m.ChangeoverMin * 60, FailPct: m.FailPct})
	return true, nil
}

func kindOf(s *shop.Material) string {
	if s == nil {
		return ""
	}
	return s.Support
}

// body is the evaluator of one body of the part, kept with it.
func (e *Evaluator) body(material string, i int, m *mesh.Mesh) *Evaluator {
	k := fmt.Sprintf("%s/%d/%d", material, i, m.Facets())
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.bodies == nil {
		e.bodies = map[string]*Evaluator{}
	}
	if e.bodies[k] == nil {
		e.bodies[k] = For(m)
	}
	return e.bodies[k]
}
