package paper

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"time"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/quality/scan"
)

// Scan prints how measured points stand off the part: a map from three sides, figures by side, and the verdict. at is the mean deviation at
// every vertex of m (scan.Vertices).
func (p *Press) Scan(points, nominal string, made time.Time, r scan.Result, at []float64, m *mesh.Mesh) ([]byte, error) {
	s, err := newSheet("Scan of "+nominal, p.Catalogue().Firm.Name+" · "+points+" against "+nominal, made)
	if err != nil {
		return nil, err
	}
	s.title("Scan against the part as drawn", wide)
	s.rows([][2]string{{"part", nominal}, {"measured", fmt.Sprintf("%s, %d points", points, r.Points)}, {"verdict", verdict(r)},
		{"aligned", "best fit, point to surface, the worst 15 % left out; errors of location are not seen by it"}})
	if !r.Unique {
		s.ink("B", 9.5)
		s.MultiCell(wide, 5, "Another alignment fits as well: the part is symmetric, or the points do not tell.", "", "L", false)
	}
	s.heading(fmt.Sprintf("Map, a band is %.4g mm", r.BandMM))
	y := s.GetY()
	for i, v := range []struct {
		name   string
		to, up r3.Vec
	}{{"from above", r3.Vec{Z: 1}, r3.Vec{Y: 1}}, {"from the front", r3.Vec{Y: -1}, r3.Vec{Z: 1}}, {"askew", r3.Vec{X: 1, Y: -1, Z: 0.8}, r3.Vec{Z: 1}}} {
		img, err := view(m, at, r.BandMM, v.to, v.up)
		if err != nil {
			return nil, err
		}
		x := left + float64(i)*57
		s.picture(fmt.Sprint("view", i), img, x, y, 55)
		s.SetXY(x, y+55)
		s.quiet(8)
		s.CellFormat(55, 4, v.name, "", 0, "C", false, 0, "")
	}
	s.SetXY(left, y+61)
	names := [8]string{"inside", "", "", "even", "", "", "outside", "no point"}
	for i, c := range scan.Colors {
		s.SetFillColor(int(c[0]), int(c[1]), int(c[2]))
		s.SetDrawColor(lineRGB[0], lineRGB[1], lineRGB[2])
		x := left + float64(i)*21
		s.Rect(x, s.GetY(), 20, 4, "FD")
		s.SetXY(x, s.GetY())
		s.SetXY(x, y+65.5)
		s.quiet(7.5)
		s.CellFormat(20, 4, names[i], "", 0, "C", false, 0, "")
		s.SetXY(left, y+61)
	}
	s.SetXY(left, y+72)
	s.heading("Figures, mm; outside is positive")
	line := func(bold bool, cells ...string) {
		s.room(6)
		style := ""
		if bold {
			style = "B"
		}
		for i, c := range cells {
			s.ink(style, 9)
			w, align := 21.0, "R"
			if i == 0 {
				w, align = 34, "L"
			}
			s.CellFormat(w, 5, c, "", 0, align, false, 0, "")
		}
		s.Ln(5)
	}
	line(true, "where", "points", "mean", "s", "least", "most", "95 % within")
	f := func(x float64) string { return fmt.Sprintf("%+.4f", x) }
	all := r.Stats
	line(false, "all", fmt.Sprint(all.Count), f(all.Mean), fmt.Sprintf("%.4f", all.SD), f(all.Min), f(all.Max), fmt.Sprintf("%.4f", all.P95))
	for _, g := range r.Regions {
		x := g.Stats
		line(false, g.Name, fmt.Sprint(x.Count), f(x.Mean), fmt.Sprintf("%.4f", x.SD), f(x.Min), f(x.Max), fmt.Sprintf("%.4f", x.P95))
	}
	if all.Beyond > 0 {
		s.quiet(8.5)
		s.MultiCell(wide, 4.4, fmt.Sprintf("%d points lie more than %.2f mm off and were not counted.", all.Beyond, r.ReachMM), "", "L", false)
	}
	s.heading("How often")
	most := 1
	for _, b := range r.Bins {
		most = max(most, b.Count)
	}
	s.room(40)
	y = s.GetY()
	for i, b := range r.Bins {
		h := 30 * float64(b.Count) / float64(most)
		c := scan.Colors[scan.Band((b.From+b.To)/2, r.BandMM)]
		s.SetFillColor(int(c[0]), int(c[1]), int(c[2]))
		s.SetDrawColor(lineRGB[0], lineRGB[1], lineRGB[2])
		s.Rect(left+float64(i)*8, y+30-h, 7.4, math.Max(h, 0.1), "FD")
	}
	if n := len(r.Bins); n > 0 {
		s.SetXY(left, y+31)
		s.quiet(8)
		s.CellFormat(60, 4, f(r.Bins[0].From), "", 0, "L", false, 0, "")
		s.SetXY(left+8*float64(n)-60, y+31)
		s.CellFormat(60, 4, f(r.Bins[n-1].To), "", 1, "R", false, 0, "")
	}
	return s.bytes()
}

func verdict(r scan.Result) string {
	if r.Tolerance <= 0 {
		return string(scan.Unasked)
	}
	return fmt.Sprintf("%s to a profile of the surface of %.4g mm: the points show %.4g mm", r.Verdict, r.Tolerance, r.ProfileMM)
}

// view draws a mesh looked at from a direction, each facet in the band of its corners' deviations, shaded a little, 440 × 440.
func view(m *mesh.Mesh, at []float64, band float64, to, up r3.Vec) ([]byte, error) {
	const n = 440
	to = to.Unit()
	x := up.Cross(to).Unit()
	y := to.Cross(x)
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	px := make([][3]float64, m.Vertices())
	for i := range px {
		v := m.Vertex(uint32(i))
		px[i] = [3]float64{v.Dot(x), v.Dot(y), v.Dot(to)}
		for k := range 2 {
			lo[k], hi[k] = math.Min(lo[k], px[i][k]), math.Max(hi[k], px[i][k])
		}
	}
	scale := (n - 12) / math.Max(math.Max(hi[0]-lo[0], hi[1]-lo[1]), 1e-9)
	for i := range px {
		px[i][0] = n/2 + (px[i][0]-(lo[0]+hi[0])/2)*scale
		px[i][1] = n/2 - (px[i][1]-(lo[1]+hi[1])/2)*scale
	}
	img := image.NewNRGBA(image.Rect(0, 0, n, n))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	depth := make([]float64, n*n)
	for i := range depth {
		depth[i] = math.Inf(-1)
	}
	for f := range m.Facets() {
		a, b, c := m.Tri[3*f], m.Tri[3*f+1], m.Tri[3*f+2]
		normal := m.FacetNormal(f)
		facing := normal.Dot(to)
		if facing <= 0 {
			continue
		}
		shade := 0.72 + 0.28*facing
		p, q, r := px[a], px[b], px[c]
		area := (q[0]-p[0])*(r[1]-p[1]) - (q[1]-p[1])*(r[0]-p[0])
		if area == 0 {
			continue
		}
		x0, x1 := int(math.Max(0, math.Floor(min(p[0], q[0], r[0])))), int(math.Min(n-1, math.Ceil(max(p[0], q[0], r[0]))))
		y0, y1 := int(math.Max(0, math.Floor(min(p[1], q[1], r[1])))), int(math.Min(n-1, math.Ceil(max(p[1], q[1], r[1]))))
		for yy := y0; yy <= y1; yy++ {
			for xx := x0; xx <= x1; xx++ {
				u, v := float64(xx)+0.5, float64(yy)+0.5
				w0 := ((q[0]-u)*(r[1]-v) - (q[1]-v)*(r[0]-u)) / area
				w1 := ((r[0]-u)*(p[1]-v) - (r[1]-v)*(p[0]-u)) / area
				w2 := 1 - w0 - w1
				if w0 < -1e-9 || w1 < -1e-9 || w2 < -1e-9 {
					continue
				}
				z := w0*p[2] + w1*q[2] + w2*r[2]
				if i := yy*n + xx; z > depth[i] {
					depth[i] = z
					k := scan.Colors[scan.Band(w0*at[a]+w1*at[b]+w2*at[c], band)]
					img.SetNRGBA(xx, yy, color.NRGBA{uint8(float64(k[0]) * shade), uint8(float64(k[1]) * shade), uint8(float64(k[2]) * shade), 255})
				}
			}
		}
	}
	var out bytes.Buffer
	if err := png.Encode(&out, img); err != nil {
		return nil, fault.Because(err, fault.Internal, "paper", "", "The map could not be drawn.")
	}
	return out.Bytes(), nil
}
