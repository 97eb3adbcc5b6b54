package trial

import (
	"context"
	"math"

	"firstoff/desk/promise"
	"firstoff/shop"
	"firstoff/shop/capacity"
)

// Ours promises as the desk does: the open work played on from where it stands, the new order inserted, the level learned from
// the promises whose day has come; learn false leaves the level as the catalogue has it.
func Ours(replications int, learn bool) Rule {
	return func(ctx context.Context, d *Desk, i int) (int, promise.Odds, error) {
		now := d.Floor.Now()
		var load capacity.Load
		for _, j := range d.Open {
			at, ok := d.Floor.Standing(j)
			if !ok {
				continue
			}
			job := promise.Rest(d.Believed[j], promise.Progress{Op: at.Op, Begun: at.Begun, Resource: at.Resource, Over: at.Over}, now)
			job.Due = d.due[j]
			load.Jobs = append(load.Jobs, job)
		}
		c := *d.scene.Catalogue
		c.Machines = append([]shop.Machine(nil), c.Machines...)
		loaded := d.Floor.Loaded()
		for k := range c.Machines {
			if m := loaded[c.Machines[k].ID]; m != "" {
				c.Machines[k].Loaded = []string{m}
			}
		}
		s := promise.Settings{Replications: replications, Seed: uint64(draws(i).at(12))}
		if learn {
			s.Level = promise.Learn(c.Firm.PromiseLevel, d.Closed)
		}
		p, err := promise.New(ctx, &c, d.cal, load, d.at(now), s)
		if err != nil {
			return 0, nil, err
		}
		a := p.Date(d.Believed[i])
		return a.LeadDays, a.Odds, nil
	}
}

// Fixed promises n days; a broken n gives the larger whole number in that share of orders.
func Fixed(n float64) Rule {
	return func(_ context.Context, d *Desk, i int) (int, promise.Odds, error) {
		return int(n + draws(i).at(11).uniform()), nil, nil
	}
}

// stage is a machine, shared resource or skill that orders queue for.
func stage(op *capacity.Op) string {
	if len(op.Resource) > 0 {
		return op.Resource[0]
	}
	return op.People
}

// taken is how long an operation holds its stage, s.
func taken(op *capacity.Op) float64 {
	s := op.Seconds
	if op.Unattended {
		s += op.PeopleSeconds + op.UnloadSeconds
	}
	return s
}

// stages gives for each stage how many servers it has and how many seconds each is open in the mean of a calendar day.
func (s *Stream) stages() map[string]server {
	out := map[string]server{}
	open := func(c capacity.Calendar) float64 {
		if len(c) == 0 {
			return 86400
		}
		return float64(capacity.NewHours(c).Between(s.now, s.now+28*86400)) / 28
	}
	for _, r := range s.shop.Resources {
		out[r.ID] = server{float64(max(1, r.Units)), open(r.Calendar)}
	}
	for _, p := range s.shop.People {
		for _, k := range p.Skills {
			// Somebody with several skills gives each an equal part of the day.
			v := out[k]
			v.n++
			v.open += (open(p.Calendar)/float64(len(p.Skills)) - v.open) / v.n
			out[k] = v
		}
	}
	return out
}

type server struct{ n, open float64 }

// Queue promises the hours of work that stand before each stage of the route over that stage's capacity, and the order's own
// hours, times factor.
func Queue(s *Stream, factor float64) Rule {
	stages := s.stages()
	return func(_ context.Context, d *Desk, i int) (int, promise.Odds, error) {
		queued := map[string]float64{}
		for _, j := range d.Open {
			if at, ok := d.Floor.Standing(j); ok {
				for k := at.Op; k < len(d.Believed[j].Ops); k++ {
					op := &d.Believed[j].Ops[k]
					queued[stage(op)] += taken(op)
				}
			}
		}
		days := 0.0
		for k := range d.Believed[i].Ops {
			op := &d.Believed[i].Ops[k]
			v := stages[stage(op)]
			days += queued[stage(op)]/(v.n*v.open) + taken(op)/v.open
		}
		return int(math.Ceil(factor * days)), nil, nil
	}
}

// Kingman promises the mean wait of Kingman's formula before each stage of the route (handbook L01, L02; the service time of
// one server over their number where there are several), and the order's own hours, times factor. Loads and spreads
// are those of the whole stream; arrivals are Poisson.
func Kingman(s *Stream, factor float64) Rule {
	stages := s.stages()
	type moments struct{ n, sum, square float64 }
	seen := map[string]moments{}
	for i := range s.Believed {
		for k := range s.Believed[i].Ops {
			op := &s.Believed[i].Ops[k]
			m, x := seen[stage(op)], taken(op)
			seen[stage(op)] = moments{m.n + 1, m.sum + x, m.square + x*x}
		}
	}
	span := float64(s.Believed[len(s.Believed)-1].Release-s.Believed[0].Release) / 86400 // days
	wait := map[string]float64{}
	for id, m := range seen {
		v := stages[id]
		mean := m.sum / m.n
		cs2 := m.square/m.n/(mean*mean) - 1
		rho := math.Min(m.sum/(span*v.n*v.open), 0.97)
		wait[id] = capacity.Kingman(rho, 1, cs2, mean/(v.n*v.open))
	}
	return func(_ context.Context, d *Desk, i int) (int, promise.Odds, error) {
		days := 0.0
		for k := range d.Believed[i].Ops {
			op := &d.Believed[i].Ops[k]
			days += wait[stage(op)] + taken(op)/stages[stage(op)].open
		}
		return int(math.Ceil(factor * days)), nil, nil
	}
}
