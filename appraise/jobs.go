package appraise

import (
	"time"

	"firstoff/desk/offer"
	"firstoff/desk/promise"
	"firstoff/shop"
	"firstoff/shop/capacity"
	"firstoff/shopfloor/order"
)

// jobOf turns the steps of a route into work for the simulation.
//
// A build holds its machine from set-up until somebody has unloaded it. A machine that holds several materials
// at once costs a changeover only when the wanted one is not among them; others pay by the material that ran before.
func jobOf(id string, steps []offer.Step, machine *shop.Machine, material string, cat *shop.Catalogue, spreadDays float64) capacity.Job {
	j := capacity.Job{ID: id, Weight: 1, CV: promise.OrderCV, FailProb: promise.Rejected}
	for _, s := range steps {
		op := capacity.Op{ID: s.Operation, CV: s.SpreadPct / 100, People: s.Skill}
		switch {
		case s.Operation == "unload" && len(j.Ops) > 0 && j.Ops[len(j.Ops)-1].Unattended:
			j.Ops[len(j.Ops)-1].UnloadSeconds += s.HandsS
			continue
		case machine != nil && s.Resource == machine.ID:
			op.Resource = []string{machine.ID}
			op.Seconds, op.PeopleSeconds, op.Unattended = s.ElapsedS, s.HandsS, true
			op.FailProb = machine.FailPct / 100
			if j.RedoFrom == 0 {
				j.RedoFrom = len(j.Ops) // a rejected order is built again, not prepared again
			}
			if machine.MJT != nil && machine.MJT.Slots > 1 {
				if !loaded(machine, material) {
					op.PeopleSeconds += machine.ChangeoverMin * 60
				}
			} else {
				op.Family = material
			}
		case cat.Partner(s.Resource) != nil:
			op.Resource, op.People = []string{s.Resource}, ""
			op.Seconds = s.ElapsedS
			if s.ElapsedS > 0 && spreadDays > 0 {
				op.CV = spreadDays * 86400 / s.ElapsedS
			}
		case s.Resource != "" && s.ElapsedS > 0:
			op.Resource = []string{s.Resource}
			op.Seconds, op.PeopleSeconds, op.Unattended = s.ElapsedS, s.HandsS, true
		case s.Resource != "":
			op.Resource = []string{s.Resource}
			op.Seconds = s.HandsS
		default:
			op.Seconds = s.HandsS
		}
		if op.Seconds <= 0 && op.PeopleSeconds <= 0 {
			continue
		}
		j.Ops = append(j.Ops, op)
	}
	return j
}

func loaded(m *shop.Machine, material string) bool {
	for _, l := range m.Loaded {
		if l == material {
			return true
		}
	}
	return false
}

// orderJobs turns an accepted order into work, one job a line, to be done by its promised day.
func orderJobs(o order.Order, cat *shop.Catalogue, loc *time.Location) []capacity.Job {
	var out []capacity.Job
	for _, l := range o.Lines {
		spread := 0.0
		if p := cat.Partner(l.Option.Partner); p != nil {
			for _, of := range p.Offers {
				if of.Process == l.Option.Process {
					spread = of.SpreadDays
				}
			}
		}
		j := jobOf(o.ID+"/"+l.LineID, l.Option.Steps, cat.Machine(l.Option.Machine), l.Option.Material, cat, spread)
		if len(j.Ops) == 0 {
			continue
		}
		j.Release = o.AcceptedAt.Unix()
		if d, err := time.ParseInLocation(time.DateOnly, l.Promised, loc); err == nil {
			j.Due = d.Add(16 * time.Hour).Unix()
		}
		out = append(out, j)
	}
	return out
}
