package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/intake/cad"
	"firstoff/intake/stl"
	"firstoff/web/browsertest"
)

// TestMain lets the test binary stand in for the program, so that it can be started as a process of its own and killed.
func TestMain(m *testing.M) {
	cad.ChildMain()
	if os.Getenv("FIRSTOFF_AS_PROGRAM") != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

// process starts the program as a process of its own and gives it with the address it serves on.
func process(t *testing.T, args ...string) (*exec.Cmd, string) {
	t.Helper()
	c := exec.Command(os.Args[0], args...)
	c.Env = append(os.Environ(), "FIRSTOFF_AS_PROGRAM=yes")
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatalf("the program said nothing: %v", err)
	}
	u := regexp.MustCompile(`http://[0-9.:]+`).FindString(line)
	if u == "" {
		t.Fatalf("the program did not say where it is: %q", line)
	}
	return c, u
}

func get(t *testing.T, url string, into any) {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if err := json.NewDecoder(r.Body).Decode(into); err != nil {
		t.Fatalf("%s: %v", url, err)
	}
}

// The server is killed with SIGKILL in the middle of ten analyses and started again on the same folder: all ten finish,
// none twice, nothing is lost, and the doctor finds the folder sound.
func TestKilledServer(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "desk")
	args := []string{"serve", "--demo", "--dir", dir, "--listen", "127.0.0.1:0", "--workers", "2"}
	p, base := process(t, args...)
	post := func(path, kind string, body []byte, into any) {
		t.Helper()
		r, err := http.Post(base+path, kind, bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		if r.StatusCode >= 300 {
			t.Fatalf("%s: status %d", path, r.StatusCode)
		}
		if err := json.NewDecoder(r.Body).Decode(into); err != nil {
			t.Fatal(err)
		}
	}
	var q struct{ ID string }
	post("/api/v1/requests", "application/json", []byte(`{"title":"ten","client":{"firm":"Alder Tools"}}`), &q)
	sums := map[string]bool{}
	for i := range 10 {
		var b bytes.Buffer
		if err := stl.Write(&b, "part", geomtest.Torus(20+float64(i), 6, 240, 120).Mesh); err != nil {
			t.Fatal(err)
		}
		var f struct {
			SHA256 string `json:"sha256"`
		}
		post(fmt.Sprintf("/api/v1/requests/%s/files?name=ring%d.stl", q.ID, i), "application/octet-stream", b.Bytes(), &f)
		sums[f.SHA256] = true
	}
	type folder struct {
		Files []struct {
			ID, Name, State, SHA256 string
			Round                   int
		}
		Lines []struct {
			ID      string
			FileID  string `json:"file_id"`
			Options int
		}
		Trail []struct{ What, About string }
	}
	states := func(at string) (f folder, done, busy int) {
		get(t, at+"/api/v1/requests/"+q.ID, &f)
		for _, x := range f.Files {
			switch x.State {
			case "ready":
				done++
			case "analysing":
				busy++
			}
		}
		return f, done, busy
	}
	deadline := time.Now().Add(browsertest.Patience)
	for {
		_, done, busy := states(base)
		if busy > 0 && done > 0 && done < 9 {
			break
		}
		if done == 10 || time.Now().After(deadline) {
			t.Logf("killed with %d done and %d at work", done, busy)
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if err := p.Process.Kill(); err != nil { // SIGKILL
		t.Fatal(err)
	}
	_ = p.Wait()

	_, base = process(t, args...)
	var f folder
	deadline = time.Now().Add(browsertest.Patience)
	for {
		var done int
		if f, done, _ = states(base); done == 10 {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("after the restart only %d of ten are done: %+v", done, f.Files)
		}
		time.Sleep(50 * time.Millisecond)
	}
	perFile := map[string]int{}
	for _, l := range f.Lines {
		perFile[l.FileID]++
		if l.Options == 0 {
			t.Errorf("line %s has no options", l.ID)
		}
	}
	analysed := map[string]int{}
	for _, e := range f.Trail {
		if e.What == "file.analysed" {
			analysed[e.About]++
		}
	}
	for _, x := range f.Files {
		if perFile[x.ID] != 1 || analysed[x.ID] != 1 || !sums[x.SHA256] {
			t.Errorf("%s: %d lines, analysed %d times, content kept %v", x.Name, perFile[x.ID], analysed[x.ID], sums[x.SHA256])
		}
	}
	var out, errs bytes.Buffer
	if code := run(t.Context(), []string{"doctor", "--deep", "--json", "--dir", dir}, streams{strings.NewReader(""), &out, &errs}); code != 0 {
		t.Errorf("the doctor: %s", out.String())
	}
}

// command runs the program in this process.
func command(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, streams{strings.NewReader(""), &o, &e})
	return code, o.String(), e.String()
}

func TestUsage(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"version"}, 0, "firstoff 0.1.0"},
		{[]string{"version", "--json"}, 0, `"version":"0.1.0"`},
		{[]string{"--help"}, 0, "Exit status"},
		{[]string{"quote", "--help"}, 0, "--need-by"},
		{[]string{"serve", "--listen", "0.0.0.0:80"}, 1, "this machine only"},
		{[]string{"serve", "--listen", "nowhere"}, 1, "127.0.0.1"},
		{[]string{"serve", "--dir", filepath.Join(t.TempDir(), "x")}, 1, "--demo"},
		{[]string{"work"}, 1, "--database"},
		{[]string{"conjure"}, 2, "unexpected argument"},
		{[]string{"check"}, 2, "expected"},
		{[]string{"check", "nothing.stl"}, 1, "file_missing"},
		{[]string{"check", "--json", "nothing.stl"}, 1, `"code":"file_missing"`},
		{[]string{"quote", "--qty", "0", model(t, "a.stl", geomtest.Box(9, 9, 9).Mesh)}, 1, "quantity"},
		{[]string{"quote", "--material", "UNOBTAINIUM", model(t, "a.stl", geomtest.Box(9, 9, 9).Mesh)}, 1, "UNOBTAINIUM"},
		{[]string{"nest", "--json", "nothing.json"}, 1, `"code":"file_missing"`},
		{[]string{"plan", "--json", model(t, "a.json", geomtest.Box(9, 9, 9).Mesh)}, 1, `"error"`},
		{[]string{"doctor", "--dir", t.TempDir()}, 1, "catalogue"},
		{[]string{"backup", "--dir", t.TempDir(), t.TempDir()}, 1, "no desk"},
	} {
		code, out, errs := command(t, c.args...)
		if code != c.code || !strings.Contains(out+errs, c.says) {
			t.Errorf("%v: exit %d, want %d; says\n%s%s", c.args, code, c.code, out, errs)
		}
	}
}

// The contracts of DESIGN: every key is there, and the numbers of a plain box are right.
func TestContracts(t *testing.T) {
	box := model(t, "box.stl", geomtest.Box(40, 30, 20).Mesh)
	_, out, _ := command(t, "check", "--json", "--unit", "mm", box)
	var sheet map[string]any
	if err := json.Unmarshal([]byte(out), &sheet); err != nil {
		t.Fatal(err)
	}
	want(t, sheet, "file", "sha256", "format", "unit", "bodies", "total", "holes", "findings")
	body := sheet["bodies"].([]any)[0].(map[string]any)
	want(t, body, "name", "triangles", "vertices", "closed", "shells", "volume_mm3", "area_mm2", "centroid_mm", "bbox_min_mm", "bbox_max_mm", "boundary_loops", "non_manifold_edges", "flipped_facets", "degenerate_facets", "duplicate_facets", "self_intersections", "mended")
	if v := body["volume_mm3"].(float64); v != 24000 {
		t.Errorf("volume %v", v)
	}
	_, out, _ = command(t, "quote", "--json", "--qty", "3", "--at", "2026-12-01T08:00:00Z", box)
	var q struct {
		Currency string
		Lines    []struct {
			File    string
			Qty     int
			Options []map[string]any
			Refused []map[string]any
		}
	}
	if err := json.Unmarshal([]byte(out), &q); err != nil {
		t.Fatal(err)
	}
	if q.Currency != "EUR" || len(q.Lines) != 1 || q.Lines[0].Qty != 3 || len(q.Lines[0].Options) < 100 || len(q.Lines[0].Refused) == 0 {
		t.Fatalf("quote: %d lines", len(q.Lines))
	}
	for _, o := range q.Lines[0].Options {
		want(t, o, "process", "material", "pose", "build_s", "part_g", "support_g", "hands_s", "unit_price_minor", "total_minor", "p50_date", "p90_date", "pareto", "why")
		if o["p50_date"].(string) > o["p90_date"].(string) || o["p90_date"].(string) < "2026-12-02" {
			t.Errorf("dates %v, %v", o["p50_date"], o["p90_date"])
		}
	}
	_, again, _ := command(t, "quote", "--json", "--qty", "3", "--at", "2026-12-01T08:00:00Z", box)
	if again != out {
		t.Error("the same question got another answer")
	}
	_, out, _ = command(t, "plan", "--json", "--rounds", "1", filepath.Join(checks.Path(t, "opt/plan/jobshop"), "ft06.json"))
	var plan map[string]any
	if err := json.Unmarshal([]byte(out), &plan); err != nil {
		t.Fatal(err)
	}
	want(t, plan, "operations", "makespan_s", "objective", "lower_bound", "seconds")
	if plan["makespan_s"].(float64) < 55 { // ft06: 55 is proved (best.csv)
		t.Errorf("ft06 in %v s", plan["makespan_s"])
	}
	_, out, _ = command(t, "nest", "--json", "--rounds", "1", filepath.Join(checks.Path(t, "opt/nest"), "albano.json"))
	var nest map[string]any
	if err := json.Unmarshal([]byte(out), &nest); err != nil {
		t.Fatal(err)
	}
	want(t, nest, "placements", "containers", "length_mm", "density", "seconds")
}

// TestCheckOfATolerance: what is asked on the command line reaches the findings, and so does a chosen pose; nonsense is named.
func TestCheckOfATolerance(t *testing.T) {
	model := filepath.Join(t.TempDir(), "block.stl")
	f, err := os.Create(model)
	if err != nil {
		t.Fatal(err)
	}
	if err := stl.Write(f, "block", geomtest.Box(6, 6, 90).Mesh); err != nil {
		t.Fatal(err)
	}
	f.Close()
	codes := func(args ...string) map[string]bool {
		t.Helper()
		code, out, errs := command(t, append(append([]string{"check", "--json", "--quick"}, args...), model)...)
		if code != 0 {
			t.Fatalf("%d: %s", code, errs)
		}
		var s struct {
			Findings []struct{ Process, Code, Severity string }
		}
		if err := json.Unmarshal([]byte(out), &s); err != nil {
			t.Fatal(err)
		}
		got := map[string]bool{}
		for _, x := range s.Findings {
			got[x.Process+" "+x.Code+" "+x.Severity] = true
		}
		return got
	}
	if got := codes(); got["PBF-LB/P tolerance stop"] || got["MEX tip_over note"] {
		t.Errorf("nothing was asked: %v", got)
	}
	if got := codes("--tolerance", "0.1", "--over", "80"); !got["PBF-LB/P tolerance stop"] {
		t.Errorf("±0.1 mm over 80 mm cannot be sintered: %v", got)
	}
	if got := codes("--pose", "1,0,0,0"); !got["MEX tip_over note"] {
		t.Errorf("a rod on end tips over: %v", got)
	}
	for _, bad := range [][]string{{"--pose", "1,1,1,1"}, {"--pose", "up"}, {"--tolerance=-1"}} {
		if code, _, _ := command(t, append(append([]string{"check"}, bad...), model)...); code != 1 {
			t.Errorf("%v: exit code %d", bad, code)
		}
	}
}

// TestQuoteOfAnotherShop: a catalogue file with machines of all families goes through the command, and each of its machines is offered.
func TestQuoteOfAnotherShop(t *testing.T) {
	dir := t.TempDir()
	model := filepath.Join(dir, "ball.stl")
	f, err := os.Create(model)
	if err != nil {
		t.Fatal(err)
	}
	if err := stl.Write(f, "ball", geomtest.Sphere(15, 48).Mesh); err != nil {
		t.Fatal(err)
	}
	f.Close()
	code, out, errs := command(t, "quote", "--json", "--qty", "4", "--shop", filepath.Join(checks.Root(), "demo", "allround.yaml"), model)
	if code != 0 {
		t.Fatalf("%d: %s", code, errs)
	}
	var q struct {
		Lines []struct {
			Options []struct{ Machine string }
		}
	}
	if err := json.Unmarshal([]byte(out), &q); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, o := range q.Lines[0].Options {
		seen[o.Machine] = true
	}
	for _, m := range []string{"plover", "avocet", "dipper", "ouzel", "sandpiper", "mould-shop"} {
		if !seen[m] {
			t.Errorf("%s is not offered", m)
		}
	}
}

func want(t *testing.T, m map[string]any, keys ...string) {
	t.Helper()
	for _, k := range keys {
		if _, ok := m[k]; !ok {
			t.Errorf("no key %q", k)
		}
	}
}

// A backup put into another folder is the same desk.
func TestBackupAndRestore(t *testing.T) {
	base := t.TempDir()
	dir, copy, other := filepath.Join(base, "desk"), filepath.Join(base, "copy"), filepath.Join(base, "other")
	p, at := process(t, "serve", "--demo", "--dir", dir, "--listen", "127.0.0.1:0")
	r, err := http.Post(at+"/api/v1/requests", "application/json", strings.NewReader(`{"title":"kept","client":{"firm":"Alder Tools"}}`))
	if err != nil || r.StatusCode != 200 {
		t.Fatalf("not opened: %v", err)
	}
	r.Body.Close()
	var before struct{ Total int }
	get(t, at+"/api/v1/requests", &before)
	if code, out, errs := command(t, "backup", "--dir", dir, copy); code != 0 {
		t.Fatalf("backup while it works: %s%s", out, errs)
	}
	_ = p.Process.Kill()
	_ = p.Wait()
	if code, out, errs := command(t, "restore", "--dir", other, copy); code != 0 {
		t.Fatalf("restore: %s%s", out, errs)
	}
	if code, _, errs := command(t, "restore", "--dir", other, copy); code != 1 || !strings.Contains(errs, "records_not_empty") {
		t.Errorf("a restore over records was not refused: %d %s", code, errs)
	}
	if code, out, _ := command(t, "doctor", "--deep", "--dir", other); code != 0 {
		t.Errorf("the restored desk: %s", out)
	}
	_, at = process(t, "serve", "--dir", other, "--listen", "127.0.0.1:0")
	var l struct{ Total int }
	get(t, at+"/api/v1/requests", &l)
	if l.Total != before.Total || before.Total < 2 {
		t.Errorf("%d requests after the restore, %d before", l.Total, before.Total)
	}
}
