package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/a-h/templ"

	"firstoff/bureau"
	"firstoff/desk/quote"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/web/static"
)

// Papers prints documents as PDF.
type Papers interface {
	Quotation(ctx context.Context, q quote.Quotation) ([]byte, error)
	// Picture is the engraving of a kept model as PNG.
	Picture(ctx context.Context, model digest.Digest) ([]byte, error)
}

// Deps is what the pages stand on.
type Deps struct {
	Steps     bureau.Steps
	Catalogue func() *shop.Catalogue
	Clock     func() time.Time
	Papers    Papers       // nil: papers are answered with a plain sentence
	Floor     FloorSteps   // nil: no floor pages
	Proving   ProvingSteps // nil: no inspection
	Hand      Handing      // nil: nothing is handed on
	Books     BookSteps    // nil: no books
	Post      PostSteps    // nil: no programs are told
	Slips     FloorPapers  // nil: papers are answered with a plain sentence
	Wall      Wall         // nil: there is no wall board
	Hasten    Hasten       // nil: nothing is said about earlier days
	Compose   Composing    // nil: builds of the plan are not shown
	Log       *slog.Logger
	MaxUpload int64 // bytes of one posted form; 0 = 2 GiB
	// Extra routes are mounted beside the pages (the API); pattern as of http.ServeMux.
	Extra map[string]http.Handler
}

// desk is the set of handlers.
type desk struct {
	Deps
	loc     *time.Location
	digits  int
	version string // of the static files, for caching
}

// New makes the handler of the whole site.
func New(d Deps) http.Handler {
	if d.Log == nil {
		d.Log = slog.Default()
	}
	if d.MaxUpload == 0 {
		d.MaxUpload = 2 << 30
	}
	k := &desk{Deps: d, version: staticVersion()}
	mux := http.NewServeMux()
	k.routes(mux)
	for pattern, h := range d.Extra {
		mux.Handle(pattern, h)
	}
	files := http.FileServerFS(static.Files())
	mux.Handle("GET /static/", http.StripPrefix("/static/", http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Query().Get("v") == k.version {
			w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		}
		files.ServeHTTP(w, r)
	})))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, r *http.Request) { _, _ = w.Write([]byte("ok\n")) })
	mux.HandleFunc("/", k.page(func(w http.ResponseWriter, r *http.Request) error {
		return fault.New(fault.NotFound, "page_missing", "", "There is no page at %s.", r.URL.Path)
	}))
	return k.guard(http.NewCrossOriginProtection().Handler(mux))
}

// guard sets the headers every answer carries and turns a panic into an error page.
func (k *desk) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; connect-src 'self' blob:; worker-src 'self' blob:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		defer func() {
			if p := recover(); p != nil {
				if p == http.ErrAbortHandler {
					panic(p)
				}
				k.Log.Error("panic in a page", "path", r.URL.Path, "panic", p)
				http.Error(w, "Something went wrong inside; the log says what.", http.StatusInternalServerError)
			}
		}()
		next.ServeHTTP(w, r)
	})
}

// page turns a handler that may fail into one that shows the fault as a page.
func (k *desk) page(h func(w http.ResponseWriter, r *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := h(w, r); err != nil {
			k.fault(w, r, err)
		}
	}
}

// Status is the HTTP status of a kind of fault.
func Status(kind fault.Kind) int {
	switch kind {
	case fault.Invalid:
		return http.StatusUnprocessableEntity
	case fault.NotFound:
		return http.StatusNotFound
	case fault.Conflict:
		return http.StatusConflict
	case fault.Denied:
		return http.StatusForbidden
	case fault.Unsupported:
		return http.StatusUnsupportedMediaType
	case fault.TooLarge:
		return http.StatusRequestEntityTooLarge
	case fault.Busy:
		return http.StatusServiceUnavailable
	}
	return http.StatusInternalServerError
}

func (k *desk) fault(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	var big *http.MaxBytesError
	if errors.As(err, &big) {
		err = fault.New(fault.TooLarge, "upload_too_large", "", "The upload has more than %d MiB; send the files in several goes.", big.Limit>>20)
	}
	f := fault.Of(err)
	if f.Kind == fault.Internal {
		k.Log.Error("page failed", "path", r.URL.Path, "err", err, "cause", f.Err)
	}
	back := "/"
	if u, e := url.Parse(r.Referer()); e == nil && u.Path != "" && u.Path != r.URL.Path {
		back = u.Path
	} else if r.Method == http.MethodPost {
		back = r.URL.Path
	}
	client := strings.HasPrefix(r.URL.Path, "/q/")
	k.show(w, r, Status(f.Kind), faultPage(k.frame(r, "Not done", ""), f, back, client))
}

// show renders a page.
func (k *desk) show(w http.ResponseWriter, r *http.Request, status int, c templ.Component) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	if err := c.Render(r.Context(), w); err != nil && !errors.Is(err, context.Canceled) {
		k.Log.Error("page broke off", "path", r.URL.Path, "err", err)
	}
}

// seeOther answers a form that was carried out.
func seeOther(w http.ResponseWriter, r *http.Request, to string) error {
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

// who is the person at the desk, as the trail names them. Until people and rights exist, everyone at this machine is the desk.
func who(r *http.Request) string { return "desk" }

// staticVersion is a digest of the bundled files.
func staticVersion() string {
	h := sha256.New()
	_ = fs.WalkDir(static.Files(), ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := fs.ReadFile(static.Files(), p)
		if err == nil {
			h.Write([]byte(p))
			h.Write(b)
		}
		return err
	})
	return hex.EncodeToString(h.Sum(nil))[:12]
}
