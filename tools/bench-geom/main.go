// Command bench-geom times the geometry kernel the way a run over general-purpose libraries times them: one operation
// a call, one JSON line out. It is called by operation, either as its first argument or by the name it is linked under:
//
//	bench-geom load part.stl        peer-load-firstoff part.stl        (a link named peer-OP-anything)
//
// PEER_THREADS is the number of cores it may use (1 if unset). Files are binary STL, points as int64 count and float64 triples.
// Operations sit in a table, each in a file of its own.
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// op times one operation on the files of args and adds what it found to the line.
type op func(args []string, l *line) error

// ops is filled by the init of each operation's file.
var ops = map[string]op{}

func main() {
	name, args := filepath.Base(os.Args[0]), os.Args[1:]
	if p := strings.Split(name, "-"); len(p) >= 3 && p[0] == "peer" {
		name = p[1]
	} else if len(args) > 0 {
		name, args = args[0], args[1:]
	}
	f, ok := ops[name]
	if !ok || len(args) == 0 {
		var names []string
		for n := range ops {
			names = append(names, n)
		}
		slices.Sort(names)
		fmt.Fprintln(os.Stderr, "usage: bench-geom "+strings.Join(names, "|")+" FILE...")
		os.Exit(2)
	}
	threads, _ := strconv.Atoi(os.Getenv("PEER_THREADS"))
	runtime.GOMAXPROCS(max(threads, 1))
	l := &line{Op: name, Lib: "firstoff", Version: runtime.Version(), File: filepath.Base(args[0]), Threads: max(threads, 1)}
	if bi, ok := debug.ReadBuildInfo(); ok {
		for _, s := range bi.Settings {
			if s.Key == "vcs.revision" {
				l.Version = s.Value[:min(12, len(s.Value))]
			}
		}
	}
	if err := f(args, l); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	l.print()
}

// line is the answer: fixed fields first, then what the operation adds.
type line struct {
	Op, Lib, Version, File string
	N, Threads             int
	Seconds, CPU           float64

	wall  time.Time
	cpu   float64
	extra []string
}

// start begins the clock, after a collection so that what was read before does not fall into it.
func (l *line) start() {
	runtime.GC()
	l.wall, l.cpu = time.Now(), cpu()
}

// stop ends the clock.
func (l *line) stop() { l.Seconds, l.CPU = l.since(), l.worked() }

// since is the wall time from start.
func (l *line) since() float64 { return time.Since(l.wall).Seconds() }

// worked is the processor time from start, all cores together.
func (l *line) worked() float64 { return cpu() - l.cpu }

// add appends a field.
func (l *line) add(key string, value any) {
	b, err := json.Marshal(value)
	if err != nil {
		b = []byte("null")
	}
	l.extra = append(l.extra, fmt.Sprintf("%q: %s", key, b))
}

func (l *line) print() {
	head := fmt.Sprintf(`{"op": %q, "lib": %q, "version": %q, "file": %q, "n": %d, "threads": %d, "seconds": %.6g, "cpu_seconds": %.6g`,
		l.Op, l.Lib, l.Version, l.File, l.N, l.Threads, l.Seconds, l.CPU)
	for _, e := range l.extra {
		head += ", " + e
	}
	fmt.Printf("%s, \"peak_rss_mb\": %.1f}\n", head, rss())
}

func cpu() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func rss() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Maxrss) / 1024
}
