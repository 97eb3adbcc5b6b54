package main

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"firstoff/shopfloor/nest/chamber"
)

// The voxel sets whose base in cells is known for certain; see the sets' SOURCES.md for the others. The second axis stands up.
var bases = map[string][2]int{"chess": {49, 49}, "shapes": {20, 20}, "liu_experiment1": {150, 150}}

// voxels packs the voxel sets of a folder, without turning unless turn is set, and prints their heights in cells.
func voxels(o options, dir string, turn bool) error {
	fmt.Printf("%-18s %7s %8s %9s %7s %7s %7s %9s\n", "set", "bodies", "height", "density", "bound", "wall s", "cpu s", "rounds")
	for _, name := range []string{"chess", "shapes", "liu_experiment1"} {
		if o.only != "" && !strings.Contains(","+o.only+",", ","+name+",") {
			continue
		}
		kinds, order, err := readVoxels(filepath.Join(dir, name+".json.gz"), turn)
		if err != nil {
			return err
		}
		base := bases[name]
		cells := 0
		for _, k := range order {
			cells += kinds[k].Bodies[0].Count()
		}
		ctx, cancel := context.WithCancel(context.Background())
		start, used := time.Now(), processor()
		switch {
		case o.rounds > 0:
		case o.cpu > 0:
			go func() {
				for processor()-used < o.cpu && ctx.Err() == nil {
					time.Sleep(10 * time.Millisecond)
				}
				cancel()
			}()
		default:
			time.AfterFunc(time.Duration(o.seconds*float64(time.Second)), cancel)
		}
		box := chamber.Box{NX: base[0], NY: base[1]}
		p, ok := chamber.Pack(ctx, kinds, order, box, chamber.Limits{Rounds: o.rounds, Searchers: o.threads, Seed: o.seed})
		cancel()
		if !ok {
			return fmt.Errorf("%s: a body does not fit its box", name)
		}
		if err := disjoint(kinds, order, box, p); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		fmt.Printf("%-18s %7d %8d %8.1f%% %7d %7.1f %7.1f %9d\n", name, len(order), p.Height, 100*float64(cells)/float64(base[0]*base[1]*p.Height),
			(cells+base[0]*base[1]-1)/(base[0]*base[1]), time.Since(start).Seconds(), processor()-used, p.Rounds)
	}
	return nil
}

// disjoint asks the cells themselves whether a packing is one.
func disjoint(kinds []chamber.Kind, order []int, box chamber.Box, p chamber.Packing) error {
	world := chamber.New(box.NX, box.NY, p.Height)
	for i, k := range order {
		s := p.Spots[i]
		b := s.Pose.Turn(kinds[k].Bodies[s.Body])
		if s.X < 0 || s.Y < 0 || s.Z < 0 || s.X+b.NX > box.NX || s.Y+b.NY > box.NY || s.Z+b.NZ > p.Height {
			return fmt.Errorf("body %d leaves the box", i)
		}
		if chamber.Meet(world, b, s.X, s.Y, s.Z) {
			return fmt.Errorf("body %d overlaps another", i)
		}
		for z := range b.NZ {
			for y := range b.NY {
				for x := range b.NX {
					if b.Has(x, y, z) {
						world.Set(x+s.X, y+s.Y, z+s.Z)
					}
				}
			}
		}
	}
	return nil
}

// readVoxels reads one set: run lengths over x, y, z with z fastest, empty first.
func readVoxels(path string, turn bool) (kinds []chamber.Kind, order []int, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	var set struct {
		Pieces []struct {
			ID   string `json:"id"`
			Qty  int    `json:"qty"`
			Dims [3]int `json:"dims"`
			RLE  []int  `json:"rle"`
		} `json:"pieces"`
	}
	if err := json.NewDecoder(z).Decode(&set); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	for k, p := range set.Pieces {
		d := p.Dims
		b := chamber.New(d[0], d[2], d[1])
		at, solid := 0, false
		for _, n := range p.RLE {
			if at+n > d[0]*d[1]*d[2] {
				return nil, nil, fmt.Errorf("%s: %s has more cells than its box", path, p.ID)
			}
			for ; n > 0; n-- {
				if solid {
					b.Set(at/(d[1]*d[2]), d[2]-1-at%d[2], at/d[2]%d[1])
				}
				at++
			}
			solid = !solid
		}
		kind := chamber.Kind{Bodies: []*chamber.Bits{b}}
		if turn {
			kind.Poses = chamber.Poses
		}
		kinds = append(kinds, kind)
		for range p.Qty {
			order = append(order, k)
		}
	}
	return kinds, order, nil
}
