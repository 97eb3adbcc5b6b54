package main

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"firstoff/bureau/planning"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/intake/stl"
	"firstoff/web/browsertest"
)

// orderOf walks a part through the interface until its order is accepted, made by a process; it gives the order's number.
func orderOf(t *testing.T, base, name, process string, qty int, m *mesh.Mesh) string {
	t.Helper()
	at := base + "/api/v1"
	var q struct{ ID string }
	call(t, "POST", at+"/requests", map[string]any{"title": name, "client": map[string]any{"firm": "Alder Tools"}}, 200, &q)
	var b bytes.Buffer
	if err := stl.Write(&b, name, m); err != nil {
		t.Fatal(err)
	}
	r, err := http.Post(at+"/requests/"+q.ID+"/files?name="+name+".stl", "application/octet-stream", &b)
	if err != nil {
		t.Fatal(err)
	}
	_ = r.Body.Close()
	var f struct {
		Files []struct{ ID, State string }
		Lines []struct{ ID string }
	}
	for until := time.Now().Add(browsertest.Patience); len(f.Files) == 0 || f.Files[0].State != "ready"; time.Sleep(30 * time.Millisecond) {
		call(t, "GET", at+"/requests/"+q.ID, nil, 200, &f)
		if time.Now().After(until) {
			t.Fatalf("%+v", f)
		}
	}
	line := at + "/lines/" + f.Lines[0].ID
	call(t, "PUT", line+"/qty", map[string]any{"qty": qty}, 200, nil)
	var o struct {
		Table struct {
			Options []struct{ ID, Process string }
		}
	}
	call(t, "GET", line+"/options", nil, 200, &o)
	for _, x := range o.Table.Options {
		if x.Process == process {
			call(t, "PUT", line+"/choice", map[string]any{"option": x.ID}, 200, nil)
			break
		}
	}
	var d struct{ ID string }
	call(t, "POST", at+"/requests/"+q.ID+"/quotation", nil, 200, &d)
	var issued struct {
		Token     string
		Quotation struct{ ID string }
	}
	call(t, "POST", at+"/quotations/"+d.ID+"/issue", map[string]any{}, 200, &issued)
	var order struct{ ID string }
	call(t, "POST", at+"/links/"+issued.Token+"/accept", map[string]any{"quotation": issued.Quotation.ID, "name": "A", "reference": "", "choices": map[string]string{}}, 200, &order)
	return order.ID
}

// The plan in a real browser: a bar is dragged, what that moves is shown, it is kept, dropped, taken back; two orders share a build, which is looked
// at, taken apart, and laid into a build of the floor.
func TestPlanInBrowser(t *testing.T) {
	base := server(t)
	part := geomtest.Tube(24, 15, 40, 96).Mesh
	first, second := orderOf(t, base, "bush", "MJT", 3, part), orderOf(t, base, "ring", "MJT", 3, part)
	plan := func() (k planning.Kept) {
		call(t, "GET", base+"/api/v1/plan", nil, 200, &k)
		return k
	}
	k := plan()
	if len(k.Plan.Joins) != 1 || len(k.Plan.Joins[0].Lines) != 2 {
		t.Fatalf("two part platforms of one material, and the builds formed are %v", k.Plan.Joins)
	}
	b := browsertest.Start(t, base, 1400, 1000)
	b.Go("/board")
	b.Picture("board-plan")
	b.Accessible("board")
	b.Eval("scrollTo(0, 0)")
	b.Drag("a.bar.build[data-task]", 90)
	b.See("#tried")
	if says := b.Text("#tried"); !strings.Contains(says, "pinned") || !strings.Contains(says, "not before") {
		t.Errorf("dragged, and the board says %q", says)
	}
	b.Picture("board-tried")
	b.Accessible("board tried")
	if got := plan(); got.ID != k.ID {
		t.Error("looking at a change kept it")
	}
	b.Click("#keep")
	b.See("#decided li")
	if got := plan(); len(got.Decisions) != 1 || got.Decisions[0].Pin == nil {
		t.Errorf("kept, and the decisions are %+v", got.Decisions)
	}
	b.Picture("board-decided")
	b.Accessible("board decided")
	b.Click("#take-back button")
	b.Wait("!document.querySelector('#decided li')")
	if got := plan(); len(got.Decisions) != 0 {
		t.Errorf("taken back, and the decisions are %+v", got.Decisions)
	}
	// An absence, said in the form, and dropped.
	b.Eval(`for (const [id, days] of [['pl-from', 1], ['pl-until', 3]]) document.getElementById(id).value = new Date(Date.now() + days * 864e5).toISOString().slice(0, 16)`)
	b.Click("#away button")
	b.See("#keep")
	b.Click("#keep")
	b.See("#decided li")
	b.Click("#decided li button")
	b.Wait("!document.querySelector('#decided li')")
	// The build that is shared.
	b.Click("a.bar.build[href*='/board/build']")
	b.See("#plan-view")
	b.Wait("document.querySelectorAll('#plan-view path').length === 6")
	b.Picture("build-composed")
	b.Accessible("composed build")
	if says := b.Text("main"); !strings.Contains(says, first) || !strings.Contains(says, second) || !strings.Contains(says, "instead of") {
		t.Errorf("the build says %q", says)
	}
	b.Click("a[href*='kind=apart']")
	b.See("#keep")
	b.Click("#keep")
	b.See("#decided li")
	if got := plan(); len(got.Plan.Joins) != 0 {
		t.Errorf("taken apart, and yet %v", got.Plan.Joins)
	}
	b.Click("a.bar.build[href*='/board/build']")
	b.See("input[type=checkbox][name=lines]")
	b.Press("input[type=checkbox][name=lines]")
	b.Press("form[action='/board#tried'] button")
	b.See("#keep")
	b.Click("#keep")
	b.Wait("(document.querySelector('#decided') || {innerText: ''}).innerText.includes('One build for')")
	if got := plan(); len(got.Plan.Joins) != 1 {
		t.Errorf("joined, and the builds formed are %v", got.Plan.Joins)
	}
	now := time.Now().UTC().Format(time.RFC3339)
	call(t, "GET", base+"/api/v1/floor", nil, 200, nil)
	for i, id := range []string{"T-1001", "T-1002"} { // what comes before the build
		call(t, "POST", base+"/api/v1/travellers/"+id+"/events", map[string]any{"id": fmt.Sprint("plan-000", i), "op": 1, "kind": "finish", "good": 3, "who": "P", "traveller": "", "at": now, "received": now}, 200, nil)
	}
	b.Click("a.bar.build[href*='/board/build']")
	b.Click("form[action='/board/build'] button")
	b.Wait("location.pathname.startsWith('/b/B-')")
	// The plan follows the floor: the build is the floor's now.
	if got := plan(); len(got.Plan.Joins) != 0 || len(got.Decisions) != 0 {
		t.Errorf("laid into a build, and the plan still forms one: %v, %+v", got.Plan.Joins, got.Decisions)
	}
	found := false
	for _, e := range plan().Plan.Board.Entries {
		found = found || e.Task == "B-1001"
	}
	if !found {
		t.Error("the floor's build is not on the board")
	}
	b.Go("/board")
	b.See("a.bar.build[href='/b/B-1001']")
	b.Go("/orders/" + second + "/sooner")
	b.See("section.card")
	b.Picture("sooner")
	b.Accessible("sooner")
	var o struct {
		Lines []struct {
			LineID string `json:"line_id"`
		}
	}
	call(t, "GET", base+"/api/v1/orders/"+second, nil, 200, &o)
	var sooner struct {
		P90   time.Time
		Tried int
	}
	call(t, "GET", base+"/api/v1/orders/"+second+"/lines/"+o.Lines[0].LineID+"/sooner", nil, 200, &sooner)
	if sooner.P90.IsZero() || sooner.Tried == 0 {
		t.Errorf("sooner: %+v", sooner)
	}
	b.Go("/lines/" + o.Lines[0].LineID + "/sooner")
	b.See("section.card")
	b.Accessible("sooner, not ordered")
	b.Go("/lines/" + o.Lines[0].LineID + "/options")
	b.See("#hints, h1")
	b.Accessible("options with hints")
	narrow := browsertest.Start(t, base, 390, 800)
	narrow.Go("/board")
	narrow.Picture("board-phone")
	if over := narrow.EvalString("String(document.documentElement.scrollWidth - innerWidth)"); over != "0" {
		t.Errorf("the board is %s px wider than a phone", over)
	}
}

// The plan by programs: tried, changed, refused in a sentence, taken back.
func TestPlanByPrograms(t *testing.T) {
	at := server(t) + "/api/v1"
	var k planning.Kept
	call(t, "GET", at+"/plan", nil, 200, &k)
	if len(k.Plan.Board.Entries) == 0 {
		t.Fatal("the made-up shop has nothing to do")
	}
	now := time.Now().Unix()
	away := map[string]any{"kind": "away", "resource": "wren", "start_s": now + 86400, "end_s": now + 3*86400, "why": "service"}
	var c struct {
		Plan, What string
		Changes    struct{ Moved []struct{ Task string } }
	}
	call(t, "POST", at+"/plan/try", away, 200, &c)
	if c.Plan != "" || !strings.Contains(c.What, "Wren") {
		t.Errorf("tried: %+v", c)
	}
	call(t, "POST", at+"/plan", away, 200, &c)
	if c.Plan == "" || c.Plan == k.ID {
		t.Errorf("changed: %+v", c)
	}
	call(t, "POST", at+"/plan", map[string]any{"kind": "away", "resource": "dodo", "start_s": now, "end_s": now + 9}, 422, nil)
	call(t, "POST", at+"/plan", map[string]any{"kind": "drop", "decision": "x", "on": k.ID}, 409, nil)
	var back planning.Kept
	call(t, "POST", at+"/plan/back", map[string]any{}, 200, &back)
	if len(back.Decisions) != 0 {
		t.Errorf("taken back: %+v", back.Decisions)
	}
	call(t, "POST", at+"/plan/back", map[string]any{}, 409, nil)
}
