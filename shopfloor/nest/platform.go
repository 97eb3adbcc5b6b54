package nest

import (
	"context"
	"math"
	"sort"

	"firstoff/fault"
	"firstoff/shopfloor/nest/flat"
)

// Part is what one line of a request asks of a platform.
type Part struct {
	ID          string
	Quantity    int
	Outline     [][2]float64 // footprint in its pose, mm, simple, any sense, not closed
	Priority    int          // smaller goes first; the caller derives it from due dates
	RotationDeg []float64    // turns allowed; none means the four quarter turns
}

// PlacedPart is one piece on a tray.
type PlacedPart struct {
	ID          string
	Piece       int // 0 … Quantity−1
	XMM, YMM    float64
	RotationDeg float64
}

// Tray is one filled platform.
type Tray struct {
	Pieces    []PlacedPart
	FillArea  float64 // share of the whole platform covered by the outlines
	UsedDepth float64 // mm along y, from the near edge to the farthest point of a piece, edge margin included
}

// Quick bounds the quick door. The zero value suits quoting.
type Quick struct {
	Cells    int // fineness of the first guess: cells along the longer side; 0 takes 256
	MaxTrays int // refuse beyond this many; 0 takes 10,000
	// Rounds of search for room for more pieces on a tray. 0 searches up to 100 rounds where trays are filled with one part only, some
	// 10 to 50 ms of processor time that raise a tray by a tenth and more, and not at all for mixed trays; below 0 never.
	Rounds int
}

// Platform lays parts into trays of width × depth mm with a spacing between pieces and an edge margin, in order of
// priority, quickly: under 50 ms for 50 parts (BenchmarkPlatform). Many pieces of one part cost little more than one tray of
// them. It fails when a part fits in no turn, naming it.
func Platform(parts []Part, width, depth, spacing, margin float64, q Quick) ([]Tray, error) {
	w, d := width-2*margin, depth-2*margin
	if !(w > 0 && d > 0) || math.IsInf(w, 0) || math.IsInf(d, 0) {
		return nil, fault.New(fault.Invalid, "platform_size", "", "The platform of %g × %g mm leaves no room inside its margin of %g mm; give a larger platform or a smaller margin.", width, depth, margin)
	}
	if !(spacing >= 0 && margin >= 0) || math.IsInf(spacing, 0) {
		return nil, fault.New(fault.Invalid, "nest_spacing", "", "Spacing %g mm and margin %g mm must not be negative.", spacing, margin)
	}
	shapes, order, err := prepare(parts, w, d)
	if err != nil {
		return nil, err
	}
	maxTrays := q.MaxTrays
	if maxTrays <= 0 {
		maxTrays = 10000
	}
	bed := flat.Bed{W: w, H: d, Spacing: spacing, Cells: q.Cells, Trays: maxTrays}
	best := fill(shapes, order, bed, q.Rounds)
	for i, sp := range best {
		if sp.Tray < 0 {
			return nil, fault.New(fault.TooLarge, "nest_trays", parts[order[i]].ID, "The pieces need more than %d trays; ask for fewer pieces.", maxTrays)
		}
	}
	return trays(parts, shapes, order, best, width*depth, margin), nil
}

// quarter are the turns used when none are stated.
var quarter = []float64{0, 90, 180, 270}

// prepare checks the parts and gives their shapes and the order of laying: priority, then larger pieces first, then input
// order, so that equal requests give equal trays.
func prepare(parts []Part, w, d float64) ([]flat.Shape, []int, error) {
	shapes := make([]flat.Shape, len(parts))
	var order []int
	for i, p := range parts {
		if p.Quantity < 0 {
			return nil, nil, fault.New(fault.Invalid, "nest_quantity", p.ID, "The quantity %d is negative.", p.Quantity)
		}
		poly := make(flat.Poly, len(p.Outline))
		for k, v := range p.Outline {
			poly[k] = flat.Pt{X: v[0], Y: v[1]}
		}
		turns := p.RotationDeg
		if len(turns) == 0 {
			turns = quarter
		}
		s, ok := flat.NewShape(poly, turns, flat.Reach{MM: math.Max(w, d) * 1e-3, Grow: 0.01})
		if !ok {
			return nil, nil, fault.New(fault.Invalid, "nest_outline", p.ID, "The outline has no area; give at least three corners that are not on one line.")
		}
		fits := false
		for _, t := range s.Turns {
			fits = fits || t.Box.W() <= w+1e-9 && t.Box.H() <= d+1e-9
		}
		if !fits && p.Quantity > 0 {
			b := s.Turns[0].Box
			return nil, nil, fault.New(fault.Invalid, "part_exceeds_platform", p.ID, "The part covers %.4g × %.4g mm and fits the usable %.4g × %.4g mm in none of its turns; choose a larger machine, another pose or a cut.", b.W(), b.H(), w, d)
		}
		dropSameTurns(&s)
		shapes[i] = s
		for n := 0; n < p.Quantity; n++ {
			order = append(order, i)
		}
	}
	sort.SliceStable(order, func(a, b int) bool {
		i, j := order[a], order[b]
		if parts[i].Priority != parts[j].Priority {
			return parts[i].Priority < parts[j].Priority
		}
		if shapes[i].Area != shapes[j].Area {
			return shapes[i].Area > shapes[j].Area
		}
		return i < j
	})
	return shapes, order, nil
}

// dropSameTurns removes turns that give the same outline as an earlier one (a rectangle needs two of four).
func dropSameTurns(s *flat.Shape) {
	keep := s.Turns[:0]
	for _, t := range s.Turns {
		same := false
		for _, u := range keep {
			same = same || flat.Congruent(t.Ring, u.Ring)
		}
		if !same {
			keep = append(keep, t)
		}
	}
	s.Turns = keep
}

// loneRounds is the search of the quick door for trays of one part, less where a tray holds many, so that it ends within some
// 50 ms of processor time.
const (
	loneRounds = 100
	loneMoves  = 5000 // rounds × pieces
)

// fill lays the order; a single shape fills one tray, which is then repeated instead of searched again.
func fill(shapes []flat.Shape, order []int, bed flat.Bed, rounds int) []flat.Spot {
	if len(order) == 0 {
		return nil
	}
	k := order[0]
	for _, j := range order {
		if j != k {
			if rounds > 0 && len(shapes) <= maxKinds {
				spots, _ := flat.Trays(shapes, order, bed, flat.Limits{Rounds: rounds, Searchers: 1, Seed: 1}, func(int) (context.Context, context.CancelFunc) {
					return context.WithCancel(context.Background())
				})
				return spots
			}
			return flat.Shelf(shapes, order, bed)
		}
	}
	// A bed holds no more than its area does; laying that many shows how many fit.
	most := min(len(order), int((bed.W+bed.Spacing)*(bed.H+bed.Spacing)/shapes[k].Area)+1)
	if rounds == 0 {
		rounds = max(10, min(loneRounds, loneMoves/most))
	}
	full := flat.FullSearched(shapes[k], most, bed, rounds, 1)
	if len(full) == 0 {
		return flat.Shelf(shapes, order, bed)
	}
	spots := make([]flat.Spot, len(order))
	for i := range order {
		spots[i] = full[i%len(full)]
		spots[i].Tray = i / len(full)
		if bed.Trays > 0 && spots[i].Tray >= bed.Trays {
			spots[i].Tray = -1
		}
	}
	return spots
}

// trays turns spots into the caller's terms. Pieces of one part are numbered in the order of laying.
func trays(parts []Part, shapes []flat.Shape, order []int, spots []flat.Spot, area, margin float64) []Tray {
	n := 0
	for _, s := range spots {
		n = max(n, s.Tray+1)
	}
	out := make([]Tray, n)
	count := make([]int, len(parts))
	for i, k := range order {
		sp := spots[i]
		t := &out[sp.Tray]
		turn := shapes[k].Turns[sp.Turn]
		t.Pieces = append(t.Pieces, PlacedPart{parts[k].ID, count[k], sp.X + margin, sp.Y + margin, turn.Deg})
		count[k]++
		t.FillArea += shapes[k].Area / area
		t.UsedDepth = math.Max(t.UsedDepth, sp.Y+turn.Box.MaxY+margin)
	}
	return out
}
