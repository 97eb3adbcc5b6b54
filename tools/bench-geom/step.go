package main

import (
	"context"
	"fmt"
	"os"
	"syscall"
	"time"

	"firstoff/intake/cad"
)

// importstep: a STEP file to triangles, names, cylinders and holes, at the chord and angle the peers use. The kernel
// runs in a child whose processor time is counted: cold_cpu_seconds with the loading of the compiled kernel,
// cpu_seconds without, as the second of two files read by one child costs it.
func init() {
	cad.ChildMain()
	ops["importstep"] = func(args []string, l *line) error {
		data, err := os.ReadFile(args[0])
		if err != nil {
			return err
		}
		opt := cad.Options{Chord: 0.05, Angle: 0.3, Deadline: 10 * time.Minute}
		if err := cad.Warm(context.Background(), opt); err != nil { // compiled into the cache
			return err
		}
		children := func() float64 {
			var u syscall.Rusage
			if syscall.Getrusage(syscall.RUSAGE_CHILDREN, &u) != nil {
				return 0
			}
			return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
		}
		var volume, area float64
		run := func(files int) (float64, error) {
			opt.Workers = cad.NewWorkers(1)
			before := children() + cpu()
			for range files {
				l.start()
				c, err := cad.Read(context.Background(), args[0], data, opt)
				if err != nil {
					return 0, err
				}
				l.stop()
				l.N, volume, area = 0, 0, 0
				for _, b := range c.Bodies {
					m := b.Mesh.Measure()
					l.N += b.Mesh.Facets()
					volume += m.VolumeMM3
					area += m.AreaMM2
				}
			}
			opt.Workers.Close()
			return children() + cpu() - before, nil
		}
		one, err := run(1)
		if err != nil {
			return err
		}
		two, err := run(2)
		if err != nil {
			return err
		}
		l.CPU = two - one
		l.add("cold_cpu_seconds", one)
		l.add("volume_mm3", volume)
		l.add("area_mm2", area)
		if l.N == 0 {
			return fmt.Errorf("no triangles")
		}
		return nil
	}
}
