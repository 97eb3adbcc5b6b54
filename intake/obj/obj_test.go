package obj

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/intake/content"
)

// cube is a closed cube of edge 2 with six quads.
const cube = `# a cube
v -1 -1 -1
v 1 -1 -1
v 1 1 -1
v -1 1 -1
v -1 -1 1
v 1 -1 1
v 1 1 1
v -1 1 1
f 1 4 3 2
f 5 6 7 8
f 1 2 6 5
f 2 3 7 6
f 3 4 8 7
f 4 1 5 8
`

func read(t testing.TB, data []byte, beside content.Beside) *content.Content {
	t.Helper()
	c, err := Read(context.Background(), data, beside, content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func utf16le(s string, mark bool) (b []byte) {
	if mark {
		b = append(b, 0xff, 0xfe)
	}
	for _, u := range utf16.Encode([]rune(s)) {
		b = append(b, byte(u), byte(u>>8))
	}
	return
}

func swapped(b []byte) []byte {
	out := bytes.Clone(b)
	for i := 0; i+1 < len(out); i += 2 {
		out[i], out[i+1] = out[i+1], out[i]
	}
	return out
}

func TestSpellings(t *testing.T) {
	relative := cube
	for i, f := range []string{"1 4 3 2", "5 6 7 8", "1 2 6 5", "2 3 7 6", "3 4 8 7", "4 1 5 8"} {
		var n [4]int
		fmt.Sscan(f, &n[0], &n[1], &n[2], &n[3])
		relative = strings.Replace(relative, "f "+f, fmt.Sprintf("f %d/%d/ %d//%d %d/1/1 %d", n[0]-9, i, n[1]-9, -1, n[2]-9, n[3]-9), 1)
	}
	for name, data := range map[string][]byte{
		"as is": []byte(cube), "CR": []byte(strings.ReplaceAll(cube, "\n", "\r")), "CRLF": []byte(strings.ReplaceAll(cube, "\n", "\r\n")),
		"no last line end": []byte(strings.TrimSpace(cube)), "spaces": []byte(strings.ReplaceAll(cube, " ", " \t  ")), "joined lines": []byte(strings.ReplaceAll(cube, " ", " \\\n")),
		"joined lines CRLF": []byte(strings.ReplaceAll(cube, " ", " \\\r\n")), "relative": []byte(relative), "mark": []byte("\xef\xbb\xbf" + cube),
		"UTF-16": utf16le(cube, true), "UTF-16 unmarked": utf16le(cube, false), "UTF-16 big": swapped(utf16le(cube, true)), "UTF-16 big unmarked": swapped(utf16le(cube, false)),
		"weights": []byte(strings.ReplaceAll(cube, "1\n", "1 1.0\n")), "comments": []byte(strings.ReplaceAll(cube, "1\n", "1 # here\n")),
	} {
		c, err := Read(context.Background(), data, nil, content.Limits{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		m := c.Bodies[0].Mesh
		if len(c.Bodies) != 1 || m.Vertices() != 8 || m.Facets() != 12 || m.Measure().VolumeMM3 != 8 || !m.Topology().Closed() || len(c.Warnings) > 0 {
			t.Errorf("%s: %d bodies, %d vertices, %d facets, volume %v, warnings %v", name, len(c.Bodies), m.Vertices(), m.Facets(), m.Measure().VolumeMM3, c.Warnings)
		}
	}
}

// shift moves vertex numbers, for a second cube in the same file.
func second(by int) string {
	var b strings.Builder
	for line := range strings.Lines(cube) {
		var n [4]int
		var v [3]float64
		switch {
		case strings.HasPrefix(line, "f"):
			fmt.Sscanf(line, "f %d %d %d %d", &n[0], &n[1], &n[2], &n[3])
			fmt.Fprintf(&b, "f %d %d %d %d\n", n[0]+by, n[1]+by, n[2]+by, n[3]+by)
		case strings.HasPrefix(line, "v"):
			fmt.Sscanf(line, "v %g %g %g", &v[0], &v[1], &v[2])
			fmt.Fprintf(&b, "v %g %g %g\n", v[0]+5, v[1], v[2])
		}
	}
	return b.String()
}

func TestBodies(t *testing.T) {
	grouped := cube
	for i, f := range []string{"f 1 4", "f 5 6", "f 1 2", "f 2 3", "f 3 4", "f 4 1"} {
		grouped = strings.Replace(grouped, f, fmt.Sprintf("g side%d\n%s", i, f), 1)
	}
	for name, c := range map[string]struct {
		text  string
		names string
	}{
		"two objects":               {"o first\n" + cube + "o second\n" + second(8), "first|second"},
		"objects win over groups":   {"g x\no first\n" + strings.Replace(grouped, "side", "s", -1) + "o second\n" + second(8), "first|second"},
		"facets before the objects": {cube + "o second\n" + second(8), "|second"},
		"two groups":                {"g first\n" + cube + "g second\n" + second(8), "first|second"},
		"groups that are patches":   {grouped + "g other\n" + second(8), "side0|other"},
		"a group that comes back":   {"g a\n" + cube + "g b\n" + second(8) + "g a\n" + strings.NewReplacer("v ", "v 2", "v 2-", "v -2").Replace(second(16)), "a|b"},
		"object without facets":     {"o empty\no first\n" + cube, "first"},
		"same name twice":           {"o a\n" + cube + "o a\n" + second(8), "a|a"},
	} {
		got := read(t, []byte(c.text), nil)
		var names []string
		for _, b := range got.Bodies {
			names = append(names, b.Name)
			if !b.Mesh.Topology().Closed() {
				t.Errorf("%s: %q is open", name, b.Name)
			}
		}
		if strings.Join(names, "|") != c.names {
			t.Errorf("%s: bodies %q, want %q", name, names, c.names)
		}
	}
}

func TestColours(t *testing.T) {
	img := image.NewNRGBA(image.Rect(0, 0, 2, 2))
	img.SetNRGBA(0, 1, color.NRGBA{9, 8, 7, 255}) // bottom left
	var pic bytes.Buffer
	png.Encode(&pic, img)
	beside := func(name string) ([]byte, bool) {
		switch name {
		case "my lib.mtl":
			return []byte("newmtl red\nKd 1 0 0\nd 0.5\n\nnewmtl pic\r\nKd 1 1 1\nmap_Kd -s 1 1 1 wood.png\nnewmtl grey\nKd 0.2\nTr 0.25"), true
		case "wood.png":
			return pic.Bytes(), true
		}
		return nil, false
	}
	text := "mtllib my lib.mtl\nvt 0.1 0.1\nvt .2 .1\nvt .1 .2\n" + strings.NewReplacer("f 1 4 3 2", "usemtl red\nf 1 4 3 2", "f 5 6 7 8", "usemtl pic\nf 5/1 6/2 7/3 8/3", "f 1 2 6 5", "usemtl grey\nf 1 2 6 5").Replace(cube)
	b := read(t, []byte(text), beside).Bodies[0]
	if len(b.FacetColor) != 12 || b.FacetColor[0] != (content.RGBA{255, 0, 0, 128}) || b.FacetColor[2] != (content.RGBA{9, 8, 7, 255}) || b.FacetColor[11] != (content.RGBA{51, 51, 51, 191}) || b.Material != "" {
		t.Errorf("colours %v, material %q", b.FacetColor, b.Material)
	}
	c := read(t, []byte("mtllib my lib.mtl\nusemtl red\n"+cube), beside)
	if c.Bodies[0].Material != "red" || *c.Bodies[0].Color != (content.RGBA{255, 0, 0, 128}) {
		t.Errorf("one material: %+v", c.Bodies[0])
	}
	c = read(t, []byte("mtllib absent.mtl\nusemtl red\n"+cube), nil)
	if c.Bodies[0].Material != "red" || c.Bodies[0].Color != nil || len(c.Warnings) != 1 || c.Warnings[0].Code != "obj_material_missing" {
		t.Errorf("library missing: %+v, %v", c.Bodies[0], c.Warnings)
	}
	for name, s := range map[string]string{"0…1": " 1 0.2 0\n", "0…255": " 255 51 0\n"} {
		text := cube
		for _, v := range []string{"v -1 -1 -1\n", "v 1 -1 -1\n", "v 1 1 -1\n", "v -1 1 -1\n", "v -1 -1 1\n", "v 1 -1 1\n", "v 1 1 1\n", "v -1 1 1\n"} {
			text = strings.Replace(text, v, strings.TrimSpace(v)+s, 1)
		}
		if got := read(t, []byte(text), nil).Bodies[0].Color; got == nil || *got != (content.RGBA{255, 51, 0, 255}) {
			t.Errorf("vertex colours %s: %v", name, got)
		}
	}
}

func TestBroken(t *testing.T) {
	for _, c := range []struct{ what, text, code, where string }{
		{"nothing", "# only this\n", "obj_empty", ""},
		{"points", cube[:strings.Index(cube, "f")], "obj_empty", ""},
		{"index too high", strings.Replace(cube, "f 1 4", "f 1 9", 1), "obj_index", "line 10"},
		{"index zero", strings.Replace(cube, "f 1 4", "f 0 4", 1), "obj_index", "line 10"},
		{"index too low", strings.Replace(cube, "f 1 4", "f -9 4", 1), "obj_index", "line 10"},
		{"index huge", strings.Replace(cube, "f 1 4", "f 99999999999999999999 4", 1), "obj_syntax", "line 10"},
		{"index a word", strings.Replace(cube, "f 1 4", "f a 4", 1), "obj_syntax", "line 10"},
		{"index with a tail", strings.Replace(cube, "f 1 4", "f 1x 4", 1), "obj_syntax", "line 10"},
		{"NaN", strings.Replace(cube, "v 1 -1 -1", "v 1 nan -1", 1), "obj_nan", "line 3"},
		{"too large", strings.Replace(cube, "v 1 -1 -1", "v 1 1e60 -1", 1), "obj_nan", "line 3"},
		{"comma", strings.Replace(cube, "v 1 -1 -1", "v 1,5 -1 -1", 1), "number_comma", "line 3"},
		{"two numbers", strings.Replace(cube, "v 1 -1 -1", "v 1 -1", 1), "obj_syntax", "line 3"},
		{"word", strings.Replace(cube, "v 1 -1 -1", "v one -1 -1", 1), "obj_syntax", "line 3"},
		{"zeros", cube + "\x00\x00", "obj_syntax", "line 16"},
		{"prose", strings.Repeat("this is no model\n", 30), "not_a_model", ""},
	} {
		_, err := Read(context.Background(), []byte(c.text), nil, content.Limits{})
		if f := fault.Of(err); f == nil || f.Code != c.code || f.Where != c.where {
			t.Errorf("%s: %v (%+v), want %s at %s", c.what, err, f, c.code, c.where)
		}
	}
	for code, lim := range map[string]content.Limits{"too_many_triangles": {Triangles: 11}, "too_many_bodies": {Bodies: 1}, "too_large": {Bytes: 20}} {
		_, err := Read(context.Background(), []byte("o a\n"+cube+"o b\n"+second(8)), nil, lim)
		if f := fault.Of(err); f == nil || f.Code != code || f.Kind != fault.TooLarge {
			t.Errorf("%s: %v", code, err)
		}
	}
	c := read(t, []byte(cube+"f 1 2\nl 1 2\ncstype bezier\n{what}\n{what}\n"), nil)
	if len(c.Warnings) != 4 {
		t.Errorf("warnings %v", c.Warnings)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(cube))
	f.Add(utf16le(cube, true))
	f.Add([]byte("o a\nv 1 2 3 .5 .5 .5\nv 0 0 0\nv 1 0 0\nv 1e3 0 \\\n1\ng x\nf -1/2/3 -2// -3 -4\nusemtl q\nf 1 2 3"))
	if names, err := filepath.Glob(filepath.Join(checks.Root(), "..", "shared", "checks", "mesh", "open", "*.obj")); err == nil {
		for _, n := range names {
			if b, err := os.ReadFile(n); err == nil && len(b) < 5_000 {
				f.Add(b)
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(context.Background(), data, nil, content.Limits{Triangles: 10_000})
		if err != nil {
			if fault.KindOf(err) == fault.Internal {
				t.Fatal(err)
			}
			return
		}
		for _, b := range c.Bodies {
			if b.Mesh.Facets() == 0 || b.FacetColor != nil && len(b.FacetColor) != b.Mesh.Facets() {
				t.Fatal("facets")
			}
			for _, v := range b.Mesh.Tri {
				if int(v) >= b.Mesh.Vertices() {
					t.Fatal("index out of range")
				}
			}
			for _, x := range b.Mesh.Pos {
				if math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) {
					t.Fatal("not finite")
				}
			}
		}
	})
}
