package web

import (
	"encoding/csv"
	"net/http"
	"strconv"
	"strings"
	"time"

	"firstoff/bureau"
	"firstoff/money"
)

// export writes a whole list as CSV (RFC 4180, UTF-8), filtered like the page it belongs to. Money is in units of the
// currency with a point, days are 2006-01-02, moments RFC 3339 in the shop's zone.
func export[T any](k *desk, w http.ResponseWriter, r *http.Request, name string, head []string, list func(bureau.Filter) (bureau.Listing[T], error), rows func(T) [][]string) error {
	f := listing(r)
	f.Offset = 0
	first, err := list(f)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8; header=present")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`.csv"`)
	w.Header().Set("Cache-Control", "no-store")
	out := csv.NewWriter(w)
	out.UseCRLF = true
	_ = out.Write(head)
	for l := first; ; {
		for _, x := range l.Items {
			for _, row := range rows(x) {
				for i := range row {
					row[i] = plainCell(row[i])
				}
				_ = out.Write(row)
			}
		}
		f.Offset += len(l.Items)
		if len(l.Items) == 0 || f.Offset >= l.Total {
			break
		}
		if l, err = list(f); err != nil {
			// The answer has begun: it is cut off, so that nobody takes it for the whole.
			k.Log.Error("export broke off", "list", name, "err", err)
			panic(http.ErrAbortHandler)
		}
	}
	out.Flush()
	return out.Error()
}

// plainCell keeps what a client wrote from being taken for a formula by a spreadsheet (OWASP, "CSV Injection").
func plainCell(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		if _, err := strconv.ParseFloat(s, 64); err != nil {
			return "'" + s
		}
	}
	return s
}

// stamp gives what writes a moment in the shop's zone.
func (k *desk) stamp() func(time.Time) string {
	loc, err := time.LoadLocation(k.Catalogue().Firm.TimeZone)
	if err != nil {
		loc = time.UTC
	}
	return func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.In(loc).Format(time.RFC3339)
	}
}

// plainMoney is an amount as a spreadsheet reads it: no spaces, a point.
func plainMoney(a money.Amount, digits int) string {
	neg := ""
	if a < 0 {
		neg, a = "-", -a
	}
	s := strconv.FormatInt(int64(a), 10)
	if digits == 0 {
		return neg + s
	}
	for len(s) <= digits {
		s = "0" + s
	}
	return neg + s[:len(s)-digits] + "." + s[len(s)-digits:]
}
