package glb

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

// box is a closed box with outward facets.
func box(x, y, z float32) *mesh.Mesh {
	m := &mesh.Mesh{Pos: []float32{0, 0, 0, x, 0, 0, x, y, 0, 0, y, 0, 0, 0, z, x, 0, z, x, y, z, 0, y, z}}
	for _, q := range [][4]uint32{{0, 3, 2, 1}, {4, 5, 6, 7}, {0, 1, 5, 4}, {1, 2, 6, 5}, {2, 3, 7, 6}, {3, 0, 4, 7}} {
		m.Tri = append(m.Tri, q[0], q[1], q[2], q[0], q[2], q[3])
	}
	return m
}

func read(t testing.TB, data []byte, beside content.Beside) *content.Content {
	t.Helper()
	c, err := Read(context.Background(), data, beside, content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func written(t testing.TB, parts ...Part) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteParts(&b, parts); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWriteRead(t *testing.T) {
	red := content.RGBA{200, 30, 40, 255}
	plain := Part{Body: content.Body{Name: "plain", Mesh: box(100, 50, 20), Color: &red, Material: "resin"}}
	faced := Part{Body: content.Body{Name: "faced", Mesh: box(10, 10, 300)}}
	for f := range faced.Mesh.Facets() {
		faced.FacetColor = append(faced.FacetColor, content.RGBA{uint8(10 * (f / 2)), 255, 0, 255})
	}
	heat := Part{Body: plain.Body}
	for range heat.Mesh.Vertices() {
		heat.VertexColor = append(heat.VertexColor, content.RGBA{0, 90, 180, 255})
	}
	data := written(t, plain, faced, Part{Body: content.Body{Name: "nothing", Mesh: &mesh.Mesh{}}}, heat)
	if !bytes.Equal(data, written(t, plain, faced, Part{Body: content.Body{Name: "nothing", Mesh: &mesh.Mesh{}}}, heat)) {
		t.Error("two writings differ")
	}
	c := read(t, data, nil)
	if len(c.Bodies) != 3 || c.Bodies[0].Name != "plain" || c.Bodies[1].Name != "faced" {
		t.Fatalf("bodies %+v", c.Bodies)
	}
	for i, p := range []Part{plain, faced, heat} {
		got := c.Bodies[i].Mesh
		if got.Facets() != p.Mesh.Facets() {
			t.Fatalf("%d facets", got.Facets())
		}
		size := p.Mesh.Box().Size()
		// Half a quantum, and float32 of a metre-sized place.
		tol := max(size.X, size.Y, size.Z)/65534/2 + 1e-5
		for f := range got.Facets() {
			a, b, c := got.Corners(f)
			x, y, z := p.Mesh.Corners(f)
			for j, pair := range [][2]r3.Vec{{a, x}, {b, y}, {c, z}} {
				// Undo the frame: metres to mm, Y up to Z up.
				back := r3.Vec{X: pair[0].X, Y: -pair[0].Z, Z: pair[0].Y}.Mul(1000)
				if back.Dist(pair[1]) > 2*tol {
					t.Fatalf("facet %d corner %d: %v, want %v", f, j, back, pair[1])
				}
			}
		}
	}
	if *c.Bodies[0].Color != red || c.Bodies[0].Material != "resin" {
		t.Errorf("colour %v, material %q", c.Bodies[0].Color, c.Bodies[0].Material)
	}
	for f, got := range c.Bodies[1].FacetColor {
		if got != faced.FacetColor[f] {
			t.Fatalf("facet %d: %v, want %v", f, got, faced.FacetColor[f])
		}
	}
	if *c.Bodies[2].Color != (content.RGBA{0, 90, 180, 255}) {
		t.Errorf("heat %v", c.Bodies[2].Color)
	}
	if v := c.Bodies[0].Mesh.Measure().VolumeMM3 * 1e9; math.Abs(v-100_000) > 10 {
		t.Errorf("volume %v", v)
	}
}

// TestValid holds what we write to the rules of the standard that readers trip over.
func TestValid(t *testing.T) {
	data := written(t, Part{Body: content.Body{Name: "a", Mesh: box(3, 2, 1)}}, Part{Body: content.Body{Name: "b", Mesh: box(1, 1, 1), Color: &content.RGBA{1, 2, 3, 100}}})
	if int(binary.LittleEndian.Uint32(data[8:])) != len(data) || len(data)%4 != 0 {
		t.Error("length")
	}
	text, bin, err := chunks(data)
	if err != nil {
		t.Fatal(err)
	}
	var d document
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	for i, a := range d.Accessors {
		v := d.BufferViews[*a.BufferView]
		if v.ByteOffset%4 != 0 || v.ByteOffset+v.ByteLength > int64(len(bin)) || v.ByteStride%4 != 0 {
			t.Errorf("view of accessor %d: %+v", i, v)
		}
		if a.Type == "VEC3" && (len(a.Min) != 3 || len(a.Max) != 3 || a.Min[0] != -32767 || a.Max[0] != 32767) {
			t.Errorf("bounds %v %v", a.Min, a.Max)
		}
	}
	if d.Materials[1].AlphaMode != "BLEND" || d.Materials[0].AlphaMode != "" {
		t.Error("transparency")
	}
	if err := Write(&bytes.Buffer{}, nil); err != nil {
		t.Error(err)
	}
}

// ball is a sphere of 2·n² facets.
func ball(n int, radius float64) *mesh.Mesh {
	var soup []float32
	p := func(i, j int) {
		a, b := math.Pi*float64(i)/float64(n), 2*math.Pi*float64(j%n)/float64(n)
		soup = append(soup, float32(radius*math.Sin(a)*math.Cos(b)), float32(radius*math.Sin(a)*math.Sin(b)), float32(radius*math.Cos(a)))
	}
	for i := range n {
		for j := range n {
			p(i, j)
			p(i+1, j)
			p(i+1, j+1)
			p(i, j)
			p(i+1, j+1)
			p(i, j+1)
		}
	}
	return mesh.FromSoup(soup)
}

func TestStreamed(t *testing.T) {
	parts := []Part{{Body: content.Body{Name: "ball", Mesh: ball(200, 30)}}, {Body: content.Body{Name: "box", Mesh: box(10, 20, 30)}}}
	var a, b bytes.Buffer
	if err := WriteStreamed(&a, parts, 2000); err != nil {
		t.Fatal(err)
	}
	WriteStreamed(&b, parts, 2000)
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two writings differ")
	}
	bodies, err := ReadView(context.Background(), a.Bytes())
	if err != nil || len(bodies) != 2 || bodies[0].Mesh.Facets() != parts[0].Mesh.Facets() {
		t.Fatalf("%d bodies: the preview must not be among them (%v)", len(bodies), err)
	}
	for i := range bodies {
		got, want := bodies[i].Mesh.Box(), parts[i].Mesh.Box()
		if got.Min.Dist(want.Min) > 0.002 || got.Max.Dist(want.Max) > 0.002 || math.Abs(bodies[i].Mesh.Measure().VolumeMM3/parts[i].Mesh.Measure().VolumeMM3-1) > 1e-4 {
			t.Errorf("%s: %v, want %v in mm, Z up", bodies[i].Name, got, want)
		}
	}
	text, bin, _ := chunks(a.Bytes())
	var d document
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	if len(d.Scenes) != 2 || len(d.Nodes[0].Children) != 2 || d.Nodes[d.Nodes[0].Children[1]].Name != "box" {
		t.Errorf("scenes %+v, nodes %+v", d.Scenes, d.Nodes)
	}
	first := d.Meshes[*d.Nodes[d.Nodes[d.Scenes[1].Nodes[0]].Children[0]].Mesh].Primitives[0]
	last := d.BufferViews[*d.Accessors[*first.Indices].BufferView]
	if end := last.ByteOffset + last.ByteLength; end > int64(len(bin))/8 {
		t.Errorf("the preview ends at byte %d of %d", end, len(bin))
	}
	if n := d.Accessors[*first.Indices].Count / 3; n < 1000 || n > 4000 {
		t.Errorf("the preview has %d facets, asked for 2000", n)
	}
	small := parts[1:]
	a.Reset()
	b.Reset()
	WriteStreamed(&a, small, 2000)
	WriteParts(&b, small)
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("a small part got a preview")
	}
	if _, err := ReadView(context.Background(), gltf(floats(0, 0, 0, 1, 0, 0, 0, 1, 0), fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":36}`, `{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}`))); fault.Of(err).Code != "glb_not_ours" {
		t.Error(err)
	}
}

// gltf makes a JSON file with one buffer inside it.
func gltf(buf []byte, rest string) []byte {
	return fmt.Appendf(nil, `{"asset":{"version":"2.0","generator":"test"},"buffers":[{"byteLength":%d,"uri":"data:application/octet-stream;base64,%s"}],%s}`,
		len(buf), base64.StdEncoding.EncodeToString(buf), rest)
}

func floats(v ...float32) (b []byte) {
	for _, x := range v {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
	}
	return
}

const oneNode = `"nodes":[{"mesh":0}],"meshes":[{"name":"m","primitives":[{"attributes":{"POSITION":0}%s}]}],"bufferViews":[%s],"accessors":[%s]`

func TestForms(t *testing.T) {
	tri := floats(0, 0, 0, 1, 0, 0, 0, 1, 0)
	quad := floats(0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0)
	shorts := []byte{0, 0, 0, 0, 0, 0, 0xff, 0x7f, 0, 0, 0, 0, 0, 0, 0xff, 0x7f, 0, 0}
	sparse := append(append([]byte{}, tri...), append([]byte{1, 0, 0, 0}, floats(7, 0, 0)...)...)
	for name, c := range map[string]struct {
		data   []byte
		facets int
		size   r3.Vec
	}{
		"plain":       {gltf(tri, fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":36}`, `{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}`)), 1, r3.Vec{X: 1, Y: 1}},
		"interleaved": {gltf(floats(0, 0, 0, 9, 1, 0, 0, 9, 0, 1, 0), fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":44,"byteStride":16}`, `{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}`)), 1, r3.Vec{X: 1, Y: 1}},
		"strip":       {gltf(quad, fmt.Sprintf(oneNode, `,"mode":5`, `{"buffer":0,"byteLength":48}`, `{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3"}`)), 2, r3.Vec{X: 1, Y: 1}},
		"fan":         {gltf(quad, fmt.Sprintf(oneNode, `,"mode":6`, `{"buffer":0,"byteLength":48}`, `{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3"}`)), 2, r3.Vec{X: 1, Y: 1}},
		"normalised":  {gltf(shorts, fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":18}`, `{"bufferView":0,"componentType":5122,"normalized":true,"count":3,"type":"VEC3"}`)), 1, r3.Vec{X: 1, Y: 1}},
		"quantised":   {gltf(shorts, fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":18}`, `{"bufferView":0,"componentType":5122,"count":3,"type":"VEC3"}`)), 1, r3.Vec{X: 32767, Y: 32767}},
		"sparse": {gltf(sparse, fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":36},{"buffer":0,"byteOffset":36,"byteLength":4},{"buffer":0,"byteOffset":40,"byteLength":12}`,
			`{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3","sparse":{"count":1,"indices":{"bufferView":1,"componentType":5121},"values":{"bufferView":2}}}`)), 1, r3.Vec{X: 7, Y: 1}},
		"sparse over nothing": {gltf(sparse, fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":36},{"buffer":0,"byteOffset":36,"byteLength":4},{"buffer":0,"byteOffset":40,"byteLength":12}`,
			`{"componentType":5126,"count":3,"type":"VEC3","sparse":{"count":1,"indices":{"bufferView":1,"componentType":5121},"values":{"bufferView":2}}}`)), 1, r3.Vec{X: 7}},
	} {
		got := read(t, c.data, nil)
		if len(got.Bodies) != 1 || got.Bodies[0].Mesh.Facets() != c.facets || got.Bodies[0].Name != "m" {
			t.Errorf("%s: %+v", name, got.Bodies)
			continue
		}
		if size := got.Bodies[0].Mesh.Box().Size(); size.Dist(c.size) > 1e-6 {
			t.Errorf("%s: size %v, want %v", name, size, c.size)
		}
		if name == "strip" {
			// Both facets face the same way.
			if n := got.Bodies[0].Mesh.FacetNormal(1); n.Z < 0.99 {
				t.Errorf("strip: second facet faces %v", n)
			}
		}
	}
}

func TestPlacing(t *testing.T) {
	data := gltf(floats(0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1), `"scene":0,"scenes":[{"nodes":[0]}],"nodes":[
		{"translation":[10,0,0],"children":[1,2]},{"mesh":0,"name":"turned","rotation":[0,0,0.7071067811865476,0.7071067811865476],"scale":[2,2,2]},
		{"mesh":0,"name":"mirrored","matrix":[-1,0,0,0, 0,1,0,0, 0,0,1,0, 0,0,5,1]},{"mesh":0,"name":"not in the scene"}],
		"meshes":[{"primitives":[{"attributes":{"POSITION":0},"indices":1}]}],"bufferViews":[{"buffer":0,"byteLength":48}],
		"accessors":[{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3"},{"componentType":5123,"count":12,"type":"SCALAR"}]`)
	// Indices in a second buffer would clutter the text: put them in by hand.
	data = bytes.Replace(data, []byte(`"buffers":[`), []byte(`"buffers":[{"byteLength":12,"uri":"data:;base64,`+base64.StdEncoding.EncodeToString([]byte{0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3})+`"},`), 1)
	data = bytes.Replace(data, []byte(`"bufferViews":[{"buffer":0`), []byte(`"bufferViews":[{"buffer":1`), 1)
	data = bytes.Replace(data, []byte(`"byteLength":48}],`), []byte(`"byteLength":48},{"buffer":0,"byteLength":12}],`), 1)
	data = bytes.Replace(data, []byte(`{"componentType":5123`), []byte(`{"bufferView":1,"componentType":5121`), 1)
	c := read(t, data, nil)
	if len(c.Bodies) != 2 {
		t.Fatalf("%d bodies, want the two of the scene", len(c.Bodies))
	}
	for i, want := range []struct {
		volume float64
		min    r3.Vec
	}{{8.0 / 6, r3.Vec{X: 8}}, {1.0 / 6, r3.Vec{X: 9, Z: 5}}} {
		m := c.Bodies[i].Mesh
		if v := m.Measure().VolumeMM3; math.Abs(v-want.volume) > 1e-5 {
			t.Errorf("%s: volume %v, want %v (a mirrored body must not turn inside out)", c.Bodies[i].Name, v, want.volume)
		}
		if got := m.Box().Min; got.Dist(want.min) > 1e-5 {
			t.Errorf("%s: at %v, want %v", c.Bodies[i].Name, got, want.min)
		}
	}
}

func TestTexture(t *testing.T) {
	img := image.NewNRGBA(image.Rect(0, 0, 2, 1))
	img.SetNRGBA(0, 0, color.NRGBA{255, 0, 0, 255})
	img.SetNRGBA(1, 0, color.NRGBA{0, 0, 255, 255})
	var pic bytes.Buffer
	png.Encode(&pic, img)
	buf := floats(0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0, 1, 0, 0, 0, 1, 0 /* uv */, 0.1, 0, 0.2, 0, 0.1, 0, 0.9, 0, 0.8, 0, 0.9, 0)
	rest := `"nodes":[{"mesh":0}],"meshes":[{"primitives":[{"attributes":{"POSITION":0,"TEXCOORD_0":1},"material":0}]}],
		"materials":[{"name":"painted","pbrMetallicRoughness":{"baseColorTexture":{"index":0}}}],"textures":[{"source":0}],"images":[{"uri":"pic%20one.png"}],
		"bufferViews":[{"buffer":0,"byteLength":72},{"buffer":0,"byteOffset":72,"byteLength":48}],
		"accessors":[{"bufferView":0,"componentType":5126,"count":6,"type":"VEC3"},{"bufferView":1,"componentType":5126,"count":6,"type":"VEC2"}]`
	c := read(t, gltf(buf, rest), func(name string) ([]byte, bool) { return pic.Bytes(), name == "pic one.png" })
	want := []content.RGBA{{255, 0, 0, 255}, {0, 0, 255, 255}}
	if got := c.Bodies[0].FacetColor; len(got) != 2 || got[0] != want[0] || got[1] != want[1] || c.Bodies[0].Material != "painted" {
		t.Errorf("colours %v", got)
	}
	c = read(t, gltf(buf, rest), nil)
	if len(c.Warnings) != 1 || c.Warnings[0].Code != "glb_texture" {
		t.Errorf("a missing picture: %v", c.Warnings)
	}
}

func TestBroken(t *testing.T) {
	tri := floats(0, 0, 0, 1, 0, 0, 0, 1, 0)
	good := fmt.Sprintf(oneNode, "", `{"buffer":0,"byteLength":36}`, `{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}`)
	with := func(old, new string) []byte {
		if !strings.Contains(good, old) {
			t.Fatalf("%q is not in the text", old)
		}
		return gltf(tri, strings.Replace(good, old, new, 1))
	}
	glb := written(t, Part{Body: content.Body{Mesh: box(1, 1, 1)}})
	nan := append([]byte{}, tri...)
	copy(nan[12:], []byte{0, 0, 0xc0, 0x7f})
	var deep strings.Builder
	for i := range 2000 {
		fmt.Fprintf(&deep, `{"children":[%d]},`, i+1)
	}
	for _, c := range []struct {
		what string
		data []byte
		code string
	}{
		{"cut", glb[:len(glb)-4], "glb_truncated"},
		{"cut in the head", glb[:15], "glb_truncated"},
		{"version 1", append([]byte("glTF\x01\x00\x00\x00"), glb[8:]...), "glb_version"},
		{"no JSON", []byte("glTF\x02\x00\x00\x00\x14\x00\x00\x00\x00\x00\x00\x00JSON"), "glb_syntax"},
		{"not JSON", []byte(`{"asset":`), "glb_syntax"},
		{"wrong type", []byte(`{"asset":{"version":"2.0"},"nodes":7}`), "glb_syntax"},
		{"version 3", []byte(`{"asset":{"version":"3.0"}}`), "glb_version"},
		{"compressed", []byte(`{"asset":{"version":"2.0"},"extensionsRequired":["KHR_draco_mesh_compression"]}`), "glb_extension"},
		{"empty", []byte(`{"asset":{"version":"2.0"}}`), "glb_empty"},
		{"count over the buffer", with(`"count":3`, `"count":4`), "glb_reference"},
		{"huge count", with(`"count":3`, `"count":9223372036854775807`), "glb_reference"},
		{"huge count without data", with(`"bufferView":0,"componentType":5126,"count":3`, `"componentType":5126,"count":9000000000`), "too_many_triangles"},
		{"negative offset", with(`"buffer":0,`, `"buffer":0,"byteOffset":-1,`), "glb_reference"},
		{"huge offset", with(`"buffer":0,`, `"buffer":0,"byteOffset":9223372036854775807,`), "glb_reference"},
		{"no such accessor", with(`"POSITION":0`, `"POSITION":5`), "glb_reference"},
		{"no such mesh", with(`"mesh":0`, `"mesh":1`), "glb_reference"},
		{"its own child", with(`{"mesh":0}`, `{"mesh":0,"children":[1]},{"children":[1]}`), "glb_reference"},
		{"deep", with(`{"mesh":0}`, deep.String()+`{"mesh":0}`), "glb_depth"},
		{"infinite place", with(`{"mesh":0}`, `{"mesh":0,"translation":[1e308,0,0],"children":[1]},{"scale":[1e308,1e308,1e308],"children":[2]},{"scale":[1e308,1,1]}`), "glb_nan"},
		{"NaN", gltf(nan, good), "glb_nan"},
		{"buffer elsewhere", bytes.Replace(gltf(tri, good), []byte(`"uri":"data:application`), []byte(`"uri":"other.bin?`), 1), "glb_external"},
		{"buffer short", bytes.Replace(gltf(tri, good), []byte(`[{"byteLength":36`), []byte(`[{"byteLength":400`), 1), "glb_truncated"},
	} {
		_, err := Read(context.Background(), c.data, nil, content.Limits{})
		if f := fault.Of(err); f == nil || f.Code != c.code {
			t.Errorf("%s: %v (%+v), want %s", c.what, err, f, c.code)
		}
	}
	if c := read(t, with(`"POSITION":0}`, `"POSITION":0}},{"mode":1,"attributes":{"POSITION":0}`), nil); len(c.Warnings) != 1 {
		t.Errorf("lines: %v", c.Warnings)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(written(f, Part{Body: content.Body{Name: "a", Mesh: box(3, 2, 1), FacetColor: make([]content.RGBA, 12)}}))
	f.Add(gltf(floats(0, 0, 0, 1, 0, 0, 0, 1, 0), fmt.Sprintf(oneNode, `,"mode":5`, `{"buffer":0,"byteLength":36}`, `{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"}`)))
	if names, err := filepath.Glob(filepath.Join(checks.Root(), "..", "shared", "checks", "mesh", "open", "*.glb")); err == nil {
		for _, n := range names {
			if b, err := os.ReadFile(n); err == nil && len(b) < 20_000 {
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
