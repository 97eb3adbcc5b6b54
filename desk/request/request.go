// Package request is the folder of one enquiry: what the client sent, when it is needed, the files, and one line a part
// with what the part must do. It holds the states and what may follow what; no reading, no pricing.
//
// A request is open until every file has been analysed or failed; then analysed; quoted once a quotation has
// been issued; won when the client accepted, lost when they declined or it came to nothing, withdrawn when the
// client took it back.
//
//	open ⇄ analysed → quoted → won
//	   ↘      ↓         ↓
//	    withdrawn     lost      (each may be reopened)
package request

import (
	"time"

	"firstoff/desk/offer"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/intake/content"
	"firstoff/part"
	"firstoff/unit"
)

// State of a request.
type State string

const (
	Open      State = "open"
	Analysed  State = "analysed"
	Quoted    State = "quoted"
	Won       State = "won"
	Lost      State = "lost"
	Withdrawn State = "withdrawn"
)

// Live says whether the desk still has something to do about it.
func (s State) Live() bool { return s == Open || s == Analysed || s == Quoted }

// Request is the folder. ID is a readable number, e.g. "R-1001".
type Request struct {
	ID       string    `json:"id"`
	Title    string    `json:"title"`
	ClientID string    `json:"client_id"`
	State    State     `json:"state"`
	Reason   string    `json:"reason,omitempty"` // why lost or withdrawn
	Received time.Time `json:"received"`
	NeedBy   string    `json:"need_by,omitempty"` // 2006-01-02
	Note     string    `json:"note,omitempty"`
	Version  int       `json:"version"`
}

// Tally is what a list shows of a request's content.
type Tally struct {
	Files      int `json:"files"`
	Lines      int `json:"lines"`
	Unfinished int `json:"unfinished"` // files waiting or being analysed
	Failed     int `json:"failed"`
}

// FileState is how far a file's analysis has come.
type FileState string

const (
	Waiting   FileState = "waiting"
	Analysing FileState = "analysing"
	Ready     FileState = "ready"
	Failed    FileState = "failed"
)

// Done says whether the analysis has ended, well or not.
func (s FileState) Done() bool { return s == Ready || s == Failed }

// Problem is a fault kept with a file: a stable code and one plain sentence.
type Problem struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Where   string `json:"where,omitempty"`
}

// File is one file as the client sent it. Its content is kept in the blob store under Digest and never changed.
// ID is a readable number, e.g. "F-1001".
type File struct {
	ID        string            `json:"id"`
	RequestID string            `json:"request_id"`
	Digest    digest.Digest     `json:"sha256"`
	Name      string            `json:"name"`
	Size      int64             `json:"size_bytes"`
	Format    string            `json:"format,omitempty"`
	State     FileState         `json:"state"`
	Percent   int               `json:"percent"`
	Step      string            `json:"step,omitempty"` // what is being done: reading, measuring, options
	Problem   *Problem          `json:"problem,omitempty"`
	Unit      UnitQuestion      `json:"unit"`
	Warnings  []content.Warning `json:"warnings,omitempty"`
	Received  time.Time         `json:"received"`
	Round     int               `json:"round"` // counts analyses asked for; an older task's result is dropped
	Version   int               `json:"version"`
}

// UnitQuestion is the file's length unit: stated by the file, or inferred and asked.
type UnitQuestion struct {
	Name       unit.Length `json:"name,omitempty"` // what is used now
	Stated     bool        `json:"stated"`         // the file or a person says so
	Confidence float64     `json:"confidence"`     // 0..1, how sure that Name is right
	Question   string      `json:"question,omitempty"`
	Answer     unit.Length `json:"answer,omitempty"` // what a person said
	AnsweredBy string      `json:"answered_by,omitempty"`
}

// Open says whether somebody should still answer.
func (u UnitQuestion) Open() bool { return u.Question != "" && u.Answer == "" }

// Taken is the unit in words for the quotation's assumptions; empty when the file states it itself.
func (u UnitQuestion) Taken() string {
	switch {
	case u.Answer != "":
		return string(u.Answer) + ", as confirmed"
	case u.Stated || u.Name == "":
		return ""
	}
	return string(u.Name) + ", inferred from the size"
}

// Line is one part of a request: the bodies of one file (or of one member of an archive), how many, and what it
// must do. ID is a readable number, e.g. "L-1001".
type Line struct {
	ID          string           `json:"id"`
	RequestID   string           `json:"request_id"`
	FileID      string           `json:"file_id"`
	Member      int              `json:"member"`   // which part of the file, from 0
	Position    int              `json:"position"` // sorts the lines of a request; not a number to print
	Name        string           `json:"name"`
	Qty         int              `json:"qty"`
	Requirement part.Requirement `json:"requirement"`
	Facts       part.Facts       `json:"facts"`
	Findings    []part.Finding   `json:"findings"`
	Bodies      []string         `json:"bodies,omitempty"` // their names
	Viewer      digest.Digest    `json:"viewer,omitempty"` // GLB for the model viewer, in the blob store
	// Table is the key of the offer.Table last computed for this line at Qty; empty while there is none.
	Table digest.Digest `json:"table,omitempty"`
	// Pick is, out of that table, the chosen option or else the one the desk would take, without its steps and reasons;
	// Options and Refused are how many the table holds.
	Pick    *offer.Option `json:"pick,omitempty"`
	Options int           `json:"options"`
	Refused int           `json:"refused"`
	// Chosen is the option id the desk picked, Alternatives those to be shown beside it.
	Chosen       string   `json:"chosen,omitempty"`
	Alternatives []string `json:"alternatives,omitempty"`
	Aside        bool     `json:"aside,omitempty"` // set aside: kept, but not quoted
	Problem      *Problem `json:"problem,omitempty"`
	Version      int      `json:"version"`
}

// Author says who wrote a message.
type Author string

const (
	FromClient Author = "client"
	FromDesk   Author = "desk"
)

// Message is one remark in the talk with the client on a quotation's link.
type Message struct {
	ID        string    `json:"id"` // e.g. "M-1001"
	RequestID string    `json:"request_id"`
	Quotation string    `json:"quotation"` // quotation id it was written under
	From      Author    `json:"from"`
	Name      string    `json:"name"`
	Text      string    `json:"text"`
	At        time.Time `json:"at"`
	Answered  bool      `json:"answered"` // a client's question the desk has replied to
	Version   int       `json:"version"`
}

// MaxQty is the largest quantity a line may have: above it a different kind of offer is wanted.
const MaxQty = 100_000

// CheckQty says whether a line may have this quantity. Fault: Invalid "qty_range".
func CheckQty(n int) error {
	if n < 1 || n > MaxQty {
		return fault.New(fault.Invalid, "qty_range", "qty", "A quantity of %d is not possible; use 1 to %d.", n, MaxQty)
	}
	return nil
}

// CheckDate says whether s is empty or a date. Fault: Invalid "date_form".
func CheckDate(s string) error {
	if s == "" {
		return nil
	}
	if _, err := time.Parse(time.DateOnly, s); err != nil {
		return fault.New(fault.Invalid, "date_form", "need_by", "%q is not a date; write it as 2006-01-31.", s)
	}
	return nil
}

// Settle is the state that follows from the files while nothing has been quoted: open while one is being worked
// on or there is none, analysed afterwards.
func Settle(s State, files []File) State {
	if s != Open && s != Analysed {
		return s
	}
	if len(files) == 0 {
		return Open
	}
	for _, f := range files {
		if !f.State.Done() {
			return Open
		}
	}
	return Analysed
}
