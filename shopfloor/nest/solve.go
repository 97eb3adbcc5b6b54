package nest

import (
	"context"
	"math"
	"sort"
	"time"

	"firstoff/fault"
	"firstoff/shopfloor/nest/flat"
)

// limits turns options into contexts: the first ends the search, the second tells it to turn to finishing.
func (o Options) limits(ctx context.Context) (context.Context, flat.Limits, context.CancelFunc) {
	n := o.Threads
	if n <= 0 {
		n = 2
	}
	lim := flat.Limits{Rounds: o.Rounds, Searchers: n, Seed: o.Seed}
	switch {
	case o.Finish != nil:
		lim.Finish = o.Finish
		end, cancel := context.WithCancel(ctx)
		return end, lim, cancel
	case o.Seconds > 0:
		end, cancel := context.WithTimeout(ctx, seconds(o.Seconds))
		finish, cancel2 := context.WithTimeout(ctx, seconds(o.Seconds*0.8))
		lim.Finish = finish
		return end, lim, func() { cancel2(); cancel() }
	case o.Rounds > 0:
		end, cancel := context.WithCancel(ctx)
		return end, lim, cancel
	}
	end, cancel := context.WithCancel(ctx)
	cancel()
	return end, lim, cancel
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// Solve lays the items of p. It always gives a complete layout free of overlaps, or a fault that says why there is none; a
// cancelled context gives the best found so far.
func Solve(ctx context.Context, p Problem, o Options) (Result, error) {
	if err := p.check(); err != nil {
		return Result{}, err
	}
	if !(o.Seconds >= 0) || o.Rounds < 0 {
		return Result{}, fault.New(fault.Invalid, "nest_limits", "", "Seconds and rounds must not be negative.")
	}
	if p.Container.Kind == InChambers {
		return solveChambers(ctx, p, o)
	}
	b, err := outlines(p)
	if err != nil {
		return Result{}, err
	}
	if len(b.order) == 0 {
		return Result{Placements: []Placement{}}, nil
	}
	if p.Container.Kind == InStrip {
		return b.strip(ctx, p, o), nil
	}
	return b.platforms(ctx, p, o)
}

// laid is a planar problem in the search's terms.
type laid struct {
	items  []Item
	shapes []flat.Shape
	lift   []float64 // per item: z of a mesh's origin when it stands on the platform
	order  []int     // pieces, as indices into shapes: by priority, then larger first
	area   float64
}

// maxKinds is the number of distinct outlines up to which overlaps are tabled and searched; beyond it Shelf alone lays.
const maxKinds = 250

// outlines turns items into shapes.
func outlines(p Problem) (*laid, error) {
	c := p.Container
	w, d := c.WidthMM-2*c.MarginMM, c.DepthMM-2*c.MarginMM
	b := &laid{items: p.Items, shapes: make([]flat.Shape, len(p.Items)), lift: make([]float64, len(p.Items))}
	for i, it := range p.Items {
		outline := it.Polygon
		if it.Polygon == nil {
			if it.Mesh == nil {
				return nil, fault.New(fault.Invalid, "nest_mesh", it.ID, "The mesh of this item was not read.")
			}
			var err error
			if outline, b.lift[i], err = footprint(it.Mesh); err != nil {
				return nil, fault.At(err, it.ID)
			}
		}
		poly := make(flat.Poly, len(outline))
		for k, v := range outline {
			poly[k] = flat.Pt{X: v[0], Y: v[1]}
		}
		turns := it.Turns.Deg
		if it.Turns.Free {
			turns = flat.Around(poly, freeTurns(len(p.Items)))
		}
		s, ok := flat.NewShape(poly, turns, flat.Reach{MM: math.Inf(1), Grow: 0.001})
		if !ok {
			return nil, fault.New(fault.Invalid, "nest_outline", it.ID, "The outline has no area; give at least three corners that are not on one line.")
		}
		dropSameTurns(&s)
		keep := s.Turns[:0]
		for _, t := range s.Turns {
			if c.Kind == InStrip && t.Box.H() <= w*(1+1e-9) || c.Kind == OnPlatforms && t.Box.W() <= w*(1+1e-9) && t.Box.H() <= d*(1+1e-9) {
				keep = append(keep, t)
			}
		}
		if len(keep) == 0 && it.Quantity > 0 {
			return nil, fault.New(fault.Invalid, "nest_too_large", it.ID, "The piece covers %.4g × %.4g mm and fits the container in none of its turns.", s.Turns[0].Box.W(), s.Turns[0].Box.H())
		}
		if len(keep) > 0 {
			s.Turns = keep
		}
		b.shapes[i] = s
		for range it.Quantity {
			b.order = append(b.order, i)
			b.area += s.Area
		}
	}
	sort.SliceStable(b.order, func(x, y int) bool {
		i, j := b.order[x], b.order[y]
		if p.Items[i].Priority != p.Items[j].Priority {
			return p.Items[i].Priority < p.Items[j].Priority
		}
		if b.shapes[i].Area != b.shapes[j].Area {
			return b.shapes[i].Area > b.shapes[j].Area
		}
		return i < j
	})
	return b, nil
}

// freeTurns is how many turns stand for free rotation: the more kinds, the fewer, as every pair of kinds is tabled at each angle.
func freeTurns(kinds int) int {
	switch {
	case kinds <= 20:
		return 24
	case kinds <= 60:
		return 12
	}
	return 8
}

func (b *laid) strip(ctx context.Context, p Problem, o Options) Result {
	width := p.Container.WidthMM - 2*p.Container.MarginMM
	ctx, lim, cancel := o.limits(ctx)
	defer cancel()
	if len(b.shapes) > maxKinds || len(b.order) > 1500 {
		done, stop := context.WithCancel(ctx)
		stop()
		ctx = done
	}
	l := flat.Strip(ctx, b.shapes, b.order, width, p.SpacingMM, lim)
	m := p.Container.MarginMM
	r := Result{Containers: 1, LengthMM: l.Length + 2*m, Rounds: l.Rounds}
	r.Placements = b.placements(l.Spots, m)
	r.Density = b.area / (p.Container.WidthMM * r.LengthMM)
	r.LowerBound = flat.Floor(b.shapes, b.order, width, p.SpacingMM) + 2*m
	r.Gap = math.Max(0, r.LengthMM/r.LowerBound-1)
	return r
}

func (b *laid) placements(spots []flat.Spot, margin float64) []Placement {
	out := make([]Placement, len(spots))
	for i, s := range spots {
		k := b.order[i]
		deg := b.shapes[k].Turns[s.Turn].Deg
		out[i] = Placement{ID: b.items[k].ID, Container: s.Tray, XMM: s.X + margin, YMM: s.Y + margin, ZMM: b.lift[k], RotationDeg: &deg}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Container < out[j].Container })
	return out
}

func (b *laid) platforms(ctx context.Context, p Problem, o Options) (Result, error) {
	c := p.Container
	bed := flat.Bed{W: c.WidthMM - 2*c.MarginMM, H: c.DepthMM - 2*c.MarginMM, Spacing: p.SpacingMM}
	plain := fill(b.shapes, b.order, bed, -1)
	trays := 0
	for _, s := range plain {
		trays = max(trays, s.Tray+1)
	}
	spots, rounds := plain, 0
	if (o.Seconds > 0 || o.Rounds > 0 || o.Finish != nil) && len(b.shapes) <= maxKinds {
		// three quarters of the time for fewer platforms, the rest to draw the last one together
		fewer, last := o, o
		if trays > 1 {
			fewer.Seconds, fewer.Rounds = o.Seconds*0.75, o.Rounds*3/4
			last.Seconds, last.Rounds = o.Seconds*0.25, o.Rounds-fewer.Rounds
			better, n := b.fewer(ctx, bed, fewer, trays)
			rounds += n
			count := 0
			for _, s := range better {
				count = max(count, s.Tray+1)
			}
			if count <= trays {
				spots, trays = better, count
			}
		}
		rounds += b.tighten(ctx, bed, last, spots, trays-1)
	}
	r := Result{Containers: trays, Rounds: rounds, Placements: b.placements(spots, c.MarginMM)}
	for i, s := range spots {
		if s.Tray == trays-1 {
			r.LengthMM = math.Max(r.LengthMM, s.Y+b.shapes[b.order[i]].Turns[s.Turn].Box.MaxY+c.MarginMM)
		}
	}
	r.Density = b.area / (c.WidthMM * c.DepthMM * float64(trays))
	r.LowerBound = float64(flat.TrayFloor(b.shapes, b.order, bed))
	r.Gap = math.Max(0, float64(trays)/r.LowerBound-1)
	return r, nil
}

// fewer searches for a layout on fewer platforms.
func (b *laid) fewer(ctx context.Context, bed flat.Bed, o Options, trays int) ([]flat.Spot, int) {
	whole, lim, cancel := o.limits(ctx)
	defer cancel()
	return flat.Trays(b.shapes, b.order, bed, lim, func(int) (context.Context, context.CancelFunc) {
		if o.Seconds > 0 && o.Finish == nil {
			return context.WithTimeout(whole, seconds(o.Seconds/float64(trays)))
		}
		return context.WithCancel(whole)
	})
}

// tighten draws the pieces of one tray together along its depth, in place.
func (b *laid) tighten(ctx context.Context, bed flat.Bed, o Options, spots []flat.Spot, tray int) int {
	var at, kinds []int
	reach := 0.0
	for i, s := range spots {
		if s.Tray == tray {
			at, kinds = append(at, i), append(kinds, b.order[i])
			reach = math.Max(reach, s.Y+b.shapes[b.order[i]].Turns[s.Turn].Box.MaxY)
		}
	}
	if len(kinds) > 1500 {
		return 0
	}
	ctx, lim, cancel := o.limits(ctx)
	defer cancel()
	better, _, rounds, ok := flat.Tighten(ctx, b.shapes, kinds, bed, reach, lim)
	if ok {
		for n, i := range at {
			spots[i] = better[n]
			spots[i].Tray = tray
		}
	}
	return rounds
}
