// Package browsertest drives a real browser (Debian's chromium) over pages served by the program. For tests only.
package browsertest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"firstoff/checks"
)

// Patience is how long one step may take on a starved machine before the test fails.
const Patience = 2 * time.Minute

// Browser is one tab.
type Browser struct {
	t    testing.TB
	ctx  context.Context
	base string
	shot int
	dir  string // where pictures go; empty: none
}

// Start opens a tab of the given width at base, e.g. http://127.0.0.1:7117. Pictures are kept in $FIRSTOFF_PICTURES, if set.
func Start(t testing.TB, base string, width, height int) *Browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		checks.Missing(t, "chromium")
	}
	opts := []chromedp.ExecAllocatorOption{}
	opts = append(opts, chromedp.DefaultExecAllocatorOptions[:]...)
	opts = append(opts, chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()), chromedp.WindowSize(width, height),
		chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("hide-scrollbars", true),
		chromedp.Flag("use-gl", "angle"), chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.Flag("lang", "en"),
		chromedp.WSURLReadTimeout(Patience))
	actx, acancel := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(actx)
	b := &Browser{t: t, ctx: ctx, base: base, dir: os.Getenv("FIRSTOFF_PICTURES")}
	t.Cleanup(func() { cancel(); acancel() })
	// The first action binds the tab to its context, so it must not be one that ends with this step.
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("chromium: %v", err)
	}
	return b
}

func (b *Browser) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, Patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.fail(what, err)
	}
}

func (b *Browser) fail(what string, err error) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 10*time.Second)
	defer cancel()
	at, _ := chromedp.Run(ctx, chromedp.Location())
	text, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText.slice(0, 1500)"))
	b.t.Fatalf("%s: %v\nat %s, which shows:\n%s", what, err, at, text)
}

// Go opens a path of the site, or a whole address.
func (b *Browser) Go(path string) {
	b.t.Helper()
	if strings.HasPrefix(path, "/") {
		path = b.base + path
	}
	b.do("go to "+path, chromedp.Navigate(path))
}

// See waits until something that matches is visible.
func (b *Browser) See(sel string) {
	b.t.Helper()
	b.Wait(fmt.Sprintf("(e => e && e.getClientRects().length > 0)(document.querySelector(%q))", sel))
}

// Click clicks the first match once it is visible.
func (b *Browser) Click(sel string) {
	b.t.Helper()
	b.See(sel)
	b.do("click "+sel, chromedp.Click(sel))
}

// Press clicks what matches by its own handler, wherever it lies on the page.
func (b *Browser) Press(sel string) {
	b.t.Helper()
	b.Eval(fmt.Sprintf("document.querySelector(%q).click()", sel))
}

// Fill writes into a field.
func (b *Browser) Fill(sel, text string) {
	b.t.Helper()
	b.See(sel)
	b.do("fill "+sel, chromedp.SetValue(sel, text))
}

// Files chooses files in a field.
func (b *Browser) Files(sel string, paths ...string) {
	b.t.Helper()
	b.do("choose files", chromedp.WaitReady(sel), chromedp.SetUploadFiles(sel, paths))
}

// Text is the visible text of the first match.
func (b *Browser) Text(sel string) string {
	b.t.Helper()
	return b.EvalString(fmt.Sprintf("(document.querySelector(%q)||{innerText:''}).innerText", sel))
}

// Eval runs a script for its effect.
func (b *Browser) Eval(js string) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, Patience)
	defer cancel()
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any]("(()=>{"+js+"; return true})()")); err != nil {
		b.fail("run "+js, err)
	}
}

// EvalString runs a script (a promise is awaited) for its text.
func (b *Browser) EvalString(js string) string {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, Patience)
	defer cancel()
	s, err := chromedp.Run(ctx, chromedp.Evaluate[string](js, chromedp.EvalAwaitPromise))
	if err != nil {
		b.fail("ask "+js, err)
	}
	return s
}

// Wait waits until a condition in script holds. Pages may change meanwhile: a question cut off by that is asked again.
func (b *Browser) Wait(js string) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, Patience)
	defer cancel()
	for {
		yes, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("document.readyState === 'complete' && !!("+js+")"))
		if err == nil && yes {
			return
		}
		select {
		case <-ctx.Done():
			b.fail("wait for "+js, ctx.Err())
		case <-time.After(60 * time.Millisecond):
		}
	}
}

// Path is where the tab is.
func (b *Browser) Path() string { b.t.Helper(); return b.EvalString("location.pathname") }

// Picture keeps a picture of the whole page when pictures are wanted.
func (b *Browser) Picture(name string) {
	b.t.Helper()
	if b.dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(b.ctx, Patience)
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.fail("picture "+name, err)
	}
	b.shot++
	if err := os.WriteFile(filepath.Join(b.dir, fmt.Sprintf("%02d-%s.png", b.shot, name)), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// Accessible runs axe-core over the page (WCAG 2.2 A and AA) and fails on violations of serious or critical impact.
func (b *Browser) Accessible(name string) {
	b.t.Helper()
	src, err := os.ReadFile(filepath.Join(checks.Root(), "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		checks.Missing(b.t, "axe-core (npm ci)")
	}
	ctx, cancel := context.WithTimeout(b.ctx, Patience)
	defer cancel()
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any](string(src)+";true")); err != nil {
		b.fail("load axe", err)
	}
	bad := b.EvalString(`axe.run(document, {runOnly: ["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa"]}).then(r => r.violations.filter(v => v.impact === "serious" || v.impact === "critical").map(v => v.id + ": " + v.help + " " + v.nodes.slice(0,3).map(n => n.target.join(" ") + " " + (n.any[0]||n.all[0]||n.none[0]||{message:""}).message).join(" | ")).join("\n"))`)
	if bad != "" {
		b.t.Errorf("%s is not accessible:\n%s", name, bad)
	}
}

// Drag takes the first match by its middle with the mouse and lets go dx pixels to the right.
func (b *Browser) Drag(sel string, dx float64) {
	b.t.Helper()
	b.See(sel)
	b.Eval(fmt.Sprintf("document.querySelector(%q).scrollIntoView({block: 'center', inline: 'center'})", sel))
	var x, y float64
	at := b.EvalString(fmt.Sprintf("(r => (r.left + r.width / 2) + ' ' + (r.top + r.height / 2))(document.querySelector(%q).getBoundingClientRect())", sel))
	if _, err := fmt.Sscan(at, &x, &y); err != nil {
		b.t.Fatalf("drag %s: %q: %v", sel, at, err)
	}
	steps := []chromedp.Action[chromedp.Void]{chromedp.MouseEvent(chromedp.MouseMoved, x, y), chromedp.MouseEvent(chromedp.MousePressed, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1))}
	for i := 1; i <= 4; i++ {
		steps = append(steps, chromedp.MouseEvent(chromedp.MouseMoved, x+dx*float64(i)/4, y, chromedp.ButtonLeft))
	}
	steps = append(steps, chromedp.MouseEvent(chromedp.MouseReleased, x+dx, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	b.do("drag "+sel, steps...)
}
