package web

import (
	"net/http"
	"path"
	"strings"
	"time"

	"firstoff/bureau"
	"firstoff/fault"
	"firstoff/sheets"
)

// export writes a whole list as a table, filtered like the page it belongs to, in the form its address ends with. Money is in units
// of the currency with a point, days are 2006-01-02, moments RFC 3339 in the shop's zone.
func export[T any](k *desk, w http.ResponseWriter, r *http.Request, columns string, list func(bureau.Filter) (bureau.Listing[T], error), rows func(T) [][]string) error {
	base := path.Base(r.URL.Path)
	name, ext, _ := strings.Cut(base, ".")
	form, ok := sheets.Forms[ext]
	if !ok {
		return fault.New(fault.NotFound, "page_unknown", r.URL.Path, "A list comes as .csv or .xlsx.")
	}
	f := listing(r)
	f.Offset = 0
	first, err := list(f)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", form.Type)
	w.Header().Set("Content-Disposition", `attachment; filename="`+base+`"`)
	w.Header().Set("Cache-Control", "no-store")
	// An answer that has begun and cannot be ended is cut off, so that nobody takes it for the whole.
	broke := func(err error) {
		k.Log.Error("export broke off", "list", base, "err", err)
		panic(http.ErrAbortHandler)
	}
	out, err := form.New(w, name, sheets.Columns(columns))
	if err != nil {
		broke(err)
	}
	for l := first; ; {
		for _, x := range l.Items {
			for _, row := range rows(x) {
				if err := out.Row(row); err != nil {
					broke(err)
				}
			}
		}
		f.Offset += len(l.Items)
		if len(l.Items) == 0 || f.Offset >= l.Total {
			break
		}
		if l, err = list(f); err != nil {
			broke(err)
		}
	}
	if err := out.Close(); err != nil {
		broke(err)
	}
	return nil
}

// whole makes a listing of a list that comes at once.
func whole[T any](items []T, err error) (bureau.Listing[T], error) {
	return bureau.Listing[T]{Items: items, Total: len(items)}, err
}

// stamp gives what writes a moment in the shop's zone.
func (k *desk) stamp() func(time.Time) string {
	loc := k.zone()
	return func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.In(loc).Format(time.RFC3339)
	}
}

// zone is the shop's time zone.
func (k *desk) zone() *time.Location {
	loc, err := time.LoadLocation(k.Catalogue().Firm.TimeZone)
	if err != nil {
		return time.UTC
	}
	return loc
}
