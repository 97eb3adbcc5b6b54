package making

import (
	"context"
	"errors"
	"slices"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shopfloor/feedstock"
)

// LotCard is a lot with what happened to it.
type LotCard struct {
	Lot    feedstock.Lot     `json:"lot"`
	Stock  feedstock.Stock   `json:"stock"`
	Word   feedstock.Word    `json:"word"` // today
	Events []feedstock.Event `json:"events"`
}

// ReceiveLot puts a lot on the shelf. id is the device's id of the receipt, so that a form sent twice is one lot.
// Faults: those of feedstock.Lot.Check; NotFound "material_unknown".
func (f *Floor) ReceiveLot(ctx context.Context, who, id string, l feedstock.Lot) (feedstock.Lot, error) {
	today, err := f.today()
	if err != nil {
		return l, err
	}
	l.Material, l.SupplierLot, l.Supplier, l.Certificate = tidy(l.Material), tidy(l.SupplierLot), tidy(l.Supplier), tidy(l.Certificate)
	for field, s := range map[string]string{"supplier_lot": l.SupplierLot, "supplier": l.Supplier, "certificate": l.Certificate} {
		if len(s) > 200 {
			return l, fault.New(fault.Invalid, "text_too_long", field, "This text is too long; 200 characters are possible.")
		}
	}
	if l.Received == "" {
		l.Received = today
	}
	l.Parents, l.RefreshPct, l.Made = nil, 0, f.now()
	if err := l.Check(); err != nil {
		return l, err
	}
	if f.p.Catalogue().Material(l.Material) == nil {
		return l, fault.New(fault.NotFound, "material_unknown", l.Material, "The shop has no material %q; add it to the catalogue first.", l.Material)
	}
	err = f.once(ctx, id, "lots", func(ctx context.Context) error {
		l.ID, err = f.number(ctx, "M")
		if err != nil {
			return err
		}
		s := feedstock.Fold(l, nil)
		l.Word, l.LeftG, l.Until = s.Word, s.LeftG, s.Until
		if err := f.p.Records.AddLot(ctx, &l); err != nil {
			return err
		}
		return f.log(ctx, who, "lot.received", "shelf", l.ID, "", l)
	})
	return l, err
}

// once runs do unless the device's id was taken before; then nothing happens.
func (f *Floor) once(ctx context.Context, id, about string, do func(ctx context.Context) error) error {
	if len(id) < 8 || len(id) > 64 {
		return fault.New(fault.Invalid, "event_id", "event", "An event needs an id of 8 to 64 characters; load the page again.")
	}
	err := f.p.Records.InTx(ctx, func(ctx context.Context) error {
		if err := f.p.Records.TakeID(ctx, id, about); err != nil {
			if fault.Of(err).Code == "exists" {
				return errTwice
			}
			return err
		}
		return do(ctx)
	})
	if errors.Is(err, errTwice) {
		return nil
	}
	return err
}

var errTwice = errors.New("sent before")

// BlendLots makes a lot of shares of others, e.g. used powder refreshed with new, and takes what it takes out of them.
// Faults: those of feedstock.Blend.
func (f *Floor) BlendLots(ctx context.Context, who, id string, shares []feedstock.Share) (feedstock.Lot, error) {
	var b feedstock.Lot
	today, err := f.today()
	if err != nil {
		return b, err
	}
	err = f.once(ctx, id, "lots", func(ctx context.Context) error {
		of := make([]feedstock.Lot, 0, len(shares))
		need := 0.0
		for _, s := range shares {
			l, err := f.p.Records.Lot(ctx, s.Lot)
			if err != nil {
				return err
			}
			of = append(of, l)
			if m := f.p.Catalogue().Material(l.Material); m != nil {
				need = max(need, m.RefreshPct)
			}
		}
		no, err := f.number(ctx, "M")
		if err != nil {
			return err
		}
		if b, err = feedstock.Blend(no, today, need, of, shares, f.now()); err != nil {
			return err
		}
		if err := f.p.Records.AddLot(ctx, &b); err != nil {
			return err
		}
		for _, s := range shares {
			e := feedstock.Event{ID: derived(id, s.Lot), Lot: s.Lot, Kind: feedstock.Use, G: s.G, For: b.ID, Who: who, At: f.now(), Received: f.now()}
			if err := f.lotEvent(ctx, e); err != nil {
				return err
			}
		}
		return f.log(ctx, who, "lot.blended", "shelf", b.ID, "", b)
	})
	return b, err
}

// derived is the id of an event that follows from another on a second record.
func derived(id, about string) string { return string(digest.Of([]byte(id + " " + about)))[:40] }

// Lot shows a lot with its stock.
func (f *Floor) Lot(ctx context.Context, id string) (LotCard, error) {
	l, err := f.p.Records.Lot(ctx, id)
	if err != nil {
		return LotCard{}, err
	}
	today, err := f.today()
	if err != nil {
		return LotCard{}, err
	}
	es, err := happened[feedstock.Event](ctx, f.p.Records, id)
	s := feedstock.Fold(l, es)
	return LotCard{l, s, s.On(today), es}, err
}

// Lots lists lots, newest first, each with its state of today.
func (f *Floor) Lots(ctx context.Context, states []string, like string) ([]LotCard, error) {
	today, err := f.today()
	if err != nil {
		return nil, err
	}
	found, err := f.p.Records.Lots(ctx, states, like, 500)
	if err != nil {
		return nil, err
	}
	out := make([]LotCard, len(found))
	for i, l := range found {
		out[i] = LotCard{Lot: l, Stock: feedstock.Stock{Word: l.Word, LeftG: l.LeftG, Until: l.Until}, Word: l.On(today)}
	}
	return out, nil
}

// ReportLot keeps what happened to a lot, once. Faults: those of feedstock.Admit.
func (f *Floor) ReportLot(ctx context.Context, e feedstock.Event) (LotCard, error) {
	e.Reason, e.For, e.Who = tidy(e.Reason), tidy(e.For), tidy(e.Who)
	e.At, e.Received = f.moment(e.At), f.now()
	if err := f.again(ctx, func(ctx context.Context) error { return f.lotEvent(ctx, e) }); err != nil {
		return LotCard{}, err
	}
	return f.Lot(ctx, e.Lot)
}

func (f *Floor) lotEvent(ctx context.Context, e feedstock.Event) error {
	l, err := f.p.Records.Lot(ctx, e.Lot)
	if err != nil {
		return err
	}
	before, err := happened[feedstock.Event](ctx, f.p.Records, e.Lot)
	if err != nil {
		return err
	}
	s, fresh, err := feedstock.Admit(l, before, e)
	if err != nil || !fresh {
		return err
	}
	if err := f.p.Records.TakeID(ctx, e.ID, e.Lot); err != nil {
		return err
	}
	l.Word, l.LeftG, l.Until = s.Word, s.LeftG, s.Until
	if err := f.p.Records.SaveLot(ctx, &l); err != nil {
		return err
	}
	return f.log(ctx, e.Who, string(e.Kind), e.Lot, e.Lot, e.Reason, e)
}

// usable says whether a lot may go into a part. A lot that the shelf does not know is refused, so that no trace ends in a
// mistyped number. Faults: NotFound "lot_unknown"; Conflict "lot_held", "lot_expired".
func (f *Floor) usable(ctx context.Context, id string) error {
	l, err := f.p.Records.Lot(ctx, id)
	if err != nil && fault.KindOf(err) == fault.NotFound {
		return fault.New(fault.NotFound, "lot_unknown", id, "There is no lot %q on the shelf; read the number on the label, or receive the lot first.", id)
	}
	if err != nil {
		return err
	}
	today, err := f.today()
	if err != nil {
		return err
	}
	switch l.On(today) {
	case feedstock.Held:
		return fault.New(fault.Conflict, "lot_held", id, "Lot %s is quarantined; put it aside and take another one.", id)
	case feedstock.Expired:
		return fault.New(fault.Conflict, "lot_expired", id, "Lot %s was usable until %s; take another one.", id, l.Until)
	}
	return nil
}

// LotsFor lists the lots of a material that may be used today, those that expire first at the front.
func (f *Floor) LotsFor(ctx context.Context, materials ...string) ([]feedstock.Lot, error) {
	today, err := f.today()
	if err != nil {
		return nil, err
	}
	found, err := f.p.Records.Lots(ctx, []string{string(feedstock.Sealed), string(feedstock.InUse)}, "", 500)
	if err != nil {
		return nil, err
	}
	found = slices.DeleteFunc(found, func(l feedstock.Lot) bool {
		return !slices.Contains(materials, l.Material) || l.On(today) == feedstock.Expired
	})
	slices.SortStableFunc(found, func(a, b feedstock.Lot) int {
		ua, ub := a.Until, b.Until
		if ua == "" {
			ua = "9999"
		}
		if ub == "" {
			ub = "9999"
		}
		if ua != ub {
			if ua < ub {
				return -1
			}
			return 1
		}
		return 0
	})
	return found, nil
}
