package cad

import (
	"fmt"
	"math"

	"firstoff/geom/r3"
	"firstoff/intake/cad/internal/part21"
	"firstoff/intake/content"
)

// A stated value differs when it is further off than this: the mesh is within 0.1 % of the exact surface by
// itself, and exporters compute theirs to about as much.
const (
	statedShare    = 0.003
	statedCentroid = 0.002 // of the square root of its surface
)

// compareStated warns where the exporter's own values and ours differ.
func compareStated(c *content.Content, a *answer) {
	var volume, area float64
	var centroid r3.Vec
	for _, b := range a.Bodies {
		if b.Ragged == 0 {
			volume += math.Abs(b.Volume)
			centroid = centroid.Add(b.Centroid.Mul(math.Abs(b.Volume)))
		}
		area += b.Area
	}
	off := func(stated, ours float64) bool {
		return stated > 0 && math.Abs(stated-ours) > statedShare*stated
	}
	if v := c.Stated.Volume; off(v, volume) {
		c.Warn("cad_stated_volume", "", fmt.Sprintf("The exporting program states a volume of %s mm³, the bodies read here have %s mm³ together; check for missing or changed bodies.", plain(v), plain(volume)))
	}
	if s := c.Stated.Area; off(s, area) {
		c.Warn("cad_stated_area", "", fmt.Sprintf("The exporting program states a surface of %s mm², the bodies read here have %s mm² together; check for missing or changed faces.", plain(s), plain(area)))
	}
	if p := c.Stated.Centroid; p != nil && volume > 0 {
		if d := centroid.Mul(1 / volume).Dist(*p); d > statedCentroid*math.Sqrt(area) {
			c.Warn("cad_stated_centroid", "", fmt.Sprintf("The exporting program puts the centre of gravity %s mm from where the bodies read here have it; check their places.", plain(d)))
		}
	}
}

// plain prints a number with six figures and no exponent where it can be read that way.
func plain(v float64) string {
	switch {
	case v >= 1e5 && v < 1e15:
		return fmt.Sprintf("%.0f", v)
	case v >= 1:
		return fmt.Sprintf("%.2f", v)
	}
	return fmt.Sprintf("%.4g", v)
}

// instances gives each body the path of the use it came from, or nil when the file's tree and the bodies do
// not tell the same story. Both run depth first in the file's order; the names must agree one by one. Which of
// several uses of one part in one assembly a body is, is told by order alone.
func instances(uses []part21.Occurrence, bodies []wireBody) []string {
	total := 0
	for _, u := range uses {
		total += u.Bodies
	}
	if total == 0 || total != len(bodies) {
		return nil
	}
	paths := make([]string, 0, len(bodies))
	for _, u := range uses {
		for range u.Bodies {
			if n := bodies[len(paths)].Name; u.Bodies == 1 && n != "" && n != u.Product {
				return nil
			}
			paths = append(paths, u.Path)
		}
	}
	return paths
}
