// Package api is the desk for programs: the same steps as the pages, as JSON under /api/v1, with an OpenAPI 3.1
// document at /api/openapi.json and a page that explains it at /api/docs.
//
// It holds no rule; every operation is one step of bureau. Failures are {"error":{"code","message","where"}} with the
// status that follows from the fault's kind. Keys carry their unit as a suffix.
package api

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"firstoff/bureau"
	"firstoff/bureau/books"
	"firstoff/bureau/making"
	"firstoff/bureau/proving"
	"firstoff/client"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/part"
	"firstoff/shopfloor/order"
	"firstoff/unit"
)

// Deps is what the interface stands on.
type Deps struct {
	Steps     bureau.Steps
	Floor     *making.Floor  // nil: no shop floor
	Proving   *proving.House // nil: no inspection
	Books     *books.Books   // nil: no books
	Plans     Planning       // nil: no plan
	Hasten    Hasten         // nil: nothing is said about earlier days
	Version   string
	Status    func(fault.Kind) int
	MaxUpload int64
}

// problem is a failure as sent.
type problem struct {
	status int
	Detail struct {
		Code    string `json:"code" doc:"Stable code for programs."`
		Message string `json:"message" doc:"One plain sentence."`
		Where   string `json:"where,omitempty" doc:"File, line, field."`
	} `json:"error"`
}

func (p *problem) Error() string               { return p.Detail.Message }
func (p *problem) GetStatus() int              { return p.status }
func (p *problem) ContentType(_ string) string { return "application/json" }

// who is the name programs act under until people and rights exist.
const who = "api"

// New makes the handler for everything under /api/.
func New(d Deps) http.Handler {
	if d.MaxUpload == 0 {
		d.MaxUpload = 2 << 30
	}
	huma.NewError = func(status int, msg string, errs ...error) huma.StatusError {
		p := &problem{status: status}
		p.Detail.Code, p.Detail.Message = "request_invalid", sentence(msg)
		if status >= 500 {
			p.Detail.Code, p.Detail.Message = "internal", "Something went wrong inside; the log says what."
		}
		for _, e := range errs {
			var ed *huma.ErrorDetail
			if errors.As(e, &ed) {
				p.Detail.Message, p.Detail.Where = sentence(ed.Message), ed.Location
				break
			}
			if e != nil && status < 500 {
				p.Detail.Message = sentence(e.Error())
				break
			}
		}
		return p
	}
	mux := http.NewServeMux()
	cfg := huma.DefaultConfig("firstoff desk", d.Version)
	cfg.Info.Description = "From a client's files to a quotation with a price and a promised date, and on to the order."
	cfg.OpenAPIPath, cfg.DocsPath, cfg.SchemasPath = "/api/openapi", "", "/api/schemas"
	cfg.CreateHooks = nil // no $schema links in answers
	cfg.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	a := humago.New(mux, cfg)
	s := &server{d}
	s.requests(a)
	s.lines(a)
	s.quotations(a)
	s.links(a)
	s.orders(a)
	if d.Floor != nil {
		s.floor(a)
		s.leaving(a)
	}
	if d.Proving != nil {
		s.proving(a)
	}
	if d.Books != nil {
		s.looking(a)
	}
	if d.Plans != nil {
		s.plan(a)
	}
	mux.HandleFunc("POST /api/v1/requests/{id}/files", s.upload)
	describeUpload(a)
	mux.HandleFunc("GET /api/docs", docs(a))
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		s.send(w, fault.New(fault.NotFound, "path_unknown", r.URL.Path, "There is nothing at this address; see /api/docs."))
	})
	return mux
}

type server struct{ Deps }

// fail turns any error into the answer's form.
func (s *server) fail(err error) error {
	if err == nil {
		return nil
	}
	f := fault.Of(err)
	p := &problem{status: s.Status(f.Kind)}
	p.Detail.Code, p.Detail.Message, p.Detail.Where = f.Code, f.Message, f.Where
	return p
}

func (s *server) send(w http.ResponseWriter, err error) {
	p := s.fail(err).(*problem)
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(p.status)
	_ = json.NewEncoder(w).Encode(p)
}

func sentence(s string) string {
	if s == "" {
		return "The request cannot be understood."
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// out wraps an answer's body.
type out[T any] struct{ Body T }

// serve registers one operation: a step called with what the request holds.
func serve[I, O any](s *server, a huma.API, method, path, id, summary string, do func(ctx context.Context, in *I) (O, error)) {
	huma.Register(a, huma.Operation{OperationID: id, Method: method, Path: "/api/v1" + path, Summary: summary, Errors: []int{404, 409, 422}},
		func(ctx context.Context, in *I) (*out[O], error) {
			o, err := do(ctx, in)
			if err != nil {
				return nil, s.fail(err)
			}
			return &out[O]{o}, nil
		})
}

// ByID names a record in the path.
type ByID struct {
	ID string `path:"id"`
}

type listed struct {
	State  []string `query:"state" doc:"Only these states."`
	Find   string   `query:"find" doc:"Part of number, title or client."`
	Offset int      `query:"offset" minimum:"0"`
	Limit  int      `query:"limit" minimum:"0" maximum:"500" doc:"0 = 50"`
}

func (l *listed) filter() bureau.Filter {
	return bureau.Filter{States: l.State, Like: l.Find, Offset: l.Offset, Limit: l.Limit}
}

func (s *server) requests(a huma.API) {
	serve(s, a, "GET", "/overview", "overview", "What needs a decision, oldest promise first", func(ctx context.Context, _ *struct{}) (bureau.Overview, error) { return s.Steps.Overview(ctx) })
	serve(s, a, "GET", "/requests", "listRequests", "List requests, newest first", func(ctx context.Context, in *listed) (bureau.Listing[bureau.RequestRow], error) {
		return s.Steps.Requests(ctx, in.filter())
	})
	type open struct {
		Body struct {
			Title  string `json:"title,omitempty"`
			NeedBy string `json:"need_by,omitempty" doc:"2006-01-02"`
			Note   string `json:"note,omitempty"`
			Client struct {
				ID      string `json:"id,omitempty" doc:"An existing client; else give firm or contact."`
				Firm    string `json:"firm,omitempty"`
				Contact string `json:"contact,omitempty"`
				Email   string `json:"email,omitempty"`
			} `json:"client"`
		}
	}
	serve(s, a, "POST", "/requests", "openRequest", "Open a request", func(ctx context.Context, in *open) (request.Request, error) {
		c := in.Body.Client
		return s.Steps.OpenRequest(ctx, who, bureau.NewRequest{Title: in.Body.Title, NeedBy: in.Body.NeedBy, Note: in.Body.Note,
			Client: client.Client{ID: c.ID, Firm: c.Firm, Contact: c.Contact, Email: c.Email}})
	})
	serve(s, a, "GET", "/requests/{id}", "getRequest", "A request with its files, lines, quotations, orders and messages; poll it for progress", func(ctx context.Context, in *ByID) (bureau.Folder, error) {
		return s.Steps.Request(ctx, in.ID)
	})
	type closing struct {
		ByID
		Body struct {
			To     string `json:"to" enum:"lost,withdrawn"`
			Reason string `json:"reason"`
		}
	}
	serve(s, a, "POST", "/requests/{id}/close", "closeRequest", "Close a request", func(ctx context.Context, in *closing) (request.Request, error) {
		return s.Steps.CloseRequest(ctx, who, in.ID, request.State(in.Body.To), in.Body.Reason)
	})
	type answer struct {
		ByID
		Body struct {
			Unit string `json:"unit" doc:"mm, cm, m, in or ft"`
		}
	}
	serve(s, a, "POST", "/files/{id}/unit", "answerUnit", "Say which length unit a file is in", func(ctx context.Context, in *answer) (request.File, error) {
		u, err := unit.Parse(in.Body.Unit)
		if err != nil {
			return request.File{}, err
		}
		return s.Steps.AnswerUnit(ctx, who, in.ID, u)
	})
	serve(s, a, "POST", "/files/{id}/again", "analyseAgain", "Analyse a file again", func(ctx context.Context, in *ByID) (request.File, error) {
		return s.Steps.AnalyseAgain(ctx, who, in.ID)
	})
}

func (s *server) lines(a huma.API) {
	serve(s, a, "GET", "/lines/{id}", "getLine", "One part: facts, findings, requirement", func(ctx context.Context, in *ByID) (bureau.LineView, error) { return s.Steps.Line(ctx, in.ID) })
	type asking struct {
		ByID
		Qty    int     `query:"qty" minimum:"0" maximum:"100000" doc:"0 = the line's own"`
		Infill float64 `query:"infill_pct" minimum:"0" maximum:"100"`
		Layer  float64 `query:"layer_mm" minimum:"0" maximum:"5"`
	}
	serve(s, a, "GET", "/lines/{id}/options", "getOptions", "Every option and refusal for a part, at its own quantity and settings or others", func(ctx context.Context, in *asking) (bureau.LineOptions, error) {
		return s.Steps.Options(ctx, in.ID, bureau.Override{Qty: in.Qty, InfillPct: in.Infill, LayerMM: in.Layer})
	})
	type qty struct {
		ByID
		Body struct {
			Qty     int `json:"qty" minimum:"1" maximum:"100000"`
			Version int `json:"version,omitempty" doc:"The version seen; 0 = whatever it is now"`
		}
	}
	serve(s, a, "PUT", "/lines/{id}/qty", "setQty", "Set the quantity", func(ctx context.Context, in *qty) (request.Line, error) {
		return s.Steps.SetQty(ctx, who, in.ID, in.Body.Version, in.Body.Qty)
	})
	type need struct {
		ByID
		Version int `query:"version"`
		Body    part.Requirement
	}
	serve(s, a, "PUT", "/lines/{id}/requirement", "setRequirement", "Say what the part must do", func(ctx context.Context, in *need) (request.Line, error) {
		return s.Steps.SetRequirement(ctx, who, in.ID, in.Version, in.Body)
	})
	type choice struct {
		ByID
		Body struct {
			Option       string   `json:"option"`
			Alternatives []string `json:"alternatives,omitempty" maxItems:"5"`
			Version      int      `json:"version,omitempty"`
		}
	}
	serve(s, a, "PUT", "/lines/{id}/choice", "choose", "Choose an option and those to be shown beside it", func(ctx context.Context, in *choice) (request.Line, error) {
		return s.Steps.Choose(ctx, who, in.ID, in.Body.Version, in.Body.Option, in.Body.Alternatives)
	})
}

func (s *server) quotations(a huma.API) {
	serve(s, a, "GET", "/quotations", "listQuotations", "List quotations, newest first", func(ctx context.Context, in *listed) (bureau.Listing[quote.Quotation], error) {
		return s.Steps.Quotations(ctx, in.filter())
	})
	serve(s, a, "GET", "/quotations/{id}", "getQuotation", "One revision of a quotation", func(ctx context.Context, in *ByID) (quote.Quotation, error) { return s.Steps.Quotation(ctx, in.ID) })
	serve(s, a, "POST", "/requests/{id}/quotation", "draftQuotation", "Draft a quotation from a request's lines", func(ctx context.Context, in *ByID) (quote.Quotation, error) {
		return s.Steps.DraftQuotation(ctx, who, in.ID)
	})
	type issued struct {
		Quotation quote.Quotation `json:"quotation"`
		Token     string          `json:"token" doc:"The client's link is /q/{token}; it is given once."`
	}
	type issue struct {
		ByID
		Body struct {
			Version int `json:"version,omitempty"`
		}
	}
	serve(s, a, "POST", "/quotations/{id}/issue", "issueQuotation", "Issue a draft", func(ctx context.Context, in *issue) (issued, error) {
		q, t, err := s.Steps.IssueQuotation(ctx, who, in.ID, in.Body.Version)
		return issued{q, t}, err
	})
	serve(s, a, "POST", "/quotations/{id}/revise", "reviseQuotation", "Draft the next revision", func(ctx context.Context, in *ByID) (quote.Quotation, error) {
		return s.Steps.ReviseQuotation(ctx, who, in.ID)
	})
	type withdraw struct {
		ByID
		Body struct {
			Reason string `json:"reason"`
		}
	}
	serve(s, a, "POST", "/quotations/{id}/withdraw", "withdrawQuotation", "Withdraw a quotation", func(ctx context.Context, in *withdraw) (quote.Quotation, error) {
		return s.Steps.WithdrawQuotation(ctx, who, in.ID, in.Body.Reason)
	})
}

// ByToken names a client's link in the path.
type ByToken struct {
	Token string `path:"token"`
}

func (s *server) links(a huma.API) {
	serve(s, a, "GET", "/links/{token}", "clientView", "What the client sees under their link", func(ctx context.Context, in *ByToken) (bureau.ClientView, error) {
		return s.Steps.ClientView(ctx, in.Token)
	})
	type accept struct {
		ByToken
		Body bureau.Acceptance
	}
	serve(s, a, "POST", "/links/{token}/accept", "clientAccept", "Accept the quotation; an order comes of it", func(ctx context.Context, in *accept) (order.Order, error) {
		return s.Steps.ClientAccept(ctx, in.Token, in.Body)
	})
	type decline struct {
		ByToken
		Body struct {
			Quotation string `json:"quotation"`
			Name      string `json:"name"`
			Reason    string `json:"reason,omitempty"`
		}
	}
	serve(s, a, "POST", "/links/{token}/decline", "clientDecline", "Decline the quotation", func(ctx context.Context, in *decline) (quote.Quotation, error) {
		return s.Steps.ClientDecline(ctx, in.Token, in.Body.Quotation, in.Body.Name, in.Body.Reason)
	})
	type ask struct {
		ByToken
		Body struct {
			Name string `json:"name"`
			Text string `json:"text"`
		}
	}
	serve(s, a, "POST", "/links/{token}/ask", "clientAsk", "Ask the desk", func(ctx context.Context, in *ask) (request.Message, error) {
		return s.Steps.ClientAsk(ctx, in.Token, in.Body.Name, in.Body.Text)
	})
}

func (s *server) orders(a huma.API) {
	serve(s, a, "GET", "/orders", "listOrders", "List orders, soonest promise first", func(ctx context.Context, in *listed) (bureau.Listing[order.Order], error) {
		return s.Steps.Orders(ctx, in.filter())
	})
	serve(s, a, "GET", "/orders/{id}", "getOrder", "One order", func(ctx context.Context, in *ByID) (order.Order, error) { return s.Steps.Order(ctx, in.ID) })
}

// upload takes one file as the body, its name in the query: bytes stream straight into the store.
func (s *server) upload(w http.ResponseWriter, r *http.Request) {
	name := r.URL.Query().Get("name")
	if name == "" {
		s.send(w, fault.New(fault.Invalid, "name_missing", "name", "Give the file's name in the query, ?name=bracket.stl."))
		return
	}
	f, err := s.Steps.ReceiveFile(r.Context(), who, r.PathValue("id"), name, http.MaxBytesReader(w, r.Body, s.MaxUpload))
	if err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			err = fault.New(fault.TooLarge, "upload_too_large", name, "The file has more than %d MiB.", big.Limit>>20)
		}
		s.send(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(http.StatusAccepted)
	_ = json.NewEncoder(w).Encode(f)
}

// describeUpload writes the streaming upload into the document by hand.
func describeUpload(a huma.API) {
	o := a.OpenAPI()
	reg := o.Components.Schemas
	o.AddOperation(&huma.Operation{OperationID: "addFile", Method: "POST", Path: "/api/v1/requests/{id}/files", Summary: "Add a file to a request; its analysis begins at once",
		Parameters:  []*huma.Param{{Name: "id", In: "path", Required: true, Schema: &huma.Schema{Type: "string"}}, {Name: "name", In: "query", Required: true, Description: "The file's name", Schema: &huma.Schema{Type: "string"}}},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/octet-stream": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}},
		Responses:   map[string]*huma.Response{"202": {Description: "Taken; poll the request for progress", Content: map[string]*huma.MediaType{"application/json": {Schema: huma.SchemaFromType(reg, typeOf[request.File]())}}}},
	})
}
