package printability

import (
	"math"

	"firstoff/geom/r3"
	"firstoff/part"
)

// rough: what the stair steps of this pose come to, against the process's own floor; indicative, as every roughness model is.
func rough(q *Question) []part.Finding {
	if q.Geometry == nil || q.Pose == nil || q.LayerMM <= 0 || q.Process.RaUM <= 0 {
		return nil
	}
	mean, worst, share := q.Geometry.Roughness(*q.Pose, q.LayerMM, q.Process.RaUM)
	if mean < 1.5*q.Process.RaUM {
		return nil
	}
	return one(finding(Note, "handbook 2.3: Ra = t·cos a/4 with the process floor, indicative", mean, q.Process.RaUM, "um",
		"In this pose and layers of %.3g mm the mean Ra is about %.0f µm; %.0f %% of the surface is rougher than %.0f µm (indicative).", q.LayerMM, mean, share*100, 0.75*worst))
}

// Roughness is the area's mean Ra, the worst, and the share of the area over three quarters of the worst, in a pose: saw-tooth of the stair
// steps with the process floor (handbook 2.3).
func (g *Geometry) Roughness(pose r3.Quat, layer, floor float64) (mean, worst, share float64) {
	up := pose.Inverse().Rotate(r3.Vec{Z: 1})
	var total float64
	normals := g.normals()
	ra := make([]float64, len(normals))
	area := make([]float64, len(normals))
	for f, n := range normals {
		l := n.Norm()
		if l == 0 {
			continue
		}
		z := math.Abs(n.Dot(up)) / l // = cos of the slope from the horizontal
		stair := 0.0
		if z < 0.9995 { // level faces have no steps
			stair = layer * z / 4 * 1000
		}
		ra[f], area[f] = TotalRaUM(stair, floor), l/2
		mean += ra[f] * area[f]
		total += area[f]
		worst = math.Max(worst, ra[f])
	}
	if total == 0 {
		return 0, 0, 0
	}
	for f := range ra {
		if ra[f] > 0.75*worst {
			share += area[f]
		}
	}
	return mean / total, worst, share / total
}
