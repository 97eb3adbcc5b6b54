package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"firstoff/bureau/making"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shop"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/purchase"
	"firstoff/shopfloor/traveller"
)

// FloorSteps are the use cases of the shop floor; *making.Floor is the implementation.
type FloorSteps interface {
	Board(ctx context.Context) ([]making.Place, []making.Waiting, error)
	Travellers(ctx context.Context, states []string, offset, limit int) ([]traveller.Traveller, int, error)
	Card(ctx context.Context, id string) (making.Card, error)
	Report(ctx context.Context, e traveller.Event) (making.Card, error)
	TravellersFor(ctx context.Context, keys []string) ([]traveller.Traveller, error)
	PlanBuild(ctx context.Context, who, id, machine string, travellers []string) (build.Build, error)
	Build(ctx context.Context, id string) (making.BuildCard, error)
	Builds(ctx context.Context, states []string) ([]build.Build, error)
	ReportBuild(ctx context.Context, e build.Event) (making.BuildCard, error)
	ReceiveLot(ctx context.Context, who, id string, l feedstock.Lot) (feedstock.Lot, error)
	Lots(ctx context.Context, states []string, like string) ([]making.LotCard, error)
	LotsFor(ctx context.Context, materials ...string) ([]feedstock.Lot, error)
	ReportLot(ctx context.Context, e feedstock.Event) (making.LotCard, error)
	Trace(ctx context.Context, of string) (making.Traced, error)
	Photo(ctx context.Context, e traveller.Event, r io.Reader) (making.Card, error)
	OpenPhoto(ctx context.Context, id string, d digest.Digest) (io.ReadSeekCloser, error)
	Touched(ctx context.Context, c making.BuildCard) ([]making.Touched, error)
	ToBuy(ctx context.Context) ([]making.ToBuy, error)
	Ask(ctx context.Context, who, id, partner string, travellers []string) (purchase.Purchase, error)
	Purchase(ctx context.Context, id string) (making.PurchaseCard, error)
	Purchases(ctx context.Context, states []string, offset, limit int) ([]purchase.Purchase, int, error)
	ReportPurchase(ctx context.Context, e purchase.Event) (making.PurchaseCard, error)
	CancelCost(ctx context.Context, orderID string, pieces []string) (order.Change, error)
	Cancel(ctx context.Context, who, orderID string, c making.Cancelling) (order.Order, error)
	WriteOff(ctx context.Context, who, orderID string, pieces []string, reason string) (order.Order, error)
	Deliver(ctx context.Context, who, orderID string, s making.Sending) (order.Order, order.Delivery, error)
	TakeBack(ctx context.Context, who, orderID, delivery, reason string) (order.Order, error)
}

// FloorPapers prints what goes with the parts.
type FloorPapers interface {
	Traveller(ctx context.Context, c making.Card, address string) ([]byte, error)
}

// eventID is an id for a form, so that sending it twice reports once. The script of the page makes its own.
func eventID() string {
	var b [16]byte
	_, _ = rand.Read(b[:])
	return hex.EncodeToString(b[:])
}

// operator is the person at the machine as they said on this device; nil before they did.
func (k *desk) operator(r *http.Request) *shop.Person {
	c, err := r.Cookie("operator")
	if err != nil {
		return nil
	}
	people := k.Catalogue().People
	for i := range people {
		if people[i].ID == c.Value {
			return &people[i]
		}
	}
	return nil
}

func (k *desk) byWhom(r *http.Request) string {
	if p := k.operator(r); p != nil {
		return p.Name
	}
	return who(r)
}

// operatorIs keeps on this device who works at it, for a shift.
func (k *desk) operatorIs(w http.ResponseWriter, r *http.Request) error {
	http.SetCookie(w, &http.Cookie{Name: "operator", Value: url.QueryEscape(r.FormValue("person")), Path: "/", MaxAge: 12 * 3600, SameSite: http.SameSiteLaxMode, HttpOnly: true})
	back := r.FormValue("back")
	if !strings.HasPrefix(back, "/") || strings.HasPrefix(back, "//") || strings.ContainsAny(back, "\\\r\n") {
		back = "/floor"
	}
	return seeOther(w, r, back)
}

func (k *desk) floorBoard(w http.ResponseWriter, r *http.Request) error {
	places, short, err := k.Floor.Board(r.Context())
	if err != nil {
		return err
	}
	builds, err := k.Floor.Builds(r.Context(), []string{string(build.Planned), string(build.Running), string(build.Paused)})
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, floorPage(k.frame(r, "Floor", "floor"), places, short, builds))
	return nil
}

// phone is what the card on the phone asks about.
type phone struct {
	making.Card
	op     *traveller.Operation // nil: nothing to do
	os     traveller.OpState
	who    string
	lots   []feedstock.Lot
	path   string
	proved bool // inspection is at hand
}

func (k *desk) travellerCard(w http.ResponseWriter, r *http.Request) error {
	c, err := k.Floor.Card(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	p := phone{Card: c, path: r.URL.RequestURI(), proved: k.Proving != nil}
	if x := k.operator(r); x != nil {
		p.who = x.Name
	}
	no := c.State.Next
	if n, err := strconv.Atoi(r.URL.Query().Get("op")); err == nil && c.Traveller.Operation(n) != nil && c.State.Ops[n-1].Waiting > 0 && c.State.Next > 0 {
		no = n
	}
	if no > 0 {
		p.op, p.os = c.Traveller.Operation(no), c.State.Ops[no-1]
	}
	if p.lots, err = k.Floor.LotsFor(r.Context(), c.Traveller.Material, c.Traveller.Support); err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, phonePage(k.frame(r, c.Traveller.ID, "floor", "floor.entry.js"), p))
	return nil
}

// report takes one event from a card, as a form or from the script's queue.
func (k *desk) report(w http.ResponseWriter, r *http.Request) error {
	count := func(field string) int { n, _ := strconv.Atoi(strings.TrimSpace(r.FormValue(field))); return n }
	e := traveller.Event{ID: r.FormValue("event"), Traveller: r.PathValue("id"), Kind: traveller.Kind(r.FormValue("kind")), Op: count("op"), Good: count("good"), Scrap: count("scrap"),
		Reason: r.FormValue("reason"), Note: r.FormValue("note"), Lot: r.FormValue("lot"), Machine: r.FormValue("machine"), Voids: r.FormValue("voids"), Who: k.byWhom(r), Device: r.FormValue("device")}
	if ms, err := strconv.ParseInt(r.FormValue("at"), 10, 64); err == nil && ms > 0 && ms < 1<<52 {
		e.At = time.UnixMilli(ms)
	}
	c, err := k.Floor.Report(r.Context(), e)
	if wantsJSON(r) {
		if err != nil {
			f := fault.Of(err)
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(Status(f.Kind))
			return writeJSON(w, map[string]string{"code": f.Code, "message": f.Message})
		}
		return writeJSON(w, map[string]any{"word": c.State.Word, "next": c.State.Next})
	}
	if err != nil {
		return err
	}
	return seeOther(w, r, "/t/"+url.PathEscape(e.Traveller))
}

func (k *desk) photo(w http.ResponseWriter, r *http.Request) error {
	r.Body = http.MaxBytesReader(w, r.Body, 32<<20)
	if err := r.ParseMultipartForm(8 << 20); err != nil {
		return fault.New(fault.TooLarge, "photo_too_large", "photo", "The photo could not be taken; take it smaller.")
	}
	defer func() { _ = r.MultipartForm.RemoveAll() }()
	f, _, err := r.FormFile("photo")
	if err != nil {
		return fault.New(fault.Invalid, "photo_form", "photo", "Take a photo first.")
	}
	defer f.Close()
	op, _ := strconv.Atoi(r.FormValue("op"))
	e := traveller.Event{ID: r.FormValue("event"), Traveller: r.PathValue("id"), Op: op, Note: r.FormValue("note"), Who: k.byWhom(r), Device: r.FormValue("device")}
	if _, err := k.Floor.Photo(r.Context(), e, f); err != nil {
		return err
	}
	return seeOther(w, r, "/t/"+url.PathEscape(e.Traveller))
}

func (k *desk) openPhoto(w http.ResponseWriter, r *http.Request) error {
	f, err := k.Floor.OpenPhoto(r.Context(), r.PathValue("id"), digest.Digest(r.PathValue("photo")))
	if err != nil {
		return err
	}
	defer f.Close()
	w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	http.ServeContent(w, r, "", time.Time{}, f)
	return nil
}

func (k *desk) travellerPDF(w http.ResponseWriter, r *http.Request) error {
	if k.Slips == nil {
		return fault.New(fault.Unsupported, "no_papers", "", "This desk was started without a press, so it prints no papers.")
	}
	c, err := k.Floor.Card(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	b, err := k.Slips.Traveller(r.Context(), c, scheme+"://"+r.Host+"/t/"+c.Traveller.ID)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="`+c.Traveller.ID+`.pdf"`)
	_, err = w.Write(b)
	return err
}

func (k *desk) planBuild(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	b, err := k.Floor.PlanBuild(r.Context(), k.byWhom(r), r.FormValue("event"), r.FormValue("machine"), r.Form["traveller"])
	if err != nil {
		return err
	}
	if b.ID == "" { // sent twice
		return seeOther(w, r, "/floor")
	}
	return seeOther(w, r, "/b/"+b.ID)
}

func (k *desk) buildCard(w http.ResponseWriter, r *http.Request) error {
	c, err := k.Floor.Build(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	lots, err := k.Floor.LotsFor(r.Context(), c.Build.Material)
	if err != nil {
		return err
	}
	touched, err := k.Floor.Touched(r.Context(), c)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, buildPage(k.frame(r, "Build "+c.Build.ID, "floor"), c, lots, touched))
	return nil
}

func (k *desk) reportBuild(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	e := build.Event{ID: r.FormValue("event"), Build: r.PathValue("id"), Kind: build.Kind(r.FormValue("kind")), Ticked: r.Form["tick"], Lost: r.Form["lost"], Lot: r.FormValue("lot"), Reason: r.FormValue("reason"), Who: k.byWhom(r)}
	if _, err := k.Floor.ReportBuild(r.Context(), e); err != nil {
		return err
	}
	return seeOther(w, r, "/b/"+url.PathEscape(e.Build))
}

func (k *desk) lots(w http.ResponseWriter, r *http.Request) error {
	like := r.URL.Query().Get("like")
	l, err := k.Floor.Lots(r.Context(), nil, like)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, lotsPage(k.frame(r, "Lots", "lots"), like, l))
	return nil
}

func (k *desk) receiveLot(w http.ResponseWriter, r *http.Request) error {
	g, err := number(r, "received_g")
	if err != nil {
		return err
	}
	days, err := number(r, "open_days")
	if err != nil {
		return err
	}
	l := feedstock.Lot{Material: r.FormValue("material"), SupplierLot: r.FormValue("supplier_lot"), Supplier: r.FormValue("supplier"), Certificate: r.FormValue("certificate"), ReceivedG: g, Expires: r.FormValue("expires"), OpenDays: int(days)}
	if _, err := k.Floor.ReceiveLot(r.Context(), k.byWhom(r), r.FormValue("event"), l); err != nil {
		return err
	}
	return seeOther(w, r, "/lots")
}

func (k *desk) reportLot(w http.ResponseWriter, r *http.Request) error {
	g, err := number(r, "g")
	if err != nil {
		return err
	}
	e := feedstock.Event{ID: r.FormValue("event"), Lot: r.PathValue("id"), Kind: feedstock.Kind(r.FormValue("kind")), G: g, Reason: r.FormValue("reason"), Who: k.byWhom(r)}
	if _, err := k.Floor.ReportLot(r.Context(), e); err != nil {
		return err
	}
	if e.Kind == feedstock.Quarantine {
		return seeOther(w, r, "/trace?of="+url.QueryEscape(e.Lot))
	}
	return seeOther(w, r, "/lots")
}

func (k *desk) trace(w http.ResponseWriter, r *http.Request) error {
	of := strings.TrimSpace(r.URL.Query().Get("of"))
	var t making.Traced
	if of != "" {
		var err error
		if t, err = k.Floor.Trace(r.Context(), of); err != nil {
			return err
		}
	}
	k.show(w, r, http.StatusOK, tracePage(k.frame(r, "Trace", "lots"), of, t))
	return nil
}

// placeName is what a place on the board is called.
func (f frame) placeName(resource, skill string) string {
	if m := f.cat.Machine(resource); m != nil {
		return f.madeOn(resource, "")
	}
	if x := f.cat.Resource(resource); x != nil {
		return x.Name
	}
	if p := f.cat.Partner(resource); p != nil {
		return p.Name
	}
	if resource != "" {
		return resource
	}
	return "any bench"
}

// isMachine says whether builds are planned for this place.
func (f frame) isMachine(resource string) bool { return f.cat.Machine(resource) != nil }

// Reasons an operator picks with one tap; anything else goes into the note.
var (
	pauseReasons = []string{"break", "material out", "machine trouble", "waiting for help"}
	scrapReasons = []string{"warped", "layer shift", "broken", "wrong size", "surface", "lost"}
)
