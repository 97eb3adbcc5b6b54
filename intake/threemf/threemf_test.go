package threemf

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/unit"
)

const (
	contentTypes = `<Types xmlns="` + nsTypes + `"><Default Extension="rels" ContentType="` + typeRels + `"/><Default Extension="model" ContentType="` + typeModel + `"/><Default Extension="png" ContentType="image/png"/></Types>`
	startRels    = `<Relationships xmlns="` + nsRels + `"><Relationship Id="r" Target="/3D/3dmodel.model" Type="` + relModel + `"/></Relationships>`
	header       = `<model unit="%s" xmlns="` + nsCore + `" xmlns:m="` + nsMaterial + `" xmlns:p="` + nsProduction + `" xmlns:b="` + nsBeam + `" xmlns:s="` + nsSlice + `">`
	tetra        = `<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/></vertices>` +
		`<triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/><triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh>`
)

// pack makes a package of one model part and further files, names and contents in turn.
func pack(t testing.TB, model string, more ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	files := append([]string{"[Content_Types].xml", contentTypes, "_rels/.rels", startRels, "3D/3dmodel.model", model}, more...)
	for i := 0; i < len(files); i += 2 {
		last := i
		for j := i + 2; j < len(files); j += 2 { // a later one of the same name stands in its place
			if files[j] == files[i] {
				last = -1
			}
		}
		if last < 0 {
			continue
		}
		f, err := w.Create(files[i])
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

func doc(u, resources, build string) string {
	return fmt.Sprintf(header, u) + "<resources>" + resources + "</resources><build>" + build + "</build></model>"
}

func read(t testing.TB, data []byte) *content.Content {
	t.Helper()
	c, err := Read(context.Background(), data, content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func volume(c *content.Content) (v float64) {
	for _, b := range c.Bodies {
		v += b.Mesh.Measure().VolumeMM3
	}
	return v
}

func TestPlacing(t *testing.T) {
	c := read(t, pack(t, doc("inch", `<object id="1" name="leaf">`+tetra+`</object>
		<object id="2" name="pair"><components><component objectid="1"/><component objectid="1" transform="-1 0 0 0 1 0 0 0 1 5 0 0"/></components></object>
		<object id="3" name="not placed">`+tetra+`</object>`,
		`<item objectid="2" transform="2 0 0 0 2 0 0 0 2 0 0 10"/><item objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/>`)))
	if c.Unit != unit.Inch || len(c.Bodies) != 3 {
		t.Fatalf("unit %s, %d bodies", c.Unit, len(c.Bodies))
	}
	for i, want := range []struct {
		volume   float64
		min, max r3.Vec
		name     string
		instance string
	}{
		{8.0 / 6, r3.Vec{Z: 10}, r3.Vec{X: 2, Y: 2, Z: 12}, "leaf", "/pair"},
		{8.0 / 6, r3.Vec{X: 8, Z: 10}, r3.Vec{X: 10, Y: 2, Z: 12}, "leaf", "/pair"}, // mirrored, not inside out
		{1.0 / 6, r3.Vec{X: -1}, r3.Vec{Y: 1, Z: 1}, "leaf", ""},                    // a quarter turn: x goes to y
	} {
		b := c.Bodies[i]
		box := b.Mesh.Box()
		if math.Abs(b.Mesh.Measure().VolumeMM3-want.volume) > 1e-6 || box.Min.Dist(want.min) > 1e-6 || box.Max.Dist(want.max) > 1e-6 || b.Name != want.name || b.Instance != want.instance {
			t.Errorf("body %d %q in %q: volume %v, box %v, want %+v", i, b.Name, b.Instance, b.Mesh.Measure().VolumeMM3, box, want)
		}
	}
}

func TestProduction(t *testing.T) {
	part := func(x string) string {
		return doc("millimeter", `<object id="1" p:UUID="000000aa-0000-0000-0000-00000000000`+x+`">`+tetra+`</object>`, "")
	}
	rels := `<Relationships xmlns="` + nsRels + `"><Relationship Id="a" Target="/3D/A.model" Type="` + relModel + `"/><Relationship Id="b" Target="B%20b.model" Type="` + relModel + `"/></Relationships>`
	root := doc("centimeter", `<object id="1"><components><component objectid="1" p:path="/3D/A.model"/></components></object>`, `<item objectid="1"/><item objectid="1" p:path="/3D/B%20b.model" transform="1 0 0 0 1 0 0 0 1 9 0 0"/>`)
	c := read(t, pack(t, root, "3D/_rels/3dmodel.model.rels", rels, "3D/A.model", part("a"), "3D/B b.model", part("b")))
	if len(c.Bodies) != 2 || c.Unit != unit.CM || c.Bodies[1].Mesh.Box().Min.X != 9 {
		t.Errorf("bodies %+v, unit %s", c.Bodies, c.Unit)
	}
	_, err := Read(context.Background(), pack(t, root, "3D/A.model", part("a"), "3D/B b.model", part("b")), content.Limits{})
	if f := fault.Of(err); f == nil || f.Code != "3mf_path" {
		t.Errorf("a part that is not related: %v", err)
	}
	nested := doc("millimeter", `<object id="1"><components><component objectid="1" p:path="/3D/B%20b.model"/></components></object>`, "")
	_, err = Read(context.Background(), pack(t, root, "3D/_rels/3dmodel.model.rels", rels, "3D/A.model", nested, "3D/B b.model", part("b")), content.Limits{})
	if f := fault.Of(err); f == nil || f.Code != "3mf_path" {
		t.Errorf("a path in a part that is not the root: %v", err)
	}
}

func TestColours(t *testing.T) {
	img := image.NewNRGBA(image.Rect(0, 0, 2, 2))
	img.SetNRGBA(0, 0, color.NRGBA{10, 20, 30, 255}) // top left
	img.SetNRGBA(1, 1, color.NRGBA{0, 0, 200, 255})  // bottom right
	var pic bytes.Buffer
	png.Encode(&pic, img)
	rels := `<Relationships xmlns="` + nsRels + `"><Relationship Id="a" Target="/3D/t.png" Type="` + relTexture + `"/></Relationships>`
	resources := `<basematerials id="1"><base name="resin" displaycolor="#FF000080"/><base name="gel" displaycolor="#0000FF"/></basematerials>
		<m:colorgroup id="2"><m:color color="#00FF00"/><m:color color="#FFFFFF"/></m:colorgroup>
		<m:texture2d id="3" path="/3D/t.png" contenttype="image/png"/>
		<m:texture2dgroup id="4" texid="3"><m:tex2coord u="0.1" v="0.9"/><m:tex2coord u="0.9" v="0.1"/></m:texture2dgroup>
		<m:compositematerials id="5" matid="1" matindices="0 1"><m:composite values="1 1"/><m:composite values="0 1"/></m:compositematerials>
		<m:multiproperties id="6" pids="1 2" blendmethods="multiply"><m:multi pindices="0 1"/></m:multiproperties>
		<object id="7" pid="1" pindex="1"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/></vertices><triangles>` +
		`<triangle v1="0" v2="1" v3="2"/><triangle v1="0" v2="1" v3="2" p1="0"/><triangle v1="0" v2="1" v3="2" pid="2" p1="0" p2="1" p3="1"/><triangle v1="0" v2="1" v3="2" pid="4" p1="0"/>` +
		`<triangle v1="0" v2="1" v3="2" pid="4" p1="1"/><triangle v1="0" v2="1" v3="2" pid="5" p1="0"/><triangle p1="1" v3="2" v2="1" v1="0" pid="5"/><triangle v1="0" v2="1" v3="2" pid="6" p1="0"/></triangles></mesh></object>
		<object id="8" pid="1" pindex="1">` + tetra + `</object>`
	c := read(t, pack(t, doc("millimeter", resources, `<item objectid="7"/><item objectid="8"/>`), "3D/_rels/3dmodel.model.rels", rels, "3D/t.png", pic.String()))
	half := content.FromLinear(0.5)
	want := []content.RGBA{{0, 0, 255, 255}, {255, 0, 0, 128}, {170, 255, 170, 255}, {10, 20, 30, 255}, {0, 0, 200, 255}, {half, 0, half, 192}, {0, 0, 255, 255}, {255, 0, 0, 255}}
	if got := c.Bodies[0].FacetColor; !slices.Equal(got, want) {
		t.Errorf("colours\n%v, want\n%v", got, want)
	}
	if b := c.Bodies[1]; b.Material != "gel" || b.Color == nil || *b.Color != want[0] || b.FacetColor != nil {
		t.Errorf("object's own material: %q %v", b.Material, b.Color)
	}
}

func TestLattice(t *testing.T) {
	for name, c := range map[string]struct {
		attrs, beams string
		volume       float64
	}{
		// One beam of length 10 and radius 1: a cylinder, and two half balls or none.
		"round":     {`radius="1"`, `<b:beam v1="0" v2="1"/>`, math.Pi*10 + math.Pi*4/3},
		"butt":      {`radius="1" cap="butt"`, `<b:beam v1="0" v2="1"/>`, math.Pi * 10},
		"tapered":   {`radius="1" cap="butt"`, `<b:beam v1="0" v2="1" r1="2" r2="1"/>`, math.Pi * 10 / 3 * (4 + 2 + 1)},
		"one round": {`radius="1" cap="butt"`, `<b:beam v1="0" v2="1" cap2="hemisphere"/>`, math.Pi*10 + math.Pi*2/3},
	} {
		model := doc("millimeter", `<object id="1"><mesh><vertices><vertex x="1" y="2" z="3"/><vertex x="7" y="2" z="11"/><vertex x="0" y="0" z="0"/></vertices><triangles></triangles>`+
			`<b:beamlattice minlength="0.1" `+c.attrs+`><b:beams>`+c.beams+`</b:beams></b:beamlattice></mesh></object>`, `<item objectid="1"/>`)
		got := read(t, pack(t, model))
		if len(got.Bodies) != 1 || !got.Bodies[0].Mesh.Topology().Closed() {
			t.Errorf("%s: not one closed body", name)
			continue
		}
		if v := volume(got); math.Abs(v/c.volume-1) > 0.01 {
			t.Errorf("%s: volume %v, want %v", name, v, c.volume)
		}
	}
}

// A lattice cut by a cube of side 10 at the origin, known by hand: butt beams of radius 1 through the cube, beside it and within it, and one that
// ends in a corner; beams overlap nowhere, so their volumes add up.
func TestLatticeIsClipped(t *testing.T) {
	cube := cubeOf(7, ``)
	lattice := func(attrs string) string {
		return doc("millimeter", cube+`<object id="1"><mesh><vertices>`+
			`<vertex x="-10" y="3" z="3"/><vertex x="20" y="3" z="3"/>`+
			`<vertex x="-10" y="30" z="3"/><vertex x="20" y="30" z="3"/>`+
			`<vertex x="2" y="7" z="7"/><vertex x="8" y="7" z="7"/>`+
			`<vertex x="3" y="0" z="-5"/><vertex x="3" y="0" z="5"/>`+ // half of it within, along an edge of the cube's wall
			`</vertices><triangles></triangles><b:beamlattice minlength="0.1" radius="1" cap="butt" `+attrs+`><b:beams>`+
			`<b:beam v1="0" v2="1"/><b:beam v1="2" v2="3"/><b:beam v1="4" v2="5"/><b:beam v1="6" v2="7" r1="0.5"/></b:beams></b:beamlattice></mesh></object>`, `<item objectid="1"/>`)
	}
	all := math.Pi * (30 + 30 + 6 + 10*0.25)
	within := math.Pi * (10 + 6 + 2.5*0.5*0.5)
	for attrs, want := range map[string]float64{
		``:                                       all,
		`clippingmode="none" clippingmesh="7"`:   all,
		`clippingmode="inside" clippingmesh="7"`: within,
		`clippingmode="outside" clippingmesh="7"`: all - within,
		`representationmesh="7"`:                  all,
	} {
		c := read(t, pack(t, lattice(attrs)))
		if len(c.Bodies) != 1 || !c.Bodies[0].Mesh.Topology().Solid() || len(c.Warnings) > 0 {
			t.Errorf("%s: not one closed body, %v", attrs, c.Warnings)
			continue
		}
		if v := volume(c); math.Abs(v/want-1) > 1e-4 {
			t.Errorf("%s: volume %v, want %v", attrs, v, want)
		}
	}
	// What cannot be cut is taken whole, and that is said.
	open := strings.Replace(lattice(`clippingmode="inside" clippingmesh="7"`), `<triangle v1="0" v2="2" v3="3"/>`, ``, 1)
	open = strings.Replace(open, `<triangle v1="4" v2="5" v3="7"/><triangle v1="4" v2="7" v3="6"/>`, ``, 1)
	for _, cut := range []string{`<triangle v1="0" v2="1" v3="5"/>`, `<triangle v1="0" v2="5" v3="4"/>`, `<triangle v1="2" v2="6" v3="7"/>`, `<triangle v1="2" v2="7" v3="3"/>`,
		`<triangle v1="0" v2="4" v3="6"/>`, `<triangle v1="0" v2="6" v3="2"/>`, `<triangle v1="1" v2="3" v3="7"/>`, `<triangle v1="1" v2="7" v3="5"/>`} {
		open = strings.Replace(open, cut, ``, 1)
	}
	c := read(t, pack(t, open))
	if v := volume(c); math.Abs(v/all-1) > 1e-4 || len(c.Warnings) != 1 || c.Warnings[0].Code != "3mf_lattice_clip" {
		t.Errorf("cut by one triangle: volume %v, %v", v, c.Warnings)
	}
}

// cubeOf is a mesh object: a cube of side 10 at the origin.
func cubeOf(id int, attrs string) string {
	x := fmt.Sprintf(`<object id="%d" %s><mesh><vertices>`, id, attrs)
	for i := range 8 {
		x += fmt.Sprintf(`<vertex x="%d" y="%d" z="%d"/>`, 10*(i&1), 10*(i>>1&1), 10*(i>>2&1))
	}
	x += `</vertices><triangles>`
	for _, q := range [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		x += fmt.Sprintf(`<triangle v1="%d" v2="%d" v3="%d"/><triangle v1="%d" v2="%d" v3="%d"/>`, q[0], q[1], q[2], q[0], q[2], q[3])
	}
	return x + `</triangles></mesh></object>`
}

// Objects put together from cubes; volumes by hand.
func TestBoolean(t *testing.T) {
	const moved, small = `transform="1 0 0 0 1 0 0 0 1 5 5 5"`, `transform="0.2 0 0 0 0.2 0 0 0 2 4 4 -5"` // a bar of 2 x 2 through the cube
	shape := func(id int, attrs, by string) string {
		return fmt.Sprintf(`<object id="%d"><o:booleanshape %s>%s</o:booleanshape></object>`, id, attrs, by)
	}
	build := func(objects string, id int) string {
		return strings.Replace(doc("millimeter", `<m:colorgroup id="90"><m:color color="#FF0000"/><m:color color="#00FF00"/></m:colorgroup>`+
			cubeOf(1, `pid="90" pindex="0"`)+cubeOf(2, `pid="90" pindex="1"`)+objects, fmt.Sprintf(`<item objectid="%d"/>`, id)),
			"<model ", `<model xmlns:o="http://schemas.3mf.io/3dmanufacturing/booleanoperations/2023/07" requiredextensions="o" `, 1)
	}
	other := `<o:boolean objectid="2" ` + moved + `/>`
	bar := `<o:boolean objectid="2" ` + small + `/>`
	for name, c := range map[string]struct {
		model  string
		volume float64
		colors int
	}{
		"union":           {build(shape(3, `objectid="1"`, other), 3), 2000 - 125, 2},
		"difference":      {build(shape(3, `objectid="1" operation="difference"`, other), 3), 1000 - 125, 2},
		"intersection":    {build(shape(3, `objectid="1" operation="intersection"`, other), 3), 125, 2},
		"one after other": {build(shape(3, `objectid="1" operation="difference"`, other+bar), 3), 1000 - 125 - 4*10 + 4*1*0.25*5, 2}, // the bar's corner lies in what is gone: 1 x 1 x 5
		"of a sum":        {build(shape(3, `objectid="1"`, other)+shape(4, `objectid="3" operation="difference" `+moved, `<o:boolean objectid="1" transform="1 0 0 0 1 0 0 0 1 10 10 10"/>`), 4), 2000 - 125 - 1000, 2},
		"flush":           {build(shape(3, `objectid="1" operation="difference"`, `<o:boolean objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/>`), 3), 500, 1},
	} {
		got := read(t, pack(t, c.model))
		if len(got.Bodies) != 1 || !got.Bodies[0].Mesh.Topology().Solid() || len(got.Warnings) > 0 {
			t.Errorf("%s: not one closed body: %v", name, got.Warnings)
			continue
		}
		if v := volume(got); math.Abs(v-c.volume) > 1e-3 {
			t.Errorf("%s: volume %v, want %v", name, v, c.volume)
		}
		colors := make(map[content.RGBA]bool)
		for _, x := range got.Bodies[0].FacetColor {
			colors[x] = true
		}
		if b := got.Bodies[0]; c.colors == 1 && (b.Color == nil || b.Color[0] != 255) || c.colors == 2 && len(colors) != 2 {
			t.Errorf("%s: colours %v %v", name, b.Color, colors)
		}
	}
	for name, c := range map[string]struct{ model, code string }{
		"itself":      {build(shape(3, `objectid="3"`, other), 3), "3mf_circle"},
		"each other":  {build(shape(3, `objectid="4"`, other)+shape(4, `objectid="3"`, other), 3), "3mf_circle"},
		"nothing":     {build(shape(3, `objectid="1"`, ``), 3), "3mf_boolean"},
		"not there":   {build(shape(3, `objectid="7"`, other), 3), "3mf_object"},
		"operation":   {build(shape(3, `objectid="1" operation="blend"`, other), 3), "3mf_boolean"},
		"an assembly": {build(`<object id="5"><components><component objectid="1"/></components></object>`+shape(3, `objectid="5"`, other), 3), "3mf_boolean"},
	} {
		if _, err := Read(context.Background(), pack(t, c.model), content.Limits{}); fault.Of(err).Code != c.code {
			t.Errorf("%s: %v, want %s", name, err, c.code)
		}
	}
}

func TestBroken(t *testing.T) {
	object := `<object id="1">` + tetra + `</object>`
	item := `<item objectid="1"/>`
	good := doc("millimeter", object, item)
	with := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("%q is not in the text", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	chain := object
	for i := range 20 {
		chain += fmt.Sprintf(`<object id="%d"><components><component objectid="%d"/></components></object>`, i+2, i+1)
	}
	for _, c := range []struct{ what, model, code string }{
		{"unknown unit", with("millimeter", "furlong"), "3mf_unit"},
		{"no build", with("<build>"+item+"</build>", ""), "3mf_structure"},
		{"two builds", with("</model>", "<build/></model>"), "3mf_structure"},
		{"index", with(`v1="1"`, `v1="4"`), "3mf_index"},
		{"negative index", with(`v1="1"`, `v1="-1"`), "3mf_number"},
		{"huge index", with(`v1="1"`, `v1="4294967297"`), "3mf_number"},
		{"no corner", with(`v1="1" `, ``), "3mf_number"},
		{"coordinate", with(`x="1"`, `x="one"`), "3mf_number"},
		{"NaN", with(`x="1"`, `x="NaN"`), "3mf_number"},
		{"infinite", with(`x="1"`, `x="1e99"`), "3mf_number"},
		{"comma", with(`x="1"`, `x="1,5"`), "number_comma"},
		{"no coordinate", with(`x="1" `, ``), "3mf_attribute"},
		{"attribute", with(`<object id="1"`, `<object id="1" size="3"`), "3mf_attribute"},
		{"no object", with(`objectid="1"`, `objectid="2"`), "3mf_object"},
		{"id 0", with(`<object id="1"`, `<object id="0"`), "3mf_number"},
		{"id twice", with(object, object+object), "3mf_duplicate_id"},
		{"circle", with(object, object+`<object id="2"><components><component objectid="3"/></components></object><object id="3"><components><component objectid="2"/></components></object>`), "3mf_circle"},
		{"itself", with(object, object+`<object id="2"><components><component objectid="2"/></components></object>`), "3mf_circle"},
		{"deep", with(object, chain), "3mf_depth"},
		{"transform", with(item, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0"/>`), "3mf_transform"},
		{"transform to infinity", with(item, `<item objectid="1" transform="1e39 0 0 0 1 0 0 0 1 0 0 0"/>`), "3mf_transform"},
		{"two meshes", with(object, `<object id="1">`+tetra+tetra+`</object>`), "3mf_structure"},
		{"text", with("</mesh>", "text</mesh>"), "3mf_structure"},
		{"required extension", with("<model ", `<model xmlns:x="http://schemas.3mf.io/3dmanufacturing/implicit/2023/12" requiredextensions="x" `), "3mf_extension"},
		{"required vendor's extension", with("<model ", `<model xmlns:x="http://example.com/x" requiredextensions="x" `), "3mf_extension"},
		{"required undeclared", with("<model ", `<model requiredextensions="x" `), "3mf_extension_undeclared"},
		{"no property group", with(`<object id="1"`, `<object id="1" pid="9" pindex="0"`), "3mf_property"},
		{"colour", with(object, `<m:colorgroup id="2"><m:color color="red"/></m:colorgroup>`+object), "3mf_colour"},
		{"texture not there", with(object, `<m:texture2d id="2" path="/3D/x.png" contenttype="image/png"/>`+object), "3mf_texture"},
		{"texture type", with(object, `<m:texture2d id="2" path="/3D/x.gif" contenttype="image/gif"/>`+object), "3mf_content_type"},
		{"UUID", with(item, `<item objectid="1" p:UUID="7"/>`), "3mf_uuid"},
		{"path out", with(item, `<item objectid="1" p:path="../../x.model"/>`), "3mf_path"},
		{"beam without end", with("</mesh>", `<b:beamlattice radius="1" minlength="1"><b:beams><b:beam v1="0" v2="9"/></b:beams></b:beamlattice></mesh>`), "3mf_lattice"},
		{"beam radius", with("</mesh>", `<b:beamlattice radius="-1" minlength="1"/></mesh>`), "3mf_lattice"},
		{"wrong root", "<x/>", "3mf_root"},
		{"many items", with(item, strings.Repeat(item, maxInstances+1)), "3mf_instances"},
	} {
		_, err := Read(context.Background(), pack(t, c.model), content.Limits{})
		if f := fault.Of(err); f == nil || f.Code != c.code {
			t.Errorf("%s: %v (%+v), want %s", c.what, err, f, c.code)
		}
	}
	for _, c := range []struct {
		what, code string
		files      []string
	}{
		{"content types", "3mf_content_type", []string{"[Content_Types].xml", strings.Replace(contentTypes, typeModel, "text/xml", 1)}},
		{"two content types", "3mf_content_type", []string{"[Content_Types].xml", strings.Replace(contentTypes, `<Default Ext`, `<Default Extension="MODEL" ContentType="x"/><Default Ext`, 1)}},
		{"no relationships", "3mf_no_model", []string{"_rels/.rels", `<Relationships xmlns="` + nsRels + `"/>`}},
		{"relationship out", "3mf_relationship", []string{"_rels/.rels", strings.Replace(startRels, "/3D/3dmodel.model", "http://example.com/x", 1)}},
		{"relationship nowhere", "3mf_relationship", []string{"_rels/.rels", strings.Replace(startRels, "3dmodel.model\"", "other.model\"", 1)}},
		{"relationship without id", "3mf_relationship", []string{"_rels/.rels", strings.Replace(startRels, `Id="r"`, "", 1)}},
		{"two models", "3mf_two_models", []string{"_rels/.rels", strings.Replace(startRels, "</Rel", `<Relationship Id="q" Target="/3D/3dmodel.model" Type="`+relModel+`"/></Rel`, 1)}},
	} {
		_, err := Read(context.Background(), pack(t, good, c.files...), content.Limits{})
		if f := fault.Of(err); f == nil || f.Code != c.code {
			t.Errorf("%s: %v (%+v), want %s", c.what, err, f, c.code)
		}
	}
	// Components that multiply: 10 levels of 10 are 10 billion tetrahedra.
	laughs := object
	for i := range 10 {
		laughs += fmt.Sprintf(`<object id="%d"><components>%s</components></object>`, i+2, strings.Repeat(fmt.Sprintf(`<component objectid="%d"/>`, i+1), 10))
	}
	for code, c := range map[string]struct {
		model string
		lim   content.Limits
	}{
		"too_many_triangles": {doc("millimeter", laughs, `<item objectid="11"/>`), content.Limits{}},
		"too_many_bodies":    {doc("millimeter", laughs, `<item objectid="4"/>`), content.Limits{Bodies: 99}},
		"too_large":          {good, content.Limits{Bytes: 100}},
	} {
		_, err := Read(context.Background(), pack(t, c.model), c.lim)
		if f := fault.Of(err); f == nil || f.Code != code || f.Kind != fault.TooLarge {
			t.Errorf("%s: %v", code, err)
		}
	}
}

func TestWriteRead(t *testing.T) {
	m := mesh.FromSoup([]float32{0, 0, 0, 0, 1.25, 0, 1e-7, 0, 0, 0, 0, 0, 1e-7, 0, 0, 0, 0, 3.4e7, 0, 0, 0, 0, 0, 3.4e7, 0, 1.25, 0, 1e-7, 0, 0, 0, 1.25, 0, 0, 0, 3.4e7})
	red := content.RGBA{255, 0, 0, 255}
	faced := content.Body{Name: `a "b" <c> & d`, Mesh: m, FacetColor: []content.RGBA{red, {0, 1, 2, 3}, red, {0, 1, 2, 3}}}
	plain := content.Body{Name: "plain", Mesh: m, Color: &red, Material: "resin", Open: true}
	build := Build{Title: "two & two", Objects: []content.Body{faced, plain}, Items: []Item{
		{Object: 0, Turn: r3.Identity}, {Object: 1, Turn: r3.AxisAngle(r3.Vec{Z: 1}, math.Pi/2), Move: r3.Vec{X: 10, Y: 20, Z: 30}, PartNumber: "7"}, {Object: 1, Turn: r3.Quat{}}}}
	var a, b bytes.Buffer
	if err := Write(&a, build); err != nil {
		t.Fatal(err)
	}
	Write(&b, build)
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two writings differ")
	}
	c := read(t, a.Bytes())
	if len(c.Bodies) != 3 || len(c.Warnings) > 0 || c.Unit != unit.MM {
		t.Fatalf("%d bodies, warnings %v", len(c.Bodies), c.Warnings)
	}
	if !slices.Equal(c.Bodies[0].Mesh.Pos, m.Pos) || !slices.Equal(c.Bodies[0].Mesh.Tri, m.Tri) || !slices.Equal(c.Bodies[0].FacetColor, faced.FacetColor) || c.Bodies[0].Name != faced.Name {
		t.Errorf("first body %+v", c.Bodies[0])
	}
	want := m.Transformed(build.Items[1].Turn, 1, build.Items[1].Move)
	got := c.Bodies[1]
	for v := range want.Vertices() {
		if d := got.Mesh.Vertex(uint32(v)).Dist(want.Vertex(uint32(v))); d > 1e-4 {
			t.Errorf("vertex %d is off by %v", v, d)
		}
	}
	if got.Material != "resin" || *got.Color != red || !got.Open || !slices.Equal(c.Bodies[2].Mesh.Pos, m.Pos) {
		t.Errorf("second body %+v", got)
	}
	if err := Write(&a, Build{Items: []Item{{Object: 0}}}); fault.Of(err).Code != "3mf_item" {
		t.Error(err)
	}
}

func FuzzRead(f *testing.F) {
	for _, m := range []string{
		doc("inch", `<m:colorgroup id="2"><m:color color="#00FF00"/></m:colorgroup><object id="1" pid="2" pindex="0">`+tetra+`</object>`, `<item objectid="1" transform="2 0 0 0 2 0 0 0 2 0 0 10"/>`),
		strings.Replace(doc("millimeter", cubeOf(1, ``)+`<object id="3"><o:booleanshape objectid="1" operation="difference"><o:boolean objectid="1" transform="1 0 0 0 1 0 0 0 1 5 5 0"/></o:booleanshape></object>`, `<item objectid="3"/>`),
			"<model ", `<model xmlns:o="http://schemas.3mf.io/3dmanufacturing/booleanoperations/2023/07" `, 1),
		doc("millimeter", `<object id="1"><mesh><vertices><vertex x="1" y="2" z="3"/><vertex x="7" y="2" z="11"/></vertices><triangles/><b:beamlattice radius="1" minlength="1"><b:beams><b:beam v1="0" v2="1"/></b:beams></b:beamlattice></mesh></object>`, `<item objectid="1"/>`),
		doc("millimeter", `<s:slicestack id="3" zbottom="0"><s:slice ztop="1"><s:vertices><s:vertex x="1" y="1"/></s:vertices><s:polygon startv="0"><s:segment v2="0"/></s:polygon></s:slice></s:slicestack><object id="1" s:slicestackid="3">`+tetra+`</object>`, `<item objectid="1"/>`),
	} {
		f.Add(m)
	}
	if names, err := filepath.Glob(filepath.Join(checks.Root(), "..", "shared", "checks", "3mf", "open", "*", "*.3mf")); err == nil {
		for _, n := range names {
			b, err := os.ReadFile(n)
			if err != nil || len(b) > 3000 {
				continue
			}
			if z, err := zip.NewReader(bytes.NewReader(b), int64(len(b))); err == nil {
				if p, err := z.Open("3D/3dmodel.model"); err == nil {
					var m bytes.Buffer
					if _, err := m.ReadFrom(p); err == nil && m.Len() < 20_000 {
						f.Add(m.String())
					}
				}
			}
		}
	}
	f.Fuzz(func(t *testing.T, model string) {
		c, err := Read(context.Background(), pack(t, model), content.Limits{Triangles: 20_000, Bodies: 100})
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

// sheet is a mesh of 2·n² facets.
func sheet(n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n + 1 {
		for j := range n + 1 {
			m.Pos = append(m.Pos, float32(i)*0.1234567, float32(j)*0.2345678, float32(math.Sin(float64(i*j)/100))*3.3)
		}
	}
	for i := range n {
		for j := range n {
			a, b := uint32(i*(n+1)+j), uint32((i+1)*(n+1)+j)
			m.Tri = append(m.Tri, a, b, a+1, b, b+1, a+1)
		}
	}
	return m
}

func BenchmarkRead(b *testing.B) {
	var buf bytes.Buffer
	if err := Write(&buf, Place([]content.Body{{Mesh: sheet(707)}})); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Read(context.Background(), buf.Bytes(), content.Limits{}); err != nil {
			b.Fatal(err)
		}
	}
}
