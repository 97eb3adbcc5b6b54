// Package scan holds measured points against the part as drawn: brings them onto it without a start guess, says how far they are off,
// where, and whether a profile tolerance holds.
//
// Lengths in mm, deviations positive outside the material. Best fit hides errors of location; for acceptance against datums those are
// measured by themselves (handbook 6.8).
//
// Promises: a part moved and turned at random, scanned with noise, is found again, and a bump is told with its size and side (TestBump);
// the same points give the same answer.
package scan

import (
	"context"
	"math"
	"path"
	"strings"

	"firstoff/geom/bvh"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/geom/register"
	"firstoff/intake"
	"firstoff/intake/content"
	"firstoff/intake/ply"
	"firstoff/intake/xyz"
	"firstoff/quality/inspect"
	"firstoff/unit"
)

// Verdict of a comparison.
type Verdict string

const (
	Conforms Verdict = "conforms"
	Fails    Verdict = "does not conform"
	Unasked  Verdict = "no tolerance given"
)

// Result is what the points say.
type Result struct {
	Transform [16]float64    `json:"transform"` // row-major, scan → part
	Points    int            `json:"points"`
	Stats     register.Stats `json:"stats"`
	Fit       register.Fit   `json:"fit"`
	Unique    bool           `json:"unique"` // the points allow no other alignment
	ReachMM   float64        `json:"reach_mm"`
	Tolerance float64        `json:"tolerance_mm,omitempty"` // of the profile, both sides together
	ProfileMM float64        `json:"profile_mm"`
	Verdict   Verdict        `json:"verdict"`
	Regions   []Region       `json:"regions"`
	Bins      []Bin          `json:"bins"`
	BandMM    float64        `json:"band_mm"` // width of a colour band of the map
}

// Region is one side of the part.
type Region struct {
	Name  string         `json:"name"`
	Stats register.Stats `json:"stats"`
}

// Bin counts points between two deviations.
type Bin struct {
	From  float64 `json:"from_mm"`
	To    float64 `json:"to_mm"`
	Count int     `json:"count"`
}

// Points reads measured points: of a PLY or XYZ file, else the corners of a surface in any format intake reads. u is the unit of files that
// state none.
func Points(ctx context.Context, r intake.Reader, name string, data []byte, u unit.Length, l content.Limits) ([]r3.Vec, error) {
	scale := u.MM()
	var pts []r3.Vec
	var err error
	switch ext := strings.ToLower(path.Ext(name)); {
	case strings.HasPrefix(string(data[:min(3, len(data))]), "ply"):
		p, err := ply.ReadPoints(ctx, data, l)
		if err != nil {
			return nil, err
		}
		pts = p.At
	case ext == ".xyz" || ext == ".asc" || ext == ".txt":
		if pts, err = xyz.Read(ctx, data, l); err != nil {
			return nil, err
		}
	default:
		all, err := r.ReadAll(ctx, name, data, intake.Options{Unit: u, Limits: l})
		if err == nil {
			err = all[0].Err
		}
		if err != nil {
			return nil, err
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

// Compare brings points onto m and measures them. tolerance is that of a profile of the surface, equal on both sides (ISO 1101); 0: none.
// Time grows with points × log facets. Faults: those of register.Align and register.Deviations.
func Compare(points []r3.Vec, m *mesh.Mesh, tolerance float64) (Result, register.Map, error) {
	tree := bvh.Build(m)
	g, fit, err := register.Align(points, tree, m, register.Options{})
	if err != nil {
		return Result{}, register.Map{}, err
	}
	out := Result{Points: len(points), Fit: fit, Unique: fit.Unique(), Tolerance: tolerance, Verdict: Unasked}
	out.ReachMM = max(m.Box().Size().Norm()/50, 3*tolerance)
	at, st, err := register.Deviations(points, g, tree, m, out.ReachMM, tolerance)
	if err != nil {
		return Result{}, register.Map{}, err
	}
	t := g.Turn.Mat()
	out.Transform = [16]float64{t[0], t[1], t[2], g.Move.X, t[3], t[4], t[5], g.Move.Y, t[6], t[7], t[8], g.Move.Z, 0, 0, 0, 1}
	out.Stats, out.ProfileMM = st, inspect.ProfileValue(st.Min, st.Max)
	if tolerance > 0 {
		if out.Verdict = Fails; st.Passes(tolerance) {
			out.Verdict = Conforms
		}
	}
	out.BandMM = tolerance / 4
	if tolerance <= 0 {
		out.BandMM = round(max(st.P98, 1e-6) / 3)
	}
	out.Bins = bins(at.Signed, st)
	out.Regions = regions(at, m, tolerance)
	return out, at, nil
}

// round gives a length of one or two digits, for people.
func round(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, k := range []float64{1, 2, 2.5, 5, 10} {
		if x <= k*p*(1+1e-9) {
			return k * p
		}
	}
	return x
}

func bins(signed []float64, st register.Stats) []Bin {
	const n = 21
	half := max(math.Abs(st.P2), math.Abs(st.P97), st.P98) * 1.2
	if half <= 0 {
		return nil
	}
	out := make([]Bin, n)
	w := 2 * half / n
	for i := range out {
		out[i].From, out[i].To = -half+w*float64(i), -half+w*float64(i+1)
	}
	for _, d := range signed {
		if d == d {
			out[min(n-1, max(0, int((d+half)/w)))].Count++
		}
	}
	return out
}

// sides are the six directions a facet may look to, most of all.
var sides = []struct {
	name string
	to   r3.Vec
}{{"+x", r3.Vec{X: 1}}, {"-x", r3.Vec{X: -1}}, {"+y", r3.Vec{Y: 1}}, {"-y", r3.Vec{Y: -1}}, {"+z", r3.Vec{Z: 1}}, {"-z", r3.Vec{Z: -1}}}

func regions(at register.Map, m *mesh.Mesh, tolerance float64) []Region {
	of := make([]uint8, m.Facets())
	for f := range of {
		n, best := m.FacetNormal(f), -1.0
		for i, s := range sides {
			if d := n.Dot(s.to); d > best {
				best, of[f] = d, uint8(i)
			}
		}
	}
	groups := make([][]float64, len(sides))
	for i, d := range at.Signed {
		g := of[at.Facet[i]]
		groups[g] = append(groups[g], d)
	}
	var out []Region
	for i, s := range sides {
		if len(groups[i]) > 0 {
			out = append(out, Region{"facing " + s.name, register.Summed(groups[i], tolerance)})
		}
	}
	return out
}

// Bands of the map, from far inside to far outside; the last stands for "no point there".
const (
	Deep = iota // below −2.5 bands
	Inside2
	Inside1
	Even // within half a band
	Outside1
	Outside2
	High
	Bare
)

// Colors of the bands: blue inside, grey even, red outside, told apart in light and dark as well; white where nothing was measured.
var Colors = [8]content.RGBA{{0x1F, 0x3A, 0x93, 255}, {0x4F, 0x7C, 0xC9, 255}, {0x9F, 0xBC, 0xE3, 255}, {0xCF, 0xCC, 0xC2, 255},
	{0xEB, 0xB1, 0x8C, 255}, {0xD2, 0x6B, 0x46, 255}, {0x93, 0x1F, 0x1F, 255}, {0xF6, 0xF3, 0xEA, 255}}

// Band of a deviation.
func Band(d, width float64) int {
	switch x := d / width; {
	case x != x:
		return Bare
	case x < -2.5:
		return Deep
	case x < -1.5:
		return Inside2
	case x < -0.5:
		return Inside1
	case x <= 0.5:
		return Even
	case x <= 1.5:
		return Outside1
	case x <= 2.5:
		return Outside2
	}
	return High
}

// Vertices is the mean deviation at every vertex of m, of the points on the facets around it; NaN where there are none.
func Vertices(at register.Map, m *mesh.Mesh) []float64 {
	sum, n := make([]float64, m.Vertices()), make([]int32, m.Vertices())
	for i, d := range at.Signed {
		if d != d {
			continue
		}
		f := at.Facet[i]
		for k := range 3 {
			v := m.Tri[3*f+uint32(k)]
			sum[v] += d
			n[v]++
		}
	}
	for v := range sum {
		if n[v] == 0 {
			sum[v] = math.NaN()
		} else {
			sum[v] /= float64(n[v])
		}
	}
	return sum
}
