// Command nestbench runs the strip nest over a folder of instances.
package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"firstoff/shopfloor/nest/flat"
)

func cpu() float64 {
	var r syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &r)
	return float64(r.Utime.Sec+r.Stime.Sec) + float64(r.Utime.Usec+r.Stime.Usec)/1e6
}

type job struct {
	Container struct {
		Width float64 `json:"width_mm"`
	}
	Spacing float64 `json:"spacing_mm"`
	Items   []struct {
		Quantity int
		Polygon  [][2]float64
		Turns    []float64 `json:"rotations_deg"`
	}
}

func main() {
	rounds := flag.Int("rounds", 300, "")
	seed0 := flag.Int("seed0", 1, "")
	seeds := flag.Int("seeds", 1, "")
	only := flag.String("only", "", "")
	dir := flag.String("dir", "", "")
	par := flag.Int("par", 2, "")
	secs := flag.Float64("cpu", 0, "")
	child := flag.Bool("child", false, "")
	flag.Parse()
	if *child {
		*par = 1
	}
	ref := map[string][]float64{}
	f, _ := os.Open(filepath.Join(*dir, "best.csv"))
	rows, _ := csv.NewReader(f).ReadAll()
	for _, r := range rows[1:] {
		a, _ := strconv.ParseFloat(r[1], 64)
		b, _ := strconv.ParseFloat(r[3], 64)
		ref[r[0]] = []float64{a, b}
	}
	files, _ := filepath.Glob(filepath.Join(*dir, "*.json"))
	var wg sync.WaitGroup
	sem := make(chan bool, *par)
	var mu sync.Mutex
	type res struct {
		d, s float64
		n    int
	}
	sum := map[string]*res{}
	var names []string
	for _, fn := range files {
		name := strings.TrimSuffix(filepath.Base(fn), ".json")
		if *only != "" && !strings.Contains(","+*only+",", ","+name+",") {
			continue
		}
		names = append(names, name)
		sum[name] = &res{}
		for sd := 1; sd <= *seeds; sd++ {
			wg.Add(1)
			sem <- true
			go func() {
				defer wg.Done()
				defer func() { <-sem }()
				if !*child {
					out, err := exec.Command(os.Args[0], "-child", "-dir", *dir, "-only", name, "-seed0", fmt.Sprint(sd), "-cpu", fmt.Sprint(*secs), "-rounds", fmt.Sprint(*rounds)).CombinedOutput()
					var d, sc float64
					if _, e := fmt.Sscanf(string(out), "%g %g", &d, &sc); e != nil || err != nil {
						fmt.Println(name, err, string(out))
					}
					mu.Lock()
					r := sum[name]
					r.d += d
					r.s += sc
					r.n++
					mu.Unlock()
					return
				}
				b, _ := os.ReadFile(fn)
				var j job
				if err := json.Unmarshal(b, &j); err != nil {
					fmt.Println(err)
					return
				}
				var shapes []flat.Shape
				var order []int
				var area float64
				for i, it := range j.Items {
					var p flat.Poly
					for _, v := range it.Polygon {
						p = append(p, flat.Pt{X: v[0], Y: v[1]})
					}
					s, ok := flat.NewShape(p, it.Turns, flat.Reach{MM: 1e9, Grow: 0.001})
					if !ok {
						fmt.Println(name, i, "bad")
					}
					shapes = append(shapes, s)
					for q := 0; q < it.Quantity; q++ {
						order = append(order, i)
						area += s.Area
					}
				}
				ctx, cancel := context.WithCancel(context.Background())
				fin, finish := context.WithCancel(context.Background())
				lim := flat.Limits{Rounds: *rounds, Searchers: 1, Seed: int64(*seed0)}
				if *secs > 0 {
					lim.Rounds = 0
					lim.Finish = fin
					go func() {
						for {
							time.Sleep(10 * time.Millisecond)
							if c := cpu(); c > *secs {
								cancel()
							} else if c > *secs*0.8 {
								finish()
							}
						}
					}()
				}
				l := flat.Strip(ctx, shapes, order, j.Container.Width, j.Spacing, lim)
				fmt.Println(100*area/j.Container.Width/l.Length, cpu(), l.Rounds)
				os.Exit(0)
			}()
		}
	}
	wg.Wait()
	var ms, mr float64
	var n int
	for _, name := range names {
		r := sum[name]
		d := r.d / float64(r.n)
		fmt.Printf("%-10s %6.2f  best %6.2f ref %6.2f  gap %5.2f  %5.1fs\n", name, d, ref[name][0], ref[name][1], ref[name][1]-d, r.s/float64(r.n))
		if ref[name][1] > 0 {
			ms += d
			mr += ref[name][1]
			n++
		}
	}
	fmt.Printf("mean classic gap %.2f  cpu %.1f\n", (mr-ms)/float64(max(1, n)), cpu())
}
