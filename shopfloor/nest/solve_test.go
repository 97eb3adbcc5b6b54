package nest

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
	"firstoff/geom/mesh"
)

func clean(t testing.TB, p Problem, r Result) {
	t.Helper()
	for _, v := range Verify(p, r) {
		t.Errorf("%s: %s", v.Code, v.Text)
	}
}

func readFile(t testing.TB, path string) Problem {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Read(b)
	if err != nil {
		t.Fatal(path, err)
	}
	return p
}

// All open strip sets (ESICUP and others, sources in their SOURCES.md): read, laid without fault, judged clean, the bound
// below the best known length and the result above it.
func TestStripSets(t *testing.T) {
	files, _ := filepath.Glob(filepath.Join(checks.Path(t, "opt/nest"), "*.json"))
	if len(files) < 16 {
		t.Fatalf("%d files", len(files))
	}
	best := bestKnown(t)
	rounds := 40
	if os.Getenv("FIRSTOFF_SLOW") != "" {
		rounds = 4000
	}
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), ".json")
		t.Run(name, func(t *testing.T) {
			p := readFile(t, f)
			n := rounds
			if strings.HasPrefix(name, "gardeyn") && rounds < 100 {
				n = 1 // many corners: the first layout and one pass
			}
			r, err := Solve(context.Background(), p, Options{Rounds: n, Seed: 1, Threads: 1})
			if err != nil {
				t.Fatal(err)
			}
			clean(t, p, r)
			known := best[name]
			if r.LowerBound > known*(1+1e-6) {
				t.Errorf("lower bound %g above the best known length %g", r.LowerBound, known)
			}
			if r.LengthMM < known*0.995 { // the sets are well studied: a much better length would be a defect
				t.Errorf("length %g far below the best known %g", r.LengthMM, known)
			}
			if math.Abs(r.Gap-(r.LengthMM/r.LowerBound-1)) > 1e-9 {
				t.Errorf("gap %g", r.Gap)
			}
			t.Logf("%.2f %% full, length %.1f, best known %.1f", 100*r.Density, r.LengthMM, known)
		})
	}
}

func bestKnown(t testing.TB) map[string]float64 {
	b, err := os.ReadFile(checks.Path(t, "opt/nest/best.csv"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{}
	for _, l := range strings.Split(string(b), "\n")[1:] {
		if f := strings.Split(l, ","); len(f) > 2 {
			var v float64
			fmt.Sscan(f[2], &v)
			out[f[0]] = v
		}
	}
	return out
}

// mixed is a random problem of stars, angles and plates.
func mixed(seed uint64, kind Kind) Problem {
	r := rand.New(rand.NewPCG(seed, 5))
	p := Problem{Container: Container{Kind: kind, WidthMM: 150, DepthMM: 120, MarginMM: float64(r.IntN(2)) * 4}, SpacingMM: []float64{0, 0.5, 3}[r.IntN(3)]}
	for i := range 6 {
		it := Item{ID: fmt.Sprint("i", i), Quantity: 1 + r.IntN(4), Polygon: star(r, 8+18*r.Float64()), Priority: r.IntN(2)}
		switch r.IntN(4) {
		case 0:
			it.Polygon = rect(10+30*r.Float64(), 8+20*r.Float64())
		case 1:
			it.Polygon = angleOutline
		}
		switch r.IntN(3) {
		case 0:
			it.Turns.Free = true
		case 1:
			it.Turns.Deg = []float64{0, 90, 180, 270}
		}
		p.Items = append(p.Items, it)
	}
	return p
}

func TestVerifyAgreesWithSearch(t *testing.T) {
	for seed := uint64(1); seed <= 6; seed++ {
		for _, kind := range []Kind{InStrip, OnPlatforms} {
			t.Run(fmt.Sprintf("%s seed %d", kind, seed), func(t *testing.T) {
				p := mixed(seed, kind)
				r, err := Solve(context.Background(), p, Options{Rounds: 150, Seed: int64(seed)})
				if err != nil {
					t.Fatal(err)
				}
				clean(t, p, r)
				first, err := Solve(context.Background(), p, Options{})
				if err != nil {
					t.Fatal(err)
				}
				clean(t, p, first)
				if kind == InStrip && r.LengthMM > first.LengthMM+1e-9 || r.Containers > first.Containers {
					t.Errorf("searched %g / %d, first answer %g / %d", r.LengthMM, r.Containers, first.LengthMM, first.Containers)
				}
			})
		}
	}
}

// The judge must see what is wrong.
func TestVerifyFinds(t *testing.T) {
	p := mixed(2, InStrip)
	p.SpacingMM = 1
	p.Items[0].Turns = Turns{}
	good, err := Solve(context.Background(), p, Options{Rounds: 20})
	if err != nil {
		t.Fatal(err)
	}
	clean(t, p, good)
	break_ := func(f func(r *Result)) map[string]bool {
		r := good
		r.Placements = append([]Placement(nil), good.Placements...)
		f(&r)
		codes := map[string]bool{}
		for _, v := range Verify(p, r) {
			codes[v.Code] = true
		}
		return codes
	}
	deg := 33.0
	for code, f := range map[string]func(r *Result){
		"missing": func(r *Result) { r.Placements = r.Placements[1:] },
		"unknown": func(r *Result) { r.Placements[0].ID = "nobody" },
		"outside": func(r *Result) { r.Placements[3].YMM += 200 },
		"overlap": func(r *Result) { r.Placements[2].XMM, r.Placements[2].YMM = r.Placements[5].XMM, r.Placements[5].YMM },
		"turn": func(r *Result) {
			for i := range r.Placements {
				if r.Placements[i].ID == "i0" {
					r.Placements[i].RotationDeg = &deg
				}
			}
		},
	} {
		if !break_(f)[code] {
			t.Errorf("%s not found", code)
		}
	}
	tight := p
	tight.SpacingMM = 1.5
	found := false
	for _, v := range Verify(tight, good) {
		found = found || v.Code == "spacing"
	}
	if !found {
		t.Error("pieces laid 1 mm apart pass for 1.5")
	}
}

// The same on one processor as on all.
func TestSolveRepeats(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, kind := range []Kind{InStrip, OnPlatforms} {
		p := mixed(4, kind)
		o := Options{Rounds: 250, Seed: 9, Threads: 3}
		a, err := Solve(context.Background(), p, o)
		if err != nil {
			t.Fatal(err)
		}
		runtime.GOMAXPROCS(1)
		b, _ := Solve(context.Background(), p, o)
		runtime.GOMAXPROCS(4)
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s: %g and %g mm, %d and %d rounds", kind, a.LengthMM, b.LengthMM, a.Rounds, b.Rounds)
		}
	}
}

// Pressing pieces in saves trays: 12 angles that interlock by pairs and plates that only fit turned.
func TestPlatformsSearched(t *testing.T) {
	p := Problem{Container: Container{Kind: OnPlatforms, WidthMM: 100, DepthMM: 100}, SpacingMM: 1}
	r := rand.New(rand.NewPCG(5, 5))
	for i := range 8 {
		p.Items = append(p.Items, Item{ID: fmt.Sprint("s", i), Quantity: 6, Polygon: star(r, 18), Turns: Turns{Free: true}})
	}
	first, err := Solve(context.Background(), p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := Solve(context.Background(), p, Options{Rounds: 600})
	if err != nil {
		t.Fatal(err)
	}
	clean(t, p, s)
	if s.Containers >= first.Containers {
		t.Errorf("%d platforms after searching, %d before", s.Containers, first.Containers)
	}
	if s.LengthMM >= 100 {
		t.Errorf("the last platform is used to its end")
	}
	t.Logf("%d platforms from %d, lower bound %g", s.Containers, first.Containers, s.LowerBound)
}

func TestChamber(t *testing.T) {
	bodies := []Body{
		{ID: "angle", Quantity: 6, Mesh: angleMesh(0, 25), Turns: Turns{Free: true}},
		{ID: "block", Quantity: 3, Mesh: boxMesh(33, 21, 12), Turns: Turns{Free: true}, Priority: 1},
		{ID: "slant", Quantity: 2, Mesh: boxMesh(40, 10, 10), Turns: Turns{Deg: []float64{30, 45}}},
		{ID: "turned", Quantity: 2, Mesh: boxMesh(44, 10, 20), Turns: Turns{Deg: []float64{90, 270}}},
	}
	problem := func(h, spacing, margin float64) Problem {
		p := Problem{Container: Container{InChambers, 130, 110, h, margin}, SpacingMM: spacing}
		for _, b := range bodies {
			p.Items = append(p.Items, Item{ID: b.ID, Quantity: b.Quantity, Mesh: b.Mesh, Turns: b.Turns, Priority: b.Priority})
		}
		return p
	}
	for _, c := range []struct{ h, spacing, margin float64 }{{0, 3, 2}, {0, 0, 0}, {40, 2, 0}, {130, 4, 5}} {
		first, err := Chamber(context.Background(), bodies, 130, 110, c.h, c.spacing, c.margin, Options{})
		if err != nil {
			t.Fatal(err)
		}
		p := problem(c.h, c.spacing, c.margin)
		clean(t, p, first)
		r, err := Chamber(context.Background(), bodies, 130, 110, c.h, c.spacing, c.margin, Options{Rounds: 60, Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		clean(t, p, r)
		again, _ := Chamber(context.Background(), bodies, 130, 110, c.h, c.spacing, c.margin, Options{Rounds: 60, Seed: 3})
		if !reflect.DeepEqual(r, again) {
			t.Errorf("%+v: two runs differ", c)
		}
		if r.Containers > first.Containers || r.Containers == 1 && r.LengthMM > first.LengthMM {
			t.Errorf("%+v: searched %d / %g, first %d / %g", c, r.Containers, r.LengthMM, first.Containers, first.LengthMM)
		}
		if r.Gap < 0 || r.LowerBound <= 0 {
			t.Errorf("bound %g gap %g", r.LowerBound, r.Gap)
		}
		t.Logf("%+v: %d chambers, height %.1f (first %d, %.1f), bound %.1f, density %.2f", c, r.Containers, r.LengthMM, first.Containers, first.LengthMM, r.LowerBound, r.Density)
	}
}

// Bodies that touch or overlap are found facet by facet.
func TestVerifySpace(t *testing.T) {
	a := boxMesh(10, 10, 10)
	p := Problem{Container: Container{InChambers, 100, 100, 100, 0}, SpacingMM: 2, Items: []Item{{ID: "a", Quantity: 2, Mesh: a}}}
	q := [4]float64{1, 0, 0, 0}
	two := func(x, y, z float64) Result {
		return Result{Containers: 1, Placements: []Placement{{"a", 0, 20, 20, 20, nil, &q}, {"a", 0, 20 + x, 20 + y, 20 + z, nil, &q}}}
	}
	for _, c := range []struct {
		x, y, z float64
		bad     bool
	}{{12, 0, 0, false}, {11.9, 0, 0, true}, {11.5, 11.5, 0, false}, {11.3, 11.3, 0, true}, {5, 5, 5, true}, {0, 0, 0, true}, {0, 0, 12, false}} {
		if bad := len(Verify(p, two(c.x, c.y, c.z))) > 0; bad != c.bad {
			t.Errorf("%+v: found %v", c, Verify(p, two(c.x, c.y, c.z)))
		}
	}
	inner := boxMesh(2, 2, 2)
	p.Items = append(p.Items, Item{ID: "b", Quantity: 1, Mesh: inner})
	p.Items[0].Quantity = 1
	r := Result{Containers: 1, Placements: []Placement{{"a", 0, 20, 20, 20, nil, &q}, {"b", 0, 24, 24, 24, nil, &q}}}
	if len(Verify(p, r)) == 0 {
		t.Error("a body inside another passes")
	}
}

func TestPlatformOfMeshes(t *testing.T) {
	p := Problem{Container: Container{Kind: OnPlatforms, WidthMM: 140, DepthMM: 140, MarginMM: 3}, SpacingMM: 2, Items: []Item{
		{ID: "angle", Quantity: 4, Mesh: angleMesh(-5, 20), Turns: Turns{Deg: []float64{0, 90, 180, 270}}},
		{ID: "box", Quantity: 3, Mesh: boxMesh(20, 30, 5)},
	}}
	r, err := Solve(context.Background(), p, Options{Rounds: 50})
	if err != nil {
		t.Fatal(err)
	}
	clean(t, p, r)
	for _, q := range r.Placements {
		if want := map[string]float64{"angle": 5, "box": 0}[q.ID]; q.ZMM != want {
			t.Errorf("%s stands at %g, want %g", q.ID, q.ZMM, want)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	for text, code := range map[string]string{
		`{`: "nest_json",
		`{"container":{"kind":"bag","width_mm":1},"items":[]}`:                                                                                     "nest_container",
		`{"container":{"kind":"strip","width_mm":-1},"items":[]}`:                                                                                  "nest_container",
		`{"container":{"kind":"platform","width_mm":10},"items":[]}`:                                                                               "nest_container",
		`{"container":{"kind":"strip","width_mm":10},"spacing_mm":-2,"items":[]}`:                                                                  "nest_spacing",
		`{"container":{"kind":"strip","width_mm":10},"items":[{"id":"a"}]}`:                                                                        "nest_item",
		`{"container":{"kind":"strip","width_mm":10},"items":[{"id":"a","polygon":[[0,0],[1,0]]}]}`:                                                "nest_outline",
		`{"container":{"kind":"strip","width_mm":10},"items":[{"id":"a","polygon":[[0,0],[7,0],[1,0],[0,1]]}]}`:                                    "nest_outline",
		`{"container":{"kind":"strip","width_mm":10},"items":[{"id":"a","polygon":[[0,0],[4,4],[4,0],[0,5]]}]}`:                                    "nest_outline",
		`{"container":{"kind":"strip","width_mm":10},"items":[{"id":"a","polygon":[[0,0],[1,0],[1,1]],"rotations_deg":"any"}]}`:                    "nest_json",
		`{"container":{"kind":"strip","width_mm":10},"items":[{"id":"a","quantity":-1,"polygon":[[0,0],[1,0],[1,1]]}]}`:                            "nest_quantity",
		`{"container":{"kind":"strip","width_mm":10},"items":[{"id":"a","polygon":[[0,0],[1,0],[1,1]]},{"id":"a","polygon":[[0,0],[1,0],[1,1]]}]}`: "nest_item",
		`{"container":{"kind":"chamber","width_mm":10,"depth_mm":10,"height_mm":10},"items":[{"id":"a","polygon":[[0,0],[1,0],[1,1]]}]}`:           "nest_item",
		`{"container":{"kind":"platform","width_mm":10,"depth_mm":9,"margin_mm":5},"items":[]}`:                                                    "nest_margin",
	} {
		_, err := Read([]byte(text))
		if err == nil || fault.Of(err).Code != code {
			t.Errorf("%s: %v, want %s", text, err, code)
		}
	}
	p := Problem{Container: Container{Kind: InStrip, WidthMM: 10}, Items: []Item{{ID: "a", Quantity: 1, Polygon: rect(30, 20)}}}
	if _, err := Solve(context.Background(), p, Options{}); fault.Of(err) == nil || fault.Of(err).Code != "nest_too_large" {
		t.Errorf("%v", err)
	}
	p.Items[0] = Item{ID: "a", Quantity: 1, MeshPath: "x.stl"}
	if _, err := Solve(context.Background(), p, Options{}); err == nil {
		t.Error("a mesh not read is laid")
	}
	p = Problem{Container: Container{InChambers, 10, 10, 10, 0}, Items: []Item{{ID: "a", Quantity: 1, Mesh: boxMesh(12, 2, 2)}}}
	if _, err := Solve(context.Background(), p, Options{}); err == nil || fault.Of(err).Where != "a" {
		t.Errorf("%v", err)
	}
	p.Items[0].Mesh = &mesh.Mesh{}
	if _, err := Solve(context.Background(), p, Options{}); err == nil {
		t.Error("an empty mesh is laid")
	}
}

func TestJSONContract(t *testing.T) {
	p, err := Read([]byte(`{"container":{"kind":"strip","width_mm":20},"spacing_mm":1,"items":[
		{"id":"plate","quantity":2,"polygon":[[0,0],[8,0],[8,5],[0,5]],"rotations_deg":[0,90]},
		{"id":"wedge","polygon":[[0,0],[6,0],[0,6]],"rotations_deg":"free"}]}`))
	if err != nil {
		t.Fatal(err)
	}
	r, err := Solve(context.Background(), p, Options{Rounds: 50})
	if err != nil {
		t.Fatal(err)
	}
	clean(t, p, r)
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back map[string]any
	json.Unmarshal(b, &back)
	for _, k := range []string{"placements", "containers", "length_mm", "density", "seconds", "lower_bound", "gap"} {
		if _, ok := back[k]; !ok {
			t.Errorf("%s is missing in %s", k, b)
		}
	}
	pl := back["placements"].([]any)[0].(map[string]any)
	for _, k := range []string{"id", "container", "x_mm", "y_mm", "z_mm", "rotation_deg"} {
		if _, ok := pl[k]; !ok {
			t.Errorf("placement lacks %s", k)
		}
	}
}

// A cancelled context still gives a whole layout.
func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, kind := range []Kind{InStrip, OnPlatforms} {
		p := mixed(3, kind)
		r, err := Solve(ctx, p, Options{Rounds: 1 << 30})
		if err != nil {
			t.Fatal(err)
		}
		clean(t, p, r)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(`{"container":{"kind":"strip","width_mm":20},"spacing_mm":1,"items":[{"id":"plate","quantity":2,"polygon":[[0,0],[8,0],[8,5],[0,5]],"rotations_deg":[0,90]}]}`))
	f.Add([]byte(`{"container":{"kind":"platform","width_mm":20,"depth_mm":20,"margin_mm":1},"items":[{"id":"w","polygon":[[0,0],[6,0],[6,6],[3,1],[0,6]],"rotations_deg":"free"}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := Read(b)
		if err != nil {
			if fault.KindOf(err) == fault.Internal {
				t.Fatalf("%v", err)
			}
			return
		}
		pieces := 0
		for i := range p.Items {
			pieces += p.Items[i].Quantity
			if len(p.Items[i].Polygon) > 50 || len(p.Items[i].Turns.Deg) > 8 {
				return
			}
		}
		if pieces > 12 || len(p.Items) > 6 {
			return
		}
		r, err := Solve(context.Background(), p, Options{Rounds: 2, Threads: 1})
		if err != nil {
			if fault.KindOf(err) == fault.Internal {
				t.Fatalf("%v", err)
			}
			return
		}
		for _, v := range Verify(p, r) {
			t.Errorf("%s: %s", v.Code, v.Text)
		}
	})
}
