// Command nestbench measures the nest on outside instances and prints a table.
//
// Strips are read as nesting problems (*.json with a best.csv beside them), voxel sets (-voxels) from their own format. Every
// result is judged by nest.Verify or by its cells. Time is given as wall clock (-seconds) or, on a busy machine, as processor
// seconds of the whole process (-cpu): then every run is a process of its own.
package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"firstoff/shopfloor/nest"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "nestbench:", err)
		os.Exit(1)
	}
}

type options struct {
	dir, only, out string
	seconds, cpu   float64
	rounds         int
	seed           int64
	seeds, threads int
	child          bool
}

func run() error {
	var o options
	flag.StringVar(&o.dir, "dir", "../shared/checks/opt/nest", "folder of strip instances and best.csv")
	flag.StringVar(&o.only, "only", "", "comma-separated names; all when empty")
	flag.StringVar(&o.out, "out", "", "folder to write the results to, as JSON")
	flag.Float64Var(&o.seconds, "seconds", 5, "wall-clock seconds a run")
	flag.Float64Var(&o.cpu, "cpu", 0, "processor seconds a run, instead of wall clock")
	flag.IntVar(&o.rounds, "rounds", 0, "rounds a run, instead of seconds")
	flag.Int64Var(&o.seed, "seed", 1, "first seed")
	flag.IntVar(&o.seeds, "seeds", 1, "runs of each instance, with rising seeds")
	flag.IntVar(&o.threads, "threads", runtime.NumCPU(), "searchers side by side")
	flag.BoolVar(&o.child, "child", false, "run the one instance named by -only and print one line of JSON")
	vox := flag.String("voxels", "", "folder of voxel sets: pack those instead")
	turn := flag.Bool("turn", false, "let voxel bodies take all 24 poses")
	flag.Parse()
	if *vox != "" {
		return voxels(o, *vox, *turn)
	}
	if o.child {
		return one(o)
	}
	return table(o)
}

// outcome is what one run came to.
type outcome struct {
	Length, Density, Bound, Wall, CPU float64
	Rounds, Faults                    int
}

// one runs one instance.
func one(o options) error {
	b, err := os.ReadFile(filepath.Join(o.dir, o.only+".json"))
	if err != nil {
		return err
	}
	p, err := nest.Read(b)
	if err != nil {
		return err
	}
	opt := nest.Options{Seconds: o.seconds, Rounds: o.rounds, Seed: o.seed, Threads: o.threads}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	switch {
	case o.rounds > 0:
		opt.Seconds = 0
	case o.cpu > 0:
		opt.Seconds = 0
		finish, done := context.WithCancel(ctx)
		opt.Finish = finish
		go func() {
			for {
				time.Sleep(10 * time.Millisecond)
				if c := processor(); c > o.cpu {
					cancel()
				} else if c > 0.8*o.cpu {
					done()
				}
			}
		}()
	}
	start := time.Now()
	r, err := nest.Solve(ctx, p, opt)
	if err != nil {
		return err
	}
	out := outcome{Length: r.LengthMM, Density: r.Density, Bound: r.LowerBound, Wall: time.Since(start).Seconds(), CPU: processor(), Rounds: r.Rounds}
	out.Faults = len(nest.Verify(p, r))
	if o.out != "" {
		r.Seconds = out.Wall
		b, err := json.Marshal(r)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(o.out, fmt.Sprintf("%s-%d.json", o.only, o.seed)), b, 0o644); err != nil {
			return err
		}
	}
	return json.NewEncoder(os.Stdout).Encode(out)
}

// processor is the processor time this process has used, s.
func processor() float64 {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return float64(r.Utime.Sec+r.Stime.Sec) + float64(r.Utime.Usec+r.Stime.Usec)/1e6
}

// table runs the instances one after another and prints their means.
func table(o options) error {
	best, ref, err := figures(filepath.Join(o.dir, "best.csv"))
	if err != nil {
		return err
	}
	files, err := filepath.Glob(filepath.Join(o.dir, "*.json"))
	if err != nil || len(files) == 0 {
		return errors.Join(err, fmt.Errorf("no instances in %s", o.dir))
	}
	self, err := os.Executable()
	if err != nil {
		return err
	}
	names := strings.Split(o.only, ",")
	fmt.Printf("%-10s %11s %8s %8s %8s %7s %7s %7s %7s\n", "instance", "length", "density", "best", "refmean", "gap", "wall s", "cpu s", "faults")
	var gaps, worst float64
	n := 0
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), ".json")
		if o.only != "" && !slices.Contains(names, name) {
			continue
		}
		var sum outcome
		for k := range o.seeds {
			args := []string{"-child", "-dir", o.dir, "-only", name, "-out", o.out, "-seconds", fmt.Sprint(o.seconds), "-cpu", fmt.Sprint(o.cpu),
				"-rounds", fmt.Sprint(o.rounds), "-seed", fmt.Sprint(o.seed + int64(k)), "-threads", fmt.Sprint(o.threads)}
			c := exec.Command(self, args...)
			c.Stderr = os.Stderr
			b, err := c.Output()
			if err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			var r outcome
			if err := json.Unmarshal(b, &r); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			sum.Length += r.Length / float64(o.seeds)
			sum.Density += 100 * r.Density / float64(o.seeds)
			sum.Wall += r.Wall / float64(o.seeds)
			sum.CPU += r.CPU / float64(o.seeds)
			sum.Faults += r.Faults
		}
		gap := "-"
		if v := ref[name]; v > 0 {
			gap = fmt.Sprintf("%.2f", v-sum.Density)
			gaps += v - sum.Density
			worst = max(worst, v-sum.Density)
			n++
		}
		fmt.Printf("%-10s %11.3f %8.2f %8.2f %8.2f %7s %7.1f %7.1f %7d\n", name, sum.Length, sum.Density, best[name], ref[name], gap, sum.Wall, sum.CPU, sum.Faults)
	}
	if n > 0 {
		fmt.Printf("%d sets with a reference mean: %.2f points below it on the mean, %.2f at worst\n", n, gaps/float64(n), worst)
	}
	return nil
}

// figures reads best-known and reference mean densities, percent.
func figures(path string) (best, ref map[string]float64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, nil, err
	}
	best, ref = map[string]float64{}, map[string]float64{}
	for _, r := range rows[1:] {
		best[r[0]], _ = strconv.ParseFloat(r[1], 64)
		ref[r[0]], _ = strconv.ParseFloat(r[3], 64) // empty where none is known
	}
	return best, ref, nil
}
