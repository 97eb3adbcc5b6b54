package intake

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

// refused are the files of the collection that the door answers with a fault.
var refused = map[string]string{
	"as_points.ply": "ply_points", "ply_points_bin.ply": "ply_points", "empty.stl": "stl_empty", "stl_empty_bin.stl": "stl_empty",
	"invalid_OutOfMemory.off": "off_truncated", "invalid_empty.obj": "file_empty", "invalid_malformed.obj": "obj_index", "bool_Cray_right.obj": "obj_nan",
}

// differently says where and why counts of the door's meshes differ from the measured columns.
var differently = map[string]string{
	"bool_Offset1.obj zero_area":               "slivers below 1e-9 of their length are flat once rounded to float32; they are kept as facets",
	"amf_test9.amf triangles":                  "the columns do not apply the constellation, which places the object twelve times",
	"amf_test9.amf vertices_exact_merge":       "as above",
	"as_concave_polygon.obj boundary_edges":    "one polygon of 66 corners: the columns cut it as a fan, whose triangles overlap; ours lie inside of it",
	"as_concave_polygon.obj nonmanifold_edges": "as above",
	"as_concave_polygon.obj duplicate_facets":  "as above",
	"as_concave_polygon.obj area":              "as above",
	"polygonfaces.obj signed_volume":           "a polygon of five corners that do not lie in a plane: its triangles depend on the cut",
	"polygonfaces.obj area":                    "as above",
	"igl_sliver_tet.ply vertices_exact_merge":  "the column counts the file's 4,979 vertices that no facet uses",
}

// TestManifestMesh: the outside collection of meshes (repositories, commits, licences in its manifest), each through the door as a client's
// file comes, against the columns measured for it in Python and numpy.
func TestManifestMesh(t *testing.T) {
	dir := checks.Path(t, "mesh/open")
	f, err := os.Open(filepath.Join(dir, "MANIFEST.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := make(map[string]int)
	for i, name := range rows[0] {
		column[name] = i
	}
	for _, row := range rows[1:] {
		name := row[0]
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		file, err := readOwnUnit(name, data)
		if want := refused[name]; want != "" || err != nil {
			if err == nil || fault.Of(err).Code != want {
				t.Errorf("%s: %v, want fault %q", name, err, want)
			}
			continue
		}
		var all []*mesh.Mesh
		for _, b := range file.Bodies {
			all = append(all, b.Mesh)
		}
		m := all[0]
		if len(all) > 1 {
			m = mesh.FromSoup(mesh.Merge(all...).Soup()) // the columns weld across bodies
		}
		r := mesh.CheckTopology(m)
		count := func(what string, got int) {
			want := row[column["measured_"+what]]
			if want != "" && strconv.Itoa(got) != want && differently[name+" "+what] == "" {
				t.Errorf("%s: %s %d, measured %s", name, what, got, want)
			}
			if want != "" && strconv.Itoa(got) == want && differently[name+" "+what] != "" {
				t.Errorf("%s: %s agrees now, the note is idle", name, what)
			}
		}
		count("triangles", r.Facets)
		count("vertices_exact_merge", r.Vertices)
		count("boundary_edges", r.BoundaryEdges)
		count("nonmanifold_edges", r.NonManifoldEdges)
		count("misoriented_edges", r.MisorientedEdges)
		count("degenerate", r.Degenerate)
		count("zero_area", r.ZeroArea)
		count("duplicate_facets", r.Duplicates)
		if want := row[column["measured_watertight"]]; want != "" && (want == "True") != r.Closed {
			t.Errorf("%s: closed %v, measured %s", name, r.Closed, want)
		}
		q := m.Measure()
		near := func(what string, got float64) {
			text := row[column["measured_"+what]]
			if text == "" || strings.HasPrefix(name, "amf_") {
				return // the manifest counts these only
			}
			want, _ := strconv.ParseFloat(text, 64)
			if math.Abs(got-want) > 1e-5*math.Abs(want)+1e-12 && differently[name+" "+what] == "" {
				t.Errorf("%s: %s %v, measured %v", name, what, got, want)
			}
		}
		// The column closes an open surface from the mean of all facets' corners, Measure from the surface's centroid.
		var mean r3.Vec
		for _, v := range m.Tri {
			mean = mean.Add(m.Vertex(v).Mul(1 / float64(len(m.Tri))))
		}
		near("signed_volume", q.VolumeMM3-mean.Sub(q.SurfaceMM).Dot(q.AreaVectorMM2)/3)
		near("area", q.AreaMM2)
		near("ext_x", q.Box.Size().X)
		near("ext_y", q.Box.Size().Y)
		near("ext_z", q.Box.Size().Z)
		asserted(t, name, file)
	}
}

// readOwnUnit reads through the door's sniffing, archives and readers but leaves the numbers in the file's unit.
func readOwnUnit(name string, data []byte) (*content.Content, error) {
	if _, err := Read(context.Background(), name, data, Options{}); err != nil {
		return nil, err
	}
	k := sniff(name, data)
	if k == kindZIP {
		all, err := ReadAll(context.Background(), name, data, Options{})
		if err != nil {
			return nil, err
		}
		name, data = all[0].Name, all[0].Data
		k = sniff(name, data)
	}
	return Reader{}.content(context.Background(), name, data, k, nil, Options{})
}

// asserted holds a file against what its own project's tests say of it (the manifest's column asserted_by_others).
func asserted(t *testing.T, name string, c *content.Content) {
	t.Helper()
	names := func() (s []string) {
		for _, b := range c.Bodies {
			s = append(s, b.Name)
		}
		return
	}
	volume := func(want, tolerance float64) {
		t.Helper()
		v := 0.0
		for _, b := range c.Bodies {
			v += b.Mesh.Measure().VolumeMM3
		}
		if math.Abs(v-want) > tolerance*want {
			t.Errorf("%s: volume %v, asserted %v", name, v, want)
		}
	}
	switch name {
	case "multibody.stl":
		if got := strings.Join(names(), "|"); got != "bodyB|bodyA" && got != "bodyA|bodyB" {
			t.Errorf("%s: solids %q, asserted bodyA and bodyB", name, got)
		}
	case "two_objects.obj":
		if len(c.Bodies) != 2 {
			t.Errorf("%s: %d objects, asserted 2", name, len(c.Bodies))
		}
	case "featuretype.STL", "featuretype.ply":
		volume(11.627733431196749, 1e-6)
	case "ballA.off":
		volume(1401.10505615, 1e-7)
	case "ns_ascii_HalfDonut.stl":
		volume(2.343149026234945, 1e-6)
	case "ns_ascii_Moon.stl", "ns_tests_dos.stl":
		volume(0.888723, 1e-6)
	case "negative_indices.obj":
		volume(8, 1e-9)
	case "20mm-xyz-cube.stl":
		f, err := Read(context.Background(), name, mustRead(t, name), Options{})
		if err != nil || f.Unit.Name != "mm" || f.Unit.Confidence < sure {
			t.Errorf("%s: unit %+v %v, asserted mm", name, f.Unit, err)
		}
	}
}

func mustRead(t *testing.T, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(checks.Path(t, "mesh/open"), name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// TestInferredUnits: where the manifest knows the unit of a file that does not state it, the door infers it, or asks.
func TestInferredUnits(t *testing.T) {
	f, err := os.Open(filepath.Join(checks.Path(t, "mesh/open"), "MANIFEST.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	known, right := 0, 0
	for _, row := range rows[1:] {
		want := row[2]
		if want != "mm" && want != "in" && want != "m" {
			continue
		}
		known++
		file, err := Read(context.Background(), row[0], mustRead(t, row[0]), Options{})
		if err != nil {
			t.Errorf("%s: %v", row[0], err)
			continue
		}
		if string(file.Unit.Name) == want {
			right++
		} else if file.Unit.Question == "" {
			t.Errorf("%s: %+v without a question, it is in %s", row[0], file.Unit, want)
		}
	}
	if known < 10 || right < known {
		t.Errorf("%d of %d units inferred", right, known)
	}
}
