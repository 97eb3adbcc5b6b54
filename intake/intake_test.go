package intake

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/glb"
	"firstoff/intake/stl"
	"firstoff/intake/threemf"
	"firstoff/unit"
)

// box is a closed box with outward facets.
func box(x, y, z float32) *mesh.Mesh {
	m := &mesh.Mesh{Pos: []float32{0, 0, 0, x, 0, 0, x, y, 0, 0, y, 0, 0, 0, z, x, 0, z, x, y, z, 0, y, z}}
	for _, q := range [][4]uint32{{0, 3, 2, 1}, {4, 5, 6, 7}, {0, 1, 5, 4}, {1, 2, 6, 5}, {2, 3, 7, 6}, {3, 0, 4, 7}} {
		m.Tri = append(m.Tri, q[0], q[1], q[2], q[0], q[2], q[3])
	}
	return m
}

func boxSTL(t testing.TB, x, y, z float32) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := stl.Write(&b, "box", box(x, y, z)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// pack makes a ZIP archive of names and contents in turn.
func pack(t testing.TB, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		f, err := w.CreateHeader(&zip.FileHeader{Name: files[i], Method: zip.Deflate})
		if err != nil {
			t.Fatal(err)
		}
		f.Write([]byte(files[i+1]))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// TestTenBroken: the ten broken inputs of the main job, each with its own stable code and one plain sentence.
func TestTenBroken(t *testing.T) {
	good := boxSTL(t, 10, 20, 30)
	edit := func(f func(b []byte) []byte) []byte { return f(slices.Clone(good)) }
	var bomb []string
	for i := range 30 {
		bomb = append(bomb, fmt.Sprintf("3D/%d", i), strings.Repeat("\x00", 1<<20))
	}
	for _, c := range []struct {
		what, name string
		data       []byte
		kind       fault.Kind
		code       string
	}{
		{"truncated STL", "part.stl", good[:len(good)-33], fault.Invalid, "stl_truncated"},
		{"NaN coordinates", "part.stl", edit(func(b []byte) []byte {
			binary.LittleEndian.PutUint32(b[84+50*7+16:], 0x7fc00000)
			return b
		}), fault.Invalid, "stl_nan"},
		{"says text, is binary and cut", "part.stl", edit(func(b []byte) []byte { copy(b, "solid part"); return b[:len(b)-1] }), fault.Invalid, "stl_truncated"},
		{"text, then binary", "part.stl", []byte("solid part\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex \x01\x02\x03"), fault.Invalid, "stl_mixed"},
		{"zero triangles", "part.stl", make([]byte, 84), fault.Invalid, "stl_empty"},
		{"3MF with a bomb ratio", "part.3mf", pack(t, append(bomb, "[Content_Types].xml", "<x/>")...), fault.TooLarge, "zip_bomb"},
		{"path traversal in ZIP", "parts.zip", pack(t, "ok.stl", string(good), "../../etc/evil.stl", string(good)), fault.Invalid, "zip_path_escapes"},
		{"2 GB length field", "part.stl", edit(func(b []byte) []byte { binary.LittleEndian.PutUint32(b[80:], 42949672); return b }), fault.Invalid, "stl_count"},
		{"text file renamed", "part.stl", []byte("Dear shop,\nplease make the part as discussed.\n"), fault.Invalid, "not_a_model"},
		{"name not UTF-8", "geh\xe4use.stl", good, fault.Invalid, "name_not_utf8"},
		{"name in ZIP not UTF-8", "parts.zip", pack(t, "geh\xe4use.stl", string(good)), fault.Invalid, "zip_name_not_utf8"},
		{"duplicate names", "parts.zip", pack(t, "a.stl", string(good), "a.stl", string(good)), fault.Invalid, "zip_duplicate_name"},
	} {
		f, err := Read(context.Background(), c.name, c.data, Options{})
		if err == nil {
			t.Errorf("%s: read as %+v", c.what, f)
			continue
		}
		got := fault.Of(err)
		if got.Kind != c.kind || got.Code != c.code {
			t.Errorf("%s: %s %s, want %s %s", c.what, got.Kind, got.Code, c.kind, c.code)
		}
		if !strings.HasSuffix(got.Message, ".") || strings.Contains(got.Message, "\n") || len(got.Message) < 30 || strings.Contains(strings.TrimSuffix(got.Message, "."), ". ") {
			t.Errorf("%s: not one plain sentence: %q", c.what, got.Message)
		}
	}
}

func TestSniff(t *testing.T) {
	good := string(boxSTL(t, 10, 20, 30))
	var three, g bytes.Buffer
	threemf.Write(&three, threemf.Place([]content.Body{{Mesh: box(1, 2, 3)}}))
	glb.Write(&g, []content.Body{{Mesh: box(1, 2, 3)}})
	const (
		ascii = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid a\n"
		off   = "# made by hand\nOFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"
		obj   = "# made by hand\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
		ply   = "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_index\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"
		amf   = `<?xml version="1.0"?><amf><object id="0"><mesh><vertices><vertex><coordinates><x>0</x><y>0</y><z>0</z></coordinates></vertex><vertex><coordinates><x>1</x><y>0</y><z>0</z></coordinates></vertex><vertex><coordinates><x>0</x><y>1</y><z>0</z></coordinates></vertex></vertices><volume><triangle><v1>0</v1><v2>1</v2><v3>2</v3></triangle></volume></mesh></object></amf>`
		gltf  = `{"asset":{"version":"2.0"},"nodes":[{"mesh":0}],"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],"accessors":[{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}],"bufferViews":[{"buffer":0,"byteLength":36}],"buffers":[{"byteLength":36,"uri":"data:;base64,AAAAAAAAAAAAAAAAAACAPwAAAAAAAAAAAAAAAAAAgD8AAAAA"}]}`
	)
	line80 := func(s, tail string) string { return s + strings.Repeat(" ", 72-len(s)) + tail + "\n" }
	iges := line80("", "S      1") + line80("1H,,1H;", "G      1")
	for _, c := range []struct{ what, name, data, want string }{
		{"binary STL", "a.stl", good, "stl"}, {"binary STL under another name", "a.obj", good, "stl"}, {"no ending", "part", good, "stl"},
		{"text STL", "a", ascii, "stl-ascii"}, {"text STL named obj", "a.obj", ascii, "stl-ascii"}, {"OBJ", "a.obj", obj, "obj"}, {"OBJ named stl", "a.stl", obj, "obj"}, {"OBJ without ending", "a", obj, "obj"},
		{"OFF", "a.off", off, "off"}, {"PLY", "a.x", ply, "ply"}, {"AMF", "a.xml", amf, "amf"}, {"AMF in ZIP", "a.amf", string(pack(t, "a.amf", amf)), "amf"}, {"glTF", "a", gltf, "glb"}, {"GLB", "a.bin", g.String(), "glb"},
		{"3MF", "a.zip", three.String(), "3mf"}, {"one in a ZIP", "a.zip", string(pack(t, "d/", "", "d/a.stl", good, "d/readme.txt", "see", "__MACOSX/d/._a.stl", "x", "d/drawing.pdf", "%PDF-1.4")), "stl"},
		{"UTF-16 OBJ", "a.obj", "\xff\xfe" + strings.Join(strings.Split(obj, ""), "\x00") + "\x00", "obj"},

		{"empty", "a.stl", "", "file_empty"}, {"empty ZIP", "a.zip", "PK\x05\x06" + strings.Repeat("\x00", 18), "zip_empty"},
		{"STEP without kernel", "a.stp", "ISO-10303-21;\nHEADER;", "cad_reader_missing"}, {"IGES without kernel", "a.x", iges, "cad_reader_missing"}, {"BREP without kernel", "a.x", "DBRep_DrawableShape\n\nCASCADE Topology V1", "cad_reader_missing"},
		{"compound file", "a.prt", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1xxxx", "cad_native"}, {"compound document", "a.doc", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1xxxx", "document_not_model"}, {"by ending", "a.sldprt", "\x00\x01\x02", "cad_native"},
		{"modeller's text", "a.x_t", "**ABCDEFGHIJKLMNOPQRSTUVWXYZ[\\]^_`abcdefghijklmnopqrstuvwxyz{|}~0123456789", "cad_kernel"}, {"by ending", "a.sat", "400 0 1 0\n", "cad_kernel"},
		{"scene", "a.wrl", "#VRML V2.0 utf8\n", "scene_format"}, {"drawing", "a.dxf", "  0\nSECTION\n  2\nHEADER\n", "drawing_not_model"}, {"vector drawing", "a.x", "<svg xmlns='x'/>", "drawing_not_model"},
		{"machine code", "a.txt", "; start\nG28 X0\nG1 X10 Y10\nM104 S200\n", "machine_code"}, {"machine code", "a.gcode", "; only a comment\n", "machine_code"}, {"PDF", "part.stl", "%PDF-1.7 ...", "document_not_model"}, {"photo", "part.png", "\x89PNG\r\n\x1a\n", "document_not_model"},
		{"7z", "a.7z", "7z\xbc\xaf\x27\x1c\x00", "archive_kind"}, {"text", "a.step", "hello, here is the part\n", "step"}, {"text", "a.3mf", "hello, here is the part\n", "not_a_model"}, {"binary", "a.dat", "\x00\x01\x02\x03", "format_unknown"},
		{"ZIP of papers", "a.zip", string(pack(t, "readme.md", "x", "photo.jpg", "\xff\xd8\xff")), "document_not_model"}, {"ZIP of two", "a.zip", string(pack(t, "a.stl", good, "b.stl", good)), "archive_several"},
		{"control character", "a\x07.stl", good, "name_control"},
	} {
		f, err := Read(context.Background(), c.name, []byte(c.data), Options{})
		got := ""
		if err != nil {
			got = fault.Of(err).Code
			if got == "cad_reader_missing" && c.want == "step" {
				got = "step" // told by its ending: the kernel says what is wrong with it
			}
		} else {
			got = f.Format
		}
		if got != c.want {
			t.Errorf("%s %q: %s, want %s (%v)", c.what, c.name, got, c.want, err)
		}
	}
}

func TestCADIsHandedOn(t *testing.T) {
	r := Reader{CAD: func(_ context.Context, format, name string, data []byte, opt Options) (*content.Content, error) {
		if format != "step" || name != "a.stp" || !bytes.HasPrefix(data, []byte("ISO")) || opt.Limits.Triangles == 0 {
			t.Errorf("asked for %s %s", format, name)
		}
		m := r3.Vec{X: 1, Y: 2, Z: 3}
		return &content.Content{Format: "step", Unit: unit.Inch, Bodies: []content.Body{{Mesh: box(1, 2, 3)}}, Holes: []content.Hole{{Diameter: 0.25, Depth: 1, At: m}}, Stated: &content.Stated{Volume: 6, Area: 22, Centroid: &m}}, nil
	}}
	f, err := r.Read(context.Background(), "a.stp", []byte("ISO-10303-21;\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if f.Bodies[0].Mesh.Pos[3] != 25.4 || f.Holes[0].Diameter != 6.35 || math.Abs(f.Holes[0].At.Z-76.2) > 1e-9 || math.Abs(f.Stated.Volume-6*25.4*25.4*25.4) > 1e-9 || f.Stated.Centroid.X != 25.4 || !f.Unit.Stated || f.Unit.Question != "" {
		t.Errorf("%+v", f)
	}
}

func TestUnits(t *testing.T) {
	read := func(name string, data []byte, u unit.Length) *File {
		t.Helper()
		f, err := Read(context.Background(), name, data, Options{Unit: u})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	f := read("part.stl", boxSTL(t, 80, 40, 20), "")
	if f.Unit.Name != unit.MM || f.Unit.Stated || f.Unit.Confidence < sure || f.Unit.Question != "" {
		t.Errorf("a part of 80 mm: %+v", f.Unit)
	}
	f = read("part.stl", boxSTL(t, 1.375, 2.5, 0.75), "")
	if f.Unit.Name != unit.Inch || f.Unit.Stated || math.Abs(float64(f.Bodies[0].Mesh.Box().Size().Y)-63.5) > 1e-4 {
		t.Errorf("1 3/8 by 2 1/2 by 3/4: %+v", f.Unit)
	}
	f = read("part.stl", boxSTL(t, 7.3, 4.1, 3.3), "")
	if f.Unit.Confidence >= sure || !strings.Contains(f.Unit.Question, "mm") || !strings.HasSuffix(f.Unit.Question, "?") {
		t.Errorf("7.3, mm or inch: %+v", f.Unit)
	}
	if f = read("part_7mm.stl", boxSTL(t, 7.3, 4.1, 3.3), ""); f.Unit.Name != unit.MM {
		t.Errorf("the name says mm: %+v", f.Unit)
	}
	if f = read("part inch.stl", boxSTL(t, 30, 20, 10), ""); f.Unit.Name != unit.Inch {
		t.Errorf("the name says inch: %+v", f.Unit)
	}
	f = read("part.obj", []byte("# File units = meters\nv 0 0 0\nv 5 0 0\nv 0 5 0\nf 1 2 3\n"), "")
	if f.Unit.Name != unit.M || f.Unit.Stated {
		t.Errorf("the head says metres: %+v", f.Unit)
	}
	f = read("part_mm.stl", boxSTL(t, 2, 1, 0.5), unit.Inch)
	if f.Unit != (Unit{Name: unit.Inch, Stated: true, Confidence: 1}) || math.Abs(f.Bodies[0].Mesh.Box().Size().X-50.8) > 1e-4 {
		t.Errorf("a person says inch: %+v", f.Unit)
	}
	var g bytes.Buffer
	glb.Write(&g, []content.Body{{Mesh: box(80, 40, 20)}})
	if f = read("part.glb", g.Bytes(), ""); f.Unit.Name != unit.M || !f.Unit.Stated || math.Abs(f.Bodies[0].Mesh.Box().Size().X-80) > 0.01 {
		t.Errorf("GLB in metres: %+v, %v", f.Unit, f.Bodies[0].Mesh.Box())
	}
	var big bytes.Buffer
	glb.Write(&big, []content.Body{{Mesh: box(254_000, 100_000, 20_000)}})
	if f = read("part.glb", big.Bytes(), ""); f.Unit.Name == unit.M {
		t.Errorf("a GLB of 254 m: %+v", f.Unit)
	}
	if _, err := Read(context.Background(), "a.stl", boxSTL(t, 1, 1, 1), Options{Unit: "furlong"}); fault.Of(err).Code != "unit_unknown" {
		t.Error(err)
	}
	if _, err := Read(context.Background(), "a.stl", boxSTL(t, 1e30, 1, 1), Options{}); fault.Of(err).Code != "size_absurd" {
		t.Error(err)
	}
	if f.SHA256 != digest.Of(big.Bytes()) {
		t.Error("digest")
	}
	var three bytes.Buffer
	threemf.Write(&three, threemf.Place([]content.Body{{Mesh: box(0.05, 0.04, 0.01)}}))
	if f = read("a.3mf", three.Bytes(), ""); !f.Unit.Stated || f.Unit.Question == "" || f.Unit.Confidence >= sure {
		t.Errorf("a stated size that can hardly be: %+v", f.Unit)
	}
	if f = read("a.3mf", three.Bytes(), unit.Inch); len(f.Warnings) != 1 || f.Warnings[0].Code != "unit_overridden" {
		t.Errorf("overridden: %v", f.Warnings)
	}
}

func TestReadAll(t *testing.T) {
	good := string(boxSTL(t, 10, 20, 30))
	inner := string(pack(t, "deep/c.stl", good, "empty.stl", ""))
	data := pack(t, "a.stl", good, "sub/b.obj", "mtllib m.mtl\nusemtl red\nv 0 0 0\nv 90 0 0\nv 0 90 0\nf 1 2 3\n", "sub/m.mtl", "newmtl red\nKd 1 0 0\n", "bad.stl", good[:100], "inner.zip", inner, "notes.txt", "hello", ".DS_Store", "x", "old.ipt", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
	all, err := ReadAll(context.Background(), "parts.zip", data, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, o := range all {
		if o.Err != nil {
			got = append(got, o.Name+":"+fault.Of(o.Err).Code)
			continue
		}
		got = append(got, o.Name+":"+o.File.Format)
		if o.File.SHA256 != digest.Of(o.Data) || o.File.Name != o.Name {
			t.Errorf("%s: digest or name", o.Name)
		}
	}
	want := "a.stl:stl sub/b.obj:obj bad.stl:stl_truncated inner.zip/deep/c.stl:stl inner.zip/empty.stl:file_empty old.ipt:cad_native"
	if strings.Join(got, " ") != want {
		t.Errorf("got\n%s, want\n%s", strings.Join(got, " "), want)
	}
	if c := all[1].File.Bodies[0].Color; c == nil || *c != (content.RGBA{255, 0, 0, 255}) {
		t.Errorf("the material library beside: %v", c)
	}
	deep := []byte(good)
	for range 20 {
		deep = pack(t, "x.zip", string(deep))
	}
	if _, err := ReadAll(context.Background(), "x.zip", deep, Options{}); fault.Of(err).Code != "zip_depth" {
		t.Error(err)
	}
	gone, stop := context.WithCancel(context.Background())
	stop()
	if _, err := ReadAll(gone, "parts.zip", data, Options{}); err != context.Canceled {
		t.Error(err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add("a.stl", boxSTL(f, 1, 2, 3))
	f.Add("a.zip", pack(f, "a.stl", string(boxSTL(f, 1, 2, 3)), "b.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"))
	f.Add("a.obj", []byte("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"))
	f.Add("a", []byte("<amf/>"))
	for _, dir := range []string{"mesh/open/*", "3mf/open/*/*.3mf"} {
		if names, err := filepath.Glob(filepath.Join(checks.Root(), "..", "shared", "checks", filepath.FromSlash(dir))); err == nil {
			for _, n := range names {
				if b, err := os.ReadFile(n); err == nil && len(b) < 3000 && len(b) > 0 {
					f.Add(filepath.Base(n), b)
				}
			}
		}
	}
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		all, err := ReadAll(context.Background(), name, data, Options{Limits: content.Limits{Triangles: 5000, Bytes: 8 << 20}})
		if err != nil && fault.KindOf(err) == fault.Internal {
			t.Fatal(err)
		}
		for _, o := range all {
			if o.Err != nil {
				if fault.KindOf(o.Err) == fault.Internal {
					t.Fatal(o.Err)
				}
				continue
			}
			if o.File.Triangles() == 0 || o.File.Unit.Name.MM() == 0 {
				t.Fatalf("%+v", o.File)
			}
		}
	})
}
