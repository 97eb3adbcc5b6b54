package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake"
	"firstoff/intake/content"
	"firstoff/part/survey"
	"firstoff/unit"
)

type checkCmd struct {
	Files []string `arg:"" name:"file" help:"Model files (STL, OBJ, 3MF, PLY, OFF, AMF, GLB, STEP, IGES, BREP) or ZIP of them."`
	Unit  string   `help:"Length unit of files that state none, or to overrule what they state." enum:"mm,cm,m,in,ft,um," default:""`
	Shop  string   `help:"The shop's catalogue, whose processes the findings are for; the made-up shop if left out." placeholder:"FILE"`
	Need  string   `help:"What the part must do: a YAML file, as for quote; findings are held against it." placeholder:"FILE"`
	Tol   float64  `name:"tolerance" help:"Tightest tolerance asked, ± mm: for the findings, and for how finely CAD surfaces are cut into facets." placeholder:"MM"`
	Over  float64  `help:"Length that tolerance holds over, mm; the longest extent if left out." placeholder:"MM"`
	Pose  string   `help:"A chosen pose to look at besides all six sides: unit quaternion w,x,y,z, as quote --json gives it." placeholder:"W,X,Y,Z"`
	Quick bool     `help:"Leave out the search for facets that cut each other."`
	JSON  bool     `help:"One JSON object a line for each file."`
}

// Help is printed below the options.
func (c *checkCmd) Help() string {
	return `Counts describe the file as received; volumes the mended solid. The file itself is never changed.

Examples:
  firstoff check bracket.stl
  firstoff check --unit in --json *.stl`
}

// Run looks every file over; one bad file does not stop the others.
func (c *checkCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	cat, err := catalogue(c.Shop)
	if err != nil {
		return a.stop(err)
	}
	req, err := requirementWith(c.Need, c.Tol, c.Over)
	if err != nil {
		return a.stop(err)
	}
	pose, err := poseOf(c.Pose)
	if err != nil {
		return a.stop(err)
	}
	for _, name := range c.Files {
		all, err := readFileFor(ctx, name, unit.Length(c.Unit), req.ToleranceMM)
		if err != nil {
			a.fail(err, name)
			continue
		}
		for _, o := range all {
			if o.Err != nil {
				a.fail(o.Err, name)
				continue
			}
			sv, err := survey.Of(ctx, o.File, survey.Options{Crossings: !c.Quick, Walls: true})
			if err != nil {
				a.fail(err, name)
				continue
			}
			sheet := sv.Sheet(findings(sv, cat, req, pose))
			a.ok(sheet, func(w io.Writer) { printSheet(w, sheet) })
		}
	}
	return a.end()
}

// poseOf reads a unit quaternion; "" is none.
func poseOf(s string) (*r3.Quat, error) {
	if s == "" {
		return nil, nil
	}
	var q [4]float64
	n, err := fmt.Sscanf(strings.ReplaceAll(s, " ", ""), "%g,%g,%g,%g", &q[0], &q[1], &q[2], &q[3])
	l := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
	if n != 4 || err != nil || !(math.Abs(l-1) < 1e-3) {
		return nil, fault.New(fault.Invalid, "pose_form", "--pose", "%q is not a unit quaternion; write it as 1,0,0,0.", s)
	}
	p := r3.Quat{W: q[0], X: q[1], Y: q[2], Z: q[3]}.Unit()
	return &p, nil
}

// readFile reads a model file from disk through the intake door.
func readFile(ctx context.Context, path string, u unit.Length) ([]intake.Outcome, error) {
	return readFileFor(ctx, path, u, 0)
}

// readFileFor is readFile for a part of which a tolerance is asked, mm; 0: none.
func readFileFor(ctx context.Context, path string, u unit.Length, tolerance float64) ([]intake.Outcome, error) {
	data, err := readBytes(path)
	if err != nil {
		return nil, err
	}
	return reader().ReadAll(ctx, filepath.Base(path), data, intake.Options{Unit: u, AllowEmpty: true, ToleranceMM: tolerance})
}

// readBytes reads a file from disk within the limit.
func readBytes(path string) ([]byte, error) {
	st, err := os.Stat(path)
	switch {
	case os.IsNotExist(err):
		return nil, fault.New(fault.NotFound, "file_missing", "", "There is no such file; check the path.")
	case err != nil:
		return nil, fault.Because(err, fault.Invalid, "file_unreadable", "", "The file cannot be opened; check its permissions.")
	case st.IsDir():
		return nil, fault.New(fault.Invalid, "file_is_folder", "", "This is a folder; name the files in it.")
	case st.Size() > content.DefaultLimits.Bytes:
		return nil, fault.New(fault.TooLarge, "file_too_large", "", "The file has %d MiB; at most %d MiB are taken.", st.Size()>>20, content.DefaultLimits.Bytes>>20)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fault.Because(err, fault.Invalid, "file_unreadable", "", "The file cannot be read; check its permissions.")
	}
	return data, nil
}

func printSheet(w io.Writer, s survey.Sheet) {
	fmt.Fprintf(w, "%s  %s, %d triangles in %d bodies, sha256 %s\n", s.File, s.Format, s.Total.Triangles, len(s.Bodies), s.SHA256.Short())
	if s.Unit.Question != "" {
		fmt.Fprintf(w, "  unit      %s, %.0f %% sure. %s\n", s.Unit.Name, 100*s.Unit.Confidence, s.Unit.Question)
	} else {
		fmt.Fprintf(w, "  unit      %s\n", s.Unit.Name)
	}
	size := [3]float64{}
	for i := range size {
		size[i] = s.Total.MaxMM[i] - s.Total.MinMM[i]
	}
	fmt.Fprintf(w, "  box       %.3f × %.3f × %.3f mm\n  volume    %.3f mm³\n  area      %.3f mm²\n", size[0], size[1], size[2], s.Total.VolumeMM3, s.Total.AreaMM2)
	closed := "closed"
	if !s.Total.Closed {
		closed = "not closed"
	}
	fmt.Fprintf(w, "  surface   %s\n", closed)
	for _, b := range s.Bodies {
		var bad []string
		for _, d := range []struct {
			n    int
			name string
		}{{b.BoundaryLoops, "open loops"}, {b.NonManifoldEdges, "edges of more than two facets"}, {b.Flipped, "flipped facets"}, {b.Degenerate, "degenerate facets"}, {b.Duplicates, "duplicate facets"}, {b.SelfIntersect, "pairs of facets that cut each other"}} {
			if d.n > 0 {
				bad = append(bad, fmt.Sprintf("%d %s", d.n, d.name))
			}
		}
		if len(bad) > 0 {
			fmt.Fprintf(w, "  %-9s %s\n", b.Name, strings.Join(bad, ", "))
		}
		for _, m := range b.Mended {
			fmt.Fprintf(w, "    mended  %s\n", m)
		}
	}
	for _, h := range s.Holes {
		fmt.Fprintf(w, "  hole      Ø %.3f mm, %.3f mm deep\n", h.DiameterMM, h.DepthMM)
	}
	for _, x := range s.Warnings {
		fmt.Fprintf(w, "  note      %s\n", x.Message)
	}
	for _, f := range s.Findings {
		fmt.Fprintf(w, "  %-9s %s\n", f.Severity, f.Message)
	}
}
