// Package quote is the quotation: frozen lines with what was chosen and what else would be possible, the sum, until when
// it holds, the terms, and its states. A quotation is drafted, then issued; from then on nothing in it changes any
// more (Body.Digest is written into the trail) and only its state moves. A change is a new revision.
//
//	draft → issued → accepted | declined
//	  ↓        ↓ ↘
//	withdrawn  withdrawn, superseded (the next revision was issued)
//
// Expired is what an issued quotation is once its last day is over (On); it follows from the date and is never written down.
//
// Money is in minor units of Body.Currency. Dates are 2006-01-02 in the firm's time zone.
package quote

import (
	"time"

	"firstoff/desk/offer"
	"firstoff/digest"
	"firstoff/money"
	"firstoff/part"
)

// State of a quotation.
type State string

const (
	Draft      State = "draft"
	Issued     State = "issued"
	Accepted   State = "accepted"
	Declined   State = "declined"
	Expired    State = "expired"
	Superseded State = "superseded"
	Withdrawn  State = "withdrawn"
)

// Quotation is one revision. ID is number and revision letter, e.g. "Q-1001-A".
type Quotation struct {
	ID        string        `json:"id"`
	Number    string        `json:"number"`   // "Q-1001"
	Revision  string        `json:"revision"` // "A", "B" …
	RequestID string        `json:"request_id"`
	ClientID  string        `json:"client_id"`
	State     State         `json:"state"`
	Created   time.Time     `json:"created"`
	Issued    time.Time     `json:"issued,omitzero"`
	Decided   time.Time     `json:"decided,omitzero"` // accepted, declined, withdrawn …
	DecidedBy string        `json:"decided_by,omitempty"`
	Reason    string        `json:"reason,omitempty"`
	Frozen    digest.Digest `json:"frozen,omitempty"` // digest of Body when issued
	Body      Body          `json:"body"`
	Version   int           `json:"version"`
}

// Body is what the client is offered: everything that is printed.
type Body struct {
	Currency    string       `json:"currency"`
	Digits      int          `json:"digits"` // fraction digits of the currency
	Lines       []Line       `json:"lines"`
	Sums        Sums         `json:"sums"`
	ValidUntil  string       `json:"valid_until"`  // last day it may be accepted
	PromisedFor string       `json:"promised_for"` // the latest line's date, if accepted on the day of issue
	Terms       []string     `json:"terms,omitempty"`
	Assumptions []string     `json:"assumptions,omitempty"`
	Cautions    []string     `json:"cautions,omitempty"`
	Note        string       `json:"note,omitempty"` // to the client
	To          Addressee    `json:"to"`
	MadeFrom    Provenance   `json:"made_from"`
	OrderMin    money.Amount `json:"order_minimum_minor"`
	Left        []string     `json:"left_out,omitempty"` // request lines a person left out
}

// Addressee is the client as printed.
type Addressee struct {
	Firm    string   `json:"firm"`
	Contact string   `json:"contact,omitempty"`
	Email   string   `json:"email,omitempty"`
	Address []string `json:"address,omitempty"`
}

// Provenance names what the numbers were computed from, so that they can be computed again.
type Provenance struct {
	Catalogue digest.Digest `json:"catalogue"`
	Kernel    int           `json:"kernel"`
	Load      digest.Digest `json:"load"`
	Now       time.Time     `json:"now"`
	Seed      uint64        `json:"seed"`
	// Coefficients names the set of factors that actuals have taught; empty: the catalogue's own figures.
	Coefficients string `json:"coefficients,omitempty"`
}

// Answer is a table of options together with what it was computed from.
type Answer struct {
	Table    offer.Table `json:"table"`
	MadeFrom Provenance  `json:"made_from"`
}

// Line is one part as quoted.
type Line struct {
	LineID       string           `json:"line_id"`
	Position     int              `json:"position"` // as printed, from 1
	Name         string           `json:"name"`
	FileName     string           `json:"file_name"`
	Digest       digest.Digest    `json:"sha256"`
	Viewer       digest.Digest    `json:"viewer,omitempty"`
	Qty          int              `json:"qty"`
	Requirement  part.Requirement `json:"requirement"`
	Facts        part.Facts       `json:"facts"`
	Unit         string           `json:"unit,omitempty"` // the length unit taken, when the file did not state it
	Choice       offer.Option     `json:"choice"`
	Alternatives []offer.Option   `json:"alternatives,omitempty"`
	UnitPrice    money.Amount     `json:"unit_price_minor"` // what is asked: computed, or what a person set
	Total        money.Amount     `json:"total_minor"`
	Promised     string           `json:"promised"` // the option's P90 date
	// Set is a price a person decided on; the computed one stays in Choice.
	Set *SetPrice `json:"set_price,omitempty"`
	// Breaks are the computed prices of the choice at other quantities, where the table has them.
	Breaks []offer.Break `json:"breaks,omitempty"`
}

// SetPrice is a person's decision on a unit price: who, when, why. It never overwrites the computed price.
type SetPrice struct {
	UnitPrice money.Amount `json:"unit_price_minor"`
	Who       string       `json:"who"`
	Why       string       `json:"why"`
	At        time.Time    `json:"at"`
}

// Sums are the totals of a quotation.
type Sums struct {
	Goods    money.Amount `json:"goods_minor"`
	Minimum  money.Amount `json:"minimum_minor"` // what is added to reach the order minimum
	Shipping money.Amount `json:"shipping_minor"`
	Net      money.Amount `json:"net_minor"`
	TaxName  string       `json:"tax_name,omitempty"`
	TaxPct   float64      `json:"tax_pct"`
	Tax      money.Amount `json:"tax_minor"`
	Total    money.Amount `json:"total_minor"`
}
