// Package order is the client's order: what was accepted from which quotation, line by line and piece by piece, with
// the promised date. An order is made by Accept and by nothing else; its state follows from its pieces (Settle).
//
//	accepted → in work → done → delivered
//	    ↘         ↓        ↓
//	          cancelled
//
// done: nothing is left to make. delivered: all that was not cancelled or written off has left the house, in one delivery
// or several.
package order

import (
	"time"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/digest"
	"firstoff/money"
	"firstoff/part"
)

// State of an order.
type State string

const (
	Accepted  State = "accepted"
	InWork    State = "in work"
	Done      State = "done"
	Delivered State = "delivered"
	Cancelled State = "cancelled"
)

// Open says whether there is still something to make for it.
func (s State) Open() bool { return s == Accepted || s == InWork }

// States of a piece.
const (
	Due            = "due" // until the shop floor takes it up
	PieceInWork    = "in work"
	Good           = "good"  // made, in the house
	Scrap          = "scrap" // to be made again or written off
	PieceDelivered = "delivered"
	PieceCancelled = "cancelled"
	WrittenOff     = "written off" // scrap that is not made again
)

// Sums as on the quotation.
type Sums = quote.Sums

// Order is what the client bought. ID is a readable number, e.g. "O-1001".
type Order struct {
	ID          string       `json:"id"`
	QuotationID string       `json:"quotation_id"` // with revision
	RequestID   string       `json:"request_id"`
	ClientID    string       `json:"client_id"`
	State       State        `json:"state"`
	Lines       []Line       `json:"lines"`
	Currency    string       `json:"currency"`
	Digits      int          `json:"digits"`
	Net         money.Amount `json:"net_minor"`
	Total       money.Amount `json:"total_minor"`
	Promised    string       `json:"promised"`            // 2006-01-02, the latest line's date
	Reference   string       `json:"reference,omitempty"` // the client's own order number
	AcceptedBy  string       `json:"accepted_by"`
	AcceptedAt  time.Time    `json:"accepted_at"`
	Sums        Sums         `json:"sums"`
	OrderMin    money.Amount `json:"order_min_minor,omitempty"`
	Deliveries  []Delivery   `json:"deliveries,omitempty"` // oldest first
	Changes     []Change     `json:"changes,omitempty"`    // oldest first
	Version     int          `json:"version"`
}

// Line is one part ordered.
type Line struct {
	LineID      string           `json:"line_id"` // the request's line
	Position    int              `json:"position"`
	Name        string           `json:"name"`
	Digest      digest.Digest    `json:"sha256"`
	Qty         int              `json:"qty"`
	Requirement part.Requirement `json:"requirement"`
	Option      offer.Option     `json:"option"`
	UnitPrice   money.Amount     `json:"unit_price_minor"`
	Charged     money.Amount     `json:"charged_minor,omitempty"` // for cancelled pieces
	Total       money.Amount     `json:"total_minor"`             // of the pieces that stay, and what is charged
	Promised    string           `json:"promised"`
	Pieces      []Piece          `json:"pieces"`
}

// Piece is one part to be made. ID is order, line position and count, e.g. "O-1001-2-07".
type Piece struct {
	ID       string `json:"id"`
	State    string `json:"state"`
	Reason   string `json:"reason,omitempty"`   // why cancelled or written off
	Delivery string `json:"delivery,omitempty"` // it went out with
}

// Settled says that nothing more happens to it: delivered, cancelled or written off.
func (p Piece) Settled() bool {
	return p.State == PieceDelivered || p.State == PieceCancelled || p.State == WrittenOff
}

// Begun says whether anything was done to it.
func (p Piece) Begun() bool {
	return p.State == PieceInWork || p.State == Good || p.State == Scrap || p.State == PieceDelivered || p.State == WrittenOff
}
