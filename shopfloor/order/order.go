// Package order is the client's order: what was accepted from which quotation, line by line and piece by piece, with
// the promised date. An order is made by Accept and by nothing else.
//
//	accepted → in work → done
//	    ↘         ↓
//	       cancelled
package order

import (
	"time"

	"firstoff/desk/offer"
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
	Cancelled State = "cancelled"
)

// Open says whether there is still work to do for it.
func (s State) Open() bool { return s == Accepted || s == InWork }

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
	Total       money.Amount     `json:"total_minor"`
	Promised    string           `json:"promised"`
	Pieces      []Piece          `json:"pieces"`
}

// Piece is one part to be made. ID is order, line position and count, e.g. "O-1001-2-07".
type Piece struct {
	ID    string `json:"id"`
	State string `json:"state"` // "due" until the shop floor takes it up
}
