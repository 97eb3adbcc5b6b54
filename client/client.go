// Package client is who asks: the client's firm and the person to write to.
//
// Personal data is kept to what a quotation needs: a name, an address to send to, a way to reach them.
package client

import (
	"strings"
	"time"

	"firstoff/fault"
)

// Client is a firm with one contact. ID is a readable number, e.g. "C-1001".
type Client struct {
	ID      string    `json:"id"`
	Firm    string    `json:"firm"`
	Contact string    `json:"contact,omitempty"`
	Email   string    `json:"email,omitempty"`
	Phone   string    `json:"phone,omitempty"`
	Address []string  `json:"address,omitempty"`
	Created time.Time `json:"created"`
	Version int       `json:"version"` // counts changes; a stale writer gets a Conflict
}

// Name is what to call the client in a list: the firm, else the contact, else the number.
func (c Client) Name() string {
	for _, s := range []string{c.Firm, c.Contact, c.ID} {
		if s != "" {
			return s
		}
	}
	return "?"
}

// Check says what keeps c from being kept: it needs a firm or a contact, and an e-mail address must look like one.
// Faults: Invalid "client_nameless", "client_email".
func (c Client) Check() error {
	if strings.TrimSpace(c.Firm) == "" && strings.TrimSpace(c.Contact) == "" {
		return fault.New(fault.Invalid, "client_nameless", "client", "Say who is asking: a firm or a person's name.")
	}
	if c.Email != "" {
		at := strings.LastIndexByte(c.Email, '@')
		if at < 1 || at == len(c.Email)-1 || strings.ContainsAny(c.Email, " \t\r\n<>") {
			return fault.New(fault.Invalid, "client_email", "client.email", "%q is not an e-mail address; write it as name@example.org.", c.Email)
		}
	}
	return nil
}
