// Command planbench runs the planner over the outside plan instances and prints the gap to the best known value, set by
// set. Every answer is checked by schedule.Verify before it counts.
//
//	planbench -dir ../shared/checks/opt/plan -seconds 60 -only 'jobshop/swv' [-cpu] [-each]
//
// -cpu counts processor seconds times threads instead of the clock, for machines that others use too.
package main

import (
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"syscall"
	"time"

	"firstoff/shopfloor/schedule"
)

func main() {
	dir := flag.String("dir", filepath.Join("..", "shared", "checks", "opt", "plan"), "folder with best.csv")
	seconds := flag.Float64("seconds", 5, "limit per instance")
	rounds := flag.Int("rounds", 0, "limit per instance in rounds")
	seed := flag.Uint64("seed", 1, "seed")
	threads := flag.Int("threads", 2, "threads")
	only := flag.String("only", "", "regular expression on set/instance")
	every := flag.Int("every", 1, "only every n-th of the chosen")
	each := flag.Bool("each", false, "a line per instance")
	cpu := flag.Bool("cpu", false, "count processor seconds")
	flag.Parse()

	f, err := os.Open(filepath.Join(*dir, "best.csv"))
	check(err)
	rows, err := csv.NewReader(f).ReadAll()
	check(err)
	f.Close()
	type sum struct {
		n                   int
		gap, worst, seconds float64
		hit, proved         int
	}
	sums := map[string]*sum{}
	pick := regexp.MustCompile(*only)
	k := 0
	for _, r := range rows[1:] {
		name := r[0] + "/" + r[1]
		if !pick.MatchString(name) {
			continue
		}
		if k++; (k-1)%*every != 0 {
			continue
		}
		file, err := os.Open(filepath.Join(*dir, r[0], r[1]+".json"))
		check(err)
		p, err := schedule.Read(file)
		check(err)
		file.Close()
		ctx, cancel := context.WithCancel(context.Background())
		opt := schedule.Options{Seconds: *seconds, Rounds: *rounds, Seed: *seed, Threads: *threads}
		if *cpu {
			opt.Seconds = 0
			if opt.Rounds == 0 {
				opt.Rounds = 1 << 30
			}
			go func() {
				from := used()
				for ctx.Err() == nil && used()-from < *seconds*float64(*threads) {
					time.Sleep(5 * time.Millisecond)
				}
				cancel()
			}()
		}
		from, fromCPU := time.Now(), used()
		s, err := schedule.Solve(ctx, p, opt)
		check(err)
		took := time.Since(from).Seconds()
		tookCPU := used() - fromCPU
		cancel()
		check(schedule.Verify(p, s))
		best, err := strconv.ParseFloat(r[3], 64)
		if err != nil {
			fmt.Printf("%-32s %8.0f  bound %8.0f  (no reference)  %.1f s\n", name, s.Objective, s.LowerBound, took)
			continue
		}
		gap := 100 * (s.Objective/best - 1)
		if *each {
			fmt.Printf("%-32s %8.0f  best %8.0f  gap %6.2f %%  bound %8.0f  %5.1f s  %5.1f cpu s  %d rounds\n", name, s.Objective, best, gap, s.LowerBound, took, tookCPU, s.Rounds)
		}
		set := r[0] + "/" + strings.TrimRight(r[1], "0123456789")
		if r[0] == "flexible" {
			set = r[0] + "/" + family(r[1])
		}
		if r[0] == "unrelated-setups" {
			set = r[0] + "/" + strings.Join(strings.Split(r[1], "_")[:2], "_")
		}
		for _, key := range []string{set, r[0]} {
			if sums[key] == nil {
				sums[key] = &sum{}
			}
			x := sums[key]
			x.n++
			x.gap += gap
			x.worst = max(x.worst, gap)
			x.seconds += took
			if gap < 1e-9 {
				x.hit++
			}
			if s.Objective <= s.LowerBound {
				x.proved++
			}
		}
	}
	var keys []string
	for key := range sums {
		keys = append(keys, key)
	}
	sort.Strings(keys)
	fmt.Printf("%-28s %5s %9s %9s %8s %8s %8s\n", "set", "n", "mean %", "worst %", "at best", "proved", "mean s")
	for _, key := range keys {
		x := sums[key]
		fmt.Printf("%-28s %5d %9.3f %9.2f %8d %8d %8.1f\n", key, x.n, x.gap/float64(x.n), x.worst, x.hit, x.proved, x.seconds/float64(x.n))
	}
}

// family is the name of a flexible set: letters before the first digit, and the kind of choice.
func family(name string) string {
	i := strings.IndexAny(name, "0123456789")
	if i < 0 {
		return name
	}
	if k := strings.LastIndex(name, "_"); k > i {
		return name[:i] + name[k:]
	}
	return name[:i]
}

func used() float64 {
	var u syscall.Rusage
	check(syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func check(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, "planbench:", err)
		os.Exit(1)
	}
}
