package stl

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake/content"
)

// tetra is a closed solid with one corner at the origin, outward facets; volume 1/6.
const tetra = `solid tetra one
 facet normal 0 0 -1
  outer loop
   vertex 0 0 0
   vertex 0 1 0
   vertex 1 0 0
  endloop
 endfacet
 facet normal 0 -1 0
  outer loop
   vertex 0 0 0
   vertex 1 0 0
   vertex 0 0 1
  endloop
 endfacet
 facet normal -1 0 0
  outer loop
   vertex 0 0 0
   vertex 0 0 1
   vertex 0 1 0
  endloop
 endfacet
 facet normal 1 1 1
  outer loop
   vertex 1 0 0
   vertex 0 1 0
   vertex 0 0 1
  endloop
 endfacet
endsolid tetra one
`

func read(t *testing.T, data string) *content.Content {
	t.Helper()
	c, err := Read(context.Background(), []byte(data), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// tetraBinary is the same solid as a binary file.
func tetraBinary(t testing.TB) []byte {
	t.Helper()
	c, err := Read(context.Background(), []byte(tetra), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := Write(&b, "tetra", c.Bodies[0].Mesh); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestSpellings(t *testing.T) {
	want := read(t, tetra).Bodies[0].Mesh
	if want.Vertices() != 4 || want.Facets() != 4 {
		t.Fatalf("%d vertices, %d facets", want.Vertices(), want.Facets())
	}
	noNormals := strings.NewReplacer("normal 0 0 -1", "", "normal 0 -1 0", "normal", "normal -1 0 0", "normal nan nan nan").Replace(tetra)
	exponents := strings.NewReplacer("vertex 1 ", "vertex 1.0e+000 ", "vertex 0 1 ", "vertex -0.0E-3 +.1e1 ", " 1\n", " 10.e-1\n").Replace(tetra)
	for name, s := range map[string]string{
		"as is": tetra, "CR": strings.ReplaceAll(tetra, "\n", "\r"), "CRLF": strings.ReplaceAll(tetra, "\n", "\r\n"),
		"upper case": strings.ToUpper(tetra), "one line": strings.Join(strings.Fields(tetra), " "), "tabs": strings.ReplaceAll(tetra, " ", "\t"),
		"no normals": noNormals, "exponents": exponents, "byte order mark": "\xef\xbb\xbf" + tetra, "leading blank lines": "\n\r\n  " + tetra,
		"no outer loop": strings.NewReplacer("outer loop", "", "endloop", "").Replace(tetra), "name holds words": strings.Replace(tetra, "tetra one", "facet loop vertex", 1),
		"old code page": strings.Replace(tetra, "tetra one", "geh\xe4use", 1), "padded with zeros": tetra + "\x00\x00\x00", "no endsolid": strings.Replace(tetra, "endsolid tetra one", "", 1),
		"no solid": "; made by hand\n" + tetra[strings.Index(tetra, " facet"):], "comment lines": strings.Replace(tetra, "endsolid", "color 0.5 0.5 0.5\nendsolid", 1),
	} {
		got := read(t, s)
		if len(got.Bodies) != 1 || !reflect.DeepEqual(got.Bodies[0].Mesh, want) {
			t.Errorf("%s: differs", name)
		}
		if w := len(got.Warnings); (w > 0) != (name == "no endsolid" || name == "comment lines" || name == "no solid") {
			t.Errorf("%s: warnings %v", name, got.Warnings)
		}
		if name == "old code page" && got.Bodies[0].Name != "gehäuse" {
			t.Errorf("name %q", got.Bodies[0].Name)
		}
	}
}

func TestBroken(t *testing.T) {
	bin := tetraBinary(t)
	edit := func(f func(b []byte) []byte) string { return string(f(slices.Clone(bin))) }
	for _, c := range []struct{ what, data, code, where string }{
		{"head cut", string(bin[:50]), "stl_truncated", ""},
		{"cut in a record", string(bin[:len(bin)-20]), "stl_truncated", "byte 80"},
		{"huge count", edit(func(b []byte) []byte { binary.LittleEndian.PutUint32(b[80:], 43_000_000); return b }), "stl_count", "byte 80"},
		{"no facets", string(make([]byte, 84)), "stl_empty", ""},
		{"NaN", edit(func(b []byte) []byte {
			binary.LittleEndian.PutUint32(b[84+50+12:], math.Float32bits(float32(math.NaN())))
			return b
		}), "stl_nan", "facet 2"},
		{"infinite", edit(func(b []byte) []byte {
			binary.LittleEndian.PutUint32(b[84+150+44:], math.Float32bits(float32(math.Inf(-1))))
			return b
		}), "stl_nan", "facet 4"},
		{"says solid, is binary, cut", edit(func(b []byte) []byte { copy(b, "solid part"); return b[:len(b)-1] }), "stl_truncated", "byte 80"},
		{"text cut in a number", tetra[:strings.Index(tetra, "0 1 0\n")+3], "stl_truncated", "line 2"},
		{"text cut in a word", tetra[:strings.Index(tetra, "endfacet")+3], "stl_truncated", "line 2"},
		{"text cut after the loop", tetra[:strings.Index(tetra, "endfacet")], "stl_truncated", "line 2"},
		{"text without facets", "solid nothing\nendsolid nothing\n", "stl_empty", ""},
		{"prose", "Solid advice for the shop:\nkeep the filament dry.\n", "not_a_model", ""},
		{"text then binary", tetra[:strings.Index(tetra, "   vertex 1 0 0")] + "\x00\x01\x02\x03\x04\x05\xff\xfe", "stl_mixed", "line 6"},
		{"binary after vertex", strings.Replace(tetra, "vertex 1 0 0", "vertex \x01\x02", 1), "stl_mixed", "line 6"},
		{"binary between facets", strings.Replace(tetra, " endfacet\n", " endfacet\n\x01\x02 junk\n", 1), "stl_mixed", "line 9"},
		{"NaN text", strings.Replace(tetra, "vertex 0 1 0", "vertex 0 nan 0", 1), "stl_nan", "line 5"},
		{"NaN text of another library", strings.Replace(tetra, "vertex 0 1 0", "vertex 0 1 -1.#IND", 1), "stl_nan", "line 5"},
		{"infinite text", strings.Replace(tetra, "vertex 0 1 0", "vertex 0 1e39 0", 1), "stl_nan", "facet 1"},
		{"decimal comma", strings.Replace(tetra, "vertex 1 0 0", "vertex 1,5 0 0", 1), "number_comma", "line 6"},
		{"word in place of a number", strings.Replace(tetra, "vertex 0 1 0", "vertex 0 one 0", 1), "stl_syntax", "line 5"},
		{"two numbers", strings.Replace(tetra, "vertex 0 1 0", "vertex 0 1", 1), "stl_syntax", "line 6"},
		{"two corners", strings.Replace(tetra, "vertex 0 1 0", "", 1), "stl_syntax", "line 7"},
		{"four corners", strings.Replace(tetra, "vertex 0 1 0", "vertex 0 1 0 vertex 1 1 1", 1), "stl_syntax", "line 6"},
		{"no loop", strings.Replace(tetra, "outer loop", "outer ring", 1), "stl_syntax", "line 3"},
	} {
		_, err := Read(context.Background(), []byte(c.data), content.Limits{})
		f := fault.Of(err)
		if err == nil {
			t.Errorf("%s: no fault", c.what)
			continue
		}
		if f.Code != c.code || f.Where != c.where || f.Kind != fault.Invalid {
			t.Errorf("%s: got %v %q at %q, want %q at %q (%s)", c.what, f.Kind, f.Code, f.Where, c.code, c.where, f.Message)
		}
	}
	for name, lim := range map[string]content.Limits{"too_many_triangles": {Triangles: 3}, "too_large": {Bytes: 100}} {
		for _, data := range []string{tetra, string(bin)} {
			if _, err := Read(context.Background(), []byte(data), lim); err == nil || fault.Of(err).Code != name || fault.KindOf(err) != fault.TooLarge {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	gone, stop := context.WithCancel(context.Background())
	stop()
	for _, data := range []string{tetra, string(bin)} {
		if _, err := Read(gone, []byte(data), content.Limits{}); err != context.Canceled {
			t.Errorf("cancelled: %v", err)
		}
	}
}

func TestTolerated(t *testing.T) {
	bin := tetraBinary(t)
	solidHead := slices.Clone(bin)
	copy(solidHead, "solid lie\x00")
	zeroCount := slices.Clone(bin)
	zeroCount[80] = 0
	for name, c := range map[string]struct {
		data []byte
		warn string
	}{
		"binary that says solid": {solidHead, ""},
		"trailing bytes":         {append(slices.Clone(bin), "tail"...), "stl_trailing"},
		"no count":               {zeroCount, "stl_count_zero"},
	} {
		got := read(t, string(c.data))
		if got.Format != "stl" || got.Bodies[0].Mesh.Facets() != 4 {
			t.Errorf("%s: %s, %d facets", name, got.Format, got.Bodies[0].Mesh.Facets())
		}
		if (len(got.Warnings) == 1) != (c.warn != "") || c.warn != "" && got.Warnings[0].Code != c.warn {
			t.Errorf("%s: warnings %v", name, got.Warnings)
		}
	}
	if n := read(t, string(solidHead)).Bodies[0].Name; n != "lie" {
		t.Errorf("name %q", n)
	}
}

func TestSolids(t *testing.T) {
	second := strings.NewReplacer("tetra one", "two", "vertex 0", "vertex 5", "vertex 1", "vertex 6").Replace(tetra)
	c := read(t, tetra+second)
	if len(c.Bodies) != 2 || c.Bodies[0].Name != "tetra one" || c.Bodies[1].Name != "two" || c.Bodies[1].Mesh.Facets() != 4 {
		t.Fatalf("bodies %+v", c.Bodies)
	}
	// Each facet a solid of its own: patches of one surface.
	patches := strings.ReplaceAll(tetra, " endfacet\n facet", " endfacet\nendsolid\nsolid patch\n facet")
	c = read(t, patches+second)
	if len(c.Bodies) != 2 || !c.Bodies[0].Mesh.Topology().Closed() || c.Bodies[0].Mesh.Facets() != 4 || c.Warnings[0].Code != "patches_joined" {
		t.Fatalf("patches: %d bodies, warnings %v", len(c.Bodies), c.Warnings)
	}
}

func TestColours(t *testing.T) {
	bin := tetraBinary(t)
	word := func(b []byte, f int, w uint16) { binary.LittleEndian.PutUint16(b[84+50*f+48:], w) }
	a := slices.Clone(bin)
	for f := range 4 {
		word(a, f, 0x8000|31<<10|uint16(f))
	}
	if got := read(t, string(a)).Bodies[0].FacetColor; len(got) != 4 || got[1] != (content.RGBA{255, 0, 8, 255}) {
		t.Errorf("blue lowest: %v", got)
	}
	word(a, 2, 7)
	if got := read(t, string(a)).Bodies[0]; got.FacetColor != nil || got.Color != nil {
		t.Error("a word without the mark was taken for a colour")
	}
	b := slices.Clone(bin)
	copy(b[10:], "COLOR=\x10\x20\x30\xff")
	for f := range 4 {
		word(b, f, 0x8000)
	}
	if got := read(t, string(b)).Bodies[0]; got.FacetColor != nil || *got.Color != (content.RGBA{0x10, 0x20, 0x30, 0xff}) {
		t.Errorf("body colour: %v", got.Color)
	}
	word(b, 3, 31)
	if got := read(t, string(b)).Bodies[0].FacetColor; got[3] != (content.RGBA{255, 0, 0, 255}) || got[0] != (content.RGBA{0x10, 0x20, 0x30, 0xff}) {
		t.Errorf("red lowest: %v", got)
	}
}

// ball writes a sphere of about facets triangles as text, with the numbers in varied forms.
func ball(facets int) []byte {
	const seed = 7
	r := rand.New(rand.NewPCG(seed, 1))
	n := int(math.Sqrt(float64(facets) / 2))
	p := func(i, j int) [3]float64 {
		a, b := math.Pi*float64(i)/float64(n), 2*math.Pi*float64(j%n)/float64(n)
		return [3]float64{20 * math.Sin(a) * math.Cos(b), 20 * math.Sin(a) * math.Sin(b), 20 * math.Cos(a)}
	}
	var b []byte
	b = append(b, "solid ball\n"...)
	facet := func(c ...[3]float64) {
		b = append(b, "  facet normal 5.773503e-01 5.773503e-01 5.773503e-01\n    outer loop\n"...)
		for _, v := range c {
			if r.IntN(50) == 0 {
				b = fmt.Appendf(b, "      vertex %g %.3f %e\n", v[0], v[1], v[2])
			} else {
				b = fmt.Appendf(b, "      vertex %.6e %.6e %.6e\n", v[0], v[1], v[2])
			}
		}
		b = append(b, "    endloop\n  endfacet\n"...)
	}
	for i := range n {
		for j := range n {
			facet(p(i, j), p(i+1, j), p(i+1, j+1))
			facet(p(i, j), p(i+1, j+1), p(i, j+1))
		}
	}
	return append(b, "endsolid ball\n"...)
}

func TestChunksAgree(t *testing.T) {
	text := ball(3000)
	one := piece{text: text, strange: -1}
	one.read(context.Background(), content.DefaultLimits)
	if one.err != nil {
		t.Fatal(one.err)
	}
	for _, n := range []int{2, 3, 7} {
		pieces := cut(text, n, 1000)
		if len(pieces) != n {
			t.Fatalf("%d pieces, want %d", len(pieces), n)
		}
		var all []float32
		for i := range pieces {
			pieces[i].read(context.Background(), content.DefaultLimits)
			if pieces[i].err != nil {
				t.Fatal(pieces[i].err)
			}
			all = append(all, pieces[i].corners...)
		}
		if !slices.Equal(all, one.corners) {
			t.Errorf("%d pieces give other corners than one", n)
		}
	}
}

func TestWriteRead(t *testing.T) {
	want := read(t, string(ball(2000))).Bodies[0].Mesh
	var a, b bytes.Buffer
	if err := Write(&a, "solid a name far longer than the eighty bytes of the head can take, so it is cut there and then", want, want); err != nil {
		t.Fatal(err)
	}
	Write(&b, "solid a name far longer than the eighty bytes of the head can take, so it is cut there and then", want, want)
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two writings differ")
	}
	got := read(t, a.String()).Bodies[0].Mesh
	if got.Facets() != 2*want.Facets() || !slices.Equal(got.Pos, want.Pos) {
		t.Errorf("%d facets, want %d; same positions: %v", got.Facets(), 2*want.Facets(), slices.Equal(got.Pos, want.Pos))
	}
	nz := math.Float32frombits(binary.LittleEndian.Uint32(tetraBinary(t)[84+8:]))
	if nz != -1 {
		t.Errorf("normal of the bottom facet: z = %v", nz)
	}
}

// FuzzRead: no panic, and what is read is sound.
func FuzzRead(f *testing.F) {
	f.Add([]byte(tetra))
	f.Add(tetraBinary(f))
	f.Add([]byte("solid x\nfacet normal 0 0 1 outer loop vertex 1 2 3 vertex 1e9 .5 3. vertex 0 0 0 endloop endfacet"))
	dir := filepath.Join(checks.Root(), "..", "shared", "checks", "mesh", "open")
	if names, err := filepath.Glob(filepath.Join(dir, "*.[sS][tT][lL]")); err == nil {
		for _, n := range names {
			if b, err := os.ReadFile(n); err == nil && len(b) < 60_000 {
				f.Add(b)
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(context.Background(), data, content.Limits{Triangles: 10_000})
		if err != nil {
			if k := fault.KindOf(err); k != fault.Invalid && k != fault.TooLarge {
				t.Fatalf("unnamed fault: %v", err)
			}
			return
		}
		for _, b := range c.Bodies {
			sound(t, b.Mesh)
			if b.FacetColor != nil && len(b.FacetColor) != b.Mesh.Facets() {
				t.Fatal("colours do not match facets")
			}
		}
	})
}

func sound(t *testing.T, m *mesh.Mesh) {
	if m.Facets() == 0 {
		t.Fatal("a body without facets")
	}
	for _, v := range m.Tri {
		if int(v) >= m.Vertices() {
			t.Fatal("index out of range")
		}
	}
	for _, x := range m.Pos {
		if x-x != 0 {
			t.Fatal("not finite")
		}
	}
}

func BenchmarkText(b *testing.B) {
	text := ball(1_000_000)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, err := Read(context.Background(), text, content.Limits{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBinary(b *testing.B) {
	c, _ := Read(context.Background(), ball(1_000_000), content.Limits{})
	var buf bytes.Buffer
	Write(&buf, "", c.Bodies[0].Mesh)
	b.SetBytes(int64(buf.Len()))
	for b.Loop() {
		if _, err := Read(context.Background(), buf.Bytes(), content.Limits{}); err != nil {
			b.Fatal(err)
		}
	}
}
