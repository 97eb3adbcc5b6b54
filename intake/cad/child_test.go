package cad

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/intake/content"
)

func readFile(t testing.TB, rel string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(checks.Path(t, "step"), rel))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// code is the fault's code, "" for none.
func code(err error) string {
	if err == nil {
		return ""
	}
	return fault.Of(err).Code
}

// The door and the shortcut the other tests take give the same.
func TestReadThroughChild(t *testing.T) {
	needKernel(t)
	for _, rel := range []string{"generated/assembly_AP242_INCH.step", "generated/plate_inch.igs", "generated/plate.brep"} {
		want := readInside(t, rel, Options{})
		got, err := Read(context.Background(), rel, readFile(t, rel), Options{Workers: workers})
		if err != nil {
			t.Fatalf("%s: %v", rel, err)
		}
		if got.Format != want.Format || got.Unit != want.Unit || got.Generator != want.Generator || len(got.Bodies) != len(want.Bodies) ||
			fmt.Sprint(got.Holes) != fmt.Sprint(want.Holes) || fmt.Sprint(got.Warnings) != fmt.Sprint(want.Warnings) {
			t.Errorf("%s:\n got %v %v %d %v\nwant %v %v %d %v", rel, got.Format, got.Unit, len(got.Bodies), got.Holes, want.Format, want.Unit, len(want.Bodies), want.Holes)
			continue
		}
		for i := range got.Bodies {
			a, b := got.Bodies[i], want.Bodies[i]
			if a.Name != b.Name || a.Instance != b.Instance || a.Open != b.Open || fmt.Sprint(a.Mesh) != fmt.Sprint(b.Mesh) || fmt.Sprint(a.Color, a.FacetColor) != fmt.Sprint(b.Color, b.FacetColor) {
				t.Errorf("%s: body %d differs", rel, i)
			}
		}
	}
}

// Faces of several colours give a colour for each facet (FTC-10 colours its faces).
func TestFacetColours(t *testing.T) {
	if !slow() { // the colours of single faces: made by hand below
		t.Log("the real file only with FIRSTOFF_SLOW")
	}
	data := readFile(t, "generated/plate_AP214IS_MM.step")
	o := readBytes(t, "plate", data, Options{})
	if o.Bodies[0].FacetColor != nil || o.Bodies[0].Color == nil {
		t.Errorf("one colour all over gave %d facet colours", len(o.Bodies[0].FacetColor))
	}
	if slow() {
		o = readInside(t, "open/nist_ftc_10_asme1_rb.stp", Options{})
		b := o.Bodies[0]
		colours := map[content.RGBA]int{}
		for _, c := range b.FacetColor {
			colours[c]++
		}
		if len(b.FacetColor) != b.Mesh.Facets() || len(colours) < 2 {
			t.Errorf("%d facet colours of %d facets: %v", len(b.FacetColor), b.Mesh.Facets(), colours)
		}
	}
}

func TestDeadline(t *testing.T) {
	needKernel(t)
	// Five seconds of work and more in a tenth of one.
	_, err := Read(context.Background(), "grid", readFile(t, "generated/grid400.step"), Options{Deadline: 100 * time.Millisecond, Workers: workers})
	if code(err) != "cad_deadline" || fault.KindOf(err) != fault.TooLarge {
		t.Errorf("got %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(ctx, "grid", readFile(t, "generated/plate.brep"), Options{Workers: workers}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: got %v", err)
	}
	// The next file is read as if nothing had been.
	if _, err := Read(context.Background(), "plate", readFile(t, "generated/plate.brep"), Options{Workers: workers}); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

func TestMemoryCap(t *testing.T) {
	needKernel(t)
	_, err := Read(context.Background(), "ctc", readFile(t, "open/nist_ctc_01_asme1_ap203.stp"), Options{Memory: 32 << 20})
	if code(err) != "cad_memory" || fault.KindOf(err) != fault.TooLarge {
		t.Errorf("got %v", err)
	}
}

func TestOtherLimits(t *testing.T) {
	needKernel(t)
	data := readFile(t, "generated/assembly_AP214_MM.step")
	for _, c := range []struct {
		lim  content.Limits
		want string
	}{
		{content.Limits{Triangles: 1000}, "cad_triangles"},
		{content.Limits{Bodies: 5}, "cad_bodies"},
		{content.Limits{Bytes: 1000}, "cad_bytes"},
	} {
		if _, err := Read(context.Background(), "a.step", data, Options{Limits: c.lim, Workers: workers}); code(err) != c.want || !strings.HasPrefix(err.Error(), "a.step: ") {
			t.Errorf("%+v: got %v, want %s", c.lim, err, c.want)
		}
	}
}

// A child that dies is told from one that answers, and the next file gets another.
func TestChildDies(t *testing.T) {
	needKernel(t)
	w := NewWorkers(1)
	defer w.Close()
	data := readFile(t, "generated/plate.brep")
	if _, err := Read(context.Background(), "plate", data, Options{Workers: w}); err != nil {
		t.Fatal(err)
	}
	if len(w.idle) != 1 {
		t.Fatalf("%d idle children", len(w.idle))
	}
	first := w.idle[0].cmd.Process.Pid
	if _, err := Read(context.Background(), "plate", data, Options{Workers: w}); err != nil || len(w.idle) != 1 || w.idle[0].cmd.Process.Pid != first || w.idle[0].files != 2 {
		t.Fatalf("the child was not used again: %v, %+v", err, w.idle)
	}
	if err := w.idle[0].cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_, err := Read(context.Background(), "plate", data, Options{Workers: w})
	if code(err) != "cad_crashed" || fault.KindOf(err) != fault.Unsupported {
		t.Errorf("got %v", err)
	}
	if len(w.idle) != 0 {
		t.Errorf("the dead child was kept")
	}
	if _, err := Read(context.Background(), "plate", data, Options{Workers: w}); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

// Files damaged at random, the draw printed: each ends as a content or a fault, within its deadline and cap,
// and the process goes on. Six by default, 300 with FIRSTOFF_SLOW.
func TestMutatedFiles(t *testing.T) {
	needKernel(t)
	const seed = 20260101
	t.Logf("seed %d", seed)
	n := 6
	if slow() {
		n = 300
	}
	bases := []string{"generated/plate_AP214IS_MM.step", "open/wedge_ok.brep", "generated/plate_inch.igs", "open/Part13.stp", "generated/plate.brep",
		"open/nist_ftc_11_asme1_rb.stp", "generated/assembly_AP214_MM.step", "generated/plate_surf.igs", "open/obstructed-hole.step", "open/chamfer_1.stp"}
	ends := map[string]int{}
	for i := range n {
		r := rand.New(rand.NewPCG(seed, uint64(i)))
		rel := bases[i%len(bases)]
		data := mutated(r, readFile(t, rel))
		c, err := Read(context.Background(), rel, data, Options{Workers: workers, Deadline: 60 * time.Second, Memory: 256 << 20})
		switch {
		case err == nil:
			ends["read"]++
			for j, b := range c.Bodies {
				if b.Mesh.Facets() == 0 {
					t.Errorf("mutation %d of %s: body %d is empty", i, rel, j)
				}
				for _, v := range b.Mesh.Tri {
					if int(v) >= b.Mesh.Vertices() {
						t.Fatalf("mutation %d of %s: a facet points outside", i, rel)
					}
				}
			}
		case fault.KindOf(err) == fault.Internal:
			t.Errorf("mutation %d of %s: %v (%v)", i, rel, err, fault.Of(err).Err)
		default:
			ends[code(err)]++
			if code(err) == "cad_crashed" {
				t.Logf("mutation %d of %s: child lost: %v", i, rel, fault.Of(err).Err)
			}
		}
	}
	t.Logf("%d files: %v", n, ends)
}

// mutated damages a file in one to eight places.
func mutated(r *rand.Rand, b []byte) []byte {
	b = bytes.Clone(b)
	for k := 1 + r.IntN(8); k > 0 && len(b) > 200; k-- {
		i := 100 + r.IntN(len(b)-150)
		switch r.IntN(7) {
		case 0: // another byte
			b[i] = byte(r.IntN(256))
		case 1: // another digit: numbers and references
			for j := i; j < min(i+200, len(b)); j++ {
				if b[j] >= '0' && b[j] <= '9' {
					b[j] = byte('0' + r.IntN(10))
					break
				}
			}
		case 2: // a huge exponent or size
			for j := i; j < min(i+200, len(b)-3); j++ {
				if b[j] == '.' {
					copy(b[j:], "9E9")
					break
				}
			}
		case 3: // a piece lost
			b = append(b[:i:i], b[min(i+r.IntN(60), len(b)):]...)
		case 4: // a piece twice
			j := min(i+r.IntN(200), len(b))
			b = append(b[:j:j], b[i:]...)
		case 5: // a piece elsewhere
			j := 100 + r.IntN(len(b)-150)
			copy(b[i:min(i+40, len(b))], b[j:])
		case 6: // cut off
			if r.IntN(4) == 0 {
				b = b[:i]
			}
		}
	}
	return b
}

func TestPlainAnswers(t *testing.T) {
	step := func(data string) string {
		return "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('AUTOMOTIVE_DESIGN'));\nENDSEC;\nDATA;\n" + data + "\nENDSEC;\nEND-ISO-10303-21;\n"
	}
	for _, c := range []struct {
		name, file, data, code, says string
	}{
		{"nothing", "a", "", "cad_format", "no STEP"},
		{"a mesh", "a.stl", "solid x\nendsolid x\n", "cad_format", "no STEP"},
		{"binary BREP", "a.brep", "\nOpen CASCADE Topology V4 (c)\n\x00\x01", "cad_format", "binary BREP"},
		{"XML", "a.stpx", `<?xml version="1.0"?><iso_10303_28 version="2.0">`, "cad_format", "XML"},
		{"no data", "a.stp", step(""), "step_empty", "no data"},
		{"external", "a.stp", step(`#1=DOCUMENT_FILE('bolt.stp','','',#2,'',$);#3=DOCUMENT_FILE('nut "M8".stp','','',#2,'',$);`), "step_external", `"bolt.stp", "nut \"M8\".stp"`},
		{"triangles", "a.stp", step(`#1=TESSELLATED_SOLID('',(#2),$);`), "step_tessellated", "only triangles"},
		{"curves", "a.stp", step(`#1=GEOMETRIC_CURVE_SET('',(#2));`), "step_wireframe", "only curves"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read(context.Background(), c.file, []byte(c.data), Options{})
			if code(err) != c.code || !strings.Contains(err.Error(), c.says) || !strings.HasPrefix(err.Error(), c.file+": ") {
				t.Errorf("got %v", err)
			}
		})
	}
	needKernel(t)
	for _, c := range []struct{ name, file, data string }{
		{"words", "a.step", "just a letter to the workshop"},
		{"BREP cut", "a.brep", "DBRep_DrawableShape\n\nCASCADE Topology V1, (c) Matra-Datavision\nLocations 1\n1\n"},
		{"IGES of one line", "a.igs", fmt.Sprintf("%-72sS%7d\n", "nothing", 1)},
		{"solid without its parts", "a.stp", step(`#1=MANIFOLD_SOLID_BREP('',#2);`)},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read(context.Background(), c.file, []byte(c.data), Options{Workers: workers})
			if e := code(err); e != "cad_unreadable" && e != "step_empty" {
				t.Errorf("got %v", err)
			}
		})
	}
}

func TestTruncatedIsSaid(t *testing.T) {
	needKernel(t)
	data := readFile(t, "generated/plate_AP214IS_MM.step")
	for _, n := range []int{len(data) - 20, len(data) / 2} {
		if _, err := Read(context.Background(), "plate.step", data[:n], Options{Workers: workers}); code(err) != "step_truncated" {
			t.Errorf("%d of %d bytes: got %v", n, len(data), err)
		}
	}
}

func TestKernelMissing(t *testing.T) {
	_, err := Read(context.Background(), "a.brep", []byte("DBRep_DrawableShape\n"), Options{Kernel: t.TempDir()})
	if code(err) != "cad_kernel_missing" || fault.KindOf(err) != fault.Unsupported || !strings.Contains(err.Error(), "npm ci") {
		t.Errorf("got %v", err)
	}
}

func TestCacheOthersMayWriteIsRefused(t *testing.T) {
	needKernel(t)
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	_, err := Read(context.Background(), "a.brep", readFile(t, "open/wedge_ok.brep"), Options{Cache: dir})
	if code(err) != "cad_cache" {
		t.Errorf("got %v", err)
	}
}

func TestNotice(t *testing.T) {
	n := Notice()
	for _, w := range []string{"GNU Lesser General Public License, version 2.1", "Open CASCADE exception", "replace it"} {
		if !strings.Contains(n, w) {
			t.Errorf("the notice lacks %q", w)
		}
	}
	needKernel(t)
	if !strings.Contains(n, "GNU LESSER GENERAL PUBLIC LICENSE") || strings.Count(n, "Preamble") != 2 {
		t.Error("the notice lacks the licences' texts")
	}
}

func TestWarm(t *testing.T) {
	needKernel(t)
	if err := Warm(context.Background(), Options{Workers: workers}); err != nil {
		t.Error(err)
	}
}

func TestFormat(t *testing.T) {
	for rel, want := range map[string]string{
		"generated/plate_AP203_MM.step": "step", "generated/plate.brep": "brep", "generated/plate_inch.igs": "iges", "open/hammer.iges": "iges",
		"open/CrankArm.brep": "brep", "open/hammer.brep": "brep", "open/wedge_ok.brep": "brep", "open/NIST_README.txt": "", "open/MANIFEST.csv": "",
		"open/nist_ctc_01_asme1_ap242.qif": "", "open/screw.step": "step",
	} {
		if got := Format(readFile(t, rel)); got != want {
			t.Errorf("%s: %q, want %q", rel, got, want)
		}
	}
	if got := Format([]byte("\xef\xbb\xbf\r\n ISO-10303-21;")); got != "step" {
		t.Errorf("with a byte order mark: %q", got)
	}
	for name, want := range map[string]string{`c:\parts\Part.STP`: "step", "a.IGES": "iges", "a.brp": "brep", "step": "", "a.step.zip": ""} {
		if got := Named(name); got != want {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

// At most as many files at once as there are workers, and who waits can be called off.
func TestWorkersTakeTurns(t *testing.T) {
	needKernel(t)
	w := NewWorkers(1)
	if err := w.enter(context.Background()); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Read(ctx, "a.brep", []byte("DBRep_DrawableShape\n"), Options{Workers: w}); !errors.Is(err, context.Canceled) {
		t.Errorf("while the one place was taken: %v", err)
	}
	w.leave()
	if err := w.enter(context.Background()); err != nil {
		t.Error(err)
	}
}

// A text larger than the memory cap allows is not even scanned.
func TestTooLargeForMemory(t *testing.T) {
	data := append([]byte("ISO-10303-21;\n"), make([]byte, 20<<20)...)
	if _, err := Read(context.Background(), "a.stp", data, Options{Memory: 32 << 20}); code(err) != "cad_memory" {
		t.Errorf("got %v", err)
	}
}

func FuzzFormat(f *testing.F) {
	f.Add("a.stp", []byte("ISO-10303-21;"))
	f.Add("a.igs", []byte(fmt.Sprintf("%-72sS%7d\n", "x", 1)))
	f.Add("a", []byte("\nCASCADE Topology V3"))
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		switch Format(data) {
		case "", "step", "iges", "brep":
		default:
			t.Error("another format")
		}
		if err := odd(data); err != nil && code(err) != "cad_format" {
			t.Error(err)
		}
		switch Named(name) {
		case "", "step", "iges", "brep":
		default:
			t.Error("another format")
		}
	})
}

func TestChord(t *testing.T) {
	for _, c := range []struct{ size, tolerance, want float64 }{
		{100, 0, 0.02}, {100, 0.05, 0.01}, {100, 0.001, 0.005}, {400, 0, 0.05}, {1000, 0, 0.05}, {38000, 0, 1.9}, {2, 0, 0.001}, {250, 0.2, 0.04},
	} {
		if got := Chord(c.size, c.tolerance); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("size %v, tolerance %v: %v, want %v", c.size, c.tolerance, got, c.want)
		}
	}
}

// A tighter tolerance gives a finer mesh.
func TestToleranceMakesFiner(t *testing.T) {
	data := readFile(t, "generated/plate.brep") // its size is not in the text: the second pass must see to it
	coarse := readBytes(t, "plate", data, Options{})
	fine := readBytes(t, "plate", data, Options{Tolerance: 0.02})
	if fine.answer.Chord > 0.004+1e-9 || fine.answer.Passes != 2 || fine.pass.facets <= coarse.pass.facets {
		t.Errorf("chord %v, %d passes, %d facets against %d", fine.answer.Chord, fine.answer.Passes, fine.pass.facets, coarse.pass.facets)
	}
	if fixed := readBytes(t, "plate", data, Options{Chord: 0.5, Angle: 0.5}); fixed.answer.Passes != 1 || fixed.pass.facets >= coarse.pass.facets {
		t.Errorf("fixed: %d passes, %d facets", fixed.answer.Passes, fixed.pass.facets)
	}
}

func TestFiner(t *testing.T) {
	for _, c := range []struct {
		chord, angle, size, tolerance, gap float64
		again                              bool
	}{
		{0.02, 0.2, 100, 0, 0.0005, false},
		{0.02, 0.2, 100, 0, 0.002, true},
		{0.2, 0.2, 100, 0, 0, true},
		{0.02, 0.2, 100, 0.05, 0, true},
		{0.001, 0.2, 100, 0, 0, false},
	} {
		ch, a, again := finer(c.chord, c.angle, c.size, c.tolerance, c.gap)
		if again != c.again || again && !(ch < c.chord) || a > c.angle || a < angleLeast {
			t.Errorf("%+v: %v %v %v", c, ch, a, again)
		}
	}
}

// What the exporter stated is compared with what was read.
func TestStatedDisagreement(t *testing.T) {
	data := readFile(t, "open/nist_ctc_01_asme1_ap242-e1.stp")
	for old, new := range map[string]string{
		"VOLUME_MEASURE(14644822.6361138)":                                       "VOLUME_MEASURE(15644822.6361138)",
		"AREA_MEASURE(807080.802199914)":                                         "AREA_MEASURE(817080.802199914)",
		"'centre point',(-2.29264395139875,-1.36345168588643,-32.2974419857648)": "'centre point',(-2.29264395139875,8.36345168588643,-32.2974419857648)",
	} {
		if !bytes.Contains(data, []byte(old)) {
			t.Fatalf("the file lacks %s", old)
		}
		data = bytes.Replace(data, []byte(old), []byte(new), 1)
	}
	o := readBytes(t, "ctc", data, Options{})
	var codes []string
	for _, w := range o.Warnings {
		codes = append(codes, w.Code)
		if strings.Contains(w.Message, "%!") {
			t.Errorf("message %q", w.Message)
		}
	}
	if got := strings.Join(codes, " "); got != "cad_stated_volume cad_stated_area cad_stated_centroid" {
		t.Errorf("warnings %v", o.Warnings)
	}
}

// The frames between parent and child: what the child writes the parent reads, and nothing else crashes it.
func TestAnswerThroughPipe(t *testing.T) {
	a := sampleAnswer()
	var b bytes.Buffer
	if err := writeTo(&b, a); err != nil {
		t.Fatal(err)
	}
	got, err := readAnswer(&b, content.DefaultLimits)
	if err != nil {
		t.Fatal(err)
	}
	for i := range a.Bodies {
		x, y := a.Bodies[i], got.Bodies[i]
		if fmt.Sprint(x.pos, x.tri, x.rgb, x.Name, x.Color) != fmt.Sprint(y.pos, y.tri, y.rgb, y.Name, y.Color) {
			t.Errorf("body %d: %v, want %v", i, y, x)
		}
	}
	if got.Code != a.Code || len(got.Holes) != 1 || got.Holes[0] != a.Holes[0] {
		t.Errorf("got %+v", got)
	}
}

func FuzzReadAnswer(f *testing.F) {
	var b bytes.Buffer
	if err := writeTo(&b, sampleAnswer()); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add(b.Bytes()[:b.Len()-5])
	text := []byte(`{"Bodies":[{"Vertices":2000000000,"Facets":2000000000}]}`)
	f.Add(append(binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, frameMagic), uint32(len(text))), text...))
	f.Fuzz(func(t *testing.T, b []byte) {
		lim := content.Limits{Triangles: 1000, Bodies: 10}.OrDefault()
		a, err := readAnswer(bytes.NewReader(b), lim)
		if err != nil {
			return
		}
		for _, x := range a.Bodies {
			for _, v := range x.tri {
				if int(v) >= x.Vertices {
					t.Fatal("a facet points outside")
				}
			}
		}
	})
}

func sampleAnswer() *answer {
	return &answer{Holes: []content.Hole{{Diameter: 8, Depth: 5, Through: true}}, Chord: 0.02, Bodies: []wireBody{
		{Name: "Ø8 ✓", Nodes: []string{"a", "b"}, Vertices: 3, Facets: 1, pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, tri: []uint32{0, 1, 2}, Color: &content.RGBA{1, 2, 3, 4}},
		{Vertices: 4, Facets: 2, ByFacet: true, pos: make([]float32, 12), tri: []uint32{0, 1, 2, 3, 2, 1}, rgb: []content.RGBA{{1, 1, 1, 1}, {2, 2, 2, 2}}},
	}}
}

func writeTo(b *bytes.Buffer, a *answer) error { return writeAnswer(bufio.NewWriter(b), a) }
