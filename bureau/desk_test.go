package bureau_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"firstoff/blob"
	"firstoff/bureau"
	"firstoff/client"
	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/part"
	"firstoff/runner"
	"firstoff/shop"
	"firstoff/store"
	"firstoff/unit"
)

// Records, files and tasks of these tests are the real ones; only the computing half is a stand-in, so that the steps
// can be looked at one by one. The whole walk with the real one is TestRealPart.

// bench is an appraiser that understands a little text instead of shapes: a line "part NAME VOLUME" is a part, "unit?" has
// the unit asked, "broken", "panic" and "bad member" do what they say.
type bench struct {
	mu        sync.Mutex
	reads     map[string]int
	evaluated int
	hold      func(ctx context.Context, name string) // called while reading, if set
	weigh     func()                                 // called while options are worked out, if set
}

func (a *bench) Read(ctx context.Context, name string, data []byte, said unit.Length, step func(string, float64)) ([]bureau.Piece, error) {
	a.mu.Lock()
	if a.reads == nil {
		a.reads = map[string]int{}
	}
	a.reads[name]++
	hold := a.hold
	a.mu.Unlock()
	step("reading", 0.1)
	if hold != nil {
		hold(ctx, name)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	u := request.UnitQuestion{Name: unit.MM, Stated: true, Confidence: 1}
	var out []bureau.Piece
	for _, l := range strings.Split(string(data), "\n") {
		w := strings.Fields(l)
		switch {
		case len(w) == 0:
		case l == "broken":
			return nil, fault.New(fault.Invalid, "bench_broken", "byte 7", "The file is cut off; send it again.")
		case l == "panic":
			panic("a defect of the reader")
		case l == "unit?":
			u = request.UnitQuestion{Name: unit.MM, Confidence: 0.6, Question: "The file does not say its unit: is it mm?"}
		case l == "bad member":
			out = append(out, bureau.Piece{Name: "member", Problem: &request.Problem{Code: "bench_member", Message: "This member cannot be read."}})
		case w[0] == "part" && len(w) == 3:
			v, err := strconv.ParseFloat(w[2], 64)
			if err != nil {
				return nil, fault.New(fault.Invalid, "bench_number", l, "This is no number.")
			}
			out = append(out, a.piece(w[1], v, said, data))
		default:
			return nil, fault.New(fault.Unsupported, "bench_unknown", l, "This is not understood.")
		}
		step("measuring", 0.7)
	}
	if said != "" {
		u = request.UnitQuestion{Name: said, Stated: true, Confidence: 1}
	}
	for i := range out {
		out[i].Unit = u
	}
	return out, nil
}

func (a *bench) piece(name string, v float64, said unit.Length, data []byte) bureau.Piece {
	if said != "" {
		v *= said.MM() * said.MM() * said.MM()
	}
	p := bureau.Piece{Name: name, Format: "bench", Bodies: []string{name}, Viewer: []byte("glTF " + name),
		Facts:    part.Facts{Digest: digest.Of(append([]byte(name), data...)), Kernel: part.KernelVersion, Name: name, Closed: true, VolumeMM3: v},
		Findings: []part.Finding{{Code: "thin", Severity: "note", Message: "A note."}},
	}
	p.Evaluate = func(_ context.Context, ask bureau.Ask) (offer.Table, error) {
		a.mu.Lock()
		a.evaluated++
		weigh := a.weigh
		a.mu.Unlock()
		if weigh != nil {
			weigh()
		}
		if ask.Requirement.Notes == "impossible" {
			return offer.Table{Qty: ask.Qty, Refused: []offer.Refusal{{Process: "MEX", Code: "no", Reason: "No."}}}, nil
		}
		option := func(id string, each float64, days int, tags ...string) offer.Option {
			unitPrice := money.Round(v * each)
			date := ask.Now.AddDate(0, 0, days+len(ask.Load.Orders)).Format(time.DateOnly) // work in hand puts dates off
			return offer.Option{ID: id, Process: "MEX", Machine: "m", Material: "abs", UnitPrice: unitPrice, Total: unitPrice * money.Amount(ask.Qty), CostTotal: unitPrice,
				P50: date, P90: date, LeadDays: days, Tags: tags, Pareto: true, Cautions: []string{"Mind your fingers."}, Why: []offer.Why{{Name: "secret sum"}}, Steps: []offer.Step{{Operation: "build"}}}
		}
		return offer.Table{File: ask.Name, Qty: ask.Qty, Options: []offer.Option{option("fine", 2, 5), option("usual", 1, 3, "pick"), option("coarse", 0.5, 2, "thriftiest", "soonest")}}, nil
	}
	return p
}

// clock is a clock that stands until it is moved. It starts on a Monday morning before the demo shop's cut-off.
type clock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *clock) Now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.now }
func (c *clock) ahead(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// desk is a bureau on real records, files and tasks.
type desk struct {
	*bureau.Bureau
	t     *testing.T
	c     context.Context
	dir   string
	s     *store.Store
	files *blob.Folder
	r     *runner.Runner
	bench *bench
	clock *clock
}

func newDesk(t *testing.T) *desk { return deskAt(t, t.TempDir(), "") }

// deskAt opens a desk in a folder, its records at dsn if given. Its runner is not started.
func deskAt(t *testing.T, dir, dsn string) *desk {
	t.Helper()
	c, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	t.Cleanup(cancel)
	if dsn == "" {
		dsn = filepath.Join(dir, "records.db")
	}
	d := &desk{t: t, c: c, dir: dir, bench: &bench{}, clock: &clock{now: time.Date(2031, 3, 3, 8, 0, 0, 0, time.UTC)}}
	var err error
	if d.s, err = store.Open(c, dsn); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.s.Close() })
	if d.files, err = blob.OpenFolder(filepath.Join(dir, "files")); err != nil {
		t.Fatal(err)
	}
	if d.r, err = runner.New(runner.Database{DB: d.s.DB(), Pool: d.s.Pool(), Tx: store.Tx}, runner.Options{Workers: 4, Sole: true, Quick: true, Retry: func(int) time.Duration { return 0 }}); err != nil {
		t.Fatal(err)
	}
	if err := d.s.Migrate(c, d.r.Migrate); err != nil {
		t.Fatal(err)
	}
	cat := demo.Shop()
	d.stand(d.bench, func() *shop.Catalogue { return cat })
	return d
}

func (d *desk) stand(a bureau.Appraiser, cat bureau.Catalogue) {
	var err error
	d.Bureau, err = bureau.New(bureau.Ports{Records: d.s, Blobs: d.files, Tasks: d.r, Clock: d.clock.Now, Catalogue: cat, Appraiser: a, MaxFile: 1 << 20})
	if err != nil {
		d.t.Fatal(err)
	}
	d.r.Handle(bureau.TaskAnalyse, d.Analyse, d.GivenUp)
}

func (d *desk) start() *desk {
	d.t.Helper()
	d.must(d.r.Start(d.c))
	d.t.Cleanup(func() { _ = d.r.Stop(context.Background()) })
	return d
}

func (d *desk) must(err error) {
	d.t.Helper()
	if err != nil {
		d.t.Fatal(err)
	}
}

func (d *desk) code(err error, want string) {
	d.t.Helper()
	if f := fault.Of(err); f == nil || f.Code != want {
		d.t.Fatalf("want fault %s, got %v", want, err)
	}
}

// request opens a folder with these files, waits until they are analysed, and gives it.
func (d *desk) request(files ...string) bureau.Folder {
	d.t.Helper()
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Title: "Brackets", Client: client.Client{Firm: "Hill & Dale Ltd", Email: "orders@example.org"}, NeedBy: "2031-03-20"})
	d.must(err)
	for i, f := range files {
		_, err := d.ReceiveFile(d.c, "estimator", r.ID, fmt.Sprintf("file%d.txt", i), strings.NewReader(f))
		d.must(err)
	}
	return d.ready(r.ID)
}

// ready waits until nothing of a request is being analysed any more.
func (d *desk) ready(id string) bureau.Folder {
	d.t.Helper()
	news, err := d.Progress(d.c, id)
	d.must(err)
	for range news {
	}
	d.must(d.c.Err())
	return d.folder(id)
}

func (d *desk) folder(id string) bureau.Folder {
	d.t.Helper()
	f, err := d.Request(d.c, id)
	d.must(err)
	return f
}

// issued is a request quoted and sent.
func (d *desk) issued(files ...string) (f bureau.Folder, id, token string) {
	d.t.Helper()
	f = d.request(files...)
	q, err := d.DraftQuotation(d.c, "estimator", f.Request.ID)
	d.must(err)
	q, token, err = d.IssueQuotation(d.c, "estimator", q.ID, q.Version)
	d.must(err)
	return d.folder(f.Request.ID), q.ID, token
}

func (d *desk) overview() (kinds []string) {
	d.t.Helper()
	o, err := d.Overview(d.c)
	d.must(err)
	for _, e := range o.Entries {
		kinds = append(kinds, e.Kind)
	}
	return kinds
}

// sound ends a test: whatever happened, the records belong together.
func (d *desk) sound() {
	d.t.Helper()
	for _, l := range bureau.Doctor(d.c, d.s, d.files, func(c context.Context, s digest.Digest) error { return blob.Verify(c, d.files, s) }) {
		if !l.Good {
			d.t.Errorf("the doctor says of %s: %s", l.What, l.Message)
		}
	}
}

func readAll(t *testing.T, r io.ReadSeekCloser, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = r.Close() }()
	b, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestWalk goes from an upload to an order and looks at what each step leaves.
func TestWalk(t *testing.T) {
	d := newDesk(t).start()
	f := d.request("part bracket 1000", "part cover 400\npart lid 300")
	if f.Request.State != request.Analysed || len(f.Lines) != 3 || f.Request.ID != "R-1001" || f.Client.Firm != "Hill & Dale Ltd" {
		t.Fatalf("analysed: %+v", f.Request)
	}
	l := f.Lines[0]
	if l.Pick == nil || l.Pick.ID != "usual" || l.Options != 3 || l.Position != 1 || f.Lines[2].Position != 3 || l.Facts.VolumeMM3 != 1000 || len(l.Findings) != 1 || l.FileName != "file0.txt" {
		t.Fatalf("line: %+v", l)
	}
	if got := d.overview(); !slices.Equal(got, []string{"quote"}) {
		t.Errorf("overview: %v", got)
	}
	_, r, err := d.OpenModel(d.c, l.ID)
	if s := readAll(t, r, err); s != "glTF bracket" {
		t.Errorf("model: %q", s)
	}
	_, r, err = d.OpenFile(d.c, f.Files[0].ID)
	if s := readAll(t, r, err); s != "part bracket 1000" {
		t.Errorf("file: %q", s)
	}

	set, err := d.SetQty(d.c, "estimator", l.ID, l.Version, 12)
	d.must(err)
	_, err = d.SetQty(d.c, "estimator", l.ID, l.Version, 13)
	d.code(err, "changed_meanwhile")
	_, err = d.SetRequirement(d.c, "estimator", l.ID, set.Version, part.Requirement{ToleranceMM: 0.1, Purpose: "fit"})
	d.must(err)
	o, err := d.Options(d.c, l.ID, bureau.Override{})
	d.must(err)
	if o.Table.Qty != 12 || o.Table.Options[1].Total != 12_000 {
		t.Errorf("options: %+v", o.Table)
	}
	more, err := d.Options(d.c, l.ID, bureau.Override{Qty: 100})
	d.must(err)
	if more.Table.Qty != 100 || d.folder(f.Request.ID).Lines[0].Qty != 12 {
		t.Errorf("an override changed the line or had no effect")
	}
	_, err = d.Choose(d.c, "estimator", l.ID, o.Line.Version, "fine", []string{"coarse", "usual"})
	d.must(err)
	_, err = d.SetAside(d.c, "estimator", f.Lines[2].ID, 0, true)
	d.must(err)

	q, err := d.DraftQuotation(d.c, "estimator", f.Request.ID)
	d.must(err)
	if q.ID != "Q-1001-A" || len(q.Body.Lines) != 2 || q.Body.Lines[0].Choice.ID != "fine" || len(q.Body.Lines[0].Alternatives) != 2 || q.Body.Lines[1].Choice.ID != "usual" {
		t.Fatalf("draft: %+v", q.Body.Lines)
	}
	// 12 × 2000 + 400 = 24 400; the demo shop's minimum, tax and terms come on top as its catalogue says.
	firm := demo.Shop().Firm
	goods := money.Amount(12*2000 + 400)
	net := max(goods, firm.MinimumOrder)
	if q.Body.Sums.Goods != goods || q.Body.Sums.Net != net || q.Body.Sums.Total != net+net.Times(firm.TaxPct/100) || q.Body.PromisedFor != "2031-03-09" {
		t.Errorf("sums: %+v, promised %s", q.Body.Sums, q.Body.PromisedFor)
	}
	if got := d.overview(); !slices.Equal(got, []string{"issue"}) {
		t.Errorf("overview: %v", got)
	}
	_, err = d.DraftQuotation(d.c, "estimator", f.Request.ID)
	d.code(err, "draft_exists")
	note, price := "With thanks.", money.Amount(1900)
	_, err = d.ChangeDraft(d.c, "estimator", q.ID, q.Version, bureau.DraftChange{Lines: map[string]bureau.DraftLine{l.ID: {UnitPrice: &price}}})
	d.code(err, "price_reason")
	q, err = d.ChangeDraft(d.c, "estimator", q.ID, q.Version, bureau.DraftChange{Note: &note, Lines: map[string]bureau.DraftLine{l.ID: {UnitPrice: &price, Why: "repeat order"}}})
	d.must(err)
	if q.Body.Sums.Goods != 12*1900+400 || q.Body.Lines[0].Choice.UnitPrice != 2000 || q.Body.Lines[0].Set.Why != "repeat order" {
		t.Errorf("a price set by a person: %+v", q.Body.Lines[0])
	}
	q, token, err := d.IssueQuotation(d.c, "estimator", q.ID, q.Version)
	d.must(err)
	_, err = d.ChangeDraft(d.c, "estimator", q.ID, 0, bureau.DraftChange{Note: &note})
	d.code(err, "quotation_state")
	if s := d.folder(f.Request.ID).Request.State; s != request.Quoted {
		t.Errorf("the request is %s", s)
	}

	v, err := d.ClientView(d.c, token)
	d.must(err)
	if !v.MayDecide || v.Quotation.ID != q.ID || v.Quotation.Body.Lines[0].UnitPrice != 1900 || v.Promised != "2031-03-10" {
		t.Errorf("client's view: %+v", v)
	}
	if s := fmt.Sprintf("%+v", v); strings.Contains(s, "secret") || strings.Contains(s, "repeat order") || v.Quotation.Body.Lines[0].Choice.CostTotal != 0 {
		t.Errorf("the client sees what is the desk's own")
	}
	r, err = d.ClientModel(d.c, token, l.ID)
	if s := readAll(t, r, err); s != "glTF bracket" {
		t.Errorf("client's model: %q", s)
	}
	_, err = d.ClientModel(d.c, token, f.Lines[2].ID) // not quoted, so not shown
	d.code(err, "model_missing")
	_, err = d.ClientAsk(d.c, token, "B. Buyer", "Could it be grey?")
	d.must(err)
	if got := d.overview(); !slices.Equal(got, []string{"question"}) {
		t.Errorf("overview: %v", got)
	}
	_, err = d.AnswerClient(d.c, "estimator", q.ID, "Yes.")
	d.must(err)
	if got := d.overview(); len(got) != 0 {
		t.Errorf("overview: %v", got)
	}

	before, err := d.Load(d.c)
	d.must(err)
	order, err := d.ClientAccept(d.c, token, bureau.Acceptance{Quotation: q.ID, Name: "B. Buyer", Reference: "4711", Choices: map[string]string{l.ID: "coarse"}})
	d.must(err)
	if order.ID != "O-1001" || len(order.Lines) != 2 || order.Lines[0].Option.ID != "coarse" || order.Lines[0].Total != 12*500 || len(order.Lines[0].Pieces) != 12 ||
		order.Lines[0].Pieces[11].ID != "O-1001-1-12" || order.Reference != "4711" || order.Lines[0].Option.CostTotal != 0 {
		t.Errorf("order: %+v", order)
	}
	twice, err := d.ClientAccept(d.c, token, bureau.Acceptance{Quotation: q.ID, Name: "B. Buyer"})
	d.must(err)
	if twice.ID != order.ID {
		t.Errorf("accepted twice gives %s and %s", order.ID, twice.ID)
	}
	after, err := d.Load(d.c)
	d.must(err)
	if len(after.Orders) != 1 || before.Revision == after.Revision || after.Orders[0].Lines[0].Option.Steps == nil {
		t.Errorf("load: %d orders", len(after.Orders))
	}
	f = d.folder(f.Request.ID)
	if f.Request.State != request.Won || len(f.Orders) != 1 || len(f.Messages) != 2 || !f.Messages[0].Answered {
		t.Errorf("folder: %+v", f.Request)
	}
	if got := d.overview(); !slices.Equal(got, []string{"order"}) {
		t.Errorf("overview: %v", got)
	}
	_, err = d.ReceiveFile(d.c, "estimator", f.Request.ID, "late.txt", strings.NewReader("part late 1"))
	d.code(err, "request_closed")
	whats := []string{}
	for _, e := range f.Trail {
		whats = append(whats, e.What)
	}
	slices.Reverse(whats)
	want := []string{"request.opened", "file.received", "file.received", "file.analysed", "file.analysed", "line.quantity", "line.requirement", "line.chosen", "line.aside",
		"quotation.drafted", "quotation.changed", "quotation.issued", "message.client", "message.desk", "quotation.accepted", "order.accepted"}
	if slices.Sort(whats[1:5]); !slices.Equal(whats, append(append(want[:1:1], "file.analysed", "file.analysed", "file.received", "file.received"), want[5:]...)) {
		t.Errorf("trail: %v", whats)
	}
	d.sound()
}

// TestBadFiles: each becomes a failed file with its sentence; the good ones beside it are not harmed, and all are kept.
func TestBadFiles(t *testing.T) {
	d := newDesk(t).start()
	f := d.request("broken", "panic", "what is this", "", "part good 10\nbad member", "part fine 20")
	want := []struct {
		state request.FileState
		code  string
	}{{request.Failed, "bench_broken"}, {request.Failed, "analysis_crashed"}, {request.Failed, "bench_unknown"}, {request.Ready, ""}, {request.Ready, ""}, {request.Ready, ""}}
	for i, w := range want {
		got := f.Files[i]
		if got.State != w.state || (got.Problem == nil) != (w.code == "") || got.Problem != nil && (got.Problem.Code != w.code || !strings.HasSuffix(got.Problem.Message, ".")) {
			t.Errorf("file %d: %s %+v, want %s %s", i, got.State, got.Problem, w.state, w.code)
		}
		if _, err := d.files.Stat(d.c, got.Digest); err != nil {
			t.Errorf("file %d is not kept: %v", i, err)
		}
	}
	if len(f.Lines) != 3 || f.Lines[1].Problem == nil || f.Lines[1].Problem.Code != "bench_member" || f.Request.State != request.Analysed {
		t.Errorf("%d lines, %+v", len(f.Lines), f.Lines)
	}
	if n := d.bench.reads["file1.txt"]; n != 1 {
		t.Errorf("a file that panics was read %d times, want once", n)
	}
	_, err := d.Options(d.c, f.Lines[1].ID, bureau.Override{})
	d.code(err, "line_unusable")
	q, err := d.DraftQuotation(d.c, "estimator", f.Request.ID) // of what can be used
	d.must(err)
	if len(q.Body.Lines) != 2 {
		t.Errorf("%d lines quoted, want 2", len(q.Body.Lines))
	}
	if got := d.overview(); !slices.Equal(got, []string{"failed", "failed", "failed", "issue"}) {
		t.Errorf("overview: %v", got)
	}
	_, err = d.ReceiveFile(d.c, "estimator", f.Request.ID, "big.txt", io.LimitReader(endless{}, 2<<20))
	d.code(err, "file_too_large")
	broken := errors.New("the line broke")
	_, err = d.ReceiveFile(d.c, "estimator", f.Request.ID, "cut.txt", io.MultiReader(strings.NewReader("part x"), failing{broken}))
	if !errors.Is(err, broken) || len(d.folder(f.Request.ID).Files) != 6 {
		t.Errorf("an upload that broke off: %v", err)
	}
	odd, err := d.ReceiveFile(d.c, "estimator", f.Request.ID, "../../etc/\x00na\xffme\n.txt", strings.NewReader("part p 1"))
	d.must(err)
	if odd.Name != "na\uFFFDme.txt" {
		t.Errorf("an odd name is kept as %q", odd.Name)
	}
	d.ready(f.Request.ID)
	d.sound()
}

type endless struct{}

func (endless) Read(p []byte) (int, error) { return len(p), nil }

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// TestUnit: an inferred unit is asked; the answer has the parts measured anew unless it is what was taken.
func TestUnit(t *testing.T) {
	d := newDesk(t).start()
	f := d.request("unit?\npart a 2", "unit?\npart b 2")
	if got := d.overview(); !slices.Equal(got, []string{"unit", "unit", "quote"}) {
		t.Errorf("overview: %v", got)
	}
	l, err := d.SetQty(d.c, "estimator", f.Lines[0].ID, 0, 5)
	d.must(err)
	q, err := d.DraftQuotation(d.c, "estimator", f.Request.ID)
	d.must(err)
	_, _, err = d.IssueQuotation(d.c, "estimator", q.ID, 0)
	d.code(err, "unit_open")
	_, err = d.AnswerUnit(d.c, "estimator", f.Files[0].ID, "furlong")
	d.code(err, "unit_unknown")

	same, err := d.AnswerUnit(d.c, "estimator", f.Files[0].ID, unit.MM)
	d.must(err)
	if same.State != request.Ready || same.Round != 1 || same.Unit.Open() {
		t.Errorf("answered as taken: %+v", same)
	}
	inch, err := d.AnswerUnit(d.c, "estimator", f.Files[1].ID, unit.Inch)
	d.must(err)
	if inch.State != request.Waiting || inch.Round != 2 {
		t.Errorf("answered otherwise: %+v", inch)
	}
	_, _, err = d.IssueQuotation(d.c, "estimator", q.ID, 0)
	if c := fault.Of(err); c == nil || c.Code != "file_busy" && c.Code != "draft_outdated" {
		t.Errorf("issued while a part is being measured anew: %v", err)
	}
	f = d.ready(f.Request.ID)
	if v := f.Lines[1].Facts.VolumeMM3; v != 2*25.4*25.4*25.4 || f.Lines[0].ID != l.ID || f.Lines[0].Qty != 5 || len(f.Lines) != 2 {
		t.Errorf("after the answer: %v mm³, %d lines", v, len(f.Lines))
	}
	if got := d.overview(); !slices.Equal(got, []string{"issue"}) {
		t.Errorf("overview: %v", got)
	}
	_, _, err = d.IssueQuotation(d.c, "estimator", q.ID, 0)
	d.code(err, "draft_outdated")
	q, err = d.RefreshDraft(d.c, "estimator", q.ID)
	d.must(err)
	if !slices.ContainsFunc(q.Body.Assumptions, func(s string) bool { return strings.Contains(s, "in, as confirmed") }) {
		t.Errorf("assumptions: %v", q.Body.Assumptions)
	}
	_, _, err = d.IssueQuotation(d.c, "estimator", q.ID, 0)
	d.must(err)
	d.sound()
}

// TestAskedAnewMeanwhile: an answer that comes while a file is read ends that reading; only the new one counts.
func TestAskedAnewMeanwhile(t *testing.T) {
	d := newDesk(t)
	began := make(chan bool, 10)
	first := true
	d.bench.hold = func(ctx context.Context, _ string) {
		if first {
			first = false
			began <- true
			<-ctx.Done() // until somebody does not want it any more
		}
	}
	d.start()
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Client: client.Client{Contact: "A. Person"}})
	d.must(err)
	file, err := d.ReceiveFile(d.c, "estimator", r.ID, "slow.txt", strings.NewReader("part slow 2"))
	d.must(err)
	<-began
	_, err = d.AnswerUnit(d.c, "estimator", file.ID, unit.CM)
	d.must(err)
	f := d.ready(r.ID)
	if f.Files[0].State != request.Ready || f.Lines[0].Facts.VolumeMM3 != 2000 || f.Files[0].Unit.Name != unit.CM {
		t.Errorf("%+v, %+v", f.Files[0], f.Lines)
	}

	first = true
	_, err = d.AnalyseAgain(d.c, "estimator", file.ID)
	d.must(err)
	d.ready(r.ID) // from the shelf, so nothing is read and nothing waits
	d.bench.mu.Lock()
	d.bench.hold = func(ctx context.Context, _ string) { began <- true; <-ctx.Done() }
	d.bench.mu.Unlock()
	other, err := d.ReceiveFile(d.c, "estimator", r.ID, "slower.txt", strings.NewReader("part slower 2"))
	d.must(err)
	<-began
	_, err = d.CancelAnalysis(d.c, "estimator", other.ID)
	d.must(err)
	f = d.ready(r.ID)
	if p := f.Files[1].Problem; f.Files[1].State != request.Failed || p == nil || p.Code != "analysis_cancelled" {
		t.Errorf("cancelled: %+v", f.Files[1])
	}
	_, err = d.CancelAnalysis(d.c, "estimator", other.ID)
	d.code(err, "file_done")
	d.bench.mu.Lock()
	d.bench.hold = nil
	d.bench.mu.Unlock()
	_, err = d.AnalyseAgain(d.c, "estimator", other.ID)
	d.must(err)
	if f = d.ready(r.ID); f.Files[1].State != request.Ready || len(f.Lines) != 2 {
		t.Errorf("analysed after all: %+v", f.Files[1])
	}
	d.sound()
}

// TestLateResult: a result that comes after the file was asked for anew, by another process even, is dropped; and a task
// run once more when all is done changes nothing.
func TestLateResult(t *testing.T) {
	d := newDesk(t)
	weighing, on := make(chan bool), make(chan bool)
	d.bench.weigh = func() { weighing <- true; <-on }
	d.start()
	other := deskAt(t, d.dir, "") // has no runner of its own at work
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Client: client.Client{Firm: "X"}})
	d.must(err)
	file, err := d.ReceiveFile(d.c, "estimator", r.ID, "a.txt", strings.NewReader("part a 2"))
	d.must(err)
	<-weighing // read in mm, nothing entered yet
	_, err = other.AnswerUnit(d.c, "estimator", file.ID, unit.CM)
	d.must(err)
	d.bench.mu.Lock()
	d.bench.weigh = nil
	d.bench.mu.Unlock()
	close(on)
	f := d.ready(r.ID)
	if len(f.Lines) != 1 || f.Lines[0].Facts.VolumeMM3 != 2000 || f.Files[0].Unit.Answer != unit.CM {
		t.Errorf("%+v", f.Lines)
	}
	for _, task := range []string{file.ID + "-1", file.ID + "-2", "F-9-1"} {
		d.must(d.Analyse(d.c, task))
		d.must(d.GivenUp(d.c, task, errors.New("late")))
	}
	if g := d.folder(r.ID); g.Files[0].Version != f.Files[0].Version || g.Lines[0].Version != f.Lines[0].Version || len(g.Trail) != len(f.Trail) {
		t.Errorf("a task run again changed something: %+v", g.Files[0])
	}
	if err := d.Analyse(d.c, "nonsense"); err == nil {
		t.Error("a task that is none was run")
	}
	d.sound()
}

// TestProgressIsKept: who comes later is told how it stands, step by step from there, and the channel ends.
func TestProgressIsKept(t *testing.T) {
	d := newDesk(t)
	reading, on := make(chan bool), make(chan bool)
	d.bench.hold = func(context.Context, string) { reading <- true; <-on }
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Client: client.Client{Firm: "X"}})
	d.must(err)
	_, err = d.ReceiveFile(d.c, "estimator", r.ID, "a.txt", strings.NewReader("part a 1"))
	d.must(err)
	d.start()
	<-reading
	leave, cancel := context.WithCancel(d.c)
	news, err := d.Progress(leave, r.ID)
	d.must(err)
	if p := <-news; p.State != request.Analysing || p.Step != "reading" {
		t.Errorf("while it is read: %+v", p)
	}
	cancel()
	for range news { // ends because the watcher left
	}
	news, err = d.Progress(d.c, r.ID)
	d.must(err)
	p := <-news
	if p.State != request.Analysing || p.Step != "reading" {
		t.Errorf("to one who returned: %+v", p)
	}
	close(on)
	var last bureau.Progress
	for p := range news {
		if p.Percent < last.Percent {
			t.Errorf("went back from %d to %d percent", last.Percent, p.Percent)
		}
		last = p
	}
	if last.State != request.Ready || last.Percent != 100 {
		t.Errorf("at the end: %+v", last)
	}
	news, err = d.Progress(d.c, r.ID)
	d.must(err)
	n := 0
	for range news {
		n++
	}
	if n != 1 {
		t.Errorf("%d reports about a request that is done, want 1", n)
	}
	_, err = d.Progress(d.c, "R-9")
	d.code(err, "not_found")
}

// TestUndoLine: each undo takes one more change back, a new change starts over.
func TestUndoLine(t *testing.T) {
	d := newDesk(t).start()
	l := d.request("part a 1").Lines[0]
	_, err := d.UndoLine(d.c, "estimator", l.ID)
	d.code(err, "nothing_to_undo")
	step := func(do func() (request.Line, error), want string) {
		t.Helper()
		l, err := do()
		d.must(err)
		if got := fmt.Sprintf("%d %s %s %v", l.Qty, l.Requirement.Purpose, l.Chosen, l.Aside); got != want {
			t.Errorf("line is %q, want %q", got, want)
		}
	}
	undo := func() (request.Line, error) { return d.UndoLine(d.c, "estimator", l.ID) }
	qty := func(n int) func() (request.Line, error) {
		return func() (request.Line, error) { return d.SetQty(d.c, "estimator", l.ID, 0, n) }
	}
	step(qty(2), "2   false")
	step(func() (request.Line, error) {
		return d.SetRequirement(d.c, "estimator", l.ID, 0, part.Requirement{Purpose: "show"})
	}, "2 show  false")
	step(func() (request.Line, error) { return d.Choose(d.c, "estimator", l.ID, 0, "fine", nil) }, "2 show fine false")
	step(func() (request.Line, error) { return d.SetAside(d.c, "estimator", l.ID, 0, true) }, "2 show fine true")
	step(undo, "2 show fine false")
	step(undo, "2 show  false")
	step(qty(7), "7 show  false")
	step(undo, "2 show  false")
	step(undo, "2   false")
	step(undo, "1   false")
	_, err = undo()
	d.code(err, "nothing_to_undo")
	_, err = d.SetQty(d.c, "estimator", l.ID, 0, 0)
	d.code(err, "qty_range")
	_, err = d.Choose(d.c, "estimator", l.ID, 0, "no such", nil)
	d.code(err, "option_unknown")
	d.sound()
}

// TestOptionsAreKept: the same question is computed once; another hour, load or catalogue is another question.
func TestOptionsAreKept(t *testing.T) {
	d := newDesk(t).start()
	l := d.request("part a 1000").Lines[0]
	n := d.bench.evaluated
	same := func(want int, o bureau.Override) bureau.LineOptions {
		t.Helper()
		got, err := d.Options(d.c, l.ID, o)
		d.must(err)
		if d.bench.evaluated-n != want {
			t.Errorf("computed %d times, want %d", d.bench.evaluated-n, want)
		}
		n = d.bench.evaluated
		return got
	}
	first := same(0, bureau.Override{}) // the analysis worked it out
	same(1, bureau.Override{Qty: 5})
	same(0, bureau.Override{Qty: 5})
	same(1, bureau.Override{InfillPct: 20})
	d.clock.ahead(10 * time.Minute)
	same(0, bureau.Override{})
	d.clock.ahead(time.Hour)
	later := same(1, bureau.Override{})
	if later.Key == first.Key || later.MadeFrom.Now.Equal(first.MadeFrom.Now) || later.MadeFrom.Catalogue != demo.Shop().Revision || later.MadeFrom.Seed == 0 {
		t.Errorf("made from %+v", later.MadeFrom)
	}
	_, err := d.Options(d.c, l.ID, bureau.Override{Qty: -1})
	d.code(err, "qty_range")
	_, err = d.Options(d.c, l.ID, bureau.Override{NeedBy: "soon"})
	d.code(err, "date_form")
}

// TestRevisions: revise keeps what a person decided, issuing supersedes, and the client decides on the latest only.
func TestRevisions(t *testing.T) {
	d := newDesk(t).start()
	f, a, token := d.issued("part a 1000", "part b 500")
	l := f.Lines[0]
	q, err := d.ReviseQuotation(d.c, "estimator", a)
	d.must(err)
	if q.ID != "Q-1001-B" || q.Body.Lines[0].Choice.ID != "usual" {
		t.Fatalf("revision: %s %+v", q.ID, q.Body.Lines[0].Choice)
	}
	v, err := d.ClientView(d.c, token)
	d.must(err)
	if v.Quotation.ID != a || len(v.Revisions) != 1 {
		t.Errorf("the client sees %s of %v while B is a draft", v.Quotation.ID, v.Revisions)
	}
	price, valid := money.Amount(777), "2031-05-01"
	q, err = d.ChangeDraft(d.c, "estimator", q.ID, 0, bureau.DraftChange{ValidUntil: &valid, Lines: map[string]bureau.DraftLine{l.ID: {Option: "coarse", UnitPrice: &price, Why: "as agreed"}, f.Lines[1].ID: {Leave: true}}})
	d.must(err)
	q, err = d.RefreshDraft(d.c, "estimator", q.ID)
	d.must(err)
	if len(q.Body.Lines) != 1 || q.Body.Lines[0].Choice.ID != "coarse" || q.Body.Lines[0].UnitPrice != 777 || q.Body.ValidUntil != valid {
		t.Errorf("after a refresh: %+v", q.Body)
	}
	past := "2030-01-01"
	_, err = d.ChangeDraft(d.c, "estimator", q.ID, 0, bureau.DraftChange{ValidUntil: &past})
	d.code(err, "valid_until")
	_, _, err = d.IssueQuotation(d.c, "estimator", q.ID, 0)
	d.must(err)
	_, err = d.ClientAccept(d.c, token, bureau.Acceptance{Quotation: a, Name: "B"})
	d.code(err, "quotation_moved")
	old, err := d.Quotation(d.c, a)
	d.must(err)
	v, err = d.ClientView(d.c, token)
	d.must(err)
	if old.State != "superseded" || v.Quotation.ID != q.ID || len(v.Revisions) != 2 || len(old.Body.Lines) != 2 {
		t.Errorf("A is %s, the client sees %s", old.State, v.Quotation.ID)
	}

	c, err := d.ReviseQuotation(d.c, "estimator", q.ID)
	d.must(err)
	if len(c.Body.Lines) != 1 || c.Body.Lines[0].UnitPrice != 777 || c.Body.ValidUntil != valid {
		t.Errorf("C does not keep what was decided on B: %+v", c.Body.Lines)
	}
	c, err = d.ChangeDraft(d.c, "estimator", c.ID, 0, bureau.DraftChange{Lines: map[string]bureau.DraftLine{f.Lines[1].ID: {TakeBack: true}, l.ID: {Computed: true}}})
	d.must(err)
	if len(c.Body.Lines) != 2 || c.Body.Lines[0].UnitPrice != 500 {
		t.Errorf("a line taken back, the computed price: %+v", c.Body.Lines)
	}
	// The client accepts B although C is being written: B holds, C is dropped.
	o, err := d.ClientAccept(d.c, token, bureau.Acceptance{Quotation: q.ID, Name: "B. Buyer"})
	d.must(err)
	c, err = d.Quotation(d.c, c.ID)
	d.must(err)
	if o.Lines[0].UnitPrice != 777 || c.State != "withdrawn" {
		t.Errorf("order at %d, C is %s", o.Lines[0].UnitPrice, c.State)
	}
	_, err = d.ClientDecline(d.c, token, q.ID, "B", "")
	d.code(err, "quotation_state")
	d.sound()
}

// TestNotAnyMore: what time, other orders and the desk take away.
func TestNotAnyMore(t *testing.T) {
	d := newDesk(t).start()
	_, _, token := d.issued("part a 1000")
	f := d.request("part b 100")
	stale, err := d.DraftQuotation(d.c, "estimator", f.Request.ID)
	d.must(err)
	_, err = d.ClientAccept(d.c, token, bureau.Acceptance{Name: "B"})
	d.must(err)
	_, _, err = d.IssueQuotation(d.c, "estimator", stale.ID, 0) // other work was taken on since
	d.code(err, "draft_stale")
	stale, err = d.RefreshDraft(d.c, "estimator", stale.ID)
	d.must(err)
	if stale.Body.PromisedFor != "2031-03-07" { // one day later than without the order
		t.Errorf("promised for %s", stale.Body.PromisedFor)
	}
	d.clock.ahead(25 * time.Hour)
	_, _, err = d.IssueQuotation(d.c, "estimator", stale.ID, 0)
	d.code(err, "draft_stale")
	stale, err = d.RefreshDraft(d.c, "estimator", stale.ID)
	d.must(err)
	q, token, err := d.IssueQuotation(d.c, "estimator", stale.ID, 0)
	d.must(err)

	d.clock.ahead(4 * 24 * time.Hour)
	v, err := d.ClientView(d.c, token)
	d.must(err)
	if !v.MayDecide || v.Promised <= q.Body.PromisedFor {
		t.Errorf("days later the same date is promised: %s", v.Promised)
	}
	d.clock.ahead(time.Duration(demo.Shop().Firm.ValidDays) * 24 * time.Hour)
	v, err = d.ClientView(d.c, token)
	d.must(err)
	if v.MayDecide || v.WhyNot == "" || v.Quotation.State != "expired" {
		t.Errorf("after its validity: %+v", v)
	}
	_, err = d.ClientAccept(d.c, token, bureau.Acceptance{Name: "B"})
	d.code(err, "quotation_expired")
	if got := d.overview(); !slices.Equal(got, []string{"order", "expiring"}) {
		t.Errorf("overview: %v", got)
	}
	_, err = d.WithdrawQuotation(d.c, "estimator", q.ID, "expired")
	d.must(err)
	if s := d.folder(f.Request.ID).Request.State; s != request.Analysed {
		t.Errorf("with nothing out any more the request is %s", s)
	}
	for _, bad := range []string{"", "x", token + "x", strings.ToUpper(token), strings.Repeat("a", 22)} {
		_, err = d.ClientView(d.c, bad)
		d.code(err, "link_unknown")
	}
	other, err := d.ClientLink(d.c, "estimator", q.ID)
	d.must(err)
	if _, err := d.ClientView(d.c, other); err != nil || other == token {
		t.Errorf("a second link: %v", err)
	}

	g, id, token := d.issued("part c 50")
	lost, err := d.ClientDecline(d.c, token, id, "B. Buyer", "too dear")
	d.must(err)
	_, err = d.ClientDecline(d.c, token, id, "B. Buyer", "too dear")
	d.must(err)
	if r := d.folder(g.Request.ID).Request; lost.State != "declined" || r.State != request.Lost || r.Reason != "too dear" {
		t.Errorf("declined: %s, request %s", lost.State, r.State)
	}
	back, err := d.ReopenRequest(d.c, "estimator", g.Request.ID)
	d.must(err)
	if back.State != request.Analysed {
		t.Errorf("opened again it is %s", back.State)
	}
	_, err = d.CloseRequest(d.c, "estimator", g.Request.ID, request.Won, "")
	d.code(err, "request_state")
	_, err = d.CloseRequest(d.c, "estimator", g.Request.ID, request.Withdrawn, "not needed")
	d.must(err)
	h := d.request("part d 1")
	_, err = d.SetRequirement(d.c, "estimator", h.Lines[0].ID, 0, part.Requirement{Notes: "impossible"})
	d.must(err)
	_, err = d.DraftQuotation(d.c, "estimator", h.Request.ID)
	d.code(err, "line_without_option")
	_, err = d.SetAside(d.c, "estimator", h.Lines[0].ID, 0, true)
	d.must(err)
	_, err = d.DraftQuotation(d.c, "estimator", h.Request.ID)
	d.code(err, "nothing_to_quote")
	d.sound()
}

// TestAcceptedAtOnce: however many say yes at the same time, there is one order.
func TestAcceptedAtOnce(t *testing.T) {
	d := newDesk(t).start()
	_, id, token := d.issued("part a 1000")
	var wg sync.WaitGroup
	ids := make(chan string, 8)
	for range 8 {
		wg.Go(func() {
			o, err := d.ClientAccept(d.c, token, bureau.Acceptance{Quotation: id, Name: "B"})
			if err != nil {
				t.Error(err)
			}
			ids <- o.ID
		})
	}
	wg.Wait()
	for range 8 {
		if got := <-ids; got != "O-1001" {
			t.Errorf("order %s", got)
		}
	}
	d.sound()
}

// TestLists: pages, filters, names.
func TestLists(t *testing.T) {
	d := newDesk(t).start()
	d.issued("part a 1000")
	d.request("part b 1")
	got, err := d.Requests(d.c, bureau.Filter{States: []string{"quoted", "analysed"}, Like: "hill", Limit: 1})
	d.must(err)
	if got.Total != 2 || len(got.Items) != 1 || got.Items[0].ID != "R-1002" || got.Items[0].ClientName != "Hill & Dale Ltd" || got.Items[0].Files != 1 || got.Items[0].Lines != 1 {
		t.Errorf("requests: %+v", got)
	}
	qs, err := d.Quotations(d.c, bureau.Filter{})
	d.must(err)
	if qs.Total != 1 || qs.Items[0].Body.Sums.Goods != 1000 {
		t.Errorf("quotations: %+v", qs)
	}
	people, err := d.Clients(d.c, "dale", 0)
	d.must(err)
	if len(people) != 2 {
		t.Errorf("%d clients", len(people))
	}
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Client: client.Client{ID: people[0].ID}})
	d.must(err)
	if r.ClientID != people[0].ID || r.Title == "" {
		t.Errorf("for a known client: %+v", r)
	}
	for _, n := range []struct {
		n    bureau.NewRequest
		want string
	}{
		{bureau.NewRequest{}, "client_nameless"},
		{bureau.NewRequest{Client: client.Client{Firm: "X", Email: "not an address"}}, "client_email"},
		{bureau.NewRequest{Client: client.Client{Firm: "X"}, NeedBy: "31.12.2031"}, "date_form"},
		{bureau.NewRequest{Client: client.Client{ID: "C-none"}}, "not_found"},
		{bureau.NewRequest{Client: client.Client{Firm: "X"}, Title: strings.Repeat("x", 201)}, "text_too_long"},
	} {
		_, err := d.OpenRequest(d.c, "estimator", n.n)
		d.code(err, n.want)
	}
	title, note := "Other", "  Call first.\x00 "
	r, err = d.ChangeRequest(d.c, "estimator", r.ID, r.Version, &title, nil, &note)
	d.must(err)
	if r.Title != "Other" || r.Note != "Call first." {
		t.Errorf("changed: %+v", r)
	}
}
