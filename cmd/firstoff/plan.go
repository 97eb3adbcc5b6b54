package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"firstoff/fault"
	"firstoff/part/survey"
	"firstoff/shopfloor/nest"
	"firstoff/shopfloor/schedule"
	"firstoff/unit"
)

// input reads a problem from a file, or from standard input for "-".
func (s streams) input(path string) ([]byte, error) {
	if path == "-" {
		b, err := io.ReadAll(io.LimitReader(s.in, 256<<20))
		if err != nil {
			return nil, fault.Because(err, fault.Invalid, "input_unreadable", "-", "Standard input could not be read.")
		}
		return b, nil
	}
	return readBytes(path)
}

type planCmd struct {
	File    string  `arg:"" help:"The problem as JSON; - for standard input."`
	Seconds float64 `help:"How long to improve; 0 gives the first good answer." default:"5"`
	Rounds  int     `help:"Improve for so many rounds instead; the answer then depends on nothing but problem and seed."`
	Seed    uint64  `help:"Of all chance." default:"1"`
	JSON    bool    `help:"Answer as JSON."`
}

// Help is printed below the options.
func (c *planCmd) Help() string {
	return `Plans operations on machines: job shop, unlike alternatives, changeovers by family, calendars; the objective is "makespan" or "weighted_tardiness". The answer is checked before it is given, and comes with a lower bound.`
}

// Run plans.
func (c *planCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	b, err := s.input(c.File)
	if err != nil {
		a.fail(err, c.File)
		return a.end()
	}
	p, err := schedule.Read(bytes.NewReader(b))
	if err != nil {
		a.fail(err, c.File)
		return a.end()
	}
	from := time.Now()
	opt := schedule.Options{Seconds: c.Seconds, Rounds: c.Rounds, Seed: c.Seed, Threads: runtime.GOMAXPROCS(0)}
	switch {
	case c.Rounds > 0:
		opt.Seconds = 0
	case c.Seconds <= 0:
		opt.Rounds = 1
	}
	sol, err := schedule.Solve(ctx, p, opt)
	if err == nil {
		err = schedule.Verify(p, sol)
	}
	if err != nil {
		a.fail(err, c.File)
		return a.end()
	}
	sol.Seconds, sol.Gap = time.Since(from).Seconds(), gap(sol.Objective, sol.LowerBound)/100
	a.ok(sol, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %d operations, makespan %d s, objective %.0f, lower bound %.0f, gap %.2f %%, %.1f s\n",
			filepath.Base(c.File), len(sol.Operations), sol.MakespanS, sol.Objective, sol.LowerBound, gap(sol.Objective, sol.LowerBound), sol.Seconds)
	})
	return a.end()
}

func gap(objective, bound float64) float64 {
	if objective <= 0 {
		return 0
	}
	return 100 * (objective - bound) / objective
}

type nestCmd struct {
	File    string  `arg:"" help:"The problem as JSON; - for standard input. Meshes named in it are looked for beside it."`
	Seconds float64 `help:"How long to improve; 0 gives the first good answer." default:"5"`
	Rounds  int     `help:"Improve for so many passes instead; the answer then depends on nothing but problem and seed."`
	Seed    int64   `help:"Of all chance." default:"1"`
	JSON    bool    `help:"Answer as JSON."`
}

// Help is printed below the options.
func (c *nestCmd) Help() string {
	return `Lays pieces on a strip, on platforms, or into chambers. A placement turns the piece about its own origin, then moves it. The answer is checked for overlap and excess before it is given.`
}

// Run nests.
func (c *nestCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	b, err := s.input(c.File)
	if err != nil {
		a.fail(err, c.File)
		return a.end()
	}
	p, err := nest.Read(b)
	if err == nil {
		err = c.meshes(ctx, &p)
	}
	if err != nil {
		a.fail(err, c.File)
		return a.end()
	}
	from := time.Now()
	opt := nest.Options{Seconds: c.Seconds, Rounds: c.Rounds, Seed: c.Seed, Threads: runtime.GOMAXPROCS(0)}
	if c.Rounds > 0 {
		opt.Seconds = 0
	}
	r, err := nest.Solve(ctx, p, opt)
	if err == nil {
		if bad := nest.Verify(p, r); len(bad) > 0 {
			err = fault.New(fault.Internal, "nest_wrong", "", "The layout does not hold: %v.", bad[0])
		}
	}
	if err != nil {
		a.fail(err, c.File)
		return a.end()
	}
	r.Seconds = time.Since(from).Seconds()
	a.ok(r, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %d pieces in %d containers, density %.2f %%, gap to the bound %.2f %%", filepath.Base(c.File), len(r.Placements), r.Containers, 100*r.Density, 100*r.Gap)
		if r.LengthMM > 0 {
			fmt.Fprintf(w, ", length %.3f mm", r.LengthMM)
		}
		fmt.Fprintf(w, ", %.1f s\n", r.Seconds)
	})
	return a.end()
}

// meshes reads the models that items of a problem name.
func (c *nestCmd) meshes(ctx context.Context, p *nest.Problem) error {
	for i := range p.Items {
		it := &p.Items[i]
		if it.MeshPath == "" {
			continue
		}
		path := it.MeshPath
		if !filepath.IsAbs(path) && c.File != "-" {
			path = filepath.Join(filepath.Dir(c.File), path)
		}
		if _, err := os.Stat(path); err != nil {
			return fault.New(fault.NotFound, "file_missing", it.MeshPath, "The model of item %q is not there.", it.ID)
		}
		all, err := readFile(ctx, path, unit.MM)
		if err != nil {
			return fault.At(err, it.MeshPath)
		}
		if all[0].Err != nil {
			return fault.At(all[0].Err, it.MeshPath)
		}
		sv, err := survey.Of(ctx, all[0].File, survey.Options{})
		if err != nil {
			return fault.At(err, it.MeshPath)
		}
		it.Mesh = sv.Whole
	}
	return nil
}
