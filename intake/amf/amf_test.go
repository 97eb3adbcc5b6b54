package amf

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/unit"
)

func vertices(extra string) string {
	s := ""
	for _, p := range []string{"0 0 0", "2 0 0", "0 1 0", "0 0 1"} {
		f := strings.Fields(p)
		s += fmt.Sprintf("<vertex><coordinates><x>%s</x><y> %s </y><z>%s</z></coordinates>%s</vertex>", f[0], f[1], f[2], extra)
	}
	return "<vertices>" + s + "</vertices>"
}

// tri is a triangle with something inside.
func tri(a, b, c int, extra string) string {
	return fmt.Sprintf("<triangle>%s<v1>%d</v1><v2>%d</v2><v3>%d</v3></triangle>", extra, a, b, c)
}

var tetra = tri(0, 2, 1, "") + tri(0, 1, 3, "") + tri(0, 3, 2, "") + tri(1, 2, 3, "")

func doc(inside string) string {
	return `<?xml version="1.0" encoding="utf-8"?><amf unit="inch" version="1.1">` + inside + `</amf>`
}

func object(id, attrs, extra string) string {
	return `<object id="` + id + `">` + extra + `<mesh>` + vertices("") + `<volume ` + attrs + `>` + tetra + `</volume></mesh></object>`
}

func read(t testing.TB, data string) *content.Content {
	t.Helper()
	c, err := Read(context.Background(), []byte(data), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestRead(t *testing.T) {
	text := doc(`<metadata type="cad">a modeller</metadata>` + object("1", `materialid="7"`, `<metadata type="name">wedge</metadata>`) + `<material id="7"><metadata type="Name">resin</metadata><color><r>1</r><g>0</g><b>0.2</b></color></material>`)
	c := read(t, text)
	b := c.Bodies[0]
	if c.Unit != unit.Inch || len(c.Bodies) != 1 || math.Abs(b.Mesh.Measure().VolumeMM3-1.0/3) > 1e-9 || b.Name != "wedge" || b.Material != "resin" || *b.Color != (content.RGBA{255, 0, 51, 255}) || c.Generator != "a modeller" {
		t.Errorf("%+v %+v", c, b)
	}
	var buf bytes.Buffer
	z := zip.NewWriter(&buf)
	f, _ := z.Create("part.amf")
	f.Write([]byte(text))
	z.Close()
	if c := read(t, buf.String()); c.Bodies[0].Mesh.Facets() != 4 {
		t.Error("packed")
	}
	if c := read(t, strings.Replace(text, ` unit="inch"`, "", 1)); c.Unit != unit.MM {
		t.Errorf("without a unit: %s", c.Unit)
	}
}

func TestColours(t *testing.T) {
	blue := "<color><r>0</r><g>0</g><b>1</b></color>"
	text := doc(`<object id="1"><color><r>1</r><g>1</g><b>0</b></color><mesh>` + vertices("<color><r>0</r><g>1</g><b>0</b></color>") +
		`<volume>` + tri(0, 2, 1, blue) + tri(0, 1, 3, "") + `</volume></mesh></object>` +
		`<object id="2"><color><r>1</r><g>1</g><b>0</b></color><mesh>` + vertices("") + `<volume>` + tri(0, 1, 3, "") + tri(0, 2, 1, blue) + `</volume><volume>` + tetra + `</volume></mesh></object>` +
		`<object id="3"><color><r>x/10</r><g>1</g><b>0</b></color><mesh>` + vertices("") + `<volume>` + tetra + `</volume></mesh></object>`)
	c := read(t, text)
	if got := c.Bodies[0].FacetColor; len(got) != 2 || got[0] != (content.RGBA{0, 0, 255, 255}) || got[1] != (content.RGBA{0, 255, 0, 255}) {
		t.Errorf("triangle before vertices: %v", got)
	}
	if got := c.Bodies[1].FacetColor; len(got) != 2 || got[0] != (content.RGBA{255, 255, 0, 255}) || got[1] != (content.RGBA{0, 0, 255, 255}) {
		t.Errorf("triangle before object: %v", got)
	}
	if got := c.Bodies[2].Color; got == nil || *got != (content.RGBA{255, 255, 0, 255}) {
		t.Errorf("object: %v", got)
	}
	if c.Bodies[3].Color != nil || c.Warnings[0].Code != "amf_formula" {
		t.Errorf("formula: %v %v", c.Bodies[3].Color, c.Warnings)
	}
}

func TestConstellation(t *testing.T) {
	c := read(t, doc(object("1", "", "")+object("2", "", "")+
		`<constellation id="3"><instance objectid="1"><deltax>10</deltax><rz>90</rz></instance><instance objectid="1"><deltaz>-5</deltaz></instance></constellation>`+
		`<constellation id="4"><metadata type="name">all</metadata><instance objectid="3"><rx>90</rx></instance></constellation>`))
	if len(c.Bodies) != 3 {
		t.Fatalf("%d bodies: one that nothing places lies as it is, two are placed", len(c.Bodies))
	}
	for i, want := range []r3.Box{
		{Max: r3.Vec{X: 2, Y: 1, Z: 1}},
		// Quarter turn about z: (2,1,1) → x -1…0, y 0…2; moved to x 9…10; quarter turn about x: y to z, z to -y.
		{Min: r3.Vec{X: 9, Y: -1}, Max: r3.Vec{X: 10, Z: 2}},
		{Min: r3.Vec{Y: 4}, Max: r3.Vec{X: 2, Y: 5, Z: 1}},
	} {
		got := c.Bodies[i].Mesh.Box()
		if got.Min.Dist(want.Min) > 1e-6 || got.Max.Dist(want.Max) > 1e-6 || math.Abs(c.Bodies[i].Mesh.Measure().VolumeMM3-1.0/3) > 1e-6 {
			t.Errorf("body %d: %v, want %v", i, got, want)
		}
	}
	if c.Bodies[1].Instance != "/all/3" {
		t.Errorf("instance %q", c.Bodies[1].Instance)
	}
}

func TestBroken(t *testing.T) {
	good := doc(object("1", "", ""))
	with := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("%q is not in the text", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	chain := object("0", "", "")
	for i := range 20 {
		chain += fmt.Sprintf(`<constellation id="%d"><instance objectid="%d"/></constellation>`, i+1, i)
	}
	laughs := object("0", "", "")
	for i := range 10 {
		laughs += fmt.Sprintf(`<constellation id="%d">%s</constellation>`, i+1, strings.Repeat(fmt.Sprintf(`<instance objectid="%d"/>`, i), 10))
	}
	for _, c := range []struct{ what, text, code string }{
		{"not AMF", "<svg/>", "amf_root"},
		{"cut", good[:len(good)-30], "xml_syntax"},
		{"unit", with("inch", "furlong"), "amf_unit"},
		{"word", with("<x>2</x>", "<x>two</x>"), "amf_number"},
		{"comma", with("<x>2</x>", "<x>2,5</x>"), "number_comma"},
		{"NaN", with("<x>2</x>", "<x>nan</x>"), "amf_number"},
		{"too large", with("<x>2</x>", "<x>1e60</x>"), "amf_number"},
		{"empty number", with("<x>2</x>", "<x/>"), "amf_number"},
		{"no coordinate", with("<x>2</x>", ""), "amf_vertex"},
		{"index", with("<v1>1</v1>", "<v1>4</v1>"), "amf_index"},
		{"negative index", with("<v1>1</v1>", "<v1>-1</v1>"), "amf_index"},
		{"no corner", with("<v1>1</v1>", ""), "amf_index"},
		{"no id", with(` id="1"`, ""), "amf_id"},
		{"id twice", doc(object("1", "", "") + object("1", "", "")), "amf_id"},
		{"curved", with("</vertices>", "<edge><v1>0</v1><v2>1</v2></edge></vertices>"), "amf_curved"},
		{"nothing", doc(""), "amf_empty"},
		{"instance of nothing", doc(object("1", "", "") + `<constellation id="2"><instance objectid="7"/></constellation>`), "amf_instance"},
		{"circle", doc(object("1", "", "") + `<constellation id="2"><instance objectid="3"/></constellation><constellation id="3"><instance objectid="2"/></constellation>`), "amf_circle"},
		{"deep", doc(chain), "amf_depth"},
		{"multiplied", doc(laughs), "too_many_triangles"},
	} {
		_, err := Read(context.Background(), []byte(c.text), content.Limits{})
		if f := fault.Of(err); f == nil || f.Code != c.code {
			t.Errorf("%s: %v (%+v), want %s", c.what, err, f, c.code)
		}
	}
	if c := read(t, strings.Replace(good, "</vertex>", "<normal><nx>0</nx></normal></vertex>", 1)); len(c.Warnings) != 1 || c.Warnings[0].Code != "amf_normals" {
		t.Errorf("normals: %v", c.Warnings)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(doc(object("1", `materialid="7"`, "") + `<constellation id="3"><instance objectid="1"><deltax>10</deltax><rz>90</rz></instance></constellation>`)))
	if names, err := filepath.Glob(filepath.Join(checks.Root(), "..", "shared", "checks", "mesh", "open", "*.amf")); err == nil {
		for _, n := range names {
			if b, err := os.ReadFile(n); err == nil {
				f.Add(b)
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Read(context.Background(), data, content.Limits{Triangles: 10_000, Bodies: 100})
		if err != nil {
			if fault.KindOf(err) == fault.Internal {
				t.Fatal(err)
			}
			return
		}
		for _, b := range c.Bodies {
			for _, v := range b.Mesh.Tri {
				if int(v) >= b.Mesh.Vertices() {
					t.Fatal("index out of range")
				}
			}
			if b.FacetColor != nil && len(b.FacetColor) != b.Mesh.Facets() {
				t.Fatal("colours do not match facets")
			}
		}
	})
}
