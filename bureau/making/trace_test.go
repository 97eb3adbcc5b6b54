package making_test

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"firstoff/bureau/making"
	"firstoff/client"
	"firstoff/demo"
	"firstoff/digest"
	"firstoff/shop"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/traveller"
	"firstoff/store"
	"firstoff/trail"
)

// BenchmarkTraceMillion: from a bad lot to all its parts and clients among a million events of the trail. Each event is a piece's pass
// with a lot; a lot of powder went into 600 pieces of 40 orders, and half of it into a blend that went into 400 more.
func BenchmarkTraceMillion(b *testing.B) {
	const events, perLot = 1_000_000, 1000
	c := b.Context()
	s, err := store.Open(c, filepath.Join(b.TempDir(), "desk.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	if err := s.Migrate(c); err != nil {
		b.Fatal(err)
	}
	cat := demo.Shop()
	f, err := making.New(making.Ports{Records: s, Clock: func() time.Time { return day }, Catalogue: func() *shop.Catalogue { return cat }})
	if err != nil {
		b.Fatal(err)
	}
	var clients []string
	for i := range 50 {
		k := client.Client{ID: fmt.Sprintf("C-%d", 2001+i), Firm: fmt.Sprintf("Firm %d", i), Created: day}
		if err := s.AddClient(c, &k); err != nil {
			b.Fatal(err)
		}
		clients = append(clients, k.ID)
	}
	for lot := range events / perLot {
		lots := feedstock.Lot{ID: fmt.Sprintf("M-%d", 2001+2*lot), Material: "PA12", ReceivedG: 1e6, Made: day}
		blend := feedstock.Lot{ID: fmt.Sprintf("M-%d", 2002+2*lot), Material: "PA12", ReceivedG: 1e6, Made: day, Parents: []feedstock.Share{{Lot: lots.ID, G: 1}}}
		for _, l := range []*feedstock.Lot{&lots, &blend} {
			if err := s.AddLot(c, l); err != nil {
				b.Fatal(err)
			}
		}
		err := s.InTx(c, func(c2 context.Context) error {
			for order := range 40 {
				o := 100000 + lot*40 + order
				t := traveller.Traveller{ID: fmt.Sprintf("T-%d", o), OrderID: fmt.Sprintf("O-%d", o), ClientID: clients[o%len(clients)], Digest: digest.Of([]byte{byte(order)})}
				var come []traveller.Touch
				for n := range perLot / 40 {
					x := traveller.Touch{Piece: fmt.Sprintf("O-%d-1-%02d", o, n), Op: 2, Lot: lots.ID, Machine: "bittern", Build: fmt.Sprintf("B-%d", o/4), Who: "P", At: day.Add(time.Duration(o) * time.Minute)}
					if order >= 24 {
						x.Lot = blend.ID
					}
					come = append(come, x)
					if err := s.Log(c2, trail.Event{At: x.At, Who: "P", What: "floor.finish", About: t.ID, In: t.OrderID, Is: x.Piece}); err != nil {
						return err
					}
				}
				if err := s.ChangeTouches(c2, t, nil, come); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	if n, err := s.LastEvent(c); err != nil || n < events {
		b.Fatal(n, err)
	}
	i := 0
	for b.Loop() {
		i++
		got, err := f.Trace(c, fmt.Sprintf("M-%d", 2001+2*(i*37%(events/perLot))))
		if err != nil || len(got.Pieces) != perLot || len(got.Orders) != 40 || len(got.Clients) != 40 {
			b.Fatalf("%v: %d pieces, %d orders, %d clients", err, len(got.Pieces), len(got.Orders), len(got.Clients))
		}
	}
}
