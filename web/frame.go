package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"firstoff/fault"
	"firstoff/money"
	"firstoff/shop"
)

// frame is what every page has around it.
type frame struct {
	title   string
	here    string // the tab that is open
	firm    string
	today   string
	version string
	inch    bool
	digits  int
	cur     string
	loc     *time.Location
	cat     *shop.Catalogue
	scripts []string
	wide    bool // the page takes the whole width
}

func (k *desk) frame(r *http.Request, title, here string, scripts ...string) frame {
	cat := k.Catalogue()
	loc, err := time.LoadLocation(cat.Firm.TimeZone)
	if err != nil {
		loc = time.UTC
	}
	f := frame{title: title, here: here, firm: cat.Firm.Name, version: k.version, digits: money.Digits(cat.Firm.Currency), cur: cat.Firm.Currency, loc: loc, cat: cat, scripts: scripts}
	f.today = k.Clock().In(loc).Format("Monday 2 January 2006")
	if c, err := r.Cookie("length"); err == nil {
		f.inch = c.Value == "in"
	}
	return f
}

func (f frame) asset(name string) string { return "/static/" + name + "?v=" + f.version }

// money prints an amount without its currency.
func (f frame) money(a money.Amount) string { return money.Format(a, f.digits) }

// when prints a moment in the shop's zone.
func (f frame) when(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(f.loc).Format("2 Jan 15:04")
}

// day prints a date 2006-01-02 for people.
func (f frame) day(s string) string {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return s
	}
	return t.Format("Mon 2 Jan")
}

// length prints mm in the person's unit, without the unit.
func (f frame) length(mm float64) string {
	if f.inch {
		return strconv.FormatFloat(mm/25.4, 'f', 3, 64)
	}
	return strconv.FormatFloat(mm, 'f', decimals(mm), 64)
}

func (f frame) lengthUnit() string {
	if f.inch {
		return "in"
	}
	return "mm"
}

// volume prints mm³ as cm³ or cubic inch.
func (f frame) volume(mm3 float64) string {
	if f.inch {
		return strconv.FormatFloat(mm3/16387.064, 'f', 3, 64)
	}
	return strconv.FormatFloat(mm3/1000, 'f', 2, 64)
}

func (f frame) volumeUnit() string {
	if f.inch {
		return "in³"
	}
	return "cm³"
}

func (f frame) area(mm2 float64) string {
	if f.inch {
		return strconv.FormatFloat(mm2/645.16, 'f', 2, 64)
	}
	return strconv.FormatFloat(mm2/100, 'f', 1, 64)
}

func (f frame) areaUnit() string {
	if f.inch {
		return "in²"
	}
	return "cm²"
}

// machine is a machine's or partner's name.
func (f frame) madeOn(machine, partner string) string {
	if m := f.cat.Machine(machine); m != nil {
		name, _, _ := strings.Cut(m.Name, ",")
		return name
	}
	if p := f.cat.Partner(partner); p != nil {
		return p.Name
	}
	return machine + partner
}

func (f frame) process(code string) string {
	if p := f.cat.Process(code); p != nil {
		return p.Name
	}
	return code
}

func (f frame) material(id string) string {
	if m := f.cat.Material(id); m != nil {
		return m.Name
	}
	return id
}

func decimals(mm float64) int {
	switch a := max(mm, -mm); {
	case a >= 100:
		return 1
	case a >= 1:
		return 2
	}
	return 3
}

// hours prints seconds as hours, or minutes when short.
func hours(s float64) string {
	if s < 3600 {
		return fmt.Sprintf("%.0f min", s/60)
	}
	return fmt.Sprintf("%.1f h", s/3600)
}

func grams(g float64) string {
	switch {
	case g >= 10000:
		return fmt.Sprintf("%.2f kg", g/1000)
	case g >= 100:
		return fmt.Sprintf("%.0f g", g)
	}
	return fmt.Sprintf("%.1f g", g)
}

func size(b int64) string {
	switch {
	case b >= 1<<20:
		return fmt.Sprintf("%.1f MB", float64(b)/(1<<20))
	case b >= 1<<10:
		return fmt.Sprintf("%.0f kB", float64(b)/(1<<10))
	}
	return fmt.Sprintf("%d B", b)
}

// number reads a form's number; empty is 0. Fault: Invalid "number_form".
func number(r *http.Request, field string) (float64, error) {
	s := strings.TrimSpace(strings.ReplaceAll(r.FormValue(field), ",", "."))
	if s == "" {
		return 0, nil
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || x != x || x > 1e12 || x < -1e12 {
		return 0, fault.New(fault.Invalid, "number_form", field, "%q is not a number.", r.FormValue(field))
	}
	return x, nil
}

// amount reads a form's money, e.g. "12.50", into minor units. Fault: Invalid "money_form".
func amount(s string, digits int) (money.Amount, error) {
	t := strings.Map(func(c rune) rune {
		if c == ' ' || c == '\u2009' || c == '\u00a0' {
			return -1
		}
		if c == ',' {
			return '.'
		}
		return c
	}, s)
	whole, frac, _ := strings.Cut(t, ".")
	if len(frac) > digits || whole == "" || len(whole) > 12 {
		return 0, fault.New(fault.Invalid, "money_form", "", "%q is not an amount; write it as 12.50.", s)
	}
	for len(frac) < digits {
		frac += "0"
	}
	n, err := strconv.ParseInt(whole+frac, 10, 64)
	if err != nil || n < 0 {
		return 0, fault.New(fault.Invalid, "money_form", "", "%q is not an amount; write it as 12.50.", s)
	}
	return money.Amount(n), nil
}

func version(r *http.Request) int {
	n, _ := strconv.Atoi(r.FormValue("version"))
	return n
}

func other(inch bool) string {
	if inch {
		return "mm"
	}
	return "in"
}

func moneyOf(minor int64) money.Amount { return money.Amount(minor) }
