package inspect

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"firstoff/fault"
)

// MaxRows is how many rows a file of characteristics or results may have.
const MaxRows = 200_000

// The columns of the two files. Reading takes them in any order, by name, and passes over others.
var (
	characteristicColumns = []string{"balloon", "name", "kind", "designator", "nominal", "lower", "upper", "unit", "places", "zone", "source", "note"}
	resultColumns         = []string{"balloon", "piece", "place", "value", "u", "instrument", "by", "at"}
)

// ReadCharacteristics reads a list of characteristics: comma or semicolon between fields, decimal point, or decimal
// comma where the semicolon separates. Columns balloon, name, kind, nominal are needed; designator may be empty (major),
// unit may be empty (mm, deg for angles); an empty lower or upper means no limit on that side, for both: see general.
// general, if not empty, is the callout (ISO 2768-mK) that fills in limits where a row has none.
func ReadCharacteristics(data []byte, general string) ([]Characteristic, error) {
	t, err := readTable(data, characteristicColumns, "balloon", "name", "kind", "nominal")
	if err != nil {
		return nil, err
	}
	var out []Characteristic
	for i := range t.rows {
		c := Characteristic{Name: t.text(i, "name"), Kind: Kind(strings.ToLower(t.text(i, "kind"))), Designator: Designator(strings.ToLower(t.text(i, "designator"))),
			Unit: t.text(i, "unit"), Zone: t.text(i, "zone"), Source: t.text(i, "source"), Note: t.text(i, "note")}
		if c.Designator == "" {
			c.Designator = Major
		}
		if c.Unit == "" {
			c.Unit = "mm"
			if c.Kind == Angle {
				c.Unit = "deg"
			}
		}
		if c.Balloon, err = t.whole(i, "balloon"); err != nil {
			return nil, err
		}
		if c.Places, err = t.whole(i, "places"); err != nil {
			return nil, err
		}
		if c.Nominal, _, err = t.number(i, "nominal"); err != nil {
			return nil, err
		}
		var has bool
		if c.Limits.Lower, has, err = t.number(i, "lower"); err != nil {
			return nil, err
		}
		c.Limits.NoLower = !has
		if c.Limits.Upper, has, err = t.number(i, "upper"); err != nil {
			return nil, err
		}
		c.Limits.NoUpper = !has
		if c.Limits.NoLower && c.Limits.NoUpper && general != "" {
			if c, err = c.WithGeneral(general, 0); err != nil {
				return nil, fault.At(err, t.where(i))
			}
		}
		if err := c.Check(); err != nil {
			return nil, fault.At(err, t.where(i))
		}
		out = append(out, c)
	}
	return out, CheckAll(out)
}

// WriteCharacteristics writes what ReadCharacteristics reads.
func WriteCharacteristics(cs []Characteristic) []byte {
	rows := [][]string{characteristicColumns}
	for _, c := range cs {
		lower, upper := num(c.Limits.Lower), num(c.Limits.Upper)
		if c.Limits.NoLower {
			lower = ""
		}
		if c.Limits.NoUpper {
			upper = ""
		}
		places := ""
		if c.Places != 0 {
			places = strconv.Itoa(c.Places)
		}
		rows = append(rows, []string{strconv.Itoa(c.Balloon), safe(c.Name), string(c.Kind), string(c.Designator), num(c.Nominal), lower, upper, safe(c.Unit), places, safe(c.Zone), safe(c.Source), safe(c.Note)})
	}
	return written(rows)
}

// ReadResults reads measured values: columns balloon, piece, value are needed; u may be empty (0); at is RFC 3339 or
// empty.
func ReadResults(data []byte) ([]Result, error) {
	t, err := readTable(data, resultColumns, "balloon", "piece", "value")
	if err != nil {
		return nil, err
	}
	var out []Result
	for i := range t.rows {
		r := Result{Piece: t.text(i, "piece"), Instrument: t.text(i, "instrument"), By: t.text(i, "by")}
		if r.Balloon, err = t.whole(i, "balloon"); err != nil {
			return nil, err
		}
		if r.Place, err = t.whole(i, "place"); err != nil {
			return nil, err
		}
		has := false
		if r.Value, has, err = t.number(i, "value"); err != nil {
			return nil, err
		} else if !has {
			return nil, fault.New(fault.Invalid, "value_missing", t.where(i), "balloon %d of piece %q has no value; measure it or leave the row out", r.Balloon, r.Piece)
		}
		if r.U, _, err = t.number(i, "u"); err != nil {
			return nil, err
		}
		if r.U < 0 {
			return nil, fault.New(fault.Invalid, "uncertainty_negative", t.where(i), "an uncertainty cannot be negative")
		}
		if s := t.text(i, "at"); s != "" {
			if r.At, err = time.Parse(time.RFC3339, s); err != nil {
				return nil, fault.New(fault.Invalid, "time_form", t.where(i), "%q is no time; write it like 2026-03-01T14:05:00Z", s)
			}
			if r.At = r.At.UTC(); r.At.Year() < 0 || r.At.Year() > 9999 {
				return nil, fault.New(fault.Invalid, "time_form", t.where(i), "%q is no time of this world; write it like 2026-03-01T14:05:00Z", s)
			}
		}
		out = append(out, r)
	}
	return out, nil
}

// WriteResults writes what ReadResults reads; decisions, where given, stand in a further column.
func WriteResults(rs []Judged) []byte {
	rows := [][]string{append(slices.Clone(resultColumns), "decision")}
	for _, r := range rs {
		at := ""
		if !r.At.IsZero() {
			at = r.At.UTC().Format(time.RFC3339Nano)
		}
		place := ""
		if r.Place != 0 {
			place = strconv.Itoa(r.Place)
		}
		rows = append(rows, []string{strconv.Itoa(r.Balloon), safe(r.Piece), place, num(r.Value), num(r.U), safe(r.Instrument), safe(r.By), at, string(r.Decision)})
	}
	return written(rows)
}

func num(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// safe keeps a spreadsheet from taking a text for a formula: a quote goes in front, and reading takes it off again.
func safe(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r'", rune(s[0])) {
		return "'" + s
	}
	return s
}

func written(rows [][]string) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.WriteAll(rows) // a bytes.Buffer does not fail
	return b.Bytes()
}

// table is a file read, its columns found by name.
type table struct {
	rows  [][]string
	line  []int
	col   map[string]int
	comma bool // decimal comma allowed
}

func readTable(data []byte, known []string, needed ...string) (*table, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	first, _, _ := bytes.Cut(data, []byte("\n"))
	r := csv.NewReader(bytes.NewReader(data))
	t := &table{col: map[string]int{}}
	if bytes.Count(first, []byte(";")) > bytes.Count(first, []byte(",")) {
		r.Comma, t.comma = ';', true
	}
	r.FieldsPerRecord, r.TrimLeadingSpace = -1, false
	head := true
	for {
		rec, err := r.Read()
		if rec == nil && err != nil {
			if err.Error() == "EOF" {
				break
			}
			return nil, fault.Because(err, fault.Invalid, "table_broken", "", "this is no table of comma or semicolon separated values: %v", err)
		}
		if err != nil {
			return nil, fault.Because(err, fault.Invalid, "table_broken", "", "this is no table of comma or semicolon separated values: %v", err)
		}
		line, _ := r.FieldPos(0)
		if head {
			for i, h := range rec {
				h = strings.ToLower(strings.TrimSpace(h))
				if slices.Contains(known, h) {
					if _, twice := t.col[h]; twice {
						return nil, fault.New(fault.Invalid, "column_twice", "line 1", "the column %s stands twice; leave one out", h)
					}
					t.col[h] = i
				}
			}
			head = false
			continue
		}
		empty := true
		for _, f := range rec {
			empty = empty && strings.TrimSpace(f) == ""
		}
		if empty {
			continue
		}
		if len(t.rows) == MaxRows {
			return nil, fault.New(fault.TooLarge, "table_too_long", "", "the table has more than %d rows; divide it", MaxRows)
		}
		t.rows, t.line = append(t.rows, rec), append(t.line, line)
	}
	for _, n := range needed {
		if _, ok := t.col[n]; !ok {
			return nil, fault.New(fault.Invalid, "column_missing", "line 1", "there is no column %s; the first line must name the columns %s", n, strings.Join(known, ", "))
		}
	}
	if len(t.rows) == 0 {
		return nil, fault.New(fault.Invalid, "table_empty", "", "there is no row below the column names")
	}
	return t, nil
}

func (t *table) where(i int) string { return fmt.Sprintf("line %d", t.line[i]) }

func (t *table) text(i int, col string) string {
	k, ok := t.col[col]
	if !ok || k >= len(t.rows[i]) {
		return ""
	}
	s := strings.TrimSpace(t.rows[i][k])
	if len(s) > 1 && s[0] == '\'' {
		s = s[1:]
	}
	return s
}

func (t *table) number(i int, col string) (v float64, has bool, err error) {
	s := t.text(i, col)
	if s == "" {
		return 0, false, nil
	}
	if t.comma {
		s = strings.Replace(s, ",", ".", 1)
	}
	v, err = strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, false, fault.New(fault.Invalid, "not_a_number", t.where(i), "%q in column %s is no number", s, col)
	}
	return v, true, nil
}

func (t *table) whole(i int, col string) (int, error) {
	s := t.text(i, col)
	if s == "" {
		return 0, nil
	}
	v, err := strconv.Atoi(s)
	if err != nil || v < 0 || v > 1<<30 {
		return 0, fault.New(fault.Invalid, "not_a_count", t.where(i), "%q in column %s is no whole number", s, col)
	}
	return v, nil
}
