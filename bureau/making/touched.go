package making

import (
	"context"
	"fmt"
	"slices"

	"firstoff/shopfloor/build"
	"firstoff/shopfloor/order"
)

// Touched is a promise that a failed build or a bad lot puts in danger, with a note to the client that a person may send.
type Touched struct {
	OrderID  string `json:"order_id"`
	Client   string `json:"client"`
	ClientID string `json:"client_id"`
	Line     string `json:"line"`
	Pieces   int    `json:"pieces"`   // that are made again
	Promised string `json:"promised"` // 2006-01-02
	Late     bool   `json:"late"`     // the promise has passed, or the work left is more than the time left
	Note     string `json:"note"`     // drafted, never sent by itself
}

// Touched lists the promises that the pieces lost in a build belong to, soonest first.
func (f *Floor) Touched(ctx context.Context, c BuildCard) ([]Touched, error) {
	if c.State.Word != build.Failed {
		return nil, nil
	}
	today, err := f.today()
	if err != nil {
		return nil, err
	}
	var out []Touched
	for _, s := range c.Build.Slots {
		lost := 0
		for _, p := range s.Pieces {
			if slices.Contains(c.State.Lost, p) {
				lost++
			}
		}
		if lost == 0 {
			continue
		}
		t, err := f.p.Records.Traveller(ctx, s.Traveller)
		if err != nil {
			return nil, err
		}
		o, err := f.p.Records.Order(ctx, t.OrderID)
		if err != nil {
			return nil, err
		}
		if o.State == order.Cancelled || o.State == order.Delivered {
			continue
		}
		names, err := f.p.Records.ClientNames(ctx, []string{t.ClientID})
		if err != nil {
			return nil, err
		}
		x := Touched{OrderID: o.ID, Client: names[t.ClientID], ClientID: t.ClientID, Line: t.Name, Pieces: lost, Promised: t.Promised}
		left := 0.0
		for _, op := range t.Operations[s.Op-1:] {
			left += op.HandsS + op.ElapsedS
		}
		day := f.now().AddDate(0, 0, 1+int(left/86400)).Format("2006-01-02")
		x.Late = t.Promised < today || t.Promised < day
		x.Note = fmt.Sprintf("%d of your %d × %s (order %s) did not come out as they should and are being made again.", lost, len(t.Pieces), t.Name, o.ID)
		if x.Late {
			x.Note += fmt.Sprintf(" They will not be ready by %s as promised. We are sorry; we tell you the new date as soon as the machine is free, and can send what is ready before.", t.Promised)
		} else {
			x.Note += fmt.Sprintf(" As things stand we still ship by %s.", t.Promised)
		}
		out = append(out, x)
	}
	slices.SortFunc(out, func(a, b Touched) int {
		if a.Promised != b.Promised {
			if a.Promised < b.Promised {
				return -1
			}
			return 1
		}
		return 0
	})
	return out, nil
}
