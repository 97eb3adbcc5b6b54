package bureau

import (
	"context"
	"crypto/rand"
	"io"
	"log/slog"
	"sync"
	"time"

	"firstoff/client"
	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/desk/promise"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/intake/content"
	"firstoff/money"
	"firstoff/part"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/work"
	"firstoff/trail"
	"firstoff/unit"
)

// Warning is a reader's warning.
type Warning = content.Warning

// Ports is what a bureau stands on. All are needed; Random defaults to crypto/rand.
type Ports struct {
	Records   Records
	Blobs     Blobs
	Tasks     Tasks
	Clock     Clock
	Catalogue Catalogue
	Appraiser Appraiser
	// Left says how far open orders have come on the floor; nil: they have not begun.
	Left func(ctx context.Context) (work.Floor, error)
	// Decided is what people and the plan have fixed; nil: nothing.
	Decided func(ctx context.Context) (work.Decided, error)
	// Coefficients gives the set in force; nil, or a nil set: the catalogue's own figures.
	Coefficients func() *estimate.Coefficients
	Random       io.Reader    // for client links
	MaxFile      int64        // bytes of one upload; 0 = content.DefaultLimits.Bytes
	Log          *slog.Logger // nil = none
}

// Bureau is the desk at work. Safe for concurrent use.
type Bureau struct {
	p         Ports
	news      *board
	pieces    *shelf
	computing chan struct{} // bounds evaluations at the same time; each uses all cores

	mu      sync.Mutex
	running map[string]context.CancelCauseFunc // analyses in this process, by file id

	learned learned // the level of promises
}

// Kinds of task.
const (
	TaskAnalyse = "analyse" // id: file id "-" round, e.g. "F-1001-2"
)

// ── Requests ─────────────────────────────────────────────────────────────────────────────────────

// NewRequest is what is needed to open a folder. Client.ID set: an existing client; else a new one is kept.
type NewRequest struct {
	Title  string        `json:"title"`
	Client client.Client `json:"client"`
	NeedBy string        `json:"need_by,omitempty"`
	Note   string        `json:"note,omitempty"`
}

// Folder is everything about one request.
type Folder struct {
	Request    request.Request   `json:"request"`
	Client     client.Client     `json:"client"`
	Files      []request.File    `json:"files"`
	Lines      []LineView        `json:"lines"`
	Quotations []quote.Quotation `json:"quotations"` // newest first
	Orders     []order.Order     `json:"orders"`
	Messages   []request.Message `json:"messages"` // oldest first
	Trail      []trail.Event     `json:"trail"`    // newest first, at most 200
}

// LineView is a line as shown. Its Position counts from 1 within the request.
type LineView struct {
	request.Line
	FileName string `json:"file_name"`
}

// Filter narrows a list. Empty fields mean any. Limit 0 means 50; at most 500.
type Filter struct {
	States []string
	Like   string
	Offset int
	Limit  int
}

// Listing is one page of a list.
type Listing[T any] struct {
	Items  []T `json:"items"`
	Total  int `json:"total"`
	Offset int `json:"offset"`
	Limit  int `json:"limit"`
}

// RequestRow is a request in a list.
type RequestRow struct {
	request.Request
	request.Tally
	ClientName string `json:"client_name"`
}

// ── Progress ─────────────────────────────────────────────────────────────────────────────────────

// Progress is how far one file of a request has come.
type Progress struct {
	RequestID string            `json:"request_id"`
	FileID    string            `json:"file_id"`
	Name      string            `json:"name"`
	State     request.FileState `json:"state"`
	Percent   int               `json:"percent"`
	Step      string            `json:"step,omitempty"`
	Problem   *request.Problem  `json:"problem,omitempty"`
}

// ── Overview ─────────────────────────────────────────────────────────────────────────────────────

// Overview is today's ledger: what needs a decision, oldest promise first.
type Overview struct {
	Now     time.Time `json:"now"`
	Entries []Entry   `json:"entries"`
	Counts  Counts    `json:"counts"`
}

// Entry is one thing that wants somebody.
type Entry struct {
	Kind      string    `json:"kind"`  // unit | failed | quote | issue | question | expiring | order | analysing
	About     string    `json:"about"` // record id to open
	RequestID string    `json:"request_id,omitempty"`
	Client    string    `json:"client,omitempty"`
	Title     string    `json:"title"`
	Sentence  string    `json:"sentence"` // what to do, in one sentence
	Since     time.Time `json:"since"`
	Due       string    `json:"due,omitempty"` // need-by, valid-until or promised date
	Late      bool      `json:"late,omitempty"`
}

// Counts are the sums of the day.
type Counts struct {
	OpenRequests     int          `json:"open_requests"`
	AnalysedRequests int          `json:"analysed_requests"`
	IssuedQuotations int          `json:"issued_quotations"`
	IssuedTotal      money.Amount `json:"issued_total_minor"`
	OpenOrders       int          `json:"open_orders"`
	OpenOrdersTotal  money.Amount `json:"open_orders_total_minor"`
	Analysing        int          `json:"analysing"`
}

// ── Options ──────────────────────────────────────────────────────────────────────────────────────

// Override changes the question for once, without changing the line. Zero fields keep the line's own.
type Override struct {
	Qty         int
	InfillPct   float64
	LayerMM     float64
	NeedBy      string
	Requirement *part.Requirement
}

// LineOptions is the answer for one line.
type LineOptions struct {
	Line     request.Line     `json:"line"`
	Table    offer.Table      `json:"table"`
	Key      digest.Digest    `json:"key"`
	Level    promise.Level    `json:"level"` // its dates are taken at
	moved    bool             // the line was saved with this key
	MadeFrom quote.Provenance `json:"made_from"`
}

// ── Quotations ───────────────────────────────────────────────────────────────────────────────────

// DraftChange is what a person may set on a draft. Nil fields stay as they are.
type DraftChange struct {
	Note       *string
	Terms      *[]string
	ValidUntil *string
	Shipping   *money.Amount
	// Lines by request line id.
	Lines map[string]DraftLine
}

// DraftLine changes one line of a draft. Zero fields stay as they are.
type DraftLine struct {
	Option       string        // option id out of the line's table
	Alternatives *[]string     // option ids shown beside it, at most 5
	UnitPrice    *money.Amount // a person's price; needs Why
	Computed     bool          // back to the computed price
	Why          string
	Leave        bool // leave the line out of this quotation
	TakeBack     bool // take a line that was left out back in
}

// ClientView is what the client sees under their link.
type ClientView struct {
	Quotation  quote.Quotation   `json:"quotation"` // the latest issued revision
	Revisions  []string          `json:"revisions"` // ids of issued revisions, first to last
	Messages   []request.Message `json:"messages"`
	Order      *order.Order      `json:"order,omitempty"`
	MayDecide  bool              `json:"may_decide"`
	WhyNot     string            `json:"why_not,omitempty"` // a sentence when it may not be accepted any more
	Promised   string            `json:"promised"`          // the date if accepted now
	FirmName   string            `json:"firm_name"`
	FirmEmail  string            `json:"firm_email"`
	FirmPhone  string            `json:"firm_phone"`
	FailClause string            `json:"fail_clause"`
}

// Acceptance is the client's yes.
type Acceptance struct {
	Quotation string            `json:"quotation"` // id with revision that was on the client's screen
	Name      string            `json:"name"`      // who accepts
	Reference string            `json:"reference"` // their order number
	Choices   map[string]string `json:"choices"`   // line id → option id of an alternative; absent: as chosen
}

// ── The steps, by file ───────────────────────────────────────────────────────────────────────────

// Steps lists every use case; *Bureau is the only implementation. Faces (web, web/api, cmd) may hold it as this
// interface to show pages with canned records.
type Steps interface {
	// receive.go
	OpenRequest(ctx context.Context, who string, n NewRequest) (request.Request, error)
	ReceiveFile(ctx context.Context, who, requestID, name string, r io.Reader) (request.File, error)
	ChangeRequest(ctx context.Context, who, requestID string, version int, title, needBy, note *string) (request.Request, error)
	CloseRequest(ctx context.Context, who, requestID string, to request.State, reason string) (request.Request, error) // lost, withdrawn
	ReopenRequest(ctx context.Context, who, requestID string) (request.Request, error)

	// analyse.go
	Analyse(ctx context.Context, task string) error
	AnalyseAgain(ctx context.Context, who, fileID string) (request.File, error)
	CancelAnalysis(ctx context.Context, who, fileID string) (request.File, error)
	Progress(ctx context.Context, requestID string) (<-chan Progress, error)

	// line.go
	AnswerUnit(ctx context.Context, who, fileID string, u unit.Length) (request.File, error)
	SetQty(ctx context.Context, who, lineID string, version, qty int) (request.Line, error)
	SetRequirement(ctx context.Context, who, lineID string, version int, r part.Requirement) (request.Line, error)
	Choose(ctx context.Context, who, lineID string, version int, option string, alternatives []string) (request.Line, error)
	SetAside(ctx context.Context, who, lineID string, version int, aside bool) (request.Line, error)
	UndoLine(ctx context.Context, who, lineID string) (request.Line, error)

	// look.go
	Overview(ctx context.Context) (Overview, error)
	Requests(ctx context.Context, f Filter) (Listing[RequestRow], error)
	Request(ctx context.Context, id string) (Folder, error)
	File(ctx context.Context, id string) (request.File, error)
	Line(ctx context.Context, id string) (LineView, error)
	OpenFile(ctx context.Context, fileID string) (request.File, io.ReadSeekCloser, error)
	OpenModel(ctx context.Context, lineID string) (request.Line, io.ReadSeekCloser, error) // GLB; NotFound "model_missing"
	Clients(ctx context.Context, like string, limit int) ([]client.Client, error)
	Trail(ctx context.Context, about string, limit int) ([]trail.Event, error)

	// options.go
	Options(ctx context.Context, lineID string, o Override) (LineOptions, error)
	Load(ctx context.Context) (Load, error)

	// quotation.go
	DraftQuotation(ctx context.Context, who, requestID string) (quote.Quotation, error)
	ChangeDraft(ctx context.Context, who, quotationID string, version int, c DraftChange) (quote.Quotation, error)
	RefreshDraft(ctx context.Context, who, quotationID string) (quote.Quotation, error) // compute again from today's load and prices
	IssueQuotation(ctx context.Context, who, quotationID string, version int) (q quote.Quotation, token string, err error)
	ReviseQuotation(ctx context.Context, who, quotationID string) (quote.Quotation, error)
	WithdrawQuotation(ctx context.Context, who, quotationID, reason string) (quote.Quotation, error)
	Quotation(ctx context.Context, id string) (quote.Quotation, error)
	Quotations(ctx context.Context, f Filter) (Listing[quote.Quotation], error)
	// ClientLink makes one more link token for the quotation's number; earlier ones stay good. Only its hash is kept.
	ClientLink(ctx context.Context, who, quotationID string) (token string, err error)
	AnswerClient(ctx context.Context, who, quotationID, text string) (request.Message, error)

	// link.go: what the client may do, by token. A wrong token is NotFound "link_unknown".
	ClientView(ctx context.Context, token string) (ClientView, error)
	ClientModel(ctx context.Context, token, lineID string) (io.ReadSeekCloser, error)
	ClientAsk(ctx context.Context, token, name, text string) (request.Message, error)
	ClientAccept(ctx context.Context, token string, a Acceptance) (order.Order, error)
	ClientDecline(ctx context.Context, token, quotationID, name, reason string) (quote.Quotation, error)

	// orders.go
	Orders(ctx context.Context, f Filter) (Listing[order.Order], error)
	Order(ctx context.Context, id string) (order.Order, error)
}

var _ Steps = (*Bureau)(nil)

// New stands a bureau on its ports. Fault: Internal "port_missing".
func New(p Ports) (*Bureau, error) {
	if p.Records == nil || p.Blobs == nil || p.Tasks == nil || p.Clock == nil || p.Catalogue == nil || p.Appraiser == nil {
		return nil, fault.New(fault.Internal, "port_missing", "bureau", "A bureau needs records, blobs, tasks, a clock, a catalogue and an appraiser.")
	}
	if p.Random == nil {
		p.Random = rand.Reader
	}
	if p.Log == nil {
		p.Log = slog.New(slog.DiscardHandler)
	}
	if p.MaxFile == 0 {
		p.MaxFile = content.DefaultLimits.Bytes
	}
	return &Bureau{p: p, news: newBoard(), pieces: newShelf(), computing: make(chan struct{}, 2), running: map[string]context.CancelCauseFunc{}}, nil
}
