package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"firstoff/bureau/proving"
	"firstoff/fault"
	"firstoff/quality/certificate"
	"firstoff/quality/inspect"
	"firstoff/quality/sampling"
	"firstoff/shopfloor/order"
	"firstoff/unit"
)

// ProvingSteps are the use cases of inspection; *proving.House is the implementation.
type ProvingSteps interface {
	OpenSheet(ctx context.Context, who, travellerID string) (inspect.Sheet, error)
	Sheet(ctx context.Context, id string) (proving.SheetCard, error)
	Sheets(ctx context.Context, states []string, offset, limit int) ([]inspect.Sheet, int, error)
	Propose(ctx context.Context, id, class string) ([]inspect.Characteristic, []string, error)
	Report(ctx context.Context, e inspect.Event) (proving.SheetCard, error)
	Instruments(ctx context.Context) ([]proving.Instrument, error)
	KeepInstrument(ctx context.Context, who string, i proving.Instrument) (proving.Instrument, error)
	Raise(ctx context.Context, travellerID, sheet string, n inspect.Nonconformance) (proving.Nonconformance, error)
	Nonconformance(ctx context.Context, id string) (proving.Nonconformance, error)
	Nonconformances(ctx context.Context, states []string, offset, limit int) ([]proving.Nonconformance, int, error)
	Contain(ctx context.Context, who, id, how string) (proving.Nonconformance, error)
	Dispose(ctx context.Context, id string, d inspect.Disposal) (proving.Nonconformance, error)
	Inspected(ctx context.Context, who, id string, i int) (proving.Nonconformance, error)
	CloseRecord(ctx context.Context, who, id, cause, action, verification string) (proving.Nonconformance, error)
	Certify(ctx context.Context, who, role, orderID, deliveryID string, position int, replaces string) (proving.Certificate, error)
	Certificate(ctx context.Context, id string) (proving.Certificate, error)
	Certificates(ctx context.Context, orderID string) ([]proving.Certificate, error)
	WithdrawCertificate(ctx context.Context, who, id, reason string) (proving.Certificate, error)
	Compare(ctx context.Context, who, orderID string, position int, piece, name string, data []byte, u unit.Length, tolerance float64) (proving.Scan, error)
	Scan(ctx context.Context, id string) (proving.Scan, error)
	Scans(ctx context.Context, orderID string) ([]proving.Scan, error)
	OpenScan(ctx context.Context, id, what string) (proving.Scan, io.ReadSeekCloser, error)
	Verify(ctx context.Context, number, code string) (certificate.Answer, *certificate.Record, error)
}

// ProvingPapers prints what inspection and dispatch hand out.
type ProvingPapers interface {
	Certificate(ctx context.Context, c proving.Certificate, address string) ([]byte, error)
	FirstArticle(ctx context.Context, c proving.SheetCard) ([]byte, error)
	PackingList(ctx context.Context, o order.Order, d order.Delivery, client string) ([]byte, error)
	Labels(ctx context.Context, o order.Order, d order.Delivery, client, address string) ([]byte, error)
}

func (k *desk) provingRoutes(on func(string, func(http.ResponseWriter, *http.Request) error)) {
	k.scanRoutes(on)
	on("GET /inspection", k.inspection)
	on("POST /inspection", k.openSheet)
	on("GET /inspection/{id}", k.sheet)
	on("POST /inspection/{id}/plan", k.drawPlan)
	on("POST /inspection/{id}", k.measure)
	on("GET /inspection/{id}/first-article", k.firstArticle)
	on("GET /nonconformances/{id}", k.nonconformance)
	on("POST /nonconformances", k.raise)
	on("POST /nonconformances/{id}", k.changeNonconformance)
	on("GET /instruments", k.instruments)
	on("POST /instruments", k.keepInstrument)
	on("GET /gauges", k.gauges)
	on("POST /gauges", k.gauges)
	on("POST /orders/{id}/certify", k.certify)
	on("GET /certificates/{id}/pdf", k.certificatePDF)
	on("POST /certificates/{id}/withdraw", k.withdrawCertificate)
	on("GET /verify", k.verify)
	on("GET /verify/{id}", k.verify)
	on("GET /orders/{id}/deliveries/{delivery}/{paper}", k.deliveryPaper)
}

func (k *desk) inspection(w http.ResponseWriter, r *http.Request) error {
	f := listing(r)
	limit := f.Limit
	if limit <= 0 {
		limit = 50
	}
	sheets, total, err := k.Proving.Sheets(r.Context(), f.States, f.Offset, limit)
	if err != nil {
		return err
	}
	open, _, err := k.Proving.Nonconformances(r.Context(), []string{"open", "contained", "disposed"}, 0, 100)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, inspectionPage(k.frame(r, "Inspection", "inspection"), sheets, open, pages(r, f.Offset, len(sheets), total)))
	return nil
}

func (k *desk) openSheet(w http.ResponseWriter, r *http.Request) error {
	s, err := k.Proving.OpenSheet(r.Context(), k.byWhom(r), strings.TrimSpace(r.FormValue("traveller")))
	if err != nil {
		return err
	}
	return seeOther(w, r, "/inspection/"+s.ID)
}

func (k *desk) sheet(w http.ResponseWriter, r *http.Request) error {
	c, err := k.Proving.Sheet(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	tools, err := k.Proving.Instruments(r.Context())
	if err != nil {
		return err
	}
	p := sheetView{SheetCard: c, tools: tools, now: k.Clock()}
	if class := r.URL.Query().Get("class"); class != "" {
		if p.draft, p.skipped, err = k.Proving.Propose(r.Context(), c.Sheet.ID, class); err != nil {
			return err
		}
	}
	k.show(w, r, http.StatusOK, sheetPage(k.frame(r, "Inspection "+c.Sheet.ID, "inspection", "grid.entry.js"), p))
	return nil
}

// sheetView is a sheet as its page shows it.
type sheetView struct {
	proving.SheetCard
	tools   []proving.Instrument
	draft   []inspect.Characteristic // proposed, not kept yet
	skipped []string
	now     time.Time
}

// value is what stands in a cell.
func (v sheetView) value(c inspect.Characteristic, piece string, place int) (string, inspect.Decision) {
	for _, j := range v.Standing.Verdict.Judged {
		if j.Balloon == c.Balloon && j.Piece == piece && j.Place == place {
			return strconv.FormatFloat(j.Value, 'g', 10, 64), j.Decision
		}
	}
	return "", ""
}

// tool is the instrument last used for a characteristic.
func (v sheetView) tool(c inspect.Characteristic) string {
	out := ""
	for _, r := range v.Standing.Results {
		if r.Balloon == c.Balloon && r.Instrument != "" {
			out = r.Instrument
		}
	}
	return out
}

func (v sheetView) shown() []inspect.Characteristic {
	if len(v.draft) > 0 {
		return v.draft
	}
	return v.Standing.Characteristics
}

// capability of one characteristic as measured so far; "" when it says nothing.
func (v sheetView) capability(c inspect.Characteristic) string {
	s, err := inspect.Summed(v.Standing.Values(c.Balloon))
	if err != nil || s.N < 2 {
		return ""
	}
	x, err := inspect.Capable(s, c.Limits)
	if err != nil || !x.Index {
		return fmt.Sprintf("n %d, mean %.4g, s %.2g", s.N, s.Mean, s.S)
	}
	return fmt.Sprintf("n %d, mean %.4g, s %.2g, Cpk %.2f (95 %% %.2f to %.2f): %s", s.N, s.Mean, s.S, x.Cpk, x.CpkIn.Lo, x.CpkIn.Hi, x.Words)
}

func (k *desk) drawPlan(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	var cs []inspect.Characteristic
	if err := r.ParseMultipartForm(4 << 20); err != nil && r.Form == nil {
		return fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	if r.MultipartForm != nil && len(r.MultipartForm.File["csv"]) > 0 && r.MultipartForm.File["csv"][0].Size > 0 {
		f, err := r.MultipartForm.File["csv"][0].Open()
		if err != nil {
			return err
		}
		defer f.Close()
		data, err := io.ReadAll(io.LimitReader(f, 4<<20))
		if err != nil {
			return err
		}
		if cs, err = inspect.ReadCharacteristics(data, r.FormValue("general")); err != nil {
			return err
		}
	} else {
		var err error
		if cs, err = characteristics(r); err != nil {
			return err
		}
	}
	e := inspect.Event{ID: r.FormValue("event"), Sheet: id, Act: inspect.Draw, Characteristics: cs, Level: sampling.Level(r.FormValue("level")), Severity: sampling.Severity(r.FormValue("severity")), Who: k.byWhom(r)}
	if _, err := k.Proving.Report(r.Context(), e); err != nil {
		return err
	}
	return seeOther(w, r, "/inspection/"+url.PathEscape(id))
}

// characteristics reads the rows of the plan's table. A row without a name is left out.
func characteristics(r *http.Request) ([]inspect.Characteristic, error) {
	var out []inspect.Characteristic
	names := r.Form["name"]
	at := func(field string, i int) string {
		if l := r.Form[field]; i < len(l) {
			return strings.TrimSpace(l[i])
		}
		return ""
	}
	for i := range names {
		if at("name", i) == "" {
			continue
		}
		where := fmt.Sprintf("row %d", i+1)
		num := func(field string) (float64, bool, error) {
			s := strings.ReplaceAll(at(field, i), ",", ".")
			if s == "" {
				return 0, false, nil
			}
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				return 0, false, fault.New(fault.Invalid, "number_form", where, "%q is not a number.", at(field, i))
			}
			return v, true, nil
		}
		c := inspect.Characteristic{Balloon: len(out) + 1, Name: at("name", i), Kind: inspect.Kind(at("kind", i)), Designator: inspect.Designator(at("designator", i)), Unit: at("unit", i), Source: at("source", i), Note: at("note", i)}
		if c.Unit == "" {
			c.Unit = "mm"
		}
		var has bool
		var err error
		if c.Nominal, _, err = num("nominal"); err != nil {
			return nil, err
		}
		if c.Limits.Lower, has, err = num("lower"); err != nil {
			return nil, err
		}
		c.Limits.NoLower = !has
		if c.Limits.Upper, has, err = num("upper"); err != nil {
			return nil, err
		}
		c.Limits.NoUpper = !has
		places, _, err := num("places")
		if err != nil {
			return nil, err
		}
		if c.Places = int(places); c.Places < 2 {
			c.Places = 0
		}
		if c.Limits.NoLower && c.Limits.NoUpper && at("general", 0) != "" {
			if c, err = c.WithGeneral(at("general", 0), 0); err != nil {
				return nil, err
			}
		}
		out = append(out, c)
	}
	return out, nil
}

// measure keeps the values of a form: those that differ from what stands there; an emptied cell is struck. With script each cell is sent by
// itself and answered as JSON.
func (k *desk) measure(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if err := r.ParseForm(); err != nil {
		return fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	c, err := k.Proving.Sheet(r.Context(), id)
	if err != nil {
		return err
	}
	if r.FormValue("act") == "approve" {
		if _, err := k.Proving.Report(r.Context(), inspect.Event{ID: r.FormValue("event"), Sheet: id, Act: inspect.Approve, Who: strings.TrimSpace(r.FormValue("by"))}); err != nil {
			return err
		}
		return seeOther(w, r, "/inspection/"+url.PathEscape(id))
	}
	v := sheetView{SheetCard: c}
	var last proving.SheetCard
	var decision inspect.Decision
	fail := func(err error) error {
		if wantsJSON(r) {
			f := fault.Of(err)
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(Status(f.Kind))
			return writeJSON(w, map[string]string{"code": f.Code, "message": f.Message})
		}
		return err
	}
	keys := make([]string, 0, len(r.Form))
	for key := range r.Form {
		if strings.HasPrefix(key, "v-") {
			keys = append(keys, key)
		}
	}
	slices.Sort(keys)
	last = c
	for _, key := range keys {
		var balloon, place, n int
		if _, err := fmt.Sscanf(key, "v-%d-%d-%d", &balloon, &place, &n); err != nil || n < 0 || n >= len(c.Standing.Sample) {
			return fail(fault.New(fault.Invalid, "form", key, "The form does not fit this sheet; load the page again."))
		}
		piece := c.Standing.Sample[n]
		was, _ := v.value(inspect.Characteristic{Balloon: balloon}, piece, place)
		now := strings.TrimSpace(strings.ReplaceAll(r.FormValue(key), ",", "."))
		if now == was {
			continue
		}
		e := inspect.Event{ID: eventID(), Sheet: id, Act: inspect.Measure, Balloon: balloon, Piece: piece, Place: place, Instrument: r.FormValue(fmt.Sprintf("tool-%d", balloon)), Overdue: strings.TrimSpace(r.FormValue("overdue")), Who: k.byWhom(r)}
		if now == "" {
			e.Act = inspect.Strike
		} else if e.Value, err = strconv.ParseFloat(now, 64); err != nil {
			return fail(fault.New(fault.Invalid, "number_form", piece, "%q is not a number.", r.FormValue(key)))
		}
		if last, err = k.Proving.Report(r.Context(), e); err != nil {
			return fail(err)
		}
		_, decision = sheetView{SheetCard: last}.value(inspect.Characteristic{Balloon: balloon}, piece, place)
	}
	if wantsJSON(r) {
		st := last.Standing
		return writeJSON(w, map[string]any{"decision": decision, "word": st.Word, "taken": st.Taken, "to": st.To})
	}
	return seeOther(w, r, "/inspection/"+url.PathEscape(id))
}

func (k *desk) raise(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	n := inspect.Nonconformance{FoundBy: strings.TrimSpace(r.FormValue("by")), Where: r.FormValue("where"), Pieces: r.Form["piece"], Designator: inspect.Designator(r.FormValue("designator")), Requirement: r.FormValue("requirement"), Found: r.FormValue("found")}
	if n.FoundBy == "" {
		n.FoundBy = k.byWhom(r)
	}
	if b, err := strconv.Atoi(r.FormValue("balloon")); err == nil {
		n.Balloon = b
	}
	x, err := k.Proving.Raise(r.Context(), r.FormValue("traveller"), r.FormValue("sheet"), n)
	if err != nil {
		return err
	}
	return seeOther(w, r, "/nonconformances/"+x.ID)
}

func (k *desk) nonconformance(w http.ResponseWriter, r *http.Request) error {
	n, err := k.Proving.Nonconformance(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	events, err := k.Steps.Trail(r.Context(), n.ID, 100)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, nonconformancePage(k.frame(r, "Nonconformance "+n.ID, "inspection"), n, events))
	return nil
}

func (k *desk) changeNonconformance(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	by := strings.TrimSpace(r.FormValue("by"))
	if by == "" {
		by = k.byWhom(r)
	}
	n, _ := strconv.Atoi(r.FormValue("quantity"))
	var err error
	switch r.FormValue("do") {
	case "contain":
		_, err = k.Proving.Contain(r.Context(), by, id, r.FormValue("how"))
	case "dispose":
		_, err = k.Proving.Dispose(r.Context(), id, inspect.Disposal{Disposition: inspect.Disposition(r.FormValue("disposition")), Quantity: n, By: by, Authority: inspect.Authority(r.FormValue("authority")), Concession: r.FormValue("concession"), Reason: r.FormValue("reason")})
	case "inspected":
		i, _ := strconv.Atoi(r.FormValue("which"))
		_, err = k.Proving.Inspected(r.Context(), by, id, i)
	case "close":
		_, err = k.Proving.CloseRecord(r.Context(), by, id, r.FormValue("cause"), r.FormValue("action"), r.FormValue("verification"))
	default:
		err = fault.New(fault.Invalid, "form", "", "The form could not be read; send it again.")
	}
	if err != nil {
		return err
	}
	return seeOther(w, r, "/nonconformances/"+url.PathEscape(id))
}

func (k *desk) instruments(w http.ResponseWriter, r *http.Request) error {
	all, err := k.Proving.Instruments(r.Context())
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, instrumentsPage(k.frame(r, "Instruments", "inspection"), all, k.Clock()))
	return nil
}

func (k *desk) keepInstrument(w http.ResponseWriter, r *http.Request) error {
	i := proving.Instrument{Note: r.FormValue("note")}
	i.ID, i.Name, i.Unit = r.FormValue("id"), r.FormValue("name"), r.FormValue("unit")
	i.Withdrawn = r.FormValue("withdrawn") != ""
	for field, into := range map[string]*float64{"from": &i.From, "to": &i.To, "u": &i.U, "resolution": &i.Resolution} {
		v, err := number(r, field)
		if err != nil {
			return err
		}
		*into = v
	}
	if d := strings.TrimSpace(r.FormValue("due")); d != "" {
		t, err := time.ParseInLocation(time.DateOnly, d, k.zone())
		if err != nil {
			return fault.New(fault.Invalid, "date_form", "due", "Write the day as year-month-day, e.g. 2031-03-24.")
		}
		i.Due = t
	}
	if _, err := k.Proving.KeepInstrument(r.Context(), k.byWhom(r), i); err != nil {
		return err
	}
	return seeOther(w, r, "/instruments")
}

// gauges studies how much of what is seen comes of measuring: values typed or pasted, a line for each part and operator.
func (k *desk) gauges(w http.ResponseWriter, r *http.Request) error {
	g := gaugeView{text: r.FormValue("values")}
	if g.text != "" {
		s, err := inspect.ReadGauge([]byte(g.text))
		if err != nil {
			return err
		}
		if g.range_, err = s.AverageRange(); err != nil {
			return err
		}
		if g.anova, err = s.ByVariance(0.05); err != nil {
			return err
		}
		g.done = true
	}
	k.show(w, r, http.StatusOK, gaugesPage(k.frame(r, "Gauge study", "inspection"), g))
	return nil
}

type gaugeView struct {
	text          string
	done          bool
	range_, anova inspect.Gauge
}

func (k *desk) certify(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	n, _ := strconv.Atoi(r.FormValue("line"))
	by := strings.TrimSpace(r.FormValue("by"))
	if by == "" {
		by = k.byWhom(r)
	}
	if _, err := k.Proving.Certify(r.Context(), by, r.FormValue("role"), id, r.FormValue("delivery"), n, r.FormValue("replaces")); err != nil {
		return err
	}
	return seeOther(w, r, "/orders/"+url.PathEscape(id)+"#certificates")
}

func (k *desk) withdrawCertificate(w http.ResponseWriter, r *http.Request) error {
	c, err := k.Proving.WithdrawCertificate(r.Context(), k.byWhom(r), r.PathValue("id"), r.FormValue("reason"))
	if err != nil {
		return err
	}
	return seeOther(w, r, "/orders/"+url.PathEscape(c.OrderID)+"#certificates")
}

func here(r *http.Request) string {
	if r.TLS != nil {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

func (k *desk) provingPapers() (ProvingPapers, error) {
	p, ok := k.Slips.(ProvingPapers)
	if !ok {
		return nil, fault.New(fault.Unsupported, "no_papers", "", "This desk was started without a press, so it prints no papers.")
	}
	return p, nil
}

func sendPDF(w http.ResponseWriter, name string, b []byte, err error) error {
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="`+name+`.pdf"`)
	_, err = w.Write(b)
	return err
}

func (k *desk) certificatePDF(w http.ResponseWriter, r *http.Request) error {
	p, err := k.provingPapers()
	if err != nil {
		return err
	}
	c, err := k.Proving.Certificate(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	b, err := p.Certificate(r.Context(), c, here(r)+"/verify/"+c.ID+"?code="+c.Record.Certificate.Code())
	return sendPDF(w, c.ID, b, err)
}

func (k *desk) firstArticle(w http.ResponseWriter, r *http.Request) error {
	p, err := k.provingPapers()
	if err != nil {
		return err
	}
	c, err := k.Proving.Sheet(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	b, err := p.FirstArticle(r.Context(), c)
	return sendPDF(w, c.Sheet.ID, b, err)
}

func (k *desk) deliveryPaper(w http.ResponseWriter, r *http.Request) error {
	p, err := k.provingPapers()
	if err != nil {
		return err
	}
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	for _, d := range o.Deliveries {
		if d.ID != r.PathValue("delivery") {
			continue
		}
		to := o.ClientID
		if q, err := k.Steps.Quotation(r.Context(), o.QuotationID); err == nil && q.Body.To.Firm != "" {
			to = strings.Join(append([]string{q.Body.To.Firm}, q.Body.To.Address...), "\n")
		}
		if r.PathValue("paper") == "labels" {
			b, err := p.Labels(r.Context(), o, d, to, here(r)+"/orders/"+o.ID)
			return sendPDF(w, d.ID+"-labels", b, err)
		}
		b, err := p.PackingList(r.Context(), o, d, to)
		return sendPDF(w, d.ID, b, err)
	}
	return fault.New(fault.NotFound, "delivery_unknown", r.PathValue("delivery"), "Order %s has no delivery %s.", o.ID, r.PathValue("delivery"))
}

// verify answers whoever holds a printed certificate; it needs nothing but number and code.
func (k *desk) verify(w http.ResponseWriter, r *http.Request) error {
	v := verifyView{number: strings.TrimSpace(r.FormValue("number")), code: strings.TrimSpace(r.FormValue("code"))}
	if id := r.PathValue("id"); id != "" {
		v.number = id
	}
	if v.number != "" && v.code != "" {
		var err error
		if v.answer, v.record, err = k.Proving.Verify(r.Context(), v.number, v.code); err != nil {
			return err
		}
	}
	k.show(w, r, http.StatusOK, verifyPage(k.frame(r, "Is this certificate genuine?", ""), v))
	return nil
}

type verifyView struct {
	number, code string
	answer       certificate.Answer
	record       *certificate.Record
}

func (v verifyView) words() string {
	switch v.answer {
	case certificate.Genuine:
		return "Genuine and unchanged. The paper says what we stated, if it reads as below."
	case certificate.Altered:
		return "This code does not belong to this number. The paper was changed, or a letter was misread."
	case certificate.Unknown:
		return "We issued no certificate with this number."
	case certificate.Replaced:
		return "Genuine, but another certificate stands for it now: " + v.record.ReplacedBy + "."
	case certificate.Withdrawn:
		return "Genuine, but withdrawn: " + v.record.Withdrawn
	case certificate.Damaged:
		return "Our own record of it is damaged. Please call us."
	}
	return ""
}

// severities are those a lot may be inspected at.
func severities(v sheetView) []sampling.Severity {
	out := []sampling.Severity{sampling.Normal, sampling.Tightened}
	if v.MayReduce || v.Severity == sampling.Reduced {
		out = append(out, sampling.Reduced)
	}
	return out
}
