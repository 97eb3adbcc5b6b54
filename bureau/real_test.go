package bureau_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"firstoff/appraise"
	"firstoff/bureau"
	"firstoff/client"
	"firstoff/demo"
	"firstoff/shop"
)

// box is a binary STL of a box of a × b × c in mm.
func box(a, b, c float32) []byte {
	var v [8][3]float32
	for i := range v {
		v[i] = [3]float32{a * float32(i&1), b * float32(i>>1&1), c * float32(i>>2&1)}
	}
	out := make([]byte, 80)
	out = binary.LittleEndian.AppendUint32(out, 12)
	for _, q := range [6][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		for _, f := range [2][3]int{{q[0], q[1], q[2]}, {q[0], q[2], q[3]}} {
			out = append(out, make([]byte, 12)...)
			for _, i := range f {
				for _, x := range v[i] {
					out = binary.LittleEndian.AppendUint32(out, math.Float32bits(x))
				}
			}
			out = append(out, 0, 0)
		}
	}
	return out
}

// TestRealPart walks from a client's file to an order with nothing stood in for: the real reader, kernel, estimate, price
// and promise, against the made-up shop.
func TestRealPart(t *testing.T) {
	d := newDesk(t)
	cat := demo.Shop()
	d.stand(&appraise.Desk{}, func() *shop.Catalogue { return cat })
	d.start()
	r, err := d.OpenRequest(d.c, "estimator", bureau.NewRequest{Title: "Block", Client: client.Client{Firm: "Hill & Dale Ltd"}})
	d.must(err)
	_, err = d.ReceiveFile(d.c, "estimator", r.ID, "block.stl", bytes.NewReader(box(60, 40, 20)))
	d.must(err)
	f := d.ready(r.ID)
	if f.Files[0].Problem != nil || len(f.Lines) != 1 {
		t.Fatalf("file: %+v", f.Files[0].Problem)
	}
	l := f.Lines[0]
	if math.Abs(l.Facts.VolumeMM3-48_000) > 1e-6 || math.Abs(l.Facts.AreaMM2-8800) > 1e-6 || !l.Facts.Closed {
		t.Errorf("facts: %+v", l.Facts)
	}
	o, err := d.Options(d.c, l.ID, bureau.Override{Qty: 10})
	d.must(err)
	one, err := d.Options(d.c, l.ID, bureau.Override{})
	d.must(err)
	if len(o.Table.Options) < 5 || len(o.Table.Options) != len(one.Table.Options) {
		t.Fatalf("%d options at ten, %d at one, refused %v", len(o.Table.Options), len(one.Table.Options), o.Table.Refused)
	}
	for _, a := range one.Table.Options {
		if a.P90 == "" || a.P90 < "2031-03-03" || a.UnitPrice <= 0 || a.Total != a.UnitPrice || a.P50 > a.P90 {
			t.Errorf("%s: price %d, dates %s %s", a.ID, a.UnitPrice, a.P50, a.P90)
		}
		for _, b := range o.Table.Options {
			if a.ID == b.ID && b.UnitPrice > a.UnitPrice {
				t.Errorf("%s: one of ten costs %d, a single one %d", a.ID, b.UnitPrice, a.UnitPrice)
			}
		}
	}
	q, err := d.DraftQuotation(d.c, "estimator", r.ID)
	d.must(err)
	if f.Files[0].Unit.Open() {
		_, err = d.AnswerUnit(d.c, "estimator", f.Files[0].ID, f.Files[0].Unit.Name)
		d.must(err)
	}
	_, token, err := d.IssueQuotation(d.c, "estimator", q.ID, q.Version)
	d.must(err)
	won, err := d.ClientAccept(d.c, token, bureau.Acceptance{Name: "B. Buyer"})
	d.must(err)
	if won.Promised != q.Body.PromisedFor || won.Total != q.Body.Sums.Total {
		t.Errorf("ordered for %s at %d, quoted for %s at %d", won.Promised, won.Total, q.Body.PromisedFor, q.Body.Sums.Total)
	}
	d.sound()
}
