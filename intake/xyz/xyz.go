// Package xyz reads texts of points: three numbers a line, in the file's unit. What follows them on a line is passed over, as are empty
// lines and lines that begin with #. There is no standard; measuring machines commonly write it so (common practice).
package xyz

import (
	"bytes"
	"context"
	"fmt"
	"strconv"
	"strings"

	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

// Read reads the points. Faults: Invalid "xyz_line" with the line, "xyz_empty"; TooLarge "too_many_points".
func Read(ctx context.Context, data []byte, l content.Limits) ([]r3.Vec, error) {
	most := l.Triangles
	if most <= 0 {
		most = content.DefaultLimits.Triangles
	}
	var out []r3.Vec
	n := 0
	for line := range bytes.Lines(data) {
		if n++; n%(1<<16) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		f := strings.FieldsFunc(string(line), func(r rune) bool {
			return r == ' ' || r == '\t' || r == ',' || r == ';' || r == '\r' || r == '\n'
		})
		if len(f) == 0 || strings.HasPrefix(f[0], "#") {
			continue
		}
		where := fmt.Sprintf("line %d", n)
		if len(f) < 3 {
			return nil, fault.New(fault.Invalid, "xyz_line", where, "The line holds %d numbers; a point has three.", len(f))
		}
		var v [3]float64
		for i := range v {
			x, err := strconv.ParseFloat(f[i], 64)
			if err != nil || x != x || x > 1e9 || x < -1e9 {
				return nil, fault.New(fault.Invalid, "xyz_line", where, "%.40q is not a coordinate.", f[i])
			}
			v[i] = x
		}
		if out = append(out, r3.FromArray(v)); len(out) > most {
			return nil, fault.New(fault.TooLarge, "too_many_points", where, "The file has more than %d points; thin it out.", most)
		}
	}
	if len(out) == 0 {
		return nil, fault.New(fault.Invalid, "xyz_empty", "", "The file holds no points.")
	}
	return out, nil
}
