package bureau

import (
	"context"
	"firstoff/client"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/part"
	"firstoff/shopfloor/order"
	"firstoff/trail"
	"firstoff/unit"
	"io"
)

func unbuilt() error {
	return fault.New(fault.Internal, "unbuilt", "bureau", "This step is being built.")
}

func (b *Bureau) OpenRequest(ctx context.Context, who string, n NewRequest) (r0 request.Request, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ReceiveFile(ctx context.Context, who, requestID, name string, r io.Reader) (r0 request.File, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ChangeRequest(ctx context.Context, who, requestID string, version int, title, needBy, note *string) (r0 request.Request, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) CloseRequest(ctx context.Context, who, requestID string, to request.State, reason string) (r0 request.Request, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ReopenRequest(ctx context.Context, who, requestID string) (r0 request.Request, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Analyse(ctx context.Context, task string) (err error) { err = unbuilt(); return }

func (b *Bureau) AnalyseAgain(ctx context.Context, who, fileID string) (r0 request.File, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) CancelAnalysis(ctx context.Context, who, fileID string) (r0 request.File, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Progress(ctx context.Context, requestID string) (r0 <-chan Progress, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) AnswerUnit(ctx context.Context, who, fileID string, u unit.Length) (r0 request.File, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) SetQty(ctx context.Context, who, lineID string, version, qty int) (r0 request.Line, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) SetRequirement(ctx context.Context, who, lineID string, version int, r part.Requirement) (r0 request.Line, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Choose(ctx context.Context, who, lineID string, version int, option string, alternatives []string) (r0 request.Line, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) SetAside(ctx context.Context, who, lineID string, version int, aside bool) (r0 request.Line, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) UndoLine(ctx context.Context, who, lineID string) (r0 request.Line, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Overview(ctx context.Context) (r0 Overview, err error) { err = unbuilt(); return }

func (b *Bureau) Requests(ctx context.Context, f Filter) (r0 Listing[RequestRow], err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Request(ctx context.Context, id string) (r0 Folder, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) File(ctx context.Context, id string) (r0 request.File, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Line(ctx context.Context, id string) (r0 LineView, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) OpenFile(ctx context.Context, fileID string) (r0 request.File, r1 io.ReadSeekCloser, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) OpenModel(ctx context.Context, lineID string) (r0 request.Line, r1 io.ReadSeekCloser, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Clients(ctx context.Context, like string, limit int) (r0 []client.Client, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Trail(ctx context.Context, about string, limit int) (r0 []trail.Event, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Options(ctx context.Context, lineID string, o Override) (r0 LineOptions, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Load(ctx context.Context) (r0 Load, err error) { err = unbuilt(); return }

func (b *Bureau) DraftQuotation(ctx context.Context, who, requestID string) (r0 quote.Quotation, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ChangeDraft(ctx context.Context, who, quotationID string, version int, c DraftChange) (r0 quote.Quotation, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) RefreshDraft(ctx context.Context, who, quotationID string) (r0 quote.Quotation, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) IssueQuotation(ctx context.Context, who, quotationID string, version int) (q quote.Quotation, token string, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ReviseQuotation(ctx context.Context, who, quotationID string) (r0 quote.Quotation, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) WithdrawQuotation(ctx context.Context, who, quotationID, reason string) (r0 quote.Quotation, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Quotation(ctx context.Context, id string) (r0 quote.Quotation, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Quotations(ctx context.Context, f Filter) (r0 Listing[quote.Quotation], err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ClientLink(ctx context.Context, who, quotationID string) (token string, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) AnswerClient(ctx context.Context, who, quotationID, text string) (r0 request.Message, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ClientView(ctx context.Context, token string) (r0 ClientView, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ClientModel(ctx context.Context, token, lineID string) (r0 io.ReadSeekCloser, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ClientAsk(ctx context.Context, token, name, text string) (r0 request.Message, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ClientAccept(ctx context.Context, token string, a Acceptance) (r0 order.Order, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) ClientDecline(ctx context.Context, token, quotationID, name, reason string) (r0 quote.Quotation, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Orders(ctx context.Context, f Filter) (r0 Listing[order.Order], err error) {
	err = unbuilt()
	return
}

func (b *Bureau) Order(ctx context.Context, id string) (r0 order.Order, err error) {
	err = unbuilt()
	return
}

func (b *Bureau) CancelOrder(ctx context.Context, who, id, reason string) (r0 order.Order, err error) {
	err = unbuilt()
	return
}

type board struct{}

func newBoard() *board { return &board{} }

type shelf struct{}

func newShelf() *shelf { return &shelf{} }
