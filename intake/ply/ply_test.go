package ply

import (
	"bytes"
	"context"
	"encoding/binary"
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
)

const cubeHeader = "ply\nformat %s 1.0\ncomment Created by a test\nelement vertex 8\nproperty float x\nproperty float y\nproperty float z\nelement face 6\nproperty list uchar int vertex_indices\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n"

const cubeBody = "-1 -1 -1\n1 -1 -1\n1 1 -1\n-1 1 -1\n-1 -1 1\n1 -1 1\n1 1 1\n-1 1 1\n" +
	"4 0 3 2 1 255 0 0\n4 4 5 6 7 255 0 0\n4 0 1 5 4 0 255 0\n4 1 2 6 5 0 255 0\n4 2 3 7 6 0 0 255\n4 3 0 4 7 0 0 255\n"

var cube = fmt.Sprintf(cubeHeader, "ascii") + cubeBody

// cubeBinary is the same in binary.
func cubeBinary(order binary.AppendByteOrder, format string) []byte {
	b := []byte(fmt.Sprintf(cubeHeader, format))
	for i, line := range strings.Split(strings.TrimSpace(cubeBody), "\n") {
		var v [8]int
		n, _ := fmt.Sscan(line, &v[0], &v[1], &v[2], &v[3], &v[4], &v[5], &v[6], &v[7])
		for j, x := range v[:n] {
			switch {
			case i < 8:
				b = order.AppendUint32(b, math.Float32bits(float32(x)))
			case j == 0 || j > 4:
				b = append(b, byte(x))
			default:
				b = order.AppendUint32(b, uint32(x))
			}
		}
	}
	return b
}

func read(t testing.TB, data []byte) *content.Content {
	t.Helper()
	c, err := Read(context.Background(), data, content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestForms(t *testing.T) {
	strips := strings.Replace(cube[:strings.Index(cube, "4 0 3 2 1")], "element face 6\nproperty list uchar int vertex_indices\nproperty uchar red\nproperty uchar green\nproperty uchar blue",
		"element tristrips 1\nproperty list int int vertex_indices", 1) + "29 0 3 1 2 -1 4 5 7 6 -1 0 1 4 5 -1 1 2 5 6 -1 2 3 6 7 -1 3 0 7 4\n"
	faceFirst := strings.Replace(strings.Replace(strings.Replace(cubeHeader, "element vertex 8\nproperty float x\nproperty float y\nproperty float z\n", "", 1), "%s", "ascii", 1), "end_header",
		"element vertex 8\nproperty double x\nproperty float32 y\nproperty float64 z\nproperty list uchar short junk\nend_header", 1)
	i := strings.Index(cubeBody, "4 0 3")
	faceFirst += cubeBody[i:] + strings.ReplaceAll(cubeBody[:i], "\n", " 2 7 7\n")
	for name, data := range map[string][]byte{
		"text": []byte(cube), "CRLF": []byte(strings.ReplaceAll(cube, "\n", "\r\n")), "CR": []byte(strings.ReplaceAll(cube, "\n", "\r")),
		"little": cubeBinary(binary.LittleEndian, "binary_little_endian"), "big": cubeBinary(binary.BigEndian, "binary_big_endian"),
		"strips": []byte(strips), "faces first": []byte(faceFirst),
	} {
		c, err := Read(context.Background(), data, content.Limits{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		b := c.Bodies[0]
		if b.Mesh.Facets() != 12 || b.Mesh.Vertices() != 8 || b.Mesh.Measure().VolumeMM3 != 8 || !b.Mesh.Topology().Closed() {
			t.Errorf("%s: %d facets, volume %v", name, b.Mesh.Facets(), b.Mesh.Measure().VolumeMM3)
		}
		if name != "strips" && (len(b.FacetColor) != 12 || b.FacetColor[3] != (content.RGBA{255, 0, 0, 255}) || b.FacetColor[4] != (content.RGBA{0, 255, 0, 255})) {
			t.Errorf("%s: colours %v", name, b.FacetColor)
		}
	}
	if g := read(t, []byte(cube)).Generator; g != "Created by a test" {
		t.Errorf("generator %q", g)
	}
}

func TestVertexColours(t *testing.T) {
	const text = "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nproperty float red\nproperty float green\nproperty float blue\nelement face 1\nproperty list uint8 uint8 vertex_index\nend_header\n" +
		"0 0 0 1 0 0\n1 0 0 1 0 0\n0 1 0 1 0.6 0\n3 0 1 2\n"
	if got := read(t, []byte(text)).Bodies[0].Color; got == nil || *got != (content.RGBA{255, 51, 0, 255}) {
		t.Errorf("colour %v", got)
	}
}

func TestPoints(t *testing.T) {
	const text = "ply\nformat ascii 1.0\nelement vertex 3\nproperty double x\nproperty double y\nproperty double z\nproperty float nx\nproperty float ny\nproperty float nz\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n" +
		"500000.125 1 2 0 0 1 1 2 3\nnan 0 0 0 0 1 0 0 0\n3 4 5 1 0 0 4 5 6\n"
	p, err := ReadPoints(context.Background(), []byte(text), content.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.At) != 2 || p.At[0] != (r3.Vec{X: 500000.125, Y: 1, Z: 2}) || p.Normal[1] != (r3.Vec{X: 1}) || p.Color[1] != (content.RGBA{4, 5, 6, 255}) {
		t.Errorf("points %+v", p)
	}
	if p, err := ReadPoints(context.Background(), cubeBinary(binary.BigEndian, "binary_big_endian"), content.Limits{}); err != nil || len(p.At) != 8 || p.Normal != nil || p.Color != nil {
		t.Errorf("points of a surface: %+v %v", p, err)
	}
	if _, err := Read(context.Background(), []byte(text), content.Limits{}); fault.Of(err).Code != "ply_points" {
		t.Errorf("points as a part: %v", err)
	}
}

func TestBroken(t *testing.T) {
	bin := cubeBinary(binary.LittleEndian, "binary_little_endian")
	with := func(old, new string) []byte {
		if !strings.Contains(cube, old) {
			t.Fatalf("%q is not in the text", old)
		}
		return []byte(strings.Replace(cube, old, new, 1))
	}
	for _, c := range []struct {
		what, code string
		data       []byte
	}{
		{"header cut", "ply_truncated", []byte(cube[:80])},
		{"text cut", "ply_truncated", []byte(cube[:len(cube)-20])},
		{"binary cut", "ply_truncated", bin[:len(bin)-2]},
		{"binary cut in vertices", "ply_truncated", bin[:len(bin)-200]},
		{"huge count", "ply_truncated", with("vertex 8", "vertex 4000000000")},
		{"absurd count", "ply_syntax", with("vertex 8", "vertex 99999999999999999999")},
		{"negative count", "ply_syntax", with("vertex 8", "vertex -8")},
		{"huge list", "ply_truncated", with("4 0 3 2 1", "4000000000 0 3 2 1")},
		{"negative list", "ply_truncated", with("4 0 3 2 1", "-4 0 3 2 1")},
		{"index", "ply_index", with("4 0 3 2 1", "4 0 3 2 8")},
		{"negative index", "ply_index", with("4 0 3 2 1", "4 0 3 2 -1")},
		{"NaN", "ply_nan", with("1 -1 -1", "nan -1 -1")},
		{"too large", "ply_nan", with("1 -1 -1", "1e60 -1 -1")},
		{"word", "ply_syntax", with("1 -1 -1", "one -1 -1")},
		{"comma", "number_comma", with("1 -1 -1", "1,5 -1 -1")},
		{"type", "ply_syntax", with("property float x", "property real x")},
		{"list type", "ply_syntax", with("list uchar", "list float")},
		{"no x", "ply_syntax", with("property float x", "property float u")},
		{"format", "ply_format", with("ascii", "zip")},
		{"no format", "ply_syntax", with("format ascii 1.0\n", "")},
		{"word in the header", "ply_syntax", with("element face", "elements face")},
		{"property of nothing", "ply_syntax", with("element vertex 8\n", "")},
		{"no faces", "ply_points", []byte(strings.Replace(cube[:strings.Index(cube, "4 0 3")], "face 6", "face 0", 1))},
		{"nothing", "ply_empty", []byte("ply\nformat ascii 1.0\nend_header\n")},
	} {
		_, err := Read(context.Background(), c.data, content.Limits{})
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
	f.Add(cubeBinary(binary.LittleEndian, "binary_little_endian"))
	f.Add(cubeBinary(binary.BigEndian, "binary_big_endian"))
	if names, err := filepath.Glob(filepath.Join(checks.Root(), "..", "shared", "checks", "mesh", "open", "*.ply")); err == nil {
		for _, n := range names {
			if b, err := os.ReadFile(n); err == nil && len(b) < 20_000 {
				f.Add(b)
			}
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if _, err := ReadPoints(context.Background(), data, content.Limits{}); err != nil && fault.KindOf(err) == fault.Internal {
			t.Fatal(err)
		}
		c, err := Read(context.Background(), data, content.Limits{Triangles: 10_000})
		if err != nil {
			if fault.KindOf(err) == fault.Internal {
				t.Fatal(err)
			}
			return
		}
		m := c.Bodies[0].Mesh
		for _, v := range m.Tri {
			if int(v) >= m.Vertices() {
				t.Fatal("index out of range")
			}
		}
		if k := c.Bodies[0].FacetColor; k != nil && len(k) != m.Facets() {
			t.Fatal("colours do not match facets")
		}
	})
}

func BenchmarkBinary(b *testing.B) {
	const n = 500_000
	var buf bytes.Buffer
	fmt.Fprintf(&buf, "ply\nformat binary_little_endian 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\nelement face %d\nproperty list uchar int vertex_indices\nend_header\n", n, 2*n)
	for i := range n {
		binary.Write(&buf, binary.LittleEndian, [3]float32{float32(i % 1000), float32(i / 1000), float32(i % 7)})
	}
	for i := range 2 * n {
		buf.WriteByte(3)
		binary.Write(&buf, binary.LittleEndian, [3]int32{int32(i / 2), int32(i/2+1) % n, int32(i/2+1000) % n})
	}
	b.SetBytes(int64(buf.Len()))
	for b.Loop() {
		if _, err := Read(context.Background(), buf.Bytes(), content.Limits{}); err != nil {
			b.Fatal(err)
		}
	}
}
