package trial

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
)

// Trial says how long and with which seeds to compare.
type Trial struct {
	PerDay             float64 // orders a business day
	Orders, WarmUp     int     // of each stream, and those at its beginning that are not counted
	Tuning, Evaluation []uint64
	Replications       int // of the load for each of our promises; 0: the desk's own number
}

// Row is one rule's result.
type Row struct {
	Rule   string
	Factor float64 // tuned; 0: nothing was tuned
	Result
}

// Comparison of our promise with the simpler rules, on the orders of the evaluation seeds.
type Comparison struct {
	Ours    Row
	Unlearn Row   // ours at the catalogue's level, nothing learned
	Tuned   []Row // tuned on the tuning seeds to the share ours kept there
	Same    []Row // tuned with hindsight on the evaluated orders themselves, to exactly the share ours kept: what no desk can do
}

// Compare plays every rule on every stream.
func (s *Scene) Compare(ctx context.Context, t Trial, truth Truth) (*Comparison, error) {
	streams := func(seeds []uint64) ([]*Stream, error) {
		var out []*Stream
		for _, seed := range seeds {
			st, err := s.Orders(t.Orders, t.PerDay, seed, truth)
			if err != nil {
				return nil, err
			}
			out = append(out, st)
		}
		return out, nil
	}
	play := func(streams []*Stream, seeds []uint64, rule func(*Stream) Rule) (Result, error) {
		results, errs := make([]Result, len(streams)), make([]error, len(streams))
		var wg sync.WaitGroup
		for i, st := range streams {
			wg.Go(func() { results[i], errs[i] = st.Play(ctx, rule(st), t.WarmUp, seeds[i]) })
		}
		wg.Wait()
		var sum Result
		for _, r := range results {
			sum = sum.Add(r)
		}
		return sum, errors.Join(errs...)
	}
	ours := func(learn bool) func(*Stream) Rule {
		return func(*Stream) Rule { return Ours(t.Replications, learn) }
	}
	tune, err := streams(t.Tuning)
	if err != nil {
		return nil, err
	}
	eval, err := streams(t.Evaluation)
	if err != nil {
		return nil, err
	}
	there, err := play(tune, t.Tuning, ours(true))
	if err != nil {
		return nil, err
	}
	c := &Comparison{Ours: Row{Rule: "ours, level learned"}, Unlearn: Row{Rule: "ours, nothing learned"}}
	if c.Ours.Result, err = play(eval, t.Evaluation, ours(true)); err != nil {
		return nil, err
	}
	if c.Unlearn.Result, err = play(eval, t.Evaluation, ours(false)); err != nil {
		return nil, err
	}
	for _, n := range []struct {
		name string
		most float64
		rule func(st *Stream, factor float64) Rule
	}{
		{"fixed number of days", 60, func(_ *Stream, f float64) Rule { return Fixed(f) }},
		{"queue hours over capacity", 30, Queue},
		{"Kingman's mean wait", 30, Kingman},
	} {
		// The least factor that keeps at least the share wanted, by bisection.
		bisect := func(streams []*Stream, seeds []uint64, want float64) (float64, error) {
			lo, hi := 0.0, n.most
			for range 14 {
				mid := (lo + hi) / 2
				r, err := play(streams, seeds, func(st *Stream) Rule { return n.rule(st, mid) })
				if err != nil {
					return 0, err
				}
				if r.Share() >= want {
					hi = mid
				} else {
					lo = mid
				}
			}
			return hi, nil
		}
		at := func(f float64) (Row, error) {
			r, err := play(eval, t.Evaluation, func(st *Stream) Rule { return n.rule(st, f) })
			return Row{n.name, f, r}, err
		}
		for _, pick := range []struct {
			streams []*Stream
			seeds   []uint64
			want    float64
			rows    *[]Row
		}{{tune, t.Tuning, there.Share(), &c.Tuned}, {eval, t.Evaluation, c.Ours.Share(), &c.Same}} {
			f, err := bisect(pick.streams, pick.seeds, pick.want)
			if err != nil {
				return nil, err
			}
			row, err := at(f)
			if err != nil {
				return nil, err
			}
			*pick.rows = append(*pick.rows, row)
		}
	}
	return c, nil
}

// String is the table.
func (c *Comparison) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-28s %8s %7s %8s %15s %11s %11s %9s\n", "rule", "factor", "orders", "kept", "promised, days", "late, mean", "tardy, mean", "took")
	line := func(r Row, hindsight string) {
		f := ""
		if r.Factor > 0 {
			f = fmt.Sprintf("%.3f", r.Factor)
		}
		fmt.Fprintf(&b, "%-28s %8s %7d %6.2f %% %15.3f %11.3f %11.3f %9.3f%s\n", r.Rule, f, r.Orders, 100*r.Share(), r.Lead, r.Late, r.Tardy, r.Actual, hindsight)
	}
	line(c.Ours, "")
	line(c.Unlearn, "")
	for _, r := range c.Tuned {
		line(r, "")
	}
	for _, r := range c.Same {
		line(r, "  tuned with hindsight")
	}
	return b.String()
}
