package bureau

import (
	"context"
	"io"
	"time"

	"firstoff/client"
	"firstoff/desk/estimate"
	"firstoff/desk/offer"
	"firstoff/desk/promise"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/part"
	"firstoff/shop"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/work"
	"firstoff/trail"
	"firstoff/unit"
)

// Records is the desk's memory. All failures are faults: NotFound "not_found" for a missing record, Conflict
// "changed_meanwhile" when the version given is not the version kept.
//
// Add… stores a new record, Save… replaces one whose Version is the one kept, and raises it in the argument.
type Records interface {
	// InTx runs do in one write transaction; what do is given must be passed to every call that belongs to it. It
	// is rolled back when do fails. do may be run again when the database asks for it, so it must not have
	// effects elsewhere. A transaction inside a transaction is the same one.
	InTx(ctx context.Context, do func(ctx context.Context) error) error
	// Next gives the next number of a series ("R", "Q", …), starting at 1001. Inside a transaction only.
	Next(ctx context.Context, series string) (int64, error)

	AddClient(ctx context.Context, c *client.Client) error
	SaveClient(ctx context.Context, c *client.Client) error
	Client(ctx context.Context, id string) (client.Client, error)
	// ClientNames gives Client.Name of each id.
	ClientNames(ctx context.Context, ids []string) (map[string]string, error)
	// Clients finds clients by a part of firm, contact or e-mail, in order of firm; empty finds all.
	Clients(ctx context.Context, like string, limit int) ([]client.Client, error)

	AddRequest(ctx context.Context, r *request.Request) error
	SaveRequest(ctx context.Context, r *request.Request) error
	Request(ctx context.Context, id string) (request.Request, error)
	// Requests lists newest first. states empty means all; like is part of number, title, or client's firm.
	Requests(ctx context.Context, states []string, like string, offset, limit int) (found []request.Request, total int, err error)
	// Tallies counts files and lines of each of these requests.
	Tallies(ctx context.Context, requestIDs []string) (map[string]request.Tally, error)

	AddFile(ctx context.Context, f *request.File) error
	SaveFile(ctx context.Context, f *request.File) error
	File(ctx context.Context, id string) (request.File, error)
	Files(ctx context.Context, requestID string) ([]request.File, error)
	// UnfinishedFiles lists files waiting or being analysed, of live requests, oldest first.
	UnfinishedFiles(ctx context.Context) ([]request.File, error)
	// FilesFailed lists failed files of open and analysed requests, oldest first; FilesAsking those with an open unit question.
	FilesFailed(ctx context.Context) ([]request.File, error)
	FilesAsking(ctx context.Context) ([]request.File, error)

	AddLine(ctx context.Context, l *request.Line) error
	SaveLine(ctx context.Context, l *request.Line) error
	Line(ctx context.Context, id string) (request.Line, error)
	Lines(ctx context.Context, requestID string) ([]request.Line, error)
	DeleteLine(ctx context.Context, id string) error

	AddMessage(ctx context.Context, m *request.Message) error
	SaveMessage(ctx context.Context, m *request.Message) error
	Messages(ctx context.Context, requestID string) ([]request.Message, error)
	OpenQuestions(ctx context.Context) ([]request.Message, error)

	AddQuotation(ctx context.Context, q *quote.Quotation) error
	SaveQuotation(ctx context.Context, q *quote.Quotation) error
	Quotation(ctx context.Context, id string) (quote.Quotation, error)
	// Quotations lists the quotations of a request ("" = of all) in these states (none = all), newest first.
	Quotations(ctx context.Context, requestID string, states []string, offset, limit int) (found []quote.Quotation, total int, err error)
	// Revisions lists all revisions of a quotation number, first to last.
	Revisions(ctx context.Context, number string) ([]quote.Quotation, error)
	// AddLink keeps the hash of a client's link to a quotation number; Link finds the number again.
	AddLink(ctx context.Context, hash digest.Digest, number string, at time.Time) error
	Link(ctx context.Context, hash digest.Digest) (number string, err error)

	AddOrder(ctx context.Context, o *order.Order) error
	SaveOrder(ctx context.Context, o *order.Order) error
	Order(ctx context.Context, id string) (order.Order, error)
	// Orders lists by promised date, soonest first.
	Orders(ctx context.Context, states []string, offset, limit int) (found []order.Order, total int, err error)
	// OrdersOf lists the orders that came of a request.
	OrdersOf(ctx context.Context, requestID string) ([]order.Order, error)

	// Log appends events to the trail at the end of the transaction, sealing them.
	Log(ctx context.Context, events ...trail.Event) error
	// Trail lists events about a record or in a folder, newest first.
	Trail(ctx context.Context, about string, limit int) ([]trail.Event, error)

	// PutTable keeps a computed table by key; Table finds it.
	PutTable(ctx context.Context, key digest.Digest, a quote.Answer) error
	Table(ctx context.Context, key digest.Digest) (quote.Answer, error)
	// PruneTables forgets tables made before a moment, except those a line shows.
	PruneTables(ctx context.Context, before time.Time) (int64, error)
}

// Blobs keeps files by their digest. What is kept is never changed.
type Blobs interface {
	// Put stores what r gives and says what it was. Nothing is stored when r or ctx fails.
	Put(ctx context.Context, r io.Reader) (digest.Digest, int64, error)
	// Open reads a file from any place. Fault: NotFound "blob_missing".
	Open(ctx context.Context, d digest.Digest) (io.ReadSeekCloser, error)
	// Stat gives the size. Fault: NotFound "blob_missing".
	Stat(ctx context.Context, d digest.Digest) (int64, error)
}

// Tasks is background work. A task is a kind and an identifier; it may be run more than once.
type Tasks interface {
	// Enqueue asks for a task in the transaction that ctx carries.
	Enqueue(ctx context.Context, kind, id string) error
	// Complete marks the task ctx belongs to as finished, in the transaction that ctx carries. Without a task in
	// ctx it does nothing.
	Complete(ctx context.Context) error
	// Has says whether a task waits or runs.
	Has(ctx context.Context, kind, id string) (bool, error)
	// Cancel stops a task that waits or runs. Unknown tasks are no error.
	Cancel(ctx context.Context, kind, id string) error
}

// Clock tells the time.
type Clock func() time.Time

// Catalogue gives the shop as it is now.
type Catalogue func() *shop.Catalogue

// Appraiser is the computing half of the desk: bytes in, parts that can be asked for options out. It is wired
// from intake, part/survey and desk/offer, and keeps no records.
type Appraiser interface {
	// Read finds the parts in a file's bytes. said is the unit a person gave, or "" for the file's own.
	// step is told what is being done and how far it has come (0..1); it may be called from one goroutine only.
	// A bad file gives a fault; an archive with one bad member gives that piece a Problem.
	Read(ctx context.Context, name string, data []byte, said unit.Length, step func(doing string, done float64)) ([]Piece, error)
}

// Piece is one part found in a file: read, measured, and ready to be asked for options.
type Piece struct {
	Name     string
	Format   string
	Unit     request.UnitQuestion
	Warnings []Warning
	Facts    part.Facts
	Findings []part.Finding
	Bodies   []string
	// Viewer is the model for the viewer as GLB; nil if there is none.
	Viewer []byte
	// Problem says why this member of an archive could not be used; then all else is empty.
	Problem *request.Problem
	// Evaluate works out everything the desk can offer for it. It may be called at the same time from several places.
	Evaluate func(ctx context.Context, a Ask) (offer.Table, error)
}

// Ask is one question to Piece.Evaluate; it names everything the answer depends on.
type Ask struct {
	Name        string
	Qty         int
	Requirement part.Requirement
	InfillPct   float64  // only this infill; 0 = all that are offered
	LayerMM     float64  // only this layer; 0 = all that are offered
	Keep        []string // options chosen that exist beside another only
	Catalogue   *shop.Catalogue
	// Coefficients are what actuals have taught; nil: nothing yet.
	Coefficients *estimate.Coefficients
	Load         Load
	Now          time.Time
	Seed         uint64
}

// Load is the work the shop has already accepted: open orders, soonest promise first. What else stands on the
// machines comes with the catalogue. Revision is the digest of what is in it.
type Load struct {
	Orders   []order.Order
	Floor    work.Floor    // how far they have come
	Decided  work.Decided  // what people and the plan have fixed
	Level    promise.Level // learned from the promises whose day has come
	Revision digest.Digest
}
