package offer

import (
	"fmt"
	"math"
	"sync"

	"firstoff/desk/advise"
	"firstoff/geom/hollow"
	"firstoff/shop"
)

// hollowEntry is the part made hollow to one wall, found once.
type hollowEntry struct {
	once sync.Once
	e    *Evaluator
	p    *hollow.Part
	err  error
}

// hollowed is the evaluator of the part made hollow.
func (e *Evaluator) hollowed(wall float64) (*Evaluator, *hollow.Part, error) {
	e.mu.Lock()
	if e.hollows == nil {
		e.hollows = map[float64]*hollowEntry{}
	}
	h := e.hollows[wall]
	if h == nil {
		h = &hollowEntry{}
		e.hollows[wall] = h
	}
	e.mu.Unlock()
	h.once.Do(func() {
		if h.p, h.err = hollow.Out(e.mesh, wall); h.err == nil {
			h.e = For(h.p.Mesh)
		}
	})
	return h.e, h.p, h.err
}

// drains says whether what a process leaves inside can get out through holes: resin and powder can, soft support cannot be counted on,
// roads are made sparse instead.
func drains(m *shop.Machine, p *shop.Process) bool {
	return p.EscapeHoleMM > 0 && (m.VPP != nil || m.PBF != nil && !m.PBF.Metal || m.BJT != nil)
}

// drainHoles in each room: one to let out, one to let air in (common practice).
const drainHoles = 2

// madeHollow answers one material on one machine for a line that asks for hollow parts; done is false where it stays solid. What the client
// must know stands in the options' notes.
func (w *walk) madeHollow(r *advise.Route) (done bool, err error) {
	wall := w.j.Requirement.HollowMM
	solid := ""
	from := len(w.table.Options)
	switch {
	case wall <= 0:
		return false, nil
	case r.Machine.MEX != nil:
		solid = "not made hollow: a sparse inside does the same here, without holes"
	case !drains(r.Machine, r.Process):
		solid = "stays solid: nothing could be got out of a hollow here"
	case w.j.Requirement.Watertight:
		solid = "stays solid: drain holes would let water in"
	case wall < r.Process.MinWallHeldMM:
		w.refuse(r, "", 0, "hollow_wall", fmt.Sprintf("Walls of %g mm are thinner than the %g mm of the process.", wall, r.Process.MinWallHeldMM), "Thicker walls, or a solid part.")
		return true, nil
	}
	note := solid
	if solid == "" {
		he, p, err := w.e.hollowed(wall)
		if err != nil {
			note = fmt.Sprintf("stays solid: nothing worth a drain hole lies deeper than %g mm", wall)
		} else {
			he.prepare(w.s.PoseCandidates)
			e, volume, area := w.e, w.j.Facts.VolumeMM3, w.j.Facts.AreaMM2
			meas := he.meas
			w.e, w.j.Facts.VolumeMM3, w.j.Facts.AreaMM2 = he, math.Abs(meas.VolumeMM3), meas.AreaMM2
			err = w.made(r)
			w.e, w.j.Facts.VolumeMM3, w.j.Facts.AreaMM2 = e, volume, area
			note = fmt.Sprintf("hollow, walls of %g mm: %.0f %% of the solid's volume; needs %d drain holes of %g mm, the client says where", wall, 100*math.Abs(meas.VolumeMM3)/volume, drainHoles*p.Rooms, r.Process.EscapeHoleMM)
			for i := from; i < len(w.table.Options); i++ {
				w.table.Options[i].Notes = append(w.table.Options[i].Notes, note)
			}
			return true, err
		}
	}
	err = w.made(r)
	for i := from; i < len(w.table.Options); i++ {
		w.table.Options[i].Notes = append(w.table.Options[i].Notes, note)
	}
	return true, err
}

// hollowHint is the hint to make the pick hollow, where that takes out a third of it or more by its volume and surface; what it costs is worked out
// when it is asked for.
func (w *walk) hollowHint() {
	if w.j.Requirement.HollowMM > 0 || w.j.Requirement.Watertight {
		return
	}
	for _, p := range w.table.Picks {
		if p.Tag != "pick" {
			continue
		}
		for i := range w.table.Options {
			o := &w.table.Options[i]
			m, pr := w.cat.Machine(o.Machine), w.cat.Process(o.Process)
			if o.ID != p.Option || m == nil || pr == nil || !drains(m, pr) {
				continue
			}
			wall := max(2, 2*pr.MinWallHeldMM)
			v, a := w.j.Facts.VolumeMM3, w.j.Facts.AreaMM2
			kept := a * wall / v // walls that meet are counted twice: never too little
			if v < 8000 || kept > 0.67 {
				return
			}
			w.table.Hints = append(w.table.Hints, Hint{Code: "hollow", From: o.ID, Mass: kept - 1, HollowMM: wall,
				Text: fmt.Sprintf("hollow with walls of %g mm: about %.0f %% lighter; needs drain holes of %g mm, and is less stiff", wall, 100*(1-kept), pr.EscapeHoleMM)})
			return
		}
	}
}
