package sheets

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

var cols = Columns("number part qty:n total:m promised:d accepted:t")

func table(t *testing.T, form string, rows ...[]string) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := Forms[form].New(&b, "orders", cols)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if err := w.Row(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestSameCells(t *testing.T) {
	rows := [][]string{
		{"O-1", "00123", "3", "12.50", "2031-03-10", "2031-03-03T23:30:00+02:00"},
		{"O-2", "=HYPERLINK(\"x\")", "", "-0.05", "", ""},
		{"O-3", "a,\"b\"\nc ü", "1", "1234567.89", "soon", "2031-03-03T23:30:00Z"},
		{"O-4", strings.Repeat("é", 20_000), "1", "1", "2031-03-10", ""},
	}
	in, err := csv.NewReader(bytes.NewReader(table(t, "csv", rows...))).ReadAll()
	if err != nil || len(in) != 5 || in[0][2] != "qty" || in[1][1] != "00123" || in[2][1] != "'=HYPERLINK(\"x\")" || in[2][3] != "-0.05" || in[3][1] != "a,\"b\"\nc ü" {
		t.Fatalf("%v %q", err, in)
	}
	f, err := excelize.OpenReader(bytes.NewReader(table(t, "xlsx", rows...)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got, err := f.GetRows("orders")
	if err != nil || len(got) != 5 || got[0][2] != "qty" {
		t.Fatalf("%v %q", err, got)
	}
	if r := got[1]; r[0] != "O-1" || r[1] != "00123" || r[2] != "3" || r[3] != "12.50" || r[4] != "2031-03-10" || r[5] != "2031-03-03 23:30" {
		t.Errorf("%q", r)
	}
	if kind, err := f.GetCellType("orders", "D2"); err != nil || kind == excelize.CellTypeInlineString || kind == excelize.CellTypeSharedString {
		t.Errorf("money is kept as text: %v %v", kind, err)
	}
	if formula, err := f.GetCellFormula("orders", "B3"); err != nil || formula != "" {
		t.Errorf("a client's words became a formula: %q", formula)
	}
	if got[2][1] != "=HYPERLINK(\"x\")" || got[3][4] != "soon" || got[3][1] != "a,\"b\"\nc ü" {
		t.Errorf("%q %q", got[2], got[3])
	}
}

func TestLong(t *testing.T) {
	var rows [][]string
	for i := range 20_000 {
		rows = append(rows, []string{fmt.Sprint("O-", i), "part", fmt.Sprint(i), "1.00", "2031-03-10", ""})
	}
	f, err := excelize.OpenReader(bytes.NewReader(table(t, "xlsx", rows...)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got, err := f.GetRows("orders"); err != nil || len(got) != 20_001 || got[20_000][2] != "19999" {
		t.Fatalf("%v %d", err, len(got))
	}
}
