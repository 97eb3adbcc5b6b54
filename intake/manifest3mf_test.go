package intake

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/bvh"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
)

// exceptions3MF are the cases answered otherwise than the manifest says, and why.
var exceptions3MF = map[string]struct{ answer, why string }{
	"verify/MUSTPASS_Chapter3.4.1c_MustIgnoreUndefinedMetadataName.3mf": {"warn", "the unknown metadata name is ignored, as the case demands, and told, as the reference reader's case " +
		"MetaData_Model_DefaultNS_Fail demands of the very same."},
	"reference-reader/Reader_CS-1111_3dmodel-e1r1_other-e1r1.3mf": {"reject", "names two models to begin with; the reference reader takes the first and warns, the conformance case " +
		"verify/MUSTFAIL_Chapter2.1.2 demands refusal. Quoting one of two parts unasked is the worse mistake, so both are refused."},
}

// notes3MF are warnings that tell the desk what it must know of a file with which nothing is wrong.
var notes3MF = map[string]string{
	"no_surface":       "sound, but nothing in it is to be made",
	"3mf_slice_coarse": "only a coarse mesh stands beside ready slices",
	"3mf_lattice_clip": "a lattice could not be clipped, so its volume is too large",
	"3mf_encrypted":    "objects are encrypted and left out",
	"3mf_property":     "facets refer to properties that are not there",
}

// answer3MF is how the door answers a 3MF file.
func answer3MF(name string, data []byte) (answer string, f *File, err error) {
	f, err = Read(context.Background(), name, data, Options{AllowEmpty: true})
	switch {
	case err != nil && fault.KindOf(err) == fault.TooLarge:
		return "limit", nil, err
	case err != nil:
		return "reject", nil, err
	}
	for _, w := range f.Warnings {
		if notes3MF[w.Code] == "" {
			return "warn", f, nil
		}
	}
	return "accept", f, nil
}

// TestManifest3MF: the outside collection (conformance cases and samples of the 3MF Consortium, a reference reader's tests, a
// security corpus; sources and licences in its manifest).
func TestManifest3MF(t *testing.T) {
	dir := checks.Path(t, "3mf/open")
	file, err := os.Open(filepath.Join(dir, "MANIFEST.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 134 {
		t.Errorf("%d rows, the collection had 133 when this was written", len(rows)-1)
	}
	for _, row := range rows[1:] {
		name, want := row[0], row[1]
		data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		got, f, err := answer3MF(filepath.Base(name), data)
		if e, ok := exceptions3MF[name]; ok {
			want = e.answer
		}
		if err != nil && fault.KindOf(err) == fault.Internal {
			t.Errorf("%s: a fault without a name: %v", name, err)
		}
		var warnings []string
		if f != nil {
			for _, w := range f.Warnings {
				warnings = append(warnings, w.Code)
			}
		}
		t.Logf("%s: %s %v %v", name, got, warnings, err)
		if f != nil {
			asserted3MF(t, name, f)
		}
		if got != want {
			t.Errorf("%s: %s, want %s (%s): %v %v", name, got, want, row[3], warnings, err)
		}
	}
}

// asserted3MF holds a file against what its own project's tests say of it (the manifest's column reason). In mm.
func asserted3MF(t *testing.T, name string, f *File) {
	t.Helper()
	bodies := func(n int) {
		t.Helper()
		if len(f.Bodies) != n {
			t.Errorf("%s: %d bodies, asserted %d", name, len(f.Bodies), n)
		}
	}
	box := func(from, to int, want [6]float64) {
		t.Helper()
		b := r3.EmptyBox()
		for _, body := range f.Bodies[from:to] {
			b = b.Union(body.Mesh.Box())
		}
		got := [6]float64{b.Min.X, b.Min.Y, b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z}
		for i := range got {
			if math.Abs(got[i]-want[i]) > 1e-4 {
				t.Errorf("%s: box of bodies %d to %d is %v, asserted %v", name, from, to, got, want)
				break
			}
		}
	}
	switch name {
	case "reference-reader/Models_PartsForBoundingBox.3mf": // Outbox.cpp
		n := len(f.Bodies)
		box(0, n-1, [6]float64{64.9831238, -103.887222, -39.4011765, 307.725159, 101.911346, 279.938263})
		box(n-1, n, [6]float64{1.25774193, -7.59726334, -21.2018776, 146.953094, 139.430359, 95.4953918})
	case "misc/cube_and_sphere_same_name.3mf": // both survive
		bodies(2)
	case "misc/production_components.3mf": // two meshes placed by one item
		bodies(2)
	case "misc/box_12faces.3mf":
		bodies(1)
		if m := f.Bodies[0].Mesh; m.Facets() != 12 || m.Vertices() != 8 {
			t.Errorf("%s: %d facets, %d vertices, asserted 12 and 8", name, m.Facets(), m.Vertices())
		}
	case "misc/featuretype.3mf": // the part of mesh/open/featuretype.STL, 11.627733431196749 cubic inches
		if v := f.Bodies[0].Mesh.Measure().VolumeMM3 / (25.4 * 25.4 * 25.4); math.Abs(v/11.627733431196749-1) > 1e-3 { // meshed more coarsely than there
			t.Errorf("%s: %v cubic inches", name, v)
		}
	case "reference-reader/v093_Track_093.3mf":
		bodies(1)
		if m := f.Bodies[0].Mesh; m.Facets() != 5282 || m.Vertices() != 2643 {
			t.Errorf("%s: %d facets, %d vertices, asserted 5282 and 2643", name, m.Facets(), m.Vertices())
		}
	case "reference-reader/BeamLattice_Box_Simple.3mf": // a box and 12 beams along its edges, clipped by the same box: a quarter of each beam is left
		want := 1e6
		for _, r := range [][2]float64{{1, 1}, {3.1, 3.2}, {10, 4}, {12, 12}, {10, 10}, {10, 10}, {10, 10}, {10, 10}, {10, 10}, {10, 10}, {10, 15}, {10, 10}} {
			want += math.Pi / 12 * 100 * (r[0]*r[0] + r[0]*r[1] + r[1]*r[1])
		}
		box(0, 1, [6]float64{0, 0, 0, 100, 100, 100})
		if v := f.Bodies[0].Mesh.Measure().VolumeMM3; math.Abs(v/want-1) > 1e-3 {
			t.Errorf("%s: %g mm³ in all, want %g", name, v, want)
		}

	}
}

// The sample of the boolean operations' specification: what it builds holds a random point exactly if its operands, placed in a copy of the
// file by themselves, say so.
func TestBooleanSample(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(checks.Path(t, "3mf/open"), "samples/boolean/booleans_operations.3mf"))
	if err != nil {
		t.Fatal(err)
	}
	sum, err := Read(context.Background(), "sum.3mf", data, Options{})
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	w := zip.NewWriter(&buf)
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(f.Name, ".model") {
			b = regexp.MustCompile(`(?s)<build.*</build>`).ReplaceAll(b, []byte(`<build>
				<item objectid="4" transform="0.650032 0 0 0 0.65 0 0 0 0.650033 -37.2702 8.16928 -18.0033"/>
				<item objectid="5" transform="0.877268 0 0 0 0.877268 0 0 0 0.877268 -86.2066 -2.73893 -36.4995"/>
				<item objectid="3" transform="0.115667 1.01367e-008 -0.0053163 0.00531629 -1.13841e-007 0.115666 9.4228e-008 -0.4 -3.1039e-007 79.1332 206.618 43.6863"/>
				<item objectid="3" transform="0.115789 1.33239e-014 7.30291e-008 1.11623e-008 0.115788 -8.89297e-008 -6.22277e-008 4.13869e-007 0.4 79.907 129.249 0"/>
				<item objectid="3" transform="4.1409e-008 -2.76061e-008 -0.115788 1.38031e-008 0.115788 7.99361e-014 0.4 9.7835e-008 7.28381e-008 42.486 129.249 82.5781"/>
			</build>`))
		}
		p, err := w.Create(f.Name)
		if err == nil {
			_, err = p.Write(b)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	parts, err := Read(context.Background(), "parts.3mf", buf.Bytes(), Options{})
	if err != nil || len(parts.Bodies) != 5 || len(sum.Bodies) != 1 {
		t.Fatalf("%v", err)
	}
	var in [5]*bvh.Tree
	for i := range in {
		m, _ := mesh.Mend(parts.Bodies[i].Mesh)
		in[i] = bvh.Build(m)
	}
	m := sum.Bodies[0].Mesh
	tree := bvh.Build(m)
	if !m.Topology().Solid() || len(sum.Bodies[0].FacetColor) != m.Facets() {
		t.Error("open, or without the colours of its operands")
	}
	const seed = 3
	r := rand.New(rand.NewPCG(seed, 0))
	box := parts.Bodies[0].Mesh.Box()
	size, inside := box.Size(), 0
	for range 4000 {
		p := box.Min.Add(r3.Vec{X: r.Float64() * size.X, Y: r.Float64() * size.Y, Z: r.Float64() * size.Z})
		want := in[0].Inside(p) && in[1].Inside(p) && !in[2].Inside(p) && !in[3].Inside(p) && !in[4].Inside(p)
		if tree.Inside(p) != want {
			t.Fatalf("seed %d: %v inside %v", seed, p, !want)
		}
		if want {
			inside++
		}
	}
	if inside < 400 || inside > 3600 {
		t.Errorf("%d of 4000 points are inside: the test tests little", inside)
	}
}
