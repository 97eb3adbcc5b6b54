package bureau

import (
	"context"
	"encoding/json"
	"runtime/debug"
	"time"

	"firstoff/desk/offer"
	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
	"firstoff/part"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/work"
	"firstoff/unit"
)

// seed of every simulation at the desk: the same for all options, so that they are compared under the same luck, and
// kept with each answer, so that it can be computed again.
const seed = 1

// InHand is the open orders and how far they have come.
func (b *Bureau) InHand(ctx context.Context) (Load, error) {
	open, _, err := b.p.Records.Orders(ctx, []string{string(order.Accepted), string(order.InWork)}, 0, 10_000)
	if err != nil {
		return Load{}, err
	}
	l := Load{Orders: open}
	if b.p.Left != nil {
		l.Floor, err = b.p.Left(ctx)
	}
	return l, err
}

// Load is the work the shop has accepted, with what was decided about it and the level promises are made at.
func (b *Bureau) Load(ctx context.Context) (Load, error) {
	l, err := b.InHand(ctx)
	if err != nil {
		return Load{}, err
	}
	if l.Level, err = b.level(ctx, l.Orders); err != nil {
		return Load{}, err
	}
	if b.p.Decided != nil {
		if l.Decided, err = b.p.Decided(ctx); err != nil {
			return Load{}, err
		}
	}
	type mark struct {
		ID      string
		Version int
	}
	marks := []mark{}
	for _, o := range l.Orders {
		marks = append(marks, mark{o.ID, o.Version})
	}
	text, err := json.Marshal(struct {
		Orders  []mark
		Level   float64
		Floor   work.Floor
		Decided work.Decided
	}{marks, l.Level.Use, l.Floor.Still(), l.Decided})
	l.Revision = digest.Of(text)
	return l, err
}

// ask is the question about a line as it stands, or with something else for once.
func (b *Bureau) ask(l request.Line, o Override, load Load) Ask {
	a := Ask{
		Name: l.Name, Qty: l.Qty, Requirement: l.Requirement, InfillPct: o.InfillPct, LayerMM: o.LayerMM,
		Catalogue: b.p.Catalogue(), Load: load, Now: b.now(), Seed: seed,
	}
	for _, id := range append([]string{l.Chosen}, l.Alternatives...) {
		if offer.Beside(id) {
			a.Keep = append(a.Keep, id)
		}
	}
	if b.p.Coefficients != nil {
		a.Coefficients = b.p.Coefficients()
	}
	if o.Qty > 0 {
		a.Qty = o.Qty
	}
	if o.Requirement != nil {
		a.Requirement = *o.Requirement
	}
	if o.NeedBy != "" {
		a.Requirement.NeedBy = o.NeedBy
	}
	return a
}

// key is the digest of everything the answer depends on. The moment counts by the hour, and by whether the day's
// cut-off has passed: within that, dates stay as they were.
func (a Ask) key(f part.Facts, answered unit.Length) digest.Digest {
	text, err := json.Marshal(struct {
		Part            digest.Digest
		Name            string
		Kernel          int
		Volume          float64
		Unit            unit.Length
		Qty             int
		Requirement     part.Requirement
		Infill, Layer   float64
		Catalogue, Load digest.Digest
		Hour            string
		AfterCutOff     bool
		Seed            uint64
		Coefficients    string
		Keep            []string
	}{f.Digest, a.Name, f.Kernel, f.VolumeMM3, answered, a.Qty, a.Requirement, a.InfillPct, a.LayerMM,
		a.Catalogue.Revision, a.Load.Revision, a.Now.UTC().Format("2006-01-02T15"), a.afterCutOff(), a.Seed, a.set(), a.Keep})
	if err != nil { // only a NaN in the requirement could do that
		return ""
	}
	return digest.Of(text)
}

func (a Ask) afterCutOff() bool {
	loc, err := time.LoadLocation(a.Catalogue.Firm.TimeZone)
	if err != nil {
		return false
	}
	return a.Now.In(loc).Format("15:04") >= a.Catalogue.Firm.CutOff
}

// set names the coefficients in force.
func (a Ask) set() string {
	if a.Coefficients == nil {
		return ""
	}
	return a.Coefficients.ID
}

// madeFrom names what an answer is computed from.
func (a Ask) madeFrom(f part.Facts) quote.Provenance {
	return quote.Provenance{Catalogue: a.Catalogue.Revision, Kernel: f.Kernel, Load: a.Load.Revision, Now: a.Now, Seed: a.Seed, Coefficients: a.set()}
}

// evaluate asks a part for its options. At most two are computed at a time: each keeps all cores busy.
func (b *Bureau) evaluate(ctx context.Context, p Piece, a Ask) (ans quote.Answer, err error) {
	select {
	case b.computing <- struct{}{}:
		defer func() { <-b.computing }()
	case <-ctx.Done():
		return ans, ctx.Err()
	}
	defer func() {
		if r := recover(); r != nil {
			b.p.Log.Error("working out options panicked", "part", p.Facts.Digest, "panic", r, "stack", string(debug.Stack()))
			err = fault.New(fault.Internal, "options_crashed", a.Name, "Working out the options of this part failed, which is a defect of this program; the log says where.")
		}
	}()
	t, err := p.Evaluate(ctx, a)
	return quote.Answer{Table: t, MadeFrom: a.madeFrom(p.Facts)}, err
}

// Options is everything the desk can offer for a line, as it stands or with something else for once (another quantity,
// infill, layer, date or requirement). What was worked out for the same question before is not computed again.
// Faults: Invalid "qty_range", "date_form"; Conflict "line_unusable".
func (b *Bureau) Options(ctx context.Context, lineID string, o Override) (LineOptions, error) {
	var out LineOptions
	if o.Qty != 0 {
		if err := request.CheckQty(o.Qty); err != nil {
			return out, err
		}
	}
	if err := request.CheckDate(o.NeedBy); err != nil {
		return out, err
	}
	l, err := b.p.Records.Line(ctx, lineID)
	if err != nil {
		return out, err
	}
	f, err := b.p.Records.File(ctx, l.FileID)
	if err != nil {
		return out, err
	}
	if l.Facts.Digest == "" {
		return out, fault.New(fault.Conflict, "line_unusable", l.ID, "%s could not be read, so there is nothing to work out for it.", l.Name)
	}
	load, err := b.Load(ctx)
	if err != nil {
		return out, err
	}
	a := b.ask(l, o, load)
	out = LineOptions{Line: l, Level: load.Level, Key: a.key(l.Facts, f.Unit.Answer)}
	if out.Key == "" {
		return out, fault.New(fault.Invalid, "requirement_numbers", l.ID, "The requirement holds a number that is none; set it again.")
	}
	ans, err := b.answer(ctx, out.Key, l, f, a)
	if err != nil {
		return out, err
	}
	out.Table, out.MadeFrom = ans.Table, ans.MadeFrom
	if o == (Override{}) && l.Table != out.Key {
		out.Line.Show(out.Key, ans.Table)
		switch err := b.p.Records.SaveLine(ctx, &out.Line); {
		case err == nil:
			out.moved = true
		case fault.KindOf(err) == fault.Conflict: // changed meanwhile: the next look works it out
			out.Line = l
		default:
			return out, err
		}
	}
	return out, nil
}

// answer finds what was worked out for the same question before, or works it out and keeps it.
func (b *Bureau) answer(ctx context.Context, key digest.Digest, l request.Line, f request.File, a Ask) (quote.Answer, error) {
	ans, err := b.p.Records.Table(ctx, key)
	if !missing(err) {
		return ans, err
	}
	if ans, err = b.work(ctx, l, f, a); err != nil {
		return ans, err
	}
	return ans, b.p.Records.PutTable(ctx, key, ans)
}

// work computes an answer anew, reading the file again if its parts are no longer at hand.
func (b *Bureau) work(ctx context.Context, l request.Line, f request.File, a Ask) (quote.Answer, error) {
	pieces, err := b.read(ctx, f, func(string, float64) {})
	if err != nil {
		return quote.Answer{}, err
	}
	if l.Member >= len(pieces) || pieces[l.Member].Problem != nil {
		return quote.Answer{}, fault.New(fault.Conflict, "line_unusable", l.ID, "%s is not found in its file any more; analyse the file again.", l.Name)
	}
	return b.evaluate(ctx, pieces[l.Member], a)
}
