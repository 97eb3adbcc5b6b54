package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"firstoff/bureau"
	"firstoff/bureau/making"
	"firstoff/money"
	"firstoff/shopfloor/build"
	"firstoff/shopfloor/feedstock"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/purchase"
	"firstoff/shopfloor/traveller"
)

// floor is the shop floor for programs: the same steps as its pages. Events are sent with an id of the sender's own making, 8 to 64
// letters, digits and hyphens; the same id again changes nothing, so a sender may repeat until it is answered.
func (s *server) floor(a huma.API) {
	type board struct {
		Places []making.Place   `json:"places"`
		Short  []making.Waiting `json:"short"`
	}
	serve(s, a, "GET", "/floor", "floorBoard", "What comes next at every machine, bath and bench", func(ctx context.Context, _ *struct{}) (board, error) {
		p, short, err := s.Floor.Board(ctx)
		return board{p, short}, err
	})
	serve(s, a, "GET", "/travellers", "listTravellers", "Travellers, soonest promise first", func(ctx context.Context, in *listed) (bureau.Listing[traveller.Traveller], error) {
		if in.Limit == 0 {
			in.Limit = 50
		}
		items, total, err := s.Floor.Travellers(ctx, in.State, in.Offset, in.Limit)
		return bureau.Listing[traveller.Traveller]{Items: items, Total: total, Offset: in.Offset, Limit: in.Limit}, err
	})
	serve(s, a, "GET", "/travellers/{id}", "getTraveller", "A traveller, how it stands and what happened to it", func(ctx context.Context, in *ByID) (making.Card, error) {
		return s.Floor.Card(ctx, in.ID)
	})
	type reported struct {
		ByID
		Body traveller.Event
	}
	serve(s, a, "POST", "/travellers/{id}/events", "reportTraveller", "Report what happened to a traveller", func(ctx context.Context, in *reported) (making.Card, error) {
		in.Body.Traveller = in.ID
		if in.Body.Who == "" {
			in.Body.Who = who
		}
		return s.Floor.Report(ctx, in.Body)
	})
	type planned struct {
		Body struct {
			ID         string   `json:"id" doc:"The sender's own id of this report."`
			Machine    string   `json:"machine"`
			Travellers []string `json:"travellers"`
		}
	}
	serve(s, a, "POST", "/builds", "planBuild", "Gather waiting pieces into one build", func(ctx context.Context, in *planned) (build.Build, error) {
		return s.Floor.PlanBuild(ctx, who, in.Body.ID, in.Body.Machine, in.Body.Travellers)
	})
	serve(s, a, "GET", "/builds/{id}", "getBuild", "A build, how it stands and what happened to it", func(ctx context.Context, in *ByID) (making.BuildCard, error) {
		return s.Floor.Build(ctx, in.ID)
	})
	type buildEvent struct {
		ByID
		Body build.Event
	}
	serve(s, a, "POST", "/builds/{id}/events", "reportBuild", "Report what happened to a build", func(ctx context.Context, in *buildEvent) (making.BuildCard, error) {
		in.Body.Build = in.ID
		if in.Body.Who == "" {
			in.Body.Who = who
		}
		return s.Floor.ReportBuild(ctx, in.Body)
	})
	type find struct {
		State []string `query:"state"`
		Find  string   `query:"find"`
	}
	type lots struct {
		Items []making.LotCard `json:"items"`
	}
	serve(s, a, "GET", "/lots", "listLots", "Lots of material", func(ctx context.Context, in *find) (lots, error) {
		l, err := s.Floor.Lots(ctx, in.State, in.Find)
		return lots{l}, err
	})
	type received struct {
		ID   string `query:"id" doc:"The sender's own id of this report." required:"true"`
		Body feedstock.Lot
	}
	serve(s, a, "POST", "/lots", "receiveLot", "Receive a lot of material", func(ctx context.Context, in *received) (feedstock.Lot, error) {
		return s.Floor.ReceiveLot(ctx, who, in.ID, in.Body)
	})
	type lotEvent struct {
		ByID
		Body feedstock.Event
	}
	serve(s, a, "POST", "/lots/{id}/events", "reportLot", "Report what happened to a lot", func(ctx context.Context, in *lotEvent) (making.LotCard, error) {
		in.Body.Lot = in.ID
		if in.Body.Who == "" {
			in.Body.Who = who
		}
		return s.Floor.ReportLot(ctx, in.Body)
	})
	type of struct {
		Of string `query:"of" doc:"Number of a lot, piece, order, traveller, build, purchase, machine or partner; a file's SHA-256; a name."`
	}
	serve(s, a, "GET", "/trace", "trace", "Where something went and what went into it", func(ctx context.Context, in *of) (making.Traced, error) {
		return s.Floor.Trace(ctx, in.Of)
	})
}

// leaving is what happens to orders after they were accepted.
func (s *server) leaving(a huma.API) {
	type sending struct {
		ByID
		Body struct {
			Pieces    []string `json:"pieces,omitempty" doc:"None: all that are good."`
			Carrier   string   `json:"carrier,omitempty"`
			Reference string   `json:"reference,omitempty"`
			Note      string   `json:"note,omitempty"`
		}
	}
	type sent struct {
		Order    order.Order    `json:"order"`
		Delivery order.Delivery `json:"delivery"`
	}
	serve(s, a, "POST", "/orders/{id}/deliveries", "deliver", "Send good pieces out", func(ctx context.Context, in *sending) (sent, error) {
		b := in.Body
		o, d, err := s.Floor.Deliver(ctx, who, in.ID, making.Sending{Pieces: b.Pieces, Carrier: b.Carrier, Reference: b.Reference, Note: b.Note})
		return sent{o, d}, err
	})
	type back struct {
		ByID
		Delivery string `path:"delivery"`
		Body     struct {
			Reason string `json:"reason"`
		}
	}
	serve(s, a, "POST", "/orders/{id}/deliveries/{delivery}/take-back", "takeBack", "Undo a delivery entered by mistake", func(ctx context.Context, in *back) (order.Order, error) {
		return s.Floor.TakeBack(ctx, who, in.ID, in.Delivery, in.Body.Reason)
	})
	type which struct {
		ByID
		Pieces []string `query:"piece" doc:"None: all that did not go out."`
	}
	serve(s, a, "GET", "/orders/{id}/cancel-cost", "cancelCost", "What cancelling would be charged", func(ctx context.Context, in *which) (order.Change, error) {
		return s.Floor.CancelCost(ctx, in.ID, in.Pieces)
	})
	type cancelling struct {
		ByID
		Body struct {
			Pieces    []string      `json:"pieces,omitempty" doc:"None: all that did not go out."`
			Reason    string        `json:"reason"`
			Charge    *money.Amount `json:"charge_minor,omitempty" doc:"Net; absent: as worked out."`
			ChargeWhy string        `json:"charge_why,omitempty"`
		}
	}
	serve(s, a, "POST", "/orders/{id}/cancel", "cancelOrder", "Cancel an order or pieces of it", func(ctx context.Context, in *cancelling) (order.Order, error) {
		b := in.Body
		return s.Floor.Cancel(ctx, who, in.ID, making.Cancelling{Pieces: b.Pieces, Reason: b.Reason, Charge: b.Charge, ChargeWhy: b.ChargeWhy})
	})
	type written struct {
		ByID
		Body struct {
			Pieces []string `json:"pieces"`
			Reason string   `json:"reason"`
		}
	}
	serve(s, a, "POST", "/orders/{id}/write-off", "writeOff", "Give scrapped pieces up", func(ctx context.Context, in *written) (order.Order, error) {
		return s.Floor.WriteOff(ctx, who, in.ID, in.Body.Pieces, in.Body.Reason)
	})
	type buying struct {
		Items []making.ToBuy `json:"items"`
	}
	serve(s, a, "GET", "/purchases/waiting", "toBuy", "What waits for partners", func(ctx context.Context, _ *struct{}) (buying, error) {
		b, err := s.Floor.ToBuy(ctx)
		return buying{b}, err
	})
	serve(s, a, "GET", "/purchases", "listPurchases", "Work bought of partners, soonest need first", func(ctx context.Context, in *listed) (bureau.Listing[purchase.Purchase], error) {
		if in.Limit == 0 {
			in.Limit = 50
		}
		items, total, err := s.Floor.Purchases(ctx, in.State, in.Offset, in.Limit)
		return bureau.Listing[purchase.Purchase]{Items: items, Total: total, Offset: in.Offset, Limit: in.Limit}, err
	})
	type asking struct {
		Body struct {
			ID         string   `json:"id" doc:"The sender's own id of this report."`
			Partner    string   `json:"partner"`
			Travellers []string `json:"travellers"`
		}
	}
	serve(s, a, "POST", "/purchases", "askPartner", "Write a purchase of a partner", func(ctx context.Context, in *asking) (purchase.Purchase, error) {
		return s.Floor.Ask(ctx, who, in.Body.ID, in.Body.Partner, in.Body.Travellers)
	})
	serve(s, a, "GET", "/purchases/{id}", "getPurchase", "A purchase, how it stands and what happened to it", func(ctx context.Context, in *ByID) (making.PurchaseCard, error) {
		return s.Floor.Purchase(ctx, in.ID)
	})
	type event struct {
		ByID
		Body purchase.Event
	}
	serve(s, a, "POST", "/purchases/{id}/events", "reportPurchase", "Report what happened to a purchase", func(ctx context.Context, in *event) (making.PurchaseCard, error) {
		in.Body.Purchase = in.ID
		if in.Body.Who == "" {
			in.Body.Who = who
		}
		return s.Floor.ReportPurchase(ctx, in.Body)
	})
}
