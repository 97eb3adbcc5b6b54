package off

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/intake/content"
)

const cube = "OFF\n8 6 12\n-1 -1 -1\n1 -1 -1\n1 1 -1\n-1 1 -1\n-1 -1 1\n1 -1 1\n1 1 1\n-1 1 1\n" +
	"4 0 3 2 1\n4 4 5 6 7\n4 0 1 5 4\n4 1 2 6 5\n4 2 3 7 6\n4 3 0 4 7\n"

func read(t *testing.T, s string) *content.Content {
	t.Helper()
	c, err := Read(context.Background(), []byte(s), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSpellings(t *testing.T) {
	coloured := strings.NewReplacer("-1\n", "-1 0 0 1 0.5 0.25 0 1\n", "1\n", "1 0 0 1 0.5 0.25 0 1\n").Replace(cube[:strings.Index(cube, "4 0 3")])
	for name, s := range map[string]string{
		"as is": cube, "CRLF": strings.ReplaceAll(cube, "\n", "\r\n"), "CR": strings.ReplaceAll(cube, "\n", "\r"), "one line head": strings.Replace(cube, "OFF\n8", "OFF 8", 1),
		"comments": "# first\n\n" + strings.ReplaceAll(cube, "\n", " # here\n# and here\n\n"), "no edges": strings.Replace(cube, "8 6 12", "8 6", 1), "no word": strings.TrimPrefix(cube, "OFF\n"),
		"face colours": strings.ReplaceAll(strings.ReplaceAll(cube, "7\n", "7 255 0 0\n"), "6\n", "6 0 0.5 0.5\n"), "colour index": strings.ReplaceAll(cube, "7\n", "7 3\n"),
		"mark": "\xef\xbb\xbf" + cube, "normals": strings.Replace(strings.NewReplacer(" -1\n", " -1 0 0 1\n", " 1\n", " 1 0 0 1\n").Replace(cube[:strings.Index(cube, "4 0 3")]), "OFF", "NOFF", 1) + cube[strings.Index(cube, "4 0 3"):],
		"all at vertices": strings.Replace(coloured, "OFF", "CNOFF", 1) + cube[strings.Index(cube, "4 0 3"):],
	} {
		b := read(t, s).Bodies[0]
		if b.Mesh.Facets() != 12 || b.Mesh.Vertices() != 8 || b.Mesh.Measure().VolumeMM3 != 8 {
			t.Errorf("%s: %d facets, volume %v", name, b.Mesh.Facets(), b.Mesh.Measure().VolumeMM3)
		}
		switch name {
		case "face colours":
			if len(b.FacetColor) != 12 || b.FacetColor[0] != content.Uncoloured || b.FacetColor[2] != (content.RGBA{255, 0, 0, 255}) || b.FacetColor[8] != (content.RGBA{0, 128, 128, 255}) {
				t.Errorf("%s: %v", name, b.FacetColor)
			}
		case "all at vertices":
			if b.Color == nil || *b.Color != (content.RGBA{128, 64, 0, 255}) {
				t.Errorf("%s: %v", name, b.Color)
			}
		default:
			if b.Color != nil || b.FacetColor != nil {
				t.Errorf("%s: has colours", name)
			}
		}
	}
}

func TestBroken(t *testing.T) {
	for _, c := range []struct{ what, text, code string }{
		{"cut", cube[:len(cube)-8], "off_truncated"},
		{"cut in vertices", cube[:40], "off_truncated"},
		{"huge count", strings.Replace(cube, "8 6 12", "8 353535235358 12", 1), "off_truncated"},
		{"huge face", strings.Replace(cube, "4 0 3", "400000 0 3", 1), "off_truncated"},
		{"index", strings.Replace(cube, "4 0 3", "4 8 3", 1), "off_index"},
		{"negative index", strings.Replace(cube, "4 0 3", "4 -1 3", 1), "off_syntax"},
		{"NaN", strings.Replace(cube, "1 -1 -1", "nan -1 -1", 1), "off_nan"},
		{"too large", strings.Replace(cube, "1 -1 -1", "1e60 -1 -1", 1), "off_nan"},
		{"word", strings.Replace(cube, "1 -1 -1", "x -1 -1", 1), "off_syntax"},
		{"comma", strings.Replace(cube, "1 -1 -1", "1,5 -1 -1", 1), "number_comma"},
		{"four dimensions", "4" + cube, "off_variant"},
		{"binary", strings.Replace(cube, "OFF", "OFF BINARY", 1), "off_variant"},
		{"no faces", "OFF\n3 0 0\n0 0 0\n1 0 0\n0 1 0\n", "off_empty"},
		{"word only", "OFF", "off_truncated"},
	} {
		_, err := Read(context.Background(), []byte(c.text), content.Limits{})
		if f := fault.Of(err); f == nil || f.Code != c.code {
			t.Errorf("%s: %v (%+v), want %s", c.what, err, f, c.code)
		}
	}
	if _, err := Read(context.Background(), []byte(cube), content.Limits{Triangles: 11}); fault.Of(err).Code != "too_many_triangles" {
		t.Error(err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(cube))
	f.Add([]byte("COFF\n3 1 0\n0 0 0 1 0 0 1\n1 0 0 1 0 0 1\n0 1 0 255 0 0 255\n3 0 1 2 0.5 0.5 0.5"))
	if names, err := filepath.Glob(filepath.Join(checks.Root(), "..", "shared", "checks", "mesh", "open", "*.off")); err == nil {
		for _, n := range names {
			if b, err := os.ReadFile(n); err == nil && len(b) < 10_000 {
				f.Add(b)
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(context.Background(), data, content.Limits{Triangles: 10_000})
		if err != nil {
			if fault.KindOf(err) == fault.Internal {
				t.Fatal(err)
			}
			return
		}
		b := c.Bodies[0]
		for _, v := range b.Mesh.Tri {
			if int(v) >= b.Mesh.Vertices() {
				t.Fatal("index out of range")
			}
		}
		if b.FacetColor != nil && len(b.FacetColor) != b.Mesh.Facets() {
			t.Fatal("colours do not match facets")
		}
	})
}
