package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"firstoff/bureau"
	"firstoff/bureau/books"
	"firstoff/bureau/proving"
	"firstoff/quality/certificate"
	"firstoff/quality/inspect"
)

// proving is inspection for programs: sheets and their values, nonconformances, certificates.
func (s *server) proving(a huma.API) {
	serve(s, a, "GET", "/inspections", "listInspections", "Inspection sheets, newest first", func(ctx context.Context, in *listed) (bureau.Listing[inspect.Sheet], error) {
		if in.Limit == 0 {
			in.Limit = 50
		}
		items, total, err := s.Proving.Sheets(ctx, in.State, in.Offset, in.Limit)
		return bureau.Listing[inspect.Sheet]{Items: items, Total: total, Offset: in.Offset, Limit: in.Limit}, err
	})
	type opening struct {
		Body struct {
			Traveller string `json:"traveller"`
		}
	}
	serve(s, a, "POST", "/inspections", "openInspection", "Open the sheet of a traveller, or find it", func(ctx context.Context, in *opening) (inspect.Sheet, error) {
		return s.Proving.OpenSheet(ctx, who, in.Body.Traveller)
	})
	serve(s, a, "GET", "/inspections/{id}", "getInspection", "A sheet, its plan, values and what they say", func(ctx context.Context, in *ByID) (proving.SheetCard, error) {
		return s.Proving.Sheet(ctx, in.ID)
	})
	type class struct {
		ByID
		Class string `query:"class" enum:"f,m,c,v" default:"m" doc:"General tolerances, ISO 2768-1."`
	}
	type proposed struct {
		Characteristics []inspect.Characteristic `json:"characteristics"`
		Skipped         []string                 `json:"skipped"`
	}
	serve(s, a, "GET", "/inspections/{id}/proposal", "proposeInspection", "Characteristics proposed from the part's file", func(ctx context.Context, in *class) (proposed, error) {
		cs, skipped, err := s.Proving.Propose(ctx, in.ID, in.Class)
		return proposed{cs, skipped}, err
	})
	type sheetEvent struct {
		ByID
		Body inspect.Event
	}
	serve(s, a, "POST", "/inspections/{id}/events", "reportInspection", "Plan, measure, strike or approve", func(ctx context.Context, in *sheetEvent) (proving.SheetCard, error) {
		in.Body.Sheet = in.ID
		if in.Body.Who == "" {
			in.Body.Who = who
		}
		return s.Proving.Report(ctx, in.Body)
	})
	serve(s, a, "GET", "/nonconformances", "listNonconformances", "Nonconformances, newest first", func(ctx context.Context, in *listed) (bureau.Listing[proving.Nonconformance], error) {
		if in.Limit == 0 {
			in.Limit = 50
		}
		items, total, err := s.Proving.Nonconformances(ctx, in.State, in.Offset, in.Limit)
		return bureau.Listing[proving.Nonconformance]{Items: items, Total: total, Offset: in.Offset, Limit: in.Limit}, err
	})
	type raising struct {
		Body struct {
			Traveller   string             `json:"traveller"`
			Sheet       string             `json:"sheet,omitempty"`
			Pieces      []string           `json:"pieces,omitempty"`
			Quantity    int                `json:"quantity,omitempty"`
			By          string             `json:"by"`
			Requirement string             `json:"requirement"`
			Found       string             `json:"found"`
			Designator  inspect.Designator `json:"designator,omitempty"`
		}
	}
	serve(s, a, "POST", "/nonconformances", "raiseNonconformance", "Raise a nonconformance; its parts are held", func(ctx context.Context, in *raising) (proving.Nonconformance, error) {
		b := in.Body
		return s.Proving.Raise(ctx, b.Traveller, b.Sheet, inspect.Nonconformance{FoundBy: b.By, Pieces: b.Pieces, Quantity: b.Quantity, Requirement: b.Requirement, Found: b.Found, Designator: b.Designator})
	})
	type disposing struct {
		ByID
		Body inspect.Disposal
	}
	serve(s, a, "POST", "/nonconformances/{id}/disposals", "disposeNonconformance", "Decide what becomes of parts", func(ctx context.Context, in *disposing) (proving.Nonconformance, error) {
		return s.Proving.Dispose(ctx, in.ID, in.Body)
	})
	type recordClosing struct {
		ByID
		Body struct {
			By           string `json:"by"`
			Cause        string `json:"cause,omitempty"`
			Action       string `json:"action,omitempty"`
			Verification string `json:"verification,omitempty"`
		}
	}
	serve(s, a, "POST", "/nonconformances/{id}/close", "closeNonconformance", "Close a nonconformance", func(ctx context.Context, in *recordClosing) (proving.Nonconformance, error) {
		b := in.Body
		return s.Proving.CloseRecord(ctx, b.By, in.ID, b.Cause, b.Action, b.Verification)
	})
	type certifying struct {
		ByID
		Body struct {
			By       string `json:"by"`
			Role     string `json:"role,omitempty"`
			Delivery string `json:"delivery"`
			Line     int    `json:"line"`
			Replaces string `json:"replaces,omitempty"`
		}
	}
	serve(s, a, "POST", "/orders/{id}/certificates", "certify", "Certify what a delivery brought of a line", func(ctx context.Context, in *certifying) (proving.Certificate, error) {
		b := in.Body
		return s.Proving.Certify(ctx, b.By, b.Role, in.ID, b.Delivery, b.Line, b.Replaces)
	})
	type certificates struct {
		Items []proving.Certificate `json:"items"`
	}
	serve(s, a, "GET", "/orders/{id}/certificates", "listCertificates", "Certificates of an order", func(ctx context.Context, in *ByID) (certificates, error) {
		c, err := s.Proving.Certificates(ctx, in.ID)
		return certificates{c}, err
	})
	type codeOf struct {
		ByID
		Code string `query:"code"`
	}
	type verified struct {
		Answer certificate.Answer `json:"answer"`
	}
	serve(s, a, "GET", "/verify/{id}", "verify", "Whether a printed certificate is genuine", func(ctx context.Context, in *codeOf) (verified, error) {
		answer, _, err := s.Proving.Verify(ctx, in.ID, in.Code)
		return verified{answer}, err
	})
}

// looking is what the books say, for programs.
func (s *server) looking(a huma.API) {
	type span struct {
		From string `query:"from" required:"true" doc:"2006-01-02"`
		To   string `query:"to" required:"true" doc:"2006-01-02"`
	}
	serve(s, a, "GET", "/books", "books", "Margins, use of machines, promises kept, first-pass yield, quotations won", func(ctx context.Context, in *span) (books.Ledger, error) {
		return s.Books.Ledger(ctx, in.From, in.To)
	})
	serve(s, a, "GET", "/coefficients/proposal", "proposeCoefficients", "The next coefficients out of the actuals, and what they would have changed", func(ctx context.Context, _ *struct{}) (books.Proposal, error) {
		return s.Books.Propose(ctx)
	})
	type versions struct {
		Items []books.Version `json:"items"`
	}
	serve(s, a, "GET", "/coefficients", "listCoefficients", "Versions of the coefficients, newest first", func(ctx context.Context, _ *struct{}) (versions, error) {
		v, err := s.Books.Versions(ctx)
		return versions{v}, err
	})
	type adopting struct {
		Body struct {
			Why  string   `json:"why,omitempty"`
			Keys []string `json:"keys,omitempty" doc:"None: all proposed."`
		}
	}
	serve(s, a, "POST", "/coefficients", "adoptCoefficients", "Adopt the proposed coefficients for estimates from now on", func(ctx context.Context, in *adopting) (books.Version, error) {
		return s.Books.Adopt(ctx, who, in.Body.Why, in.Body.Keys)
	})
	type backTo struct {
		Body struct {
			To  string `json:"to" doc:"A version; empty: the catalogue's own figures."`
			Why string `json:"why,omitempty"`
		}
	}
	serve(s, a, "POST", "/coefficients/take-back", "takeBackCoefficients", "Put an earlier version in force again", func(ctx context.Context, in *backTo) (books.Version, error) {
		return s.Books.TakeBack(ctx, who, in.Body.Why, in.Body.To)
	})
}
