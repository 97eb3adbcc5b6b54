package making

import (
	"context"
	"slices"
	"strings"

	"firstoff/shopfloor/build"
	"firstoff/shopfloor/traveller"
	"firstoff/shopfloor/work"
)

// come is how far a traveller had come at one version of it.
type come struct {
	version int
	left    []float64
	making  map[string]bool // pieces that lie at the making
}

// Left says how far the open orders have come. Travellers that did not change since the last time are not read again.
func (f *Floor) Left(ctx context.Context) (work.Floor, error) {
	out := work.Floor{Lines: map[string]work.Line{}, Loaded: map[string]string{}}
	all, _, err := f.p.Records.Travellers(ctx, openWords, 0, 10_000)
	if err != nil {
		return out, err
	}
	lines := map[string]string{} // by traveller
	now := map[string]come{}
	for _, t := range all {
		c, err := f.cameTo(ctx, t)
		if err != nil {
			return out, err
		}
		now[t.ID] = c
		key := work.Key(t.OrderID, t.LineID)
		lines[t.ID] = key
		out.Lines[key] = work.Line{Left: c.left, Making: t.Making() - 1}
	}
	f.mu.Lock()
	f.come = now
	f.mu.Unlock()
	builds, err := f.p.Records.Builds(ctx, nil, 500)
	if err != nil {
		return out, err
	}
	for _, b := range builds { // newest first
		if _, seen := out.Loaded[b.Machine]; !seen && b.Word != build.Planned && b.Word != build.Dropped {
			out.Loaded[b.Machine] = b.Material
		}
		switch b.Word {
		case build.Planned, build.Running, build.Paused:
		default:
			continue
		}
		es, err := happened[build.Event](ctx, f.p.Records, b.ID)
		if err != nil {
			return out, err
		}
		s := build.Fold(b, es)
		x := work.Build{ID: b.ID, Machine: b.Machine, Material: b.Material, PlannedS: b.PlannedS, Begun: s.Word != build.Planned, ActiveS: s.ActiveAt(f.now())}
		for _, slot := range b.Slots {
			key, ok := lines[slot.Traveller]
			if !ok {
				continue
			}
			n := 0
			for _, p := range slot.Pieces {
				if now[slot.Traveller].making[p] {
					n++
				}
			}
			if n == 0 {
				continue
			}
			l := out.Lines[key]
			l.InBuilds += float64(n) / float64(max(1, count(all, slot.Traveller)))
			out.Lines[key] = l
			if !slices.Contains(x.Lines, key) {
				x.Lines = append(x.Lines, key)
			}
		}
		out.Builds = append(out.Builds, x)
	}
	slices.Reverse(out.Builds)
	return out, nil
}

// openWords are the states of travellers with work left.
var openWords = []string{string(traveller.Waiting), string(traveller.Running), string(traveller.Paused), string(traveller.InWork), string(traveller.Short)}

func count(all []traveller.Traveller, id string) int {
	for _, t := range all {
		if t.ID == id {
			return len(t.Pieces)
		}
	}
	return 0
}

// cameTo works out how far one traveller has come.
func (f *Floor) cameTo(ctx context.Context, t traveller.Traveller) (come, error) {
	f.mu.Lock()
	c, ok := f.come[t.ID]
	f.mu.Unlock()
	if ok && c.version == t.Version {
		return c, nil
	}
	es, err := happened[traveller.Event](ctx, f.p.Records, t.ID)
	if err != nil {
		return come{}, err
	}
	s := traveller.Fold(t, es)
	c = come{version: t.Version, left: make([]float64, len(t.Operations)), making: map[string]bool{}}
	at := t.Making()
	one := 1 / float64(max(1, len(t.Pieces)))
	for _, p := range s.Pieces {
		from := p.At
		switch {
		case p.Away, p.Scrap && p.Remade:
			continue
		case p.Scrap:
			from = at // to be made again
		}
		for k := max(1, from); k <= len(t.Operations); k++ {
			c.left[k-1] += one
		}
		if !p.Scrap && p.At == at {
			c.making[p.ID] = true
		}
	}
	return c, nil
}

// TravellersFor are the travellers of these lines (work.Key each), opened where there are none yet.
func (f *Floor) TravellersFor(ctx context.Context, keys []string) ([]traveller.Traveller, error) {
	var out []traveller.Traveller
	for _, k := range keys {
		id, line, _ := strings.Cut(k, "/")
		if _, err := f.OpenFor(ctx, id); err != nil {
			return nil, err
		}
		of, err := f.p.Records.TravellersOf(ctx, id)
		if err != nil {
			return nil, err
		}
		for _, t := range of {
			if t.LineID == line {
				out = append(out, t)
			}
		}
	}
	return out, nil
}
