package store

import (
	"context"
	"strings"

	"firstoff/client"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/fault"
	"firstoff/shopfloor/order"
)

// Next gives the next number of a series, starting at 1001.
func (s *Store) Next(ctx context.Context, series string) (int64, error) {
	var n int64
	err := s.one(ctx, series, []any{&n}, `INSERT INTO series (name, last) VALUES (?, 1001)
		ON CONFLICT (name) DO UPDATE SET last = series.last + 1 RETURNING last`, series)
	return n, err
}

// ── Clients ──────────────────────────────────────────────────────────────────────────────────────

var clients = kind[client.Client]{
	table:   "clients",
	id:      func(c *client.Client) string { return c.ID },
	version: func(c *client.Client) *int { return &c.Version },
	names:   []string{"name", "search"},
	columns: func(c *client.Client) []any {
		return []any{c.Name(), strings.ToLower(c.Firm + "\n" + c.Contact + "\n" + c.Email)}
	},
}

// AddClient keeps a new client.
func (s *Store) AddClient(ctx context.Context, c *client.Client) error { return clients.add(ctx, s, c) }

// SaveClient replaces a client.
func (s *Store) SaveClient(ctx context.Context, c *client.Client) error {
	return clients.save(ctx, s, c)
}

// Client finds a client by number.
func (s *Store) Client(ctx context.Context, id string) (client.Client, error) {
	return clients.get(ctx, s, id)
}

// ClientNames gives the name of each of these clients.
func (s *Store) ClientNames(ctx context.Context, ids []string) (map[string]string, error) {
	names := map[string]string{}
	if len(ids) == 0 {
		return names, nil
	}
	cond, args := in("id", ids)
	err := s.each(ctx, func(scan func(...any) error) error {
		var id, name string
		err := scan(&id, &name)
		names[id] = name
		return err
	}, "SELECT id, name FROM clients WHERE "+cond, args...)
	return names, err
}

// Clients finds clients by a part of firm, contact or e-mail.
func (s *Store) Clients(ctx context.Context, text string, limit int) ([]client.Client, error) {
	cond, args := like("search", text)
	return clients.list(ctx, s, "WHERE "+cond+" ORDER BY name, no LIMIT ?", append(args, limited(limit, 500))...)
}

// ── Requests ─────────────────────────────────────────────────────────────────────────────────────

var requests = kind[request.Request]{
	table:   "requests",
	id:      func(r *request.Request) string { return r.ID },
	version: func(r *request.Request) *int { return &r.Version },
	names:   []string{"client_id", "state", "received", "search"},
	columns: func(r *request.Request) []any {
		return []any{r.ClientID, string(r.State), stamp(r.Received), strings.ToLower(r.ID + "\n" + r.Title)}
	},
}

// AddRequest keeps a new request.
func (s *Store) AddRequest(ctx context.Context, r *request.Request) error {
	return requests.add(ctx, s, r)
}

// SaveRequest replaces a request.
func (s *Store) SaveRequest(ctx context.Context, r *request.Request) error {
	return requests.save(ctx, s, r)
}

// Request finds a request by number.
func (s *Store) Request(ctx context.Context, id string) (request.Request, error) {
	return requests.get(ctx, s, id)
}

// Requests lists newest first.
func (s *Store) Requests(ctx context.Context, states []string, text string, offset, limit int) ([]request.Request, int, error) {
	cond, args := in("state", states)
	where := "WHERE " + cond
	if mine, a := like("search", text); len(a) > 0 {
		theirs, b := like("search", text)
		where += " AND (" + mine + " OR client_id IN (SELECT id FROM clients WHERE " + theirs + "))"
		args = append(append(args, a...), b...)
	}
	total, err := requests.count(ctx, s, where, args...)
	if err != nil {
		return nil, 0, err
	}
	found, err := requests.list(ctx, s, where+" ORDER BY received DESC, no DESC LIMIT ? OFFSET ?", append(args, limited(limit, 500), max(0, offset))...)
	return found, total, err
}

// Tallies counts files and lines of each of these requests.
func (s *Store) Tallies(ctx context.Context, ids []string) (map[string]request.Tally, error) {
	out := map[string]request.Tally{}
	if len(ids) == 0 {
		return out, nil
	}
	cond, args := in("request_id", ids)
	err := s.each(ctx, func(scan func(...any) error) error {
		var id, state string
		var n int
		if err := scan(&id, &state, &n); err != nil {
			return err
		}
		t := out[id]
		t.Files += n
		switch st := request.FileState(state); {
		case st == request.Failed:
			t.Failed += n
		case !st.Done():
			t.Unfinished += n
		}
		out[id] = t
		return nil
	}, "SELECT request_id, state, count(*) FROM files WHERE "+cond+" GROUP BY request_id, state", args...)
	if err != nil {
		return nil, err
	}
	err = s.each(ctx, func(scan func(...any) error) error {
		var id string
		var n int
		if err := scan(&id, &n); err != nil {
			return err
		}
		t := out[id]
		t.Lines = n
		out[id] = t
		return nil
	}, "SELECT request_id, count(*) FROM lines WHERE "+cond+" GROUP BY request_id", args...)
	return out, err
}

// ── Files ────────────────────────────────────────────────────────────────────────────────────────

var files = kind[request.File]{
	table:   "files",
	id:      func(f *request.File) string { return f.ID },
	version: func(f *request.File) *int { return &f.Version },
	names:   []string{"request_id", "state", "digest", "asking", "received"},
	columns: func(f *request.File) []any {
		return []any{f.RequestID, string(f.State), string(f.Digest), yes(f.State == request.Ready && f.Unit.Open()), stamp(f.Received)}
	},
}

// AddFile keeps a new file.
func (s *Store) AddFile(ctx context.Context, f *request.File) error { return files.add(ctx, s, f) }

// SaveFile replaces a file.
func (s *Store) SaveFile(ctx context.Context, f *request.File) error { return files.save(ctx, s, f) }

// File finds a file by number.
func (s *Store) File(ctx context.Context, id string) (request.File, error) {
	return files.get(ctx, s, id)
}

// Files lists a request's files in the order they came.
func (s *Store) Files(ctx context.Context, requestID string) ([]request.File, error) {
	return files.list(ctx, s, "WHERE request_id = ? ORDER BY no", requestID)
}

const live = "request_id IN (SELECT id FROM requests WHERE state IN ('open', 'analysed', 'quoted'))"

// UnfinishedFiles lists files waiting or being analysed, oldest first.
func (s *Store) UnfinishedFiles(ctx context.Context) ([]request.File, error) {
	return files.list(ctx, s, "WHERE state IN ('waiting', 'analysing') AND "+live+" ORDER BY no")
}

// FilesFailed lists files that could not be analysed, of requests not yet quoted.
func (s *Store) FilesFailed(ctx context.Context) ([]request.File, error) {
	return files.list(ctx, s, "WHERE state = 'failed' AND request_id IN (SELECT id FROM requests WHERE state IN ('open', 'analysed')) ORDER BY no LIMIT 500")
}

// FilesAsking lists files whose unit somebody should confirm.
func (s *Store) FilesAsking(ctx context.Context) ([]request.File, error) {
	return files.list(ctx, s, "WHERE asking = 1 AND "+live+" ORDER BY no LIMIT 500")
}

// ── Lines ────────────────────────────────────────────────────────────────────────────────────────

var lines = kind[request.Line]{
	table:   "lines",
	id:      func(l *request.Line) string { return l.ID },
	version: func(l *request.Line) *int { return &l.Version },
	names:   []string{"request_id", "file_id", "position", "answer"},
	columns: func(l *request.Line) []any {
		return []any{l.RequestID, l.FileID, l.Position, string(l.Table)}
	},
}

// AddLine keeps a new line.
func (s *Store) AddLine(ctx context.Context, l *request.Line) error { return lines.add(ctx, s, l) }

// SaveLine replaces a line.
func (s *Store) SaveLine(ctx context.Context, l *request.Line) error { return lines.save(ctx, s, l) }

// Line finds a line by number.
func (s *Store) Line(ctx context.Context, id string) (request.Line, error) {
	return lines.get(ctx, s, id)
}

// Lines lists a request's lines by position.
func (s *Store) Lines(ctx context.Context, requestID string) ([]request.Line, error) {
	return lines.list(ctx, s, "WHERE request_id = ? ORDER BY position, no", requestID)
}

// DeleteLine removes a line that a new analysis no longer finds.
func (s *Store) DeleteLine(ctx context.Context, id string) error {
	_, err := s.exec(ctx, "DELETE FROM lines WHERE id = ?", id)
	return err
}

// ── Messages ─────────────────────────────────────────────────────────────────────────────────────

var messages = kind[request.Message]{
	table:   "messages",
	id:      func(m *request.Message) string { return m.ID },
	version: func(m *request.Message) *int { return &m.Version },
	names:   []string{"request_id", "question", "at"},
	columns: func(m *request.Message) []any {
		return []any{m.RequestID, yes(m.From == request.FromClient && !m.Answered), stamp(m.At)}
	},
}

// AddMessage keeps a new message.
func (s *Store) AddMessage(ctx context.Context, m *request.Message) error {
	return messages.add(ctx, s, m)
}

// SaveMessage replaces a message.
func (s *Store) SaveMessage(ctx context.Context, m *request.Message) error {
	return messages.save(ctx, s, m)
}

// Messages lists a request's messages, oldest first.
func (s *Store) Messages(ctx context.Context, requestID string) ([]request.Message, error) {
	return messages.list(ctx, s, "WHERE request_id = ? ORDER BY no", requestID)
}

// OpenQuestions lists what clients asked and nobody has answered, oldest first.
func (s *Store) OpenQuestions(ctx context.Context) ([]request.Message, error) {
	return messages.list(ctx, s, "WHERE question = 1 ORDER BY no LIMIT 500")
}

// ── Orders ───────────────────────────────────────────────────────────────────────────────────────

var orders = kind[order.Order]{
	table:   "orders",
	id:      func(o *order.Order) string { return o.ID },
	version: func(o *order.Order) *int { return &o.Version },
	names:   []string{"request_id", "quotation_id", "state", "promised"},
	columns: func(o *order.Order) []any {
		return []any{o.RequestID, o.QuotationID, string(o.State), o.Promised}
	},
}

// AddOrder keeps a new order. A quotation can become one order only: Conflict "exists".
func (s *Store) AddOrder(ctx context.Context, o *order.Order) error { return orders.add(ctx, s, o) }

// SaveOrder replaces an order.
func (s *Store) SaveOrder(ctx context.Context, o *order.Order) error { return orders.save(ctx, s, o) }

// Order finds an order by number.
func (s *Store) Order(ctx context.Context, id string) (order.Order, error) {
	return orders.get(ctx, s, id)
}

// Orders lists by promised date, soonest first.
func (s *Store) Orders(ctx context.Context, states []string, offset, limit int) ([]order.Order, int, error) {
	cond, args := in("state", states)
	total, err := orders.count(ctx, s, "WHERE "+cond, args...)
	if err != nil {
		return nil, 0, err
	}
	found, err := orders.list(ctx, s, "WHERE "+cond+" ORDER BY promised, no LIMIT ? OFFSET ?", append(args, limited(limit, 10_000), max(0, offset))...)
	return found, total, err
}

// OrdersOf lists the orders that came of a request.
func (s *Store) OrdersOf(ctx context.Context, requestID string) ([]order.Order, error) {
	return orders.list(ctx, s, "WHERE request_id = ? ORDER BY no", requestID)
}

// EachFile hands over every file, EachLine every line, EachQuotation every quotation, for the doctor.
func (s *Store) EachFile(ctx context.Context, do func(request.File) error) error {
	return eachOf(ctx, s, &files, do)
}

// EachLine hands over every line.
func (s *Store) EachLine(ctx context.Context, do func(request.Line) error) error {
	return eachOf(ctx, s, &lines, do)
}

// EachQuotation hands over every quotation, without the body of a frozen one.
func (s *Store) EachQuotation(ctx context.Context, do func(quote.Quotation) error) error {
	return eachOf(ctx, s, &quotations, do)
}

func eachOf[T any](ctx context.Context, s *Store, k *kind[T], do func(T) error) error {
	return s.each(ctx, func(scan func(...any) error) error {
		var id, body string
		if err := scan(&id, &body); err != nil {
			return err
		}
		var r T
		if err := decode(body, &r); err != nil {
			return fault.At(err, id)
		}
		return do(r)
	}, "SELECT id, body FROM "+k.table+" ORDER BY no, id")
}
