package store

import (
	"context"

	"firstoff/bureau/proving"
	"firstoff/quality/inspect"
)

var sheets = kind[inspect.Sheet]{
	table:   "sheets",
	id:      func(x *inspect.Sheet) string { return x.ID },
	version: func(x *inspect.Sheet) *int { return &x.Version },
	names:   []string{"traveller", "order_id", "stream", "state"},
	columns: func(x *inspect.Sheet) []any { return []any{x.Traveller, x.OrderID, x.Stream, x.Word} },
}

// AddSheet keeps a new inspection sheet. A traveller has one only: Conflict "exists".
func (s *Store) AddSheet(ctx context.Context, x *inspect.Sheet) error { return sheets.add(ctx, s, x) }

// SaveSheet replaces a sheet.
func (s *Store) SaveSheet(ctx context.Context, x *inspect.Sheet) error { return sheets.save(ctx, s, x) }

// Sheet finds a sheet by number.
func (s *Store) Sheet(ctx context.Context, id string) (inspect.Sheet, error) {
	return sheets.get(ctx, s, id)
}

// SheetsOf lists the sheets of an order.
func (s *Store) SheetsOf(ctx context.Context, orderID string) ([]inspect.Sheet, error) {
	return sheets.list(ctx, s, "WHERE order_id = ? ORDER BY no", orderID)
}

// Stream lists the sheets of like parts, oldest first, before one.
func (s *Store) Stream(ctx context.Context, stream string) ([]inspect.Sheet, error) {
	return sheets.list(ctx, s, "WHERE stream = ? ORDER BY no", stream)
}

// Sheets lists newest first.
func (s *Store) Sheets(ctx context.Context, states []string, offset, limit int) ([]inspect.Sheet, int, error) {
	cond, args := in("state", states)
	total, err := sheets.count(ctx, s, "WHERE "+cond, args...)
	if err != nil {
		return nil, 0, err
	}
	found, err := sheets.list(ctx, s, "WHERE "+cond+" ORDER BY no DESC LIMIT ? OFFSET ?", append(args, limited(limit, 500), max(0, offset))...)
	return found, total, err
}

var instruments = kind[proving.Instrument]{
	table:   "instruments",
	id:      func(x *proving.Instrument) string { return x.ID },
	version: func(x *proving.Instrument) *int { return &x.Version },
	columns: func(*proving.Instrument) []any { return nil },
}

// AddInstrument keeps a new instrument.
func (s *Store) AddInstrument(ctx context.Context, x *proving.Instrument) error {
	return instruments.add(ctx, s, x)
}

// SaveInstrument replaces an instrument.
func (s *Store) SaveInstrument(ctx context.Context, x *proving.Instrument) error {
	return instruments.save(ctx, s, x)
}

// Instrument finds an instrument by its id.
func (s *Store) Instrument(ctx context.Context, id string) (proving.Instrument, error) {
	return instruments.get(ctx, s, id)
}

// Instruments lists all by id.
func (s *Store) Instruments(ctx context.Context) ([]proving.Instrument, error) {
	return instruments.list(ctx, s, "ORDER BY id LIMIT 1000")
}

var nonconformances = kind[proving.Nonconformance]{
	table:   "nonconformances",
	id:      func(x *proving.Nonconformance) string { return x.ID },
	version: func(x *proving.Nonconformance) *int { return &x.Version },
	names:   []string{"order_id", "traveller", "state"},
	columns: func(x *proving.Nonconformance) []any { return []any{x.OrderID, x.Traveller, x.Is.State()} },
}

// AddNonconformance keeps a new record.
func (s *Store) AddNonconformance(ctx context.Context, x *proving.Nonconformance) error {
	return nonconformances.add(ctx, s, x)
}

// SaveNonconformance replaces a record.
func (s *Store) SaveNonconformance(ctx context.Context, x *proving.Nonconformance) error {
	return nonconformances.save(ctx, s, x)
}

// Nonconformance finds a record by number.
func (s *Store) Nonconformance(ctx context.Context, id string) (proving.Nonconformance, error) {
	return nonconformances.get(ctx, s, id)
}

// NonconformancesOf lists the records of an order.
func (s *Store) NonconformancesOf(ctx context.Context, orderID string) ([]proving.Nonconformance, error) {
	return nonconformances.list(ctx, s, "WHERE order_id = ? ORDER BY no", orderID)
}

// Nonconformances lists newest first.
func (s *Store) Nonconformances(ctx context.Context, states []string, offset, limit int) ([]proving.Nonconformance, int, error) {
	cond, args := in("state", states)
	total, err := nonconformances.count(ctx, s, "WHERE "+cond, args...)
	if err != nil {
		return nil, 0, err
	}
	found, err := nonconformances.list(ctx, s, "WHERE "+cond+" ORDER BY no DESC LIMIT ? OFFSET ?", append(args, limited(limit, 500), max(0, offset))...)
	return found, total, err
}

var certificates = kind[proving.Certificate]{
	table:   "certificates",
	id:      func(x *proving.Certificate) string { return x.ID },
	version: func(x *proving.Certificate) *int { return &x.Version },
	names:   []string{"order_id"},
	columns: func(x *proving.Certificate) []any { return []any{x.OrderID} },
}

// AddCertificate keeps a new certificate.
func (s *Store) AddCertificate(ctx context.Context, x *proving.Certificate) error {
	return certificates.add(ctx, s, x)
}

// SaveCertificate replaces a certificate's record; what it states is sealed and does not change.
func (s *Store) SaveCertificate(ctx context.Context, x *proving.Certificate) error {
	return certificates.save(ctx, s, x)
}

// Certificate finds a certificate by number.
func (s *Store) Certificate(ctx context.Context, id string) (proving.Certificate, error) {
	return certificates.get(ctx, s, id)
}

// CertificatesOf lists the certificates of an order.
func (s *Store) CertificatesOf(ctx context.Context, orderID string) ([]proving.Certificate, error) {
	return certificates.list(ctx, s, "WHERE order_id = ? ORDER BY no", orderID)
}

var scans = kind[proving.Scan]{
	table:   "scans",
	id:      func(x *proving.Scan) string { return x.ID },
	version: func(x *proving.Scan) *int { return &x.Version },
	names:   []string{"order_id"},
	columns: func(x *proving.Scan) []any { return []any{x.OrderID} },
}

// AddScan keeps a comparison.
func (s *Store) AddScan(ctx context.Context, x *proving.Scan) error { return scans.add(ctx, s, x) }

// Scan finds a comparison by number.
func (s *Store) Scan(ctx context.Context, id string) (proving.Scan, error) {
	return scans.get(ctx, s, id)
}

// ScansOf lists the comparisons of an order.
func (s *Store) ScansOf(ctx context.Context, orderID string) ([]proving.Scan, error) {
	return scans.list(ctx, s, "WHERE order_id = ? ORDER BY no", orderID)
}
