package making

import (
	"context"
	"slices"
	"strings"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/shopfloor/traveller"
)

// Traced is everything one thing has to do with.
type Traced struct {
	What    string            `json:"what"` // lot, piece, machine, build, who, traveller, order, client, file
	Of      string            `json:"of"`
	Rows    []traveller.Found `json:"rows"`
	More    bool              `json:"more,omitempty"` // there are more rows than shown
	Pieces  []string          `json:"pieces"`
	Lots    []string          `json:"lots"`
	Orders  []string          `json:"orders"`
	Clients []Named           `json:"clients"`
}

// Named is a number with its name.
type Named struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// mostTraced bounds the rows of one trace.
const mostTraced = 20_000

// Trace finds where something went and what went into it. of is the number on a label: a lot "M-1001", a piece "O-1001-2-07", an
// order, a traveller, a build, a purchase, a client, a machine's or partner's id, a file's SHA-256 or a person's name.
// Fault: Invalid "trace_empty"; NotFound "trace_unknown".
func (f *Floor) Trace(ctx context.Context, of string) (Traced, error) {
	of = tidy(of)
	out := Traced{Of: of, What: f.kindOf(of)}
	if of == "" || len(of) > 200 {
		return out, fault.New(fault.Invalid, "trace_empty", "of", "Write the number of a lot, piece, order, traveller, build or machine, or somebody's name.")
	}
	var err error
	if out.Rows, out.More, err = f.p.Records.Trace(ctx, out.What, of, mostTraced); err != nil {
		return out, err
	}
	for _, r := range out.Rows {
		out.Pieces = append(out.Pieces, r.Piece)
		out.Orders = append(out.Orders, r.OrderID)
		if r.Lot != "" {
			out.Lots = append(out.Lots, r.Lot)
		}
		out.Clients = append(out.Clients, Named{r.ClientID, r.Client})
	}
	for _, list := range []*[]string{&out.Pieces, &out.Lots, &out.Orders} {
		slices.Sort(*list)
		*list = slices.Compact(*list)
	}
	slices.SortFunc(out.Clients, func(a, b Named) int { return strings.Compare(a.ID, b.ID) })
	out.Clients = slices.Compact(out.Clients)
	return out, nil
}

// kindOf says what a number stands for by its form.
func (f *Floor) kindOf(of string) string {
	if digest.Digest(of).Valid() {
		return "file"
	}
	if f.p.Catalogue().Machine(of) != nil || slices.Contains(f.partners(), of) {
		return "machine"
	}
	series, rest, ok := strings.Cut(of, "-")
	if !ok || rest == "" || rest[0] < '0' || rest[0] > '9' {
		return "who"
	}
	switch series {
	case "M":
		return "lot"
	case "T":
		return "traveller"
	case "B", "P": // what came of a partner stands where a build would
		return "build"
	case "C":
		return "client"
	case "O":
		if strings.Contains(rest, "-") {
			return "piece"
		}
		return "order"
	}
	return "who"
}
