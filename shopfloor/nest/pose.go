package nest

import "firstoff/fault"

// Choice is a part that may be built in several poses, each with its own footprint.
type Choice struct {
	ID       string
	Quantity int
	Priority int
	Poses    []PoseOption // the one preferred alone first
}

// PoseOption is one pose of a part.
type PoseOption struct {
	Outline     [][2]float64
	RotationDeg []float64 // turns about z; none means the four quarter turns
}

// Posed is what BestPoses settled on.
type Posed struct {
	Pose  []int // per choice, an index into its Poses
	Trays []Tray
	Cost  float64
}

// BestPoses chooses poses and places together: it lays all parts in the poses they prefer alone, then lets one part after the other take
// another pose as long as the cost of the whole falls, laying everything afresh each time. cost is the caller's: machine hours of the
// trays with the heights of the poses chosen, supports, swaths; it must depend on its arguments only. At most evaluations layouts are
// tried (each some milliseconds); the first counts. The result never costs more than the preferred poses do.
func BestPoses(choices []Choice, width, depth, spacing, margin float64, q Quick, evaluations int, cost func(pose []int, trays []Tray) float64) (Posed, error) {
	for _, c := range choices {
		if len(c.Poses) == 0 {
			return Posed{}, fault.New(fault.Invalid, "nest_pose", c.ID, "The part has no pose to be built in.")
		}
	}
	lay := func(pose []int) ([]Tray, error) {
		parts := make([]Part, len(choices))
		for i, c := range choices {
			o := c.Poses[pose[i]]
			parts[i] = Part{c.ID, c.Quantity, o.Outline, c.Priority, o.RotationDeg}
		}
		return Platform(parts, width, depth, spacing, margin, q)
	}
	best := Posed{Pose: make([]int, len(choices))}
	// The preferred pose may not fit at all: take the first that does.
	var err error
	for i, c := range choices {
		ok := false
		for k, o := range c.Poses {
			if _, err = Platform([]Part{{c.ID, min(1, c.Quantity), o.Outline, 0, o.RotationDeg}}, width, depth, spacing, margin, q); err == nil {
				best.Pose[i], ok = k, true
				break
			}
		}
		if !ok {
			return Posed{}, err
		}
	}
	if best.Trays, err = lay(best.Pose); err != nil {
		return Posed{}, err
	}
	best.Cost = cost(best.Pose, best.Trays)
	for tried, better := 1, true; better && tried < evaluations; {
		better = false
		for i, c := range choices {
			for k := range c.Poses {
				if k == best.Pose[i] || tried >= evaluations {
					continue
				}
				pose := append([]int(nil), best.Pose...)
				pose[i] = k
				tried++
				trays, err := lay(pose)
				if err != nil { // does not fit in this pose
					continue
				}
				if v := cost(pose, trays); v < best.Cost {
					best, better = Posed{pose, trays, v}, true
				}
			}
		}
	}
	return best, nil
}
