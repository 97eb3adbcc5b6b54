// Package sheets writes lists as tables for spreadsheets: CSV (RFC 4180, UTF-8) or a workbook (Office Open XML, ISO/IEC 29500).
//
// A table has columns of a kind: text stays text, so that a part called "00123" keeps its noughts; numbers, money, days and moments
// are written as such. What a client wrote is never taken for a formula.
// Promises: rows stream, a list of any length needs memory for one block of rows in CSV (TestLong); both forms hold the same cells
// (TestSameCells).
package sheets

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// Kind of a column.
type Kind string

const (
	Text   Kind = ""
	Number Kind = "n"
	Money  Kind = "m" // units of the currency, a point, no spaces
	Day    Kind = "d" // 2006-01-02
	Moment Kind = "t" // RFC 3339 in the shop's zone
)

// Column is a name and what is in it.
type Column struct {
	Name string
	Kind Kind
}

// Columns reads "number state qty:n total:m promised:d accepted:t".
func Columns(spec string) []Column {
	var out []Column
	for _, f := range strings.Fields(spec) {
		name, kind, _ := strings.Cut(f, ":")
		out = append(out, Column{name, Kind(kind)})
	}
	return out
}

// Writer takes rows; Close ends the table.
type Writer interface {
	Row(cells []string) error
	Close() error
}

// Form of a table.
type Form struct {
	Ext  string
	Type string // media type
	New  func(w io.Writer, name string, cols []Column) (Writer, error)
}

// Forms are the forms a list can be had in.
var Forms = map[string]Form{
	"csv":  {"csv", "text/csv; charset=utf-8; header=present", newCSV},
	"xlsx": {"xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", newBook},
}

type comma struct {
	out  *csv.Writer
	cols []Column
}

func newCSV(w io.Writer, _ string, cols []Column) (Writer, error) {
	c := &comma{csv.NewWriter(w), cols}
	c.out.UseCRLF = true
	return c, c.out.Write(names(cols))
}

func names(cols []Column) []string {
	var out []string
	for _, c := range cols {
		out = append(out, c.Name)
	}
	return out
}

func (c *comma) Row(cells []string) error {
	row := make([]string, len(cells))
	for i, s := range cells {
		if row[i] = s; i < len(c.cols) && c.cols[i].Kind == Text {
			row[i] = plain(s)
		}
	}
	return c.out.Write(row)
}

func (c *comma) Close() error {
	c.out.Flush()
	return c.out.Error()
}

// plain keeps what a client wrote from being taken for a formula by a spreadsheet (OWASP, "CSV Injection").
func plain(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		if _, err := strconv.ParseFloat(s, 64); err != nil {
			return "'" + s
		}
	}
	return s
}

type book struct {
	file   *excelize.File
	out    *excelize.StreamWriter
	w      io.Writer
	cols   []Column
	styles map[Kind]int
	row    int
}

// mostRows is what a worksheet holds (ISO/IEC 29500 sets no bound; spreadsheets do), mostText what a cell does.
const (
	mostRows = 1_048_576
	mostText = 32_767
)

func newBook(w io.Writer, name string, cols []Column) (Writer, error) {
	f := excelize.NewFile()
	if err := f.SetSheetName("Sheet1", name); err != nil {
		return nil, err
	}
	b := &book{file: f, w: w, cols: cols, styles: map[Kind]int{}}
	for k, format := range map[Kind]string{Money: "0.00##", Day: "yyyy-mm-dd", Moment: "yyyy-mm-dd hh:mm"} {
		id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
		if err != nil {
			return nil, err
		}
		b.styles[k] = id
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return nil, err
	}
	if b.out, err = f.NewStreamWriter(name); err != nil {
		return nil, err
	}
	for i, c := range cols {
		width := 14.0
		if c.Kind == Moment {
			width = 18
		}
		if err := b.out.SetColWidth(i+1, i+1, width); err != nil {
			return nil, err
		}
	}
	if err := b.out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return nil, err
	}
	var head []any
	for _, c := range cols {
		head = append(head, excelize.Cell{StyleID: bold, Value: c.Name})
	}
	b.row = 1
	return b, b.out.SetRow("A1", head)
}

func (b *book) Row(cells []string) error {
	if b.row++; b.row > mostRows {
		return fmt.Errorf("a worksheet holds %d rows", mostRows)
	}
	row := make([]any, len(cells))
	for i, s := range cells {
		row[i] = b.cell(i, s)
	}
	return b.out.SetRow("A"+strconv.Itoa(b.row), row)
}

func (b *book) cell(i int, s string) any {
	kind := Text
	if i < len(b.cols) {
		kind = b.cols[i].Kind
	}
	if s == "" {
		return nil
	}
	switch kind {
	case Number, Money:
		if v, err := strconv.ParseFloat(s, 64); err == nil {
			return excelize.Cell{StyleID: b.styles[kind], Value: v}
		}
	case Day:
		if t, err := time.Parse(time.DateOnly, s); err == nil {
			return excelize.Cell{StyleID: b.styles[kind], Value: t}
		}
	case Moment:
		if t, err := time.Parse(time.RFC3339, s); err == nil { // a sheet knows no zones: the shop's own hours are written
			return excelize.Cell{StyleID: b.styles[kind], Value: time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)}
		}
	}
	if len(s) > mostText {
		s = strings.ToValidUTF8(s[:mostText], "")
	}
	return s // a string cell is never a formula
}

func (b *book) Close() error {
	if err := b.out.Flush(); err != nil {
		return err
	}
	_, err := b.file.WriteTo(b.w)
	_ = b.file.Close()
	return err
}
