package offer

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"sync"

	"firstoff/desk/advise"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/unite"
	"firstoff/printability"
	"firstoff/shop"
)

// splitEntry is the part cut for one machine, found once.
type splitEntry struct {
	once   sync.Once
	split  printability.Split
	pieces []*mesh.Mesh
	ok     bool
}

// Bounds of what is offered in pieces: more are no part any more.
const (
	mostPieces         = 12
	mostSplitMaterials = 3
)

// bonds says whether pieces of a process can be glued; metal and cast parts cannot, nor what is milled.
func bonds(m *shop.Machine) bool {
	return m.MEX != nil || m.MJT != nil || m.VPP != nil || m.PBF != nil && !m.PBF.Metal
}

// splits offers the part in pieces for every process of the shop none of whose machines takes it whole: the least planar cuts, each piece printed
// for itself, then bonded.
func (w *walk) splits(ctx context.Context) error {
	tried := map[string]bool{}
	for _, f := range slices.Clone(w.table.Refused) {
		if f.Code != "envelope" || f.Machine == "" || tried[f.Process] || advise.SeveralMaterials(&w.j.Requirement) {
			continue
		}
		tried[f.Process] = true
		if slices.ContainsFunc(w.table.Options, func(o Option) bool { return o.Process == f.Process && o.Machine != "" }) {
			continue
		}
		p := w.cat.Process(f.Process)
		var spaces []printability.Space
		for i := range w.cat.Machines {
			if m := &w.cat.Machines[i]; m.Process == f.Process && bonds(m) {
				spaces = append(spaces, printability.Space{Name: m.ID, Process: m.Process, Envelope: m.Envelope, EdgeMM: m.EdgeMM})
			}
		}
		if p == nil || len(spaces) == 0 {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		s := w.e.splitFor(f.Process, spaces)
		if !s.ok {
			continue
		}
		m := w.cat.Machine(s.split.Space.Name)
		if err := w.splitOn(m, p, s); err != nil {
			return err
		}
	}
	return nil
}

// splitOn offers the pieces on their machine in the materials that suit best.
func (w *walk) splitOn(m *shop.Machine, p *shop.Process, s *splitEntry) error {
	one := *w.cat
	one.Machines, one.Partners = []shop.Machine{*m}, nil
	routes := advise.Answer(advise.Case{Requirement: w.j.Requirement, Facts: w.j.Facts, Qty: w.j.Qty, Fits: func(shop.Envelope, float64) bool { return true }}, &one)
	routes = slices.DeleteFunc(routes, func(r advise.Route) bool { return r.Refused != nil || r.Material == nil })
	sort.SliceStable(routes, func(i, j int) bool { return routes[i].Fitness > routes[j].Fitness })
	layers := m.LayersMM
	if w.s.LayerMM > 0 {
		layers = only(m.LayersMM, w.s.LayerMM)
	}
	joints := 0.0
	for _, c := range s.split.Cuts {
		joints += c.AreaMM2
	}
	for _, r := range routes[:min(len(routes), mostSplitMaterials)] {
		var pieces []piece
		for _, x := range s.pieces {
			pieces = append(pieces, piece{r.Material, x})
		}
		for _, t := range layers {
			q := float64(w.j.Qty)
			_, err := w.assembled(assembly{machine: m, process: p, layerMM: t, pieces: pieces, suffix: "split", handsS: s.split.HandsS * q, fitness: 0.85 * clamp01(r.Fitness),
				formula: fmt.Sprintf("%d × %.3g h for %.0f cm² of joints", w.j.Qty, s.split.HandsS/3600, joints/100),
				note:    fmt.Sprintf("does not go into a machine whole: printed in %d pieces, %s, and bonded; %.0f cm² of joints, which show", len(s.pieces), cutsWord(len(s.split.Cuts)), joints/100)})
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func cutsWord(n int) string {
	if n == 1 {
		return "one planar cut"
	}
	return fmt.Sprintf("%d planar cuts", n)
}

// splitFor cuts the part for the best of the spaces of a process.
func (e *Evaluator) splitFor(process string, spaces []printability.Space) *splitEntry {
	e.mu.Lock()
	if e.splitBy == nil {
		e.splitBy = map[string]*splitEntry{}
	}
	s := e.splitBy[process]
	if s == nil {
		s = &splitEntry{}
		e.splitBy[process] = s
	}
	e.mu.Unlock()
	s.once.Do(func() {
		sp, ok := printability.Look(e.mesh).Splits(spaces)
		if !ok || sp.Pieces > mostPieces {
			return
		}
		pieces, err := cut(e.mesh, sp)
		if err != nil || len(pieces) < 2 || len(pieces) > mostPieces {
			return
		}
		s.split, s.pieces, s.ok = sp, pieces, true
	})
	return s
}

// cut takes the part apart by the planes of a split: what it has in common with each box between them.
func cut(m *mesh.Mesh, sp printability.Split) ([]*mesh.Mesh, error) {
	axes := [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}
	inFrame := m.Transformed(sp.Turn, 1, r3.Vec{})
	box := inFrame.Box()
	pad := box.Size().Norm()*0.05 + 1
	var at [3][]float64
	for i := range at {
		lo, hi := box.Min.Axis(i)-pad, box.Max.Axis(i)+pad
		at[i] = []float64{lo, hi}
		for _, c := range sp.Cuts {
			if n := sp.Turn.Rotate(c.Normal); math.Abs(n.Dot(axes[i])) > 0.9 {
				at[i] = append(at[i], c.AtMM*math.Copysign(1, n.Dot(axes[i])))
			}
		}
		slices.Sort(at[i])
	}
	back := sp.Turn.Inverse()
	var out []*mesh.Mesh
	for i := range len(at[0]) - 1 {
		for j := range len(at[1]) - 1 {
			for k := range len(at[2]) - 1 {
				b := boxMesh(r3.Vec{X: at[0][i], Y: at[1][j], Z: at[2][k]}, r3.Vec{X: at[0][i+1], Y: at[1][j+1], Z: at[2][k+1]})
				u, err := unite.Common(inFrame, b)
				if err != nil {
					return nil, err
				}
				if u.Mesh.Facets() == 0 || math.Abs(u.Mesh.Measure().VolumeMM3) < 1 {
					continue
				}
				out = append(out, u.Mesh.Transformed(back, 1, r3.Vec{}))
			}
		}
	}
	return out, nil
}

// boxMesh is a closed block facing outwards.
func boxMesh(lo, hi r3.Vec) *mesh.Mesh {
	m := &mesh.Mesh{Tri: []uint32{0, 2, 3, 0, 3, 1, 4, 5, 7, 4, 7, 6, 0, 1, 5, 0, 5, 4, 2, 6, 7, 2, 7, 3, 0, 4, 6, 0, 6, 2, 1, 3, 7, 1, 7, 5}}
	for i := range 8 {
		x, y, z := lo.X, lo.Y, lo.Z
		if i&1 != 0 {
			x = hi.X
		}
		if i&2 != 0 {
			y = hi.Y
		}
		if i&4 != 0 {
			z = hi.Z
		}
		m.Pos = append(m.Pos, float32(x), float32(y), float32(z))
	}
	return m
}
