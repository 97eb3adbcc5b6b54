package occt

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"firstoff/checks"
)

func dist() string {
	return filepath.Join(checks.Root(), "node_modules", "occt-import-js", "dist")
}

func build(t testing.TB) (wasm, script []byte) {
	t.Helper()
	wasm, err := os.ReadFile(filepath.Join(dist(), "occt-import-js.wasm"))
	if err != nil {
		checks.Missing(t, "the CAD kernel (npm ci)")
	}
	script, err = os.ReadFile(filepath.Join(dist(), "occt-import-js.js"))
	if err != nil {
		checks.Missing(t, "the CAD kernel (npm ci)")
	}
	return wasm, script
}

// cache is the folder the program itself uses, so that a test run does not compile the kernel anew.
func cache() string {
	dir, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	return filepath.Join(dir, "firstoff", "cad")
}

var shared = sync.OnceValues(func() (*Kernel, error) {
	wasm, err := os.ReadFile(filepath.Join(dist(), "occt-import-js.wasm"))
	if err != nil {
		return nil, err
	}
	script, err := os.ReadFile(filepath.Join(dist(), "occt-import-js.js"))
	if err != nil {
		return nil, err
	}
	return New(context.Background(), Config{Wasm: wasm, Glue: script, Cache: cache(), Memory: 1 << 30, Threads: 2})
})

func kernel(t testing.TB) *Kernel {
	t.Helper()
	build(t)
	k, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func file(t testing.TB, rel string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(checks.Path(t, "step"), rel))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func format(rel string) string {
	switch filepath.Ext(rel) {
	case ".brep":
		return "brep"
	case ".igs", ".iges":
		return "iges"
	}
	return "step"
}

// One after the other, each file gives what it gives alone.
func TestFreshInstanceEachFile(t *testing.T) {
	k := kernel(t)
	read := func(rel string) *Model {
		m, err := k.Read(context.Background(), file(t, rel), Options{Format: format(rel), Chord: 0.05, Angle: 0.3})
		if err != nil {
			t.Fatalf("%s: %v", rel, err)
		}
		return m
	}
	first := map[string]*Model{}
	for range 2 {
		for _, rel := range []string{"generated/plate_AP203_INCH.step", "generated/plate.brep", "generated/plate_inch.igs", "generated/assembly_AP214_MM.step"} {
			m := read(rel)
			if was := first[rel]; was == nil {
				first[rel] = m
			} else if !reflect.DeepEqual(m, was) {
				t.Errorf("%s: another answer the second time", rel)
			}
		}
	}
}

// All at once or byte by byte, the kernel sees the same file.
func TestWholeFileOrByteByByte(t *testing.T) {
	k := kernel(t)
	for _, rel := range []string{"generated/plate_AP203_INCH.step", "generated/plate_inch.igs", "open/obstructed-hole.step"} {
		o := Options{Format: format(rel), Ratio: 0.001, Angle: 0.3}
		data := file(t, rel)
		if len(data) < bulkMin {
			t.Fatalf("%s is too small to show anything", rel)
		}
		whole, err := k.read(context.Background(), data, o, true)
		if err != nil {
			t.Fatalf("%s: %v", rel, err)
		}
		bytewise, err := k.read(context.Background(), data, o, false)
		if err != nil {
			t.Fatalf("%s: %v", rel, err)
		}
		whole.Peak, bytewise.Peak = 0, 0 // the stand-in's block comes on top
		if !reflect.DeepEqual(whole, bytewise) {
			t.Errorf("%s: the answers differ", rel)
		}
	}
}

func TestMemoryCap(t *testing.T) {
	wasm, script := build(t)
	k, err := New(context.Background(), Config{Wasm: wasm, Glue: script, Cache: cache(), Memory: 40 << 20})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close(context.Background())
	m, err := k.Read(context.Background(), file(t, "generated/grid400.step"), Options{Format: "step", Chord: 0.05, Angle: 0.3})
	if !errors.Is(err, ErrMemory) || m == nil || m.Peak > 40<<20 {
		t.Errorf("got %v, peak %d", err, m.Peak)
	}
	// The cap was the file's, not the kernel's: a small one still reads.
	if _, err := k.Read(context.Background(), file(t, "open/wedge_ok.brep"), Options{Format: "brep", Chord: 0.05, Angle: 0.3}); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

func TestAnswerCap(t *testing.T) {
	k := kernel(t)
	_, err := k.Read(context.Background(), file(t, "generated/plate.brep"), Options{Format: "brep", Chord: 0.05, Angle: 0.3, Numbers: 2000})
	if !errors.Is(err, ErrAnswer) {
		t.Errorf("got %v", err)
	}
}

func TestContextEndsTheGuest(t *testing.T) {
	k := kernel(t)
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond) // of some five seconds
	defer cancel()
	if _, err := k.Read(ctx, file(t, "generated/grid400.step"), Options{Format: "step", Chord: 0.02, Angle: 0.1}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
}

func TestUnreadable(t *testing.T) {
	k := kernel(t)
	for _, c := range []struct{ format, data string }{
		{"step", "no step"}, {"iges", "no iges"}, {"brep", "no brep"}, {"step", ""}, {"other", "x"},
		{"step", strings.Repeat("ISO-10303-21;", 3000)},
	} {
		if _, err := k.Read(context.Background(), []byte(c.data), Options{Format: c.format, Chord: 0.1, Angle: 0.3}); err == nil {
			t.Errorf("%s %.20q was read", c.format, c.data)
		}
	}
}

// What node makes of the same build and the same file with the same parameters.
const reference = `
const fs = require('fs');
require(process.argv[1])().then(occt => {
  const out = JSON.parse(process.argv[2]).map(([file, format, chord, angle]) => {
    const r = occt.ReadFile(format, new Uint8Array(fs.readFileSync(file)),
      {linearUnit: 'millimeter', linearDeflectionType: 'absolute_value', linearDeflection: chord, angularDeflection: angle});
    if (!r.success) return null;
    return r.meshes.map(m => {
      let sum = 0;
      const p = m.attributes.position.array, x = m.index.array;
      for (let i = 0; i < p.length; i++) sum += p[i] * (i % 7 + 1);
      return {Name: m.name, Nodes: p.length / 3, Triangles: x.length / 3, Faces: m.brep_faces.length, Sum: sum};
    });
  });
  console.log(JSON.stringify(out));
});`

func TestSameAsNode(t *testing.T) {
	k := kernel(t)
	node, err := exec.LookPath("node")
	if err != nil {
		checks.Missing(t, "node")
	}
	files := []string{"generated/plate_AP242DIS_INCH.step", "generated/plate_brep.igs", "generated/plate.brep", "generated/assembly_AP214_MM.step", "open/Part13.stp", "generated/README.md"}
	if os.Getenv("FIRSTOFF_SLOW") != "" {
		files = append(files, "open/ANC101.stp", "open/as1-oc-214.stp", "open/featuretype.STEP", "open/nist_ctc_01_asme1_ap203.stp", "open/nist_ftc_09_asme1_rd.stp", "open/CrankArm.brep")
	}
	const chord, angle = 0.05, 0.3
	var cases [][4]any
	for _, rel := range files {
		cases = append(cases, [4]any{filepath.Join(checks.Path(t, "step"), rel), format(rel), chord, angle})
	}
	arg, _ := json.Marshal(cases)
	cmd := exec.Command(node, "-e", reference, filepath.Join(dist(), "occt-import-js.js"), string(arg))
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("node: %v\n%s", err, stderr.String())
	}
	type shape struct {
		Name                    string
		Nodes, Triangles, Faces int
		Sum                     float64
	}
	var want [][]shape
	last := out[bytes.LastIndexByte(bytes.TrimSpace(out), '\n')+1:] // the kernel prints, too
	if err := json.Unmarshal(last, &want); err != nil {
		t.Fatal(err)
	}
	for i, rel := range files {
		m, err := k.Read(context.Background(), file(t, rel), Options{Format: format(rel), Chord: chord, Angle: angle})
		if (err == nil) != (want[i] != nil) {
			t.Errorf("%s: %v, node read it: %v", rel, err, want[i] != nil)
			continue
		}
		if err != nil {
			continue
		}
		if len(m.Shapes) != len(want[i]) {
			t.Errorf("%s: %d shapes, node %d", rel, len(m.Shapes), len(want[i]))
			continue
		}
		for j, s := range m.Shapes {
			got := shape{Name: s.Name, Nodes: len(s.Pos) / 3, Triangles: len(s.Tri) / 3, Faces: len(s.Faces)}
			for n, x := range s.Pos {
				got.Sum += x * float64(n%7+1)
			}
			w := want[i][j]
			if math.Abs(got.Sum-w.Sum) > 1e-9*(1+math.Abs(w.Sum)) {
				t.Errorf("%s %d: sum %v, node %v", rel, j, got.Sum, w.Sum)
			}
			got.Sum, w.Sum = 0, 0
			if got != w {
				t.Errorf("%s %d: %+v, node %+v", rel, j, got, w)
			}
		}
	}
}

func TestGlue(t *testing.T) {
	_, script := build(t)
	g, err := readGlue(script)
	if err != nil {
		t.Fatal(err)
	}
	all := imports()
	for short, name := range g.imports {
		if _, ok := all[name]; !ok {
			t.Errorf("import %s (%s) is not provided", name, short)
		}
	}
	for _, bad := range []string{"", "var wasmImports={a:_b}", `wasmImports={a:_b};_malloc=wasmExports["x"]`} {
		if _, err := readGlue([]byte(bad)); err == nil {
			t.Errorf("%q passed", bad)
		}
	}
}

func TestHandles(t *testing.T) {
	h := newHandles()
	for _, v := range []value{{}, {k: kNull}, {k: kBool, f: 1}, {k: kBool}, number(0), number(5), number(maxImmediate - 1), number(maxImmediate), number(-1), number(0.5), number(math.NaN()),
		{k: kString, p: "x"}} {
		x := h.put(v)
		got := h.get(x)
		if got.k != v.k || got.p != v.p || math.Float64bits(got.f) != math.Float64bits(v.f) {
			t.Errorf("%+v came back as %+v", v, got)
		}
		if small := v.k == kNumber && v.f >= 0 && v.f < maxImmediate && v.f == math.Floor(v.f); small != (x&1 == 1) {
			t.Errorf("%+v has handle %d", v, x)
		}
	}
	x := h.put(value{k: kString, p: "kept"})
	h.retain(x)
	h.release(x)
	if h.get(x).p != "kept" {
		t.Error("a retained value was let go")
	}
	h.release(x)
	if y := h.put(number(0.25)); y != x {
		t.Error("a free slot was not used again")
	}
	defer func() {
		if _, ok := recover().(guestFault); !ok {
			t.Error("a bad handle gave a value")
		}
	}()
	h.get(1 << 20)
}

func TestArray(t *testing.T) {
	a := &array{}
	if !a.set(0, number(1)) || !a.set(1, number(2)) || !a.set(0, number(3)) || a.set(5, number(1)) || a.set(-1, number(1)) {
		t.Fatal("numbers")
	}
	if !a.set(2, value{k: kString, p: "x"}) || a.nums != nil || len(a.vals) != 3 || a.vals[0].f != 3 || a.set(9, number(1)) {
		t.Fatalf("mixed: %+v", a)
	}
}

// What the guest hands back is not trusted.
func TestReadModelOfNonsense(t *testing.T) {
	obj := func(kv ...any) *object {
		o := &object{}
		for i := 0; i < len(kv); i += 2 {
			o.set(kv[i].(string), kv[i+1].(value))
		}
		return o
	}
	nums := func(f ...float64) value { return value{k: kArray, p: &array{nums: f}} }
	of := func(o *object) value { return value{k: kObject, p: o} }
	shape := obj("name", value{k: kNumber, f: 3}, "color", nums(1, 2),
		"attributes", of(obj("position", of(obj("array", nums(0, 0, 0, 1, math.NaN(), 0, 0, 1, 0, 1, 1, 1, 7))))),
		"index", of(obj("array", nums(0, 2, 3, 0, 1, 2, -1, 0, 1e9, 5, math.NaN(), 1, 2))),
		"brep_faces", value{k: kArray, p: &array{vals: []value{of(obj("first", number(-4), "last", number(1e9))), number(1)}}})
	m := readModel(obj("meshes", value{k: kArray, p: &array{vals: []value{of(shape), number(2)}}}, "root", number(1)))
	if len(m.Shapes) != 2 {
		t.Fatalf("%+v", m)
	}
	s := m.Shapes[0]
	if want := []uint32{0, 2, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0}; !reflect.DeepEqual(s.Tri, want) || len(s.Pos) != 12 || s.Color != nil || s.Name != "" {
		t.Errorf("%+v", s)
	}
	if len(s.Faces) != 1 || s.Faces[0].Last != 3 {
		t.Errorf("%+v", s.Faces)
	}
}
