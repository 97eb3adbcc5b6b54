package offer

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"firstoff/desk/estimate"
	"firstoff/geom/r3"
	"firstoff/shop"
)

// Ends of the numbers of options in another pose than the one of least cost.
const (
	lowestSuffix  = "/lowest"
	supportSuffix = "/least-support"
)

// Beside says whether an option exists beside another one only, and may be gone when the desk's pick has become another: somebody who chose it must
// keep it on offer (Settings.Keep).
func Beside(id string) bool {
	return strings.HasSuffix(id, rushSuffix) || strings.HasSuffix(id, lowestSuffix) || strings.HasSuffix(id, supportSuffix)
}

// bases are the pick and whatever a kept option of this suffix stands beside.
func (w *walk) bases(suffix string) []string {
	var out []string
	for _, p := range w.table.Picks {
		if p.Tag == "pick" {
			out = append(out, p.Option)
		}
	}
	for _, id := range w.s.Keep {
		if base, ok := strings.CutSuffix(id, suffix); ok && !slices.Contains(out, base) {
			out = append(out, base)
		}
	}
	return out
}

// otherPoses offers the pick lying as low as it can, and lying where least is supported, when that is another pose and helps: a twentieth off the
// price, a tenth off the machine's hours, a fifth off the support, or a day.
func (w *walk) otherPoses() error {
	if w.j.Requirement.HollowMM > 0 {
		return nil // what is hollow was laid by its own surface
	}
	for _, suffix := range []string{lowestSuffix, supportSuffix} {
		for _, base := range w.bases(suffix) {
			i := slices.IndexFunc(w.table.Options, func(o Option) bool { return o.ID == base })
			if i < 0 || w.routes[base] == nil {
				continue
			}
			if err := w.otherPose(i, suffix, slices.Contains(w.s.Keep, base+suffix)); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *walk) otherPose(i int, suffix string, kept bool) error {
	a, r := w.table.Options[i], w.routes[w.table.Options[i].ID]
	m, p := r.Machine, r.Process
	now := r3.Quat{W: a.Pose[0], X: a.Pose[1], Y: a.Pose[2], Z: a.Pose[3]}
	chosen := w.e.posedBy(m, p, suffix, now)
	if chosen == nil {
		return nil
	}
	st, err := w.stackFor(r, chosen, a.LayerMM)
	if err != nil {
		return err
	}
	if m.MEX != nil && len(st.Layers) == 0 || st.SizeMM.Z > m.Room().Z+0.02 {
		return nil
	}
	pack := w.s.Packer(estimate.Piece{SizeMM: st.SizeMM, VolumeMM3: st.VolumeMM3, Mesh: w.e.mesh, Pose: chosen.q}, m, w.j.Qty)
	if pack.PerBuild < 1 {
		pack = estimate.Packing{PerBuild: 1, Columns: 1, Rows: 1, Levels: 1, StepX: st.SizeMM.X, StepY: st.SizeMM.Y}
	}
	sub := &walk{e: w.e, j: w.j, cat: w.cat, s: w.s}
	sub.option(r, chosen, st, w.cat.Material(a.Support), a.LayerMM, a.InfillPct, pack)
	if len(sub.table.Options) == 0 {
		return nil
	}
	sub.date()
	b := sub.table.Options[0]
	b.ID = a.ID + suffix
	h := hint("pose", &a, &b)
	support := 0.0
	if a.SupportG > 0 {
		support = b.SupportG/a.SupportG - 1
	}
	if !kept && h.Price > -0.05 && h.Time > -0.1 && support > -0.2 && h.Days >= 0 {
		return nil
	}
	how := "lying as low as it can"
	if suffix == supportSuffix {
		how = "lying where least is supported"
	}
	b.Notes = append(b.Notes, fmt.Sprintf("another pose, %s: %.0f mm high", how, st.SizeMM.Z))
	b.Tags = nil
	w.table.Options = append(w.table.Options, b)
	w.asks = append(w.asks, sub.asks[0])
	if sheet, ok := sub.sheets[a.ID]; ok {
		w.sheets[b.ID] = sheet
	}
	if slices.Contains(a.Tags, "pick") {
		h.Option = b.ID
		h.Text = how + ": " + h.effect()
		if support <= -0.05 || support >= 0.05 {
			word := "less"
			if support > 0 {
				word = "more"
			}
			h.Text += fmt.Sprintf(", %.0f %% %s support", math.Abs(support)*100, word)
		}
		w.table.Hints = append(w.table.Hints, h)
	}
	return nil
}

// posedBy is the candidate pose that is lowest, or least supported, and points another way up than now; nil when there is none.
func (e *Evaluator) posedBy(m *shop.Machine, p *shop.Process, suffix string, now r3.Quat) *posed {
	e.mu.Lock()
	defer e.mu.Unlock()
	up := r3.Vec{Z: 1}
	best, at := math.Inf(1), -1
	for i := range e.cands {
		c := &e.cands[i]
		if !c.fits(m.Room(), m.EdgeMM) {
			continue
		}
		v := c.size.Z
		if suffix == supportSuffix {
			if !p.NeedsSupport {
				return nil
			}
			over, columns := e.out.overhang(*c, p.SelfSupportDeg)
			v = columns + over // mm³ of columns first, then the area they touch
		}
		if v < best*(1-1e-9) {
			best, at = v, i
		}
	}
	if at < 0 {
		return nil
	}
	got := &posed{pose: e.cands[at], ok: true}
	// The direction that is up, seen by the part.
	if now.Inverse().Rotate(up).Dot(got.q.Inverse().Rotate(up)) > math.Cos(15*math.Pi/180) {
		return nil
	}
	if a, ok := got.turnToFit(m.Room(), m.EdgeMM); ok && a != 0 {
		got.pose = e.out.as(r3.AxisAngle(r3.Vec{Z: 1}, a).Times(got.q).Unit())
	}
	got.side = estimate.SideMM2(e.mesh, got.q)
	return got
}
