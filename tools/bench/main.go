// Command bench measures the whole program as a user meets it: it makes parts of known size, runs bin/firstoff over them
// several times, and prints medians of wall time, processor time and peak memory. Figures in docs/performance.md come from
// here; say what else ran on the machine.
package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"syscall"
	"time"

	"firstoff/geom/geomtest"
	"firstoff/intake/stl"
)

type run struct {
	wall, cpu time.Duration
	rssMB     float64
}

func main() {
	runs := flag.Int("runs", 3, "runs of each")
	bin := flag.String("bin", "bin/firstoff", "the program")
	flag.Parse()
	dir, err := os.MkdirTemp("", "firstoff-bench-*")
	if err != nil {
		fail(err)
	}
	defer os.RemoveAll(dir)
	part := func(name string, s geomtest.Solid) string {
		p := filepath.Join(dir, name)
		f, err := os.Create(p)
		if err != nil {
			fail(err)
		}
		if err := stl.Write(f, name, s.Mesh); err != nil {
			fail(err)
		}
		if err := f.Close(); err != nil {
			fail(err)
		}
		return p
	}
	fmt.Println("| what | facets | wall s | cpu s | peak MB |")
	fmt.Println("|---|---|---|---|---|")
	for _, x := range []struct {
		name string
		s    geomtest.Solid
	}{
		{"torus-100k.stl", geomtest.Torus(60, 18, 320, 160)},
		{"torus-1m.stl", geomtest.Torus(60, 18, 1000, 500)},
		{"gyroid-100k.stl", geomtest.Gyroid(60, 18, 0.3, 100_000)},
		{"gyroid-1m.stl", geomtest.Gyroid(80, 18, 0.3, 1_000_000)},
	} {
		p := part(x.name, x.s)
		for _, args := range [][]string{{"quote", "--json", p}, {"check", "--json", p}} {
			m := median(*runs, *bin, args)
			fmt.Printf("| %s %s | %d | %.3f | %.3f | %.0f |\n", args[0], x.name, x.s.Mesh.Facets(), m.wall.Seconds(), m.cpu.Seconds(), m.rssMB)
		}
	}
}

func median(n int, bin string, args []string) run {
	var all []run
	for range n {
		c := exec.Command(bin, args...)
		from := time.Now()
		if out, err := c.CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "%v: %v\n%.500s\n", args, err, out)
			os.Exit(1)
		}
		u := c.ProcessState.SysUsage().(*syscall.Rusage)
		all = append(all, run{time.Since(from), c.ProcessState.UserTime() + c.ProcessState.SystemTime(), float64(u.Maxrss) / 1024})
	}
	sort.Slice(all, func(i, j int) bool { return all[i].wall < all[j].wall })
	return all[len(all)/2]
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "bench:", err)
	os.Exit(1)
}
