package web

import (
	"math"
	"net/http"
	"sort"
	"strconv"
	"strings"

	"firstoff/bureau"
	"firstoff/desk/offer"
	"firstoff/fault"
)

// optionsView is what the options page shows of a table.
type optionsView struct {
	id       string
	line     bureau.LineOptions
	shown    []offer.Option
	sort     string
	process  string
	machine  string
	material string
	front    bool // only options that no other beats on price, date and fitness at once
	qty      int
	infill   float64
	layer    float64
	whatIf   bool
	plot     plot
}

// options is the table one can argue with.
func (k *desk) options(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	v := optionsView{id: r.PathValue("id"), sort: q.Get("sort"), process: q.Get("process"), machine: q.Get("machine"), material: q.Get("material"), front: q.Has("front")}
	var err error
	ask := func(name string) float64 {
		x, e := number(r, name)
		if e != nil && err == nil {
			err = e
		}
		return x
	}
	v.qty, v.infill, v.layer = int(ask("qty")), ask("infill"), ask("layer")
	if err != nil {
		return err
	}
	v.whatIf = v.qty > 0 || v.infill > 0 || v.layer > 0
	v.line, err = k.Steps.Options(r.Context(), v.id, bureau.Override{Qty: v.qty, InfillPct: v.infill, LayerMM: v.layer})
	if err != nil {
		return err
	}
	for _, o := range v.line.Table.Options {
		if v.process != "" && o.Process != v.process || v.machine != "" && o.Machine+o.Partner != v.machine || v.material != "" && o.Material != v.material || v.front && !o.Pareto && len(o.Tags) == 0 {
			continue
		}
		v.shown = append(v.shown, o)
	}
	sortOptions(v.shown, v.sort)
	f := k.frame(r, "Options for "+v.line.Line.Name, "requests")
	v.plot = plotOf(f, v.shown)
	k.show(w, r, http.StatusOK, optionsPage(f, v))
	return nil
}

// sortOptions sorts options in place; price decides where the asked column ties.
func sortOptions(list []offer.Option, by string) {
	less := map[string]func(a, b *offer.Option) bool{
		"date":    func(a, b *offer.Option) bool { return a.P90 < b.P90 },
		"fitness": func(a, b *offer.Option) bool { return a.Fitness > b.Fitness },
		"build":   func(a, b *offer.Option) bool { return a.BuildS < b.BuildS },
		"mass":    func(a, b *offer.Option) bool { return a.PartG < b.PartG },
		"process": func(a, b *offer.Option) bool { return a.Process < b.Process },
		"machine": func(a, b *offer.Option) bool { return a.Machine+a.Partner < b.Machine+b.Partner },
	}[by]
	sort.SliceStable(list, func(i, j int) bool {
		a, b := &list[i], &list[j]
		if less != nil {
			if less(a, b) {
				return true
			}
			if less(b, a) {
				return false
			}
		}
		return a.Total < b.Total
	})
}

// sorted is the address of the same table in another order.
func (v optionsView) sorted(by string) string {
	s := v.query()
	if s != "" {
		s += "&"
	}
	return "/lines/" + v.id + "/options?" + s + "sort=" + by
}

func (v optionsView) query() string {
	var p []string
	add := func(k, x string) {
		if x != "" {
			p = append(p, k+"="+urlEscape(x))
		}
	}
	add("process", v.process)
	add("machine", v.machine)
	add("material", v.material)
	if v.front {
		p = append(p, "front=yes")
	}
	if v.qty > 0 {
		add("qty", strconv.Itoa(v.qty))
	}
	if v.infill > 0 {
		add("infill", strconv.FormatFloat(v.infill, 'f', -1, 64))
	}
	if v.layer > 0 {
		add("layer", strconv.FormatFloat(v.layer, 'f', -1, 64))
	}
	return strings.Join(p, "&")
}

// values lists what a column holds, for the filters.
func values(list []offer.Option, of func(o *offer.Option) string) []string {
	seen := map[string]bool{}
	var out []string
	for i := range list {
		if s := of(&list[i]); s != "" && !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	sort.Strings(out)
	return out
}

func (k *desk) choose(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	id := r.PathValue("id")
	option := r.FormValue("option")
	if option == "" {
		return fault.New(fault.Invalid, "option_missing", "option", "No option was chosen; mark one in the table.")
	}
	alternatives := make([]string, 0, len(r.Form["beside"]))
	for _, a := range r.Form["beside"] {
		if a != option {
			alternatives = append(alternatives, a)
		}
	}
	l, err := k.Steps.Choose(r.Context(), who(r), id, version(r), option, alternatives)
	if err != nil {
		return err
	}
	return seeOther(w, r, "/requests/"+l.RequestID+"#"+l.ID)
}

// why is the explained price of one option.
func (k *desk) why(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	lo, err := k.Steps.Options(r.Context(), id, bureau.Override{})
	if err != nil {
		return err
	}
	for i := range lo.Table.Options {
		if o := &lo.Table.Options[i]; o.ID == r.URL.Query().Get("option") {
			k.show(w, r, http.StatusOK, whyPage(k.frame(r, "Why this price", "requests"), lo, *o))
			return nil
		}
	}
	return fault.New(fault.NotFound, "option_unknown", "", "This option is not in the line's table any more; go back to the table.")
}

// plot is the trade-off of money and days, drawn on the server so that it prints.
type plot struct {
	dots           []dot
	front          string // the front as a path
	xTicks, yTicks []tickMark
}

type dot struct {
	x, y  float64
	front bool
	name  string
	tag   string
	kind  int // shape by process family
}

type tickMark struct {
	at   float64
	word string
}

const plotW, plotH, plotLeft, plotBottom = 640.0, 300.0, 70.0, 36.0

func plotOf(f frame, list []offer.Option) plot {
	var p plot
	if len(list) == 0 {
		return p
	}
	lo, hi := math.Inf(1), 0.0
	days := 1
	for _, o := range list {
		lo, hi = math.Min(lo, float64(o.Total)), math.Max(hi, float64(o.Total))
		days = max(days, o.LeadDays)
	}
	lo, hi = math.Log(math.Max(lo*0.9, 1)), math.Log(math.Max(hi*1.1, 2))
	x := func(d int) float64 { return plotLeft + (plotW-plotLeft-20)*float64(d)/float64(days+1) }
	y := func(t float64) float64 {
		return 10 + (plotH-plotBottom-10)*(1-(math.Log(math.Max(t, 1))-lo)/(hi-lo))
	}
	kinds := map[string]int{"MEX": 0, "MJT": 1}
	for _, o := range list {
		kind, ok := kinds[o.Process]
		if !ok {
			kind = 2
		}
		if o.Partner != "" {
			kind = 3
		}
		d := dot{x: x(o.LeadDays), y: y(float64(o.Total)), front: o.Pareto, kind: kind,
			name: f.process(o.Process) + ", " + f.material(o.Material) + ", " + f.madeOn(o.Machine, o.Partner) + ": " + f.money(o.Total) + " " + f.cur + ", " + strconv.Itoa(o.LeadDays) + " business days"}
		if len(o.Tags) > 0 {
			d.tag = o.Tags[0]
		}
		p.dots = append(p.dots, d)
	}
	step := max(1, (days+9)/10)
	for d := 0; d <= days; d += step {
		p.xTicks = append(p.xTicks, tickMark{x(d), strconv.Itoa(d)})
	}
	for e := math.Floor(lo / math.Ln10); e <= hi/math.Ln10; e++ {
		for _, m := range []float64{1, 2, 5} {
			if v := m * math.Pow(10, e); math.Log(v) >= lo && math.Log(v) <= hi {
				s := f.money(moneyOf(int64(v)))
				if i := strings.IndexByte(s, '.'); i > 0 && v >= 1000 {
					s = s[:i]
				}
				p.yTicks = append(p.yTicks, tickMark{y(v), s})
			}
		}
	}
	best := map[int]float64{}
	for _, o := range list {
		if t, ok := best[o.LeadDays]; !ok || float64(o.Total) < t {
			best[o.LeadDays] = float64(o.Total)
		}
	}
	cheapest := math.Inf(1)
	var b strings.Builder
	for d := 0; d <= days; d++ {
		if t, ok := best[d]; ok && t < cheapest {
			if b.Len() == 0 {
				b.WriteString("M")
			} else {
				b.WriteString(" L" + strconv.FormatFloat(x(d), 'f', 1, 64) + " " + strconv.FormatFloat(y(cheapest), 'f', 1, 64) + " L")
			}
			b.WriteString(strconv.FormatFloat(x(d), 'f', 1, 64) + " " + strconv.FormatFloat(y(t), 'f', 1, 64))
			cheapest = t
		}
	}
	if b.Len() > 0 {
		b.WriteString(" L" + strconv.FormatFloat(plotW-20, 'f', 1, 64) + " " + strconv.FormatFloat(y(cheapest), 'f', 1, 64))
	}
	p.front = b.String()
	return p
}

func coord(x float64) string { return strconv.FormatFloat(x, 'f', 1, 64) }

// whyAt is where an option's price is explained. Option ids hold slashes, so they travel in the query.
func whyAt(line, option string) string { return "/lines/" + line + "/why?option=" + urlEscape(option) }
