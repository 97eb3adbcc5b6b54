package web

import (
	"context"
	"net/http"
	"time"

	"firstoff/appraise"
	"firstoff/desk/offer"
	"firstoff/fault"
	"firstoff/shopfloor/order"
)

// Hasten answers what would bring a line forward.
type Hasten interface {
	// SoonerOrder is for a line of an order, SoonerLine for a line of a request with one of its options.
	SoonerOrder(ctx context.Context, orderID, lineID string) (appraise.Sooner, error)
	SoonerLine(ctx context.Context, lineID, option string) (appraise.Sooner, offer.Option, error)
}

// hastened is one line of the page.
type hastened struct {
	line order.Line
	s    appraise.Sooner
	due  time.Time
}

// soonerOrder shows what would bring an order forward, line by line.
func (k *desk) soonerOrder(w http.ResponseWriter, r *http.Request) error {
	if k.Hasten == nil {
		return fault.New(fault.NotFound, "board_missing", "", "This desk was started without the work in hand.")
	}
	o, err := k.Steps.Order(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	var all []hastened
	for _, l := range o.Lines {
		s, err := k.Hasten.SoonerOrder(r.Context(), o.ID, l.LineID)
		if err != nil {
			return err
		}
		due, _ := time.ParseInLocation(time.DateOnly, l.Promised, k.location())
		all = append(all, hastened{l, s, due})
	}
	k.show(w, r, http.StatusOK, soonerPage(k.frame(r, "Sooner: "+o.ID, "orders"), o, all))
	return nil
}

// soonerLine shows what would bring a line of a request forward, for the option chosen or picked.
func (k *desk) soonerLine(w http.ResponseWriter, r *http.Request) error {
	if k.Hasten == nil {
		return fault.New(fault.NotFound, "board_missing", "", "This desk was started without the work in hand.")
	}
	l, err := k.Steps.Line(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	s, o, err := k.Hasten.SoonerLine(r.Context(), l.ID, r.URL.Query().Get("option"))
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, soonerLinePage(k.frame(r, "Sooner: "+l.Name, "requests"), l.Line, o, s))
	return nil
}

// wayWord names a way.
func wayWord(kind string) string {
	switch kind {
	case "machine":
		return "another machine"
	case "layer":
		return "coarser layers"
	case "infill":
		return "sparser inside"
	case "partner":
		return "a partner"
	case "process":
		return "another process"
	case "swap":
		return "change places"
	}
	return kind
}
