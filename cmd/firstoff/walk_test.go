package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/geom/mesh"
	"firstoff/intake/stl"
	"firstoff/web/browsertest"
)

// server starts the whole program on a free port with the made-up shop in a throw-away folder, and gives its address.
func server(t testing.TB, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	base, stopped := serving(t, ctx, filepath.Join(t.TempDir(), "desk"), args...)
	t.Cleanup(func() {
		cancel()
		stopped()
	})
	return base
}

// serving starts the program on a folder until ctx ends; stopped waits for that.
func serving(t testing.TB, ctx context.Context, dir string, args ...string) (base string, stopped func()) {
	t.Helper()
	out := &lines{}
	done := make(chan int, 1)
	all := append([]string{"serve", "--demo", "--dir", dir, "--listen", "127.0.0.1:0"}, args...)
	go func() { done <- run(ctx, all, streams{strings.NewReader(""), out, out}) }()
	stopped = func() {
		select {
		case <-done:
		case <-time.After(time.Minute):
			t.Error("the server did not stop")
		}
	}
	at := regexp.MustCompile(`http://[0-9.:]+`)
	deadline := time.Now().Add(browsertest.Patience)
	for time.Now().Before(deadline) {
		if u := at.FindString(out.String()); u != "" {
			return u, stopped
		}
		select {
		case code := <-done:
			t.Fatalf("the server ended with %d:\n%s", code, out.String())
		case <-time.After(20 * time.Millisecond):
		}
	}
	t.Fatalf("the server did not say where it is:\n%s", out.String())
	return "", stopped
}

// lines is what a command wrote so far.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) { l.mu.Lock(); defer l.mu.Unlock(); return l.b.Write(p) }
func (l *lines) String() string              { l.mu.Lock(); defer l.mu.Unlock(); return l.b.String() }

// model writes a part to a file.
func model(t testing.TB, name string, m *mesh.Mesh) string {
	t.Helper()
	p := filepath.Join(t.TempDir(), name)
	f, err := os.Create(p)
	if err != nil {
		t.Fatal(err)
	}
	if err := stl.Write(f, "part", m); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return p
}

// The walk of issue and answer in a real browser: upload → progress → options → quotation → paper → client's link →
// accept → order. Every page on the way is looked at by axe-core.
func TestWalkInBrowser(t *testing.T) {
	base := server(t)
	b := browsertest.Start(t, base, 1280, 900)
	bracket := model(t, "bracket.stl", geomtest.Tube(24, 15, 40, 96).Mesh)
	cover := model(t, "cover.stl", geomtest.Box(80, 60, 12).Mesh)

	b.Go("/")
	b.See("h1")
	b.Picture("today-first")
	b.Accessible("today")
	b.Click("a[href='/requests/new']")
	b.See("form[data-upload]")
	b.Fill("#title", "Pump bracket and cover")
	b.Fill("#firm", "Marrowfield Pumps")
	b.Fill("#contact", "A. Reed")
	b.Fill("#email", "reed@marrowfield.example")
	b.Files("#files", bracket, cover)
	b.Wait("document.querySelectorAll('[data-chosen] li').length === 2")
	b.Accessible("new request")
	b.Picture("new-request")
	b.Click("form[data-upload] button.first")
	b.Wait("location.pathname.startsWith('/requests/R-')")
	b.Picture("progress")
	b.Wait("document.querySelectorAll('a.button.first[href$=\"/options\"]').length === 2 && !document.querySelector('[data-progress]:not([data-progress=\"\"])')")
	request := b.Path()
	b.Picture("folder")
	b.Accessible("folder")

	// The unit was not stated: say that it is right.
	for strings.Contains(b.Text("#folder"), "That is right") {
		b.Press("form[action$='/unit'] button")
		b.Wait("document.querySelectorAll('a.button.first[href$=\"/options\"]').length === 2 && !document.querySelector('[data-progress]:not([data-progress=\"\"])')")
	}
	b.Press("section.card[id^=L-] a[href^='/lines/']")
	b.See(".viewer[data-ready=yes] canvas")
	b.Picture("line")
	b.Accessible("line")
	b.Press("#purpose")
	b.Eval("document.querySelector('#purpose').value = 'function'; document.querySelector('[name=outdoor]').checked = true; window.before = 1")
	b.Press("form[action$='/need'] button.first")
	b.Wait("!window.before && document.querySelector('[name=outdoor]')?.checked")
	b.Go(request)
	b.Press("a.button.first[href$='/options']")
	b.See("caption")
	b.Picture("options")
	b.Accessible("options")
	if n := b.EvalString("String(document.querySelectorAll('tbody tr input[type=radio]').length)"); n == "0" || n == "1" {
		t.Errorf("the options table has %s rows", n)
	}
	b.Press("tbody tr td:last-child a")
	b.See("ul.why")
	b.Picture("why")
	b.Accessible("why")
	b.Go(request)
	b.Press("a.button.first[href$='/options']")
	b.See("caption")
	b.Eval("const rows = [...document.querySelectorAll('tbody tr')].filter(r => r.querySelector('input[type=radio]')); rows[0].querySelector('input[type=radio]').checked = true; rows[2].querySelector('input[type=checkbox]').checked = true; rows[5].querySelector('input[type=checkbox]').checked = true")
	b.Press("form[action$='/choose'] button.first")
	b.Wait("location.pathname.startsWith('/requests/R-')")

	b.Press("form[action$='/quotation'] button.first")
	b.Wait("location.pathname.startsWith('/quotations/Q-')")
	b.See("form[action$='/issue']")
	b.Picture("draft")
	b.Accessible("draft")
	quotation := b.Path()
	printed(t, base+quotation+"/pdf", "DRAFT")
	b.Press("form[action$='/issue'] button.first")
	b.See("a[data-link]")
	link := b.EvalString("document.querySelector('a[data-link]').href")
	b.Picture("issued")
	b.Accessible("issued")
	printed(t, base+quotation+"/pdf", "Quotation")

	b.Go(link)
	b.See("form#accept")
	b.See(".viewer[data-ready=yes] canvas")
	b.Picture("client")
	b.Accessible("client")
	b.Fill("#q-name", "A. Reed")
	b.Fill("#q-text", "Can the bore be reamed?")
	b.Press("form[action$='/ask'] button")
	b.Wait("document.querySelector('#talk') && document.querySelector('#talk').innerText.includes('reamed')")
	b.Fill("#a-name", "A. Reed")
	b.Fill("#a-ref", "PO-77")
	b.Press("form#accept button.first")
	b.Wait("document.body.innerText.includes('This is your order O-')")
	b.Picture("accepted")
	if strings.Contains(b.Text("body"), "Requests") {
		t.Error("the client's page shows the desk around it")
	}

	b.Go("/orders")
	b.See("tbody tr")
	b.Picture("orders")
	b.Accessible("orders")
	b.Press("tbody tr a")
	b.Wait("document.body.innerText.includes('PO-77')")
	b.Picture("order")
	b.Accessible("order")
	b.Go("/")
	b.Wait("document.body.innerText.includes('client asks')")
	b.Picture("today")
	b.Accessible("today, with work")
	for _, p := range []string{"/requests", "/quotations", "/board", "/shop", "/about", "/api/docs", "/floor", "/lots", "/trace", "/t/T-1001", "/purchases", "/subscribers", "/inspection", "/verify", "/books", "/accuracy", "/make-or-buy?parts_year=2000", "/nowhere"} {
		b.Go(p)
		b.See("h1")
		b.Picture("page" + strings.NewReplacer("/", "-", "?", "-", "=", "-").Replace(p))
		b.Accessible(p)
	}
	printed(t, base+"/t/T-1001/pdf", "Traveller T-1001")
	afterTheOrder(t, b, base)
	phone := browsertest.Start(t, base, 390, 844)
	for name, p := range map[string]string{"today": "/", "folder": request, "quotation": quotation, "board": "/board", "client": link, "orders": "/orders", "inspection": "/inspection", "sheet": "/inspection/I-1001", "traveller": "/t/T-1001", "books": "/books", "accuracy": "/accuracy", "make or buy": "/make-or-buy", "purchases": "/purchases", "order": "/orders/O-1001", "scan": "/scans/S-1001", "verify": "/verify", "instruments": "/instruments", "gauges": "/gauges", "subscribers": "/subscribers"} {
		phone.Go(p)
		phone.See("h1")
		phone.Picture("phone-" + name)
		if over := phone.EvalString("String(document.documentElement.scrollWidth - document.documentElement.clientWidth)"); over != "0" {
			t.Errorf("%s hangs %s px over the edge of a phone of 390", p, over)
		}
	}
}

// printed fetches a PDF, has qpdf look at its form and pdftotext at its words.
func printed(t *testing.T, url, says string) {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != 200 || !bytes.HasPrefix(body, []byte("%PDF-")) {
		t.Fatalf("%s: status %d, %d bytes, %v: %.400s", url, r.StatusCode, len(body), err, regexp.MustCompile(`<[^>]*>|\s+`).ReplaceAllString(string(body), " "))
	}
	p := filepath.Join(t.TempDir(), "paper.pdf")
	if err := os.WriteFile(p, body, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, tool := range []string{"qpdf", "pdftotext"} {
		if _, err := exec.LookPath(tool); err != nil {
			checks.Missing(t, tool)
		}
	}
	if out, err := exec.Command("qpdf", "--check", p).CombinedOutput(); err != nil {
		t.Errorf("qpdf: %v\n%s", err, out)
	}
	text, err := exec.Command("pdftotext", "-layout", p, "-").Output()
	if err != nil || !strings.Contains(string(text), says) {
		t.Errorf("the paper does not say %q: %v\n%s", says, err, text)
	}
	if dir := os.Getenv("FIRSTOFF_PICTURES"); dir != "" {
		_ = os.WriteFile(filepath.Join(dir, fmt.Sprintf("paper-%s.pdf", says)), body, 0o644)
	}
}
