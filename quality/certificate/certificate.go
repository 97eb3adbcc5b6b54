// Package certificate is the statement that delivered parts are what was ordered, with the evidence behind it and a
// seal over every word, so that a printed certificate can be told from an altered one.
//
// The seal is the SHA-256 of the certificate's canonical form: every field in a fixed order with its length in front.
// It proves that nothing was changed against the bureau's own record; it is not a signature: whoever can write the
// record can write another. Times in UTC to the second.
//
// Promises: any change to any field changes the seal (TestEveryFieldIsSealed); a certificate read back from JSON has the
// seal it had (TestJSONKeepsTheSeal); parts that are held are not certified (TestRefusals); a printed code is compared
// whatever its case and gaps (TestPrinted).
//
// Not here: printing and the QR picture (paper), keeping records (store), inspection itself (quality/inspect).
//
// Sources: the fields are those such certificates commonly carry (common practice; ISO/IEC 17050-1 from memory); the
// letters of the short code are Crockford's base 32, from memory.
package certificate

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math/big"
	"reflect"
	"slices"
	"strings"
	"time"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/quality/inspect"
)

// Certificate is a certificate of conformity.
type Certificate struct {
	Number     string        `json:"number"`
	Issuer     string        `json:"issuer"`
	Client     string        `json:"client"`
	Order      string        `json:"order"`
	ClientRef  string        `json:"clientRef,omitempty"` // the client's own order number
	Part       string        `json:"part"`
	Revision   string        `json:"revision,omitempty"`
	File       digest.Digest `json:"file"` // of the part's file: the model is the master
	Quantity   int           `json:"quantity"`
	Serials    []string      `json:"serials,omitempty"`
	Process    string        `json:"process"` // category and code, e.g. PBF-LB/P
	Machine    string        `json:"machine,omitempty"`
	Settings   string        `json:"settings,omitempty"`
	Material   string        `json:"material"`
	Lots       []string      `json:"lots"`
	Treatments []string      `json:"treatments,omitempty"`
	Standards  []string      `json:"standards,omitempty"`
	Deviations []Deviation   `json:"deviations,omitempty"`
	Evidence   []Evidence    `json:"evidence"`
	Statement  string        `json:"statement"`
	SignedBy   string        `json:"signedBy"`
	Role       string        `json:"role,omitempty"`
	At         time.Time     `json:"at"`
	Replaces   string        `json:"replaces,omitempty"` // the number of the certificate this one stands for
	Seal       digest.Digest `json:"seal"`
}

// Deviation is a nonconformance the client agreed to.
type Deviation struct {
	Number     string `json:"number"`
	Text       string `json:"text"`
	Concession string `json:"concession"`
	Quantity   int    `json:"quantity"`
}

// Evidence is a record the statement rests on, named by its content.
type Evidence struct {
	Kind   string        `json:"kind"` // order, build, lot, traveller, inspection, scan, first article, nonconformance, …
	Number string        `json:"number"`
	Digest digest.Digest `json:"digest"`
}

// Make checks, words and seals a certificate. The nonconformances are all those of the delivered lots: parts that are
// held keep it from being made, and what the client agreed to is listed as a deviation. An empty Statement is worded.
func Make(c Certificate, raised []inspect.Nonconformance) (Certificate, error) {
	c.At = c.At.UTC().Truncate(time.Second)
	for _, f := range []struct{ name, v string }{{"number", c.Number}, {"issuer", c.Issuer}, {"client", c.Client}, {"order", c.Order}, {"part", c.Part},
		{"process", c.Process}, {"material", c.Material}, {"signature", c.SignedBy}} {
		if strings.TrimSpace(f.v) == "" {
			return c, fault.New(fault.Invalid, "certificate_incomplete", c.Number, "the certificate lacks its %s", f.name)
		}
	}
	switch {
	case c.At.IsZero():
		return c, fault.New(fault.Invalid, "certificate_incomplete", c.Number, "the certificate lacks its date")
	case c.Quantity < 1:
		return c, fault.New(fault.Invalid, "certificate_quantity", c.Number, "a certificate is over at least one part")
	case len(c.Serials) > 0 && len(c.Serials) != c.Quantity:
		return c, fault.New(fault.Invalid, "certificate_quantity", c.Number, "%d serial numbers stand for %d parts; name all or none", len(c.Serials), c.Quantity)
	case !c.File.Valid():
		return c, fault.New(fault.Invalid, "certificate_incomplete", c.Number, "the certificate lacks the digest of the part's file")
	case len(c.Lots) == 0:
		return c, fault.New(fault.Invalid, "certificate_incomplete", c.Number, "the certificate names no material lot")
	case len(c.Evidence) == 0:
		return c, fault.New(fault.Invalid, "certificate_no_evidence", c.Number, "nothing supports the statement; add the inspection or the traveller")
	}
	c.Evidence = slices.Clone(c.Evidence)
	for _, e := range c.Evidence {
		if e.Kind == "" || e.Number == "" || !e.Digest.Valid() {
			return c, fault.New(fault.Invalid, "certificate_evidence", c.Number, "evidence needs a kind, a number and the digest of its content: %q %q has not", e.Kind, e.Number)
		}
	}
	slices.SortFunc(c.Evidence, func(a, b Evidence) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Number, b.Number), cmp.Compare(a.Digest, b.Digest))
	})
	c.Evidence = slices.Compact(c.Evidence)
	c.Deviations = slices.Clone(c.Deviations)
	for _, n := range raised {
		if n.Holds() {
			return c, fault.New(fault.Conflict, "certificate_held", c.Number, "parts are held by nonconformance %s; decide on it first", n.Number)
		}
		for _, d := range n.Disposals {
			if inspect.NeedsClient(d.Disposition) {
				c.Deviations = append(c.Deviations, Deviation{n.Number, n.Requirement + ": " + n.Found + " (" + string(d.Disposition) + ")", d.Concession, d.Quantity})
			}
		}
	}
	slices.SortFunc(c.Deviations, func(a, b Deviation) int {
		return cmp.Or(cmp.Compare(a.Number, b.Number), cmp.Compare(a.Text, b.Text), cmp.Compare(a.Concession, b.Concession), cmp.Compare(a.Quantity, b.Quantity))
	})
	c.Deviations = slices.Compact(c.Deviations)
	for _, d := range c.Deviations {
		if strings.TrimSpace(d.Concession) == "" {
			return c, fault.New(fault.Conflict, "certificate_no_concession", c.Number, "deviation %s has no concession of the client", d.Number)
		}
	}
	if c.Statement == "" {
		c.Statement = c.words()
	}
	c.Seal = c.sum()
	return c, nil
}

func (c Certificate) words() string {
	parts := "parts were"
	if c.Quantity == 1 {
		parts = "part was"
	}
	s := fmt.Sprintf("We state that the %d %s made and inspected to order %s", c.Quantity, parts, c.Order)
	if len(c.Standards) > 0 {
		s += " and to " + strings.Join(c.Standards, ", ")
	}
	if len(c.Deviations) == 0 {
		return s + " and conform without exception."
	}
	return s + " and conform except for the deviations listed, to which the client agreed."
}

// sum is the seal: SHA-256 over the canonical form.
func (c Certificate) sum() digest.Digest {
	h := digest.New()
	put := func(s string) {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(s)))
		h.Write(n[:])
		h.Write([]byte(s))
	}
	count := func(n int) { put(fmt.Sprint(n)) }
	list := func(l []string) {
		count(len(l))
		for _, s := range l {
			put(s)
		}
	}
	put("certificate of conformity 1") // the version of this form
	for _, s := range []string{c.Number, c.Issuer, c.Client, c.Order, c.ClientRef, c.Part, c.Revision, string(c.File)} {
		put(s)
	}
	count(c.Quantity)
	list(c.Serials)
	for _, s := range []string{c.Process, c.Machine, c.Settings, c.Material} {
		put(s)
	}
	list(c.Lots)
	list(c.Treatments)
	list(c.Standards)
	count(len(c.Deviations))
	for _, d := range c.Deviations {
		put(d.Number)
		put(d.Text)
		put(d.Concession)
		count(d.Quantity)
	}
	count(len(c.Evidence))
	for _, e := range c.Evidence {
		put(e.Kind)
		put(e.Number)
		put(string(e.Digest))
	}
	for _, s := range []string{c.Statement, c.SignedBy, c.Role, c.At.UTC().Format(time.RFC3339Nano), c.Replaces} {
		put(s)
	}
	return digest.Sum(h)
}

// Intact says whether the certificate is as it was sealed.
func (c Certificate) Intact() bool { return c.Seal.Valid() && c.Seal == c.sum() }

const alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// Code is the short form of the seal that people read off paper: its first 80 bits in groups of four.
func (c Certificate) Code() string { return code(c.Seal) }

func code(d digest.Digest) string {
	if !d.Valid() {
		return ""
	}
	n, _ := new(big.Int).SetString(string(d[:20]), 16)
	var b [16]byte
	base, r := big.NewInt(32), new(big.Int)
	for i := 15; i >= 0; i-- {
		n.DivMod(n, base, r)
		b[i] = alphabet[r.Int64()]
	}
	return string(b[0:4]) + "-" + string(b[4:8]) + "-" + string(b[8:12]) + "-" + string(b[12:16])
}

// plain is a code as typed, without case, gaps and the letters that look like digits.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case 'O':
			return '0'
		case 'I', 'L':
			return '1'
		case ' ', '-', '\t', '\u00a0', '\u2009':
			return -1
		}
		return r
	}, strings.ToUpper(s))
}

// Answer is what the verification page says.
type Answer string

const (
	Genuine   Answer = "genuine"
	Altered   Answer = "altered"   // the code does not belong to this number: the paper was changed
	Unknown   Answer = "unknown"   // no such number was issued
	Replaced  Answer = "replaced"  // genuine, but another stands for it now
	Withdrawn Answer = "withdrawn" // genuine, but no longer valid
	Damaged   Answer = "damaged"   // the bureau's own record is not as it was sealed
)

// Record is what is known under a number.
type Record struct {
	Certificate Certificate
	ReplacedBy  string
	Withdrawn   string // the reason, or empty
}

// Verify compares a printed number and code (short or the whole seal) with the record under that number; nil if none.
func Verify(number, printed string, r *Record) Answer {
	switch {
	case r == nil || !strings.EqualFold(strings.TrimSpace(number), strings.TrimSpace(r.Certificate.Number)):
		return Unknown
	case !r.Certificate.Intact():
		return Damaged
	}
	whole := strings.EqualFold(strings.TrimSpace(printed), string(r.Certificate.Seal))
	if !whole && plain(printed) != plain(r.Certificate.Code()) {
		return Altered
	}
	switch {
	case r.Withdrawn != "":
		return Withdrawn
	case r.ReplacedBy != "":
		return Replaced
	}
	return Genuine
}

// Differences names the fields in which two certificates differ, by their JSON names: what was changed on a paper whose
// data was sent in.
func Differences(a, b Certificate) []string {
	var out []string
	va, vb := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range va.NumField() {
		x, y := va.Field(i), vb.Field(i)
		same := reflect.DeepEqual(x.Interface(), y.Interface())
		if x.Kind() == reflect.Slice && x.Len() == 0 && y.Len() == 0 {
			same = true
		}
		if t, ok := x.Interface().(time.Time); ok {
			same = t.Equal(y.Interface().(time.Time))
		}
		if !same {
			name, _, _ := strings.Cut(va.Type().Field(i).Tag.Get("json"), ",")
			out = append(out, name)
		}
	}
	return out
}
