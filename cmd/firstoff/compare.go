package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"firstoff/fault"
	"firstoff/geom/bvh"
	"firstoff/geom/r3"
	"firstoff/geom/register"
	"firstoff/intake/content"
	"firstoff/intake/ply"
	"firstoff/part/survey"
	"firstoff/unit"
)

type compareCmd struct {
	Nominal   string  `arg:"" help:"The part as drawn: any model file."`
	Scan      string  `arg:"" help:"What was measured: points (PLY, XYZ) or a surface whose corners are taken."`
	Tolerance float64 `name:"tolerance_mm" help:"Profile tolerance: a point may lie half of it off either way (ISO 1101, equal and bilateral)." default:"0"`
	Unit      string  `help:"Length unit of files that state none." enum:"mm,cm,m,in,ft,um" default:"mm"`
	JSON      bool    `help:"Answer as JSON."`
}

// Help is printed below the options.
func (c *compareCmd) Help() string {
	return `Brings the measured points onto the part without a start guess (best fit: trimmed, point to plane) and says how far they are off, outside positive. Best fit hides errors of location; for acceptance against datums measure those. The verdict is about the largest deviation (handbook 6.8).`
}

// compared is the answer (DESIGN §7).
type compared struct {
	Transform [16]float64 `json:"transform"` // row-major, scan → nominal
	Points    int         `json:"points"`
	MeanMM    float64     `json:"mean_mm"`
	RMSMM     float64     `json:"rms_mm"`
	P95MM     float64     `json:"p95_mm"`
	MaxMM     float64     `json:"max_mm"`
	MinMM     float64     `json:"min_mm"`
	Inside    float64     `json:"inside_fraction"`
	Verdict   string      `json:"verdict"` // conforms, does not conform, no tolerance given
	Unique    bool        `json:"unique"`  // the points allow no other alignment
	Beyond    int         `json:"beyond"`  // points too far off to belong to the part, counted nowhere else
}

// Run compares.
func (c *compareCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	all, err := readFile(ctx, c.Nominal, unit.Length(c.Unit))
	if err == nil {
		err = all[0].Err
	}
	if err != nil {
		a.fail(err, c.Nominal)
		return a.end()
	}
	sv, err := survey.Of(ctx, all[0].File, survey.Options{})
	if err != nil {
		a.fail(err, c.Nominal)
		return a.end()
	}
	pts, err := c.points(ctx)
	if err != nil {
		a.fail(err, c.Scan)
		return a.end()
	}
	m := sv.Whole
	tree := bvh.Build(m)
	g, fit, err := register.Align(pts, tree, m, register.Options{})
	if err != nil {
		a.fail(err, c.Scan)
		return a.end()
	}
	reach := max(m.Box().Size().Norm()/50, 3*c.Tolerance)
	_, st, err := register.Deviations(pts, g, tree, m, reach, c.Tolerance)
	if err != nil {
		a.fail(err, c.Scan)
		return a.end()
	}
	t := g.Turn.Mat()
	out := compared{Transform: [16]float64{t[0], t[1], t[2], g.Move.X, t[3], t[4], t[5], g.Move.Y, t[6], t[7], t[8], g.Move.Z, 0, 0, 0, 1},
		Points: len(pts), MeanMM: st.Mean, RMSMM: st.RMS, P95MM: st.P95, MaxMM: st.Max, MinMM: st.Min, Inside: st.Inside, Unique: fit.Unique(), Beyond: st.Beyond, Verdict: "no tolerance given"}
	if c.Tolerance > 0 {
		out.Verdict = "conforms"
		if !st.Passes(c.Tolerance) {
			out.Verdict = "does not conform"
		}
	}
	a.ok(out, func(w io.Writer) {
		fmt.Fprintf(w, "%s against %s: %d points, mean %+.4f mm, rms %.4f mm, 95 %% within %.4f mm, from %+.4f to %+.4f mm\n", filepath.Base(c.Scan), filepath.Base(c.Nominal), out.Points, out.MeanMM, out.RMSMM, out.P95MM, out.MinMM, out.MaxMM)
		if out.Beyond > 0 {
			fmt.Fprintf(w, "  %d points lie more than %.2f mm off and were not counted\n", out.Beyond, reach)
		}
		if !out.Unique {
			fmt.Fprintln(w, "  the part is symmetric or the points do not tell: another alignment fits as well")
		}
		fmt.Fprintf(w, "  verdict: %s\n", out.Verdict)
	})
	return a.end()
}

// points reads the scan: points of a PLY or XYZ file, else the corners of a surface.
func (c *compareCmd) points(ctx context.Context) ([]r3.Vec, error) {
	data, err := readBytes(c.Scan)
	if err != nil {
		return nil, err
	}
	scale := unit.Length(c.Unit).MM()
	var pts []r3.Vec
	switch {
	case bytes.HasPrefix(data, []byte("ply")):
		p, err := ply.ReadPoints(ctx, data, content.Limits{})
		if err != nil {
			return nil, err
		}
		pts = p.At
	case strings.EqualFold(filepath.Ext(c.Scan), ".xyz"):
		if pts, err = readXYZ(data); err != nil {
			return nil, err
		}
	default:
		all, err := readFile(ctx, c.Scan, unit.Length(c.Unit))
		if err != nil {
			return nil, err
		}
		if all[0].Err != nil {
			return nil, all[0].Err
		}
		for _, b := range all[0].File.Bodies {
			for i := range b.Mesh.Vertices() {
				pts = append(pts, b.Mesh.Vertex(uint32(i)))
			}
		}
		return pts, nil
	}
	for i := range pts {
		pts[i] = pts[i].Mul(scale)
	}
	return pts, nil
}

// readXYZ reads a text of points: three numbers a line, what follows them is passed over, as are empty lines and lines that begin with #.
func readXYZ(data []byte) ([]r3.Vec, error) {
	var out []r3.Vec
	n := 0
	for line := range strings.Lines(string(data)) {
		n++
		f := strings.FieldsFunc(line, func(r rune) bool { return r == ' ' || r == '\t' || r == ',' || r == ';' || r == '\r' || r == '\n' })
		if len(f) == 0 || strings.HasPrefix(f[0], "#") {
			continue
		}
		var v [3]float64
		if len(f) < 3 {
			return nil, fault.New(fault.Invalid, "xyz_line", fmt.Sprintf("line %d", n), "The line holds %d numbers; a point has three.", len(f))
		}
		for i := range v {
			x, err := strconv.ParseFloat(f[i], 64)
			if err != nil || x != x || x > 1e9 || x < -1e9 {
				return nil, fault.New(fault.Invalid, "xyz_line", fmt.Sprintf("line %d", n), "%q is not a coordinate.", f[i])
			}
			v[i] = x
		}
		out = append(out, r3.FromArray(v))
	}
	if len(out) == 0 {
		return nil, fault.New(fault.Invalid, "xyz_empty", "", "The file holds no points.")
	}
	return out, nil
}
