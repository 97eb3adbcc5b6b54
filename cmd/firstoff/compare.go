package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/paper"
	"firstoff/part/survey"
	"firstoff/quality/scan"
	"firstoff/shop"
	"firstoff/unit"
)

type compareCmd struct {
	Nominal   string  `arg:"" help:"The part as drawn: any model file."`
	Scan      string  `arg:"" help:"What was measured: points (PLY, XYZ) or a surface whose corners are taken."`
	Tolerance float64 `name:"tolerance_mm" help:"Profile tolerance: a point may lie half of it off either way (ISO 1101, equal and bilateral)." default:"0"`
	Unit      string  `help:"Length unit of files that state none." enum:"mm,cm,m,in,ft,um" default:"mm"`
	Report    string  `help:"Also write a report with a map of the deviations (PDF) to this file." type:"path"`
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
	r, at, err := scan.Compare(pts, sv.Whole, c.Tolerance)
	if err != nil {
		a.fail(err, c.Scan)
		return a.end()
	}
	st := r.Stats
	out := compared{Transform: r.Transform, Points: r.Points, MeanMM: st.Mean, RMSMM: st.RMS, P95MM: st.P95, MaxMM: st.Max, MinMM: st.Min, Inside: st.Inside, Unique: r.Unique, Beyond: st.Beyond, Verdict: string(r.Verdict)}
	reach := r.ReachMM
	if c.Report != "" {
		cat := shop.Catalogue{Firm: shop.Firm{Name: "firstoff"}}
		press := &paper.Press{Catalogue: func() *shop.Catalogue { return &cat }}
		pdf, err := press.Scan(filepath.Base(c.Scan), filepath.Base(c.Nominal), time.Time{}, r, scan.Vertices(at, sv.Whole), sv.Whole)
		if err == nil {
			err = os.WriteFile(c.Report, pdf, 0o644)
		}
		if err != nil {
			a.fail(err, c.Report)
			return a.end()
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

// points reads the scan.
func (c *compareCmd) points(ctx context.Context) ([]r3.Vec, error) {
	data, err := readBytes(c.Scan)
	if err != nil {
		return nil, err
	}
	return scan.Points(ctx, reader(), filepath.Base(c.Scan), data, unit.Length(c.Unit), content.Limits{})
}
