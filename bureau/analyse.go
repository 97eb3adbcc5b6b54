package bureau

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"

	"firstoff/desk/quote"
	"firstoff/desk/request"
	"firstoff/digest"
	"firstoff/fault"
)

// errPassed ends an analysis whose result nobody wants any more: the unit was answered, or it was cancelled.
var errPassed = errors.New("another analysis of this file was asked for")

// Analyse is the task of kind TaskAnalyse: read the file, measure its parts, work out their options, and enter all of
// it in one transaction that also ends the task. It may be run any number of times: a file that is done, or
// whose analysis has been asked for anew, is left alone.
//
// A bad file is no error: it becomes a failed file with one sentence. Errors are those of records and blobs, and
// mean "run me again".
func (b *Bureau) Analyse(ctx context.Context, task string) error {
	id, round, err := parseTask(task)
	if err != nil {
		return err
	}
	f, err := b.p.Records.File(ctx, id)
	if missing(err) || err == nil && (f.Round != round || f.State.Done()) {
		return b.p.Records.InTx(ctx, b.p.Tasks.Complete)
	}
	if err != nil {
		return err
	}
	run, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	b.started(f.ID, cancel)
	defer b.ended(f.ID)

	w := &watched{b: b, ctx: ctx, file: f, cancel: cancel}
	err = b.appraise(run, w)
	switch {
	case err == nil:
		return nil
	case errors.Is(context.Cause(run), errPassed):
		return b.p.Records.InTx(context.WithoutCancel(ctx), b.p.Tasks.Complete)
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		return b.fail(ctx, id, round, fault.New(fault.TooLarge, "analysis_too_long", f.Name, "The analysis took too long and was stopped; send the part with fewer triangles or as several files."))
	case ctx.Err() != nil:
		return ctx.Err()
	}
	var p *fault.Error
	if errors.As(err, &p) && (p.Kind != fault.Internal && p.Kind != fault.Busy || p.Code == "analysis_crashed") {
		return b.fail(ctx, id, round, p)
	}
	return err
}

func missing(err error) bool { return err != nil && fault.KindOf(err) == fault.NotFound }

// GivenUp is told that the task will not be run again: the file is marked as failed.
func (b *Bureau) GivenUp(ctx context.Context, task string, last error) error {
	id, round, err := parseTask(task)
	if err != nil {
		return err
	}
	return b.fail(ctx, id, round, fault.Because(last, fault.Internal, "analysis_given_up", "", "The analysis was tried several times and did not come to an end; the log says why. The file is kept; ask for another format, or analyse it again."))
}

func parseTask(task string) (id string, round int, err error) {
	i := strings.LastIndexByte(task, '-')
	if i > 0 {
		if round, err = strconv.Atoi(task[i+1:]); err == nil {
			return task[:i], round, nil
		}
	}
	return "", 0, fault.New(fault.Internal, "task_unknown", task, "This is not an analysis task.")
}

func (b *Bureau) started(id string, cancel context.CancelCauseFunc) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.running[id] = cancel
}

func (b *Bureau) ended(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.running, id)
}

// pass stops an analysis of the file in this process; one in another process notices at its next step.
func (b *Bureau) pass(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if cancel := b.running[id]; cancel != nil {
		cancel(errPassed)
	}
}

// watched is a file being analysed; its record follows the work.
type watched struct {
	b      *Bureau
	ctx    context.Context
	file   request.File
	cancel context.CancelCauseFunc
	err    error
}

// step writes down how far the work is: each new step, and every ten percent within one.
func (w *watched) step(doing string, from, to int, done float64) {
	pct := from + int(float64(to-from)*min(1, max(0, done)))
	f := &w.file
	if w.err != nil || f.State == request.Analysing && f.Step == doing && pct < f.Percent+10 {
		return
	}
	f.State, f.Step, f.Percent = request.Analysing, doing, pct
	err := w.b.p.Records.SaveFile(w.ctx, f)
	if err != nil && fault.KindOf(err) == fault.Conflict {
		err = w.adopt()
	}
	if err != nil {
		w.err = err
		w.cancel(err)
		return
	}
	w.b.news.tell(progressOf(*f))
}

// adopt takes over a record somebody else wrote meanwhile, unless the file was cancelled or its analysis asked for anew.
// (What is left is the same task run twice: the first to enter its result wins, see enter.)
func (w *watched) adopt() error {
	f, err := w.b.p.Records.File(w.ctx, w.file.ID)
	if err != nil {
		return err
	}
	if f.Round != w.file.Round || f.State.Done() {
		return errPassed
	}
	w.file.Version = f.Version
	return nil
}

// found is one part with its first table, before it is entered.
type found struct {
	piece  Piece
	viewer digest.Digest
	line   request.Line // as it was, or with the defaults
	key    digest.Digest
	answer quote.Answer
	err    error // why it has no table
}

// appraise does the work of Analyse.
func (b *Bureau) appraise(ctx context.Context, w *watched) error {
	w.step("reading", 0, 60, 0)
	if w.err != nil {
		return w.err
	}
	f := w.file
	pieces, err := b.read(ctx, f, func(doing string, done float64) { w.step(doing, 0, 60, done) })
	if err == nil {
		err = w.err
	}
	if err != nil {
		return err
	}
	was, err := b.linesOf(ctx, f)
	if err != nil {
		return err
	}
	load, err := b.Load(ctx)
	if err != nil {
		return err
	}
	all := make([]found, len(pieces))
	for i, p := range pieces {
		w.step("options", 60, 98, float64(i)/float64(len(pieces)))
		all[i] = found{piece: p, line: request.Line{Qty: 1}}
		if l, ok := was[i]; ok {
			all[i].line = l
		}
		if p.Problem != nil {
			continue
		}
		if len(p.Viewer) > 0 {
			if all[i].viewer, _, err = b.p.Blobs.Put(ctx, bytes.NewReader(p.Viewer)); err != nil {
				return err
			}
		}
		line := all[i].line
		line.Facts, line.Name = p.Facts, p.Name
		ask := b.ask(line, Override{}, load)
		all[i].key = ask.key(p.Facts, f.Unit.Answer)
		if all[i].answer, err = b.evaluate(ctx, p, ask); err != nil {
			if ctx.Err() != nil {
				return err
			}
			all[i].err = err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return b.enter(ctx, f.ID, f.Round, all)
}

// read gives the parts in a file, from the shelf or from its bytes.
func (b *Bureau) read(ctx context.Context, f request.File, step func(string, float64)) (pieces []Piece, err error) {
	k := shelfKey{f.Digest, f.Unit.Answer}
	if p, ok := b.pieces.take(k); ok {
		return p, nil
	}
	r, err := b.p.Blobs.Open(ctx, f.Digest)
	if err != nil {
		return nil, fault.At(err, f.Name)
	}
	defer func() { _ = r.Close() }()
	if f.Size > b.p.MaxFile {
		return nil, fault.New(fault.TooLarge, "file_too_large", f.Name, "The file is larger than this desk takes.")
	}
	data := make([]byte, f.Size)
	if _, err := io.ReadFull(r, data); err != nil {
		return nil, fmt.Errorf("reading %s: %w", f.Digest.Short(), err)
	}
	defer func() {
		if p := recover(); p != nil {
			b.p.Log.Error("reading a file panicked", "file", f.ID, "sha256", f.Digest, "panic", p, "stack", string(debug.Stack()))
			err = crashed(f)
		}
	}()
	if pieces, err = b.p.Appraiser.Read(ctx, f.Name, data, f.Unit.Answer, step); err != nil {
		return nil, fault.At(err, f.Name)
	}
	b.pieces.put(k, pieces, f.Size)
	return pieces, nil
}

func crashed(f request.File) error {
	return fault.New(fault.Internal, "analysis_crashed", f.Name, "This file brought the analysis down, which is a defect of this program; the file is kept and the log says where. Ask for another format meanwhile.")
}

func (b *Bureau) linesOf(ctx context.Context, f request.File) (map[int]request.Line, error) {
	lines, err := b.p.Records.Lines(ctx, f.RequestID)
	if err != nil {
		return nil, err
	}
	of := map[int]request.Line{}
	for _, l := range lines {
		if l.FileID == f.ID {
			of[l.Member] = l
		}
	}
	return of, nil
}

// enter writes an analysis into the records, unless it has been asked for anew meanwhile.
func (b *Bureau) enter(ctx context.Context, id string, round int, all []found) error {
	var f request.File
	err := b.p.Records.InTx(ctx, func(ctx context.Context) error {
		var err error
		if f, err = b.p.Records.File(ctx, id); err != nil {
			return err
		}
		if err := b.p.Tasks.Complete(ctx); err != nil {
			return err
		}
		if f.Round != round || f.State.Done() {
			return nil
		}
		if err := b.enterLines(ctx, f, all); err != nil {
			return err
		}
		f.State, f.Percent, f.Step, f.Problem = request.Ready, 100, "", nil
		for _, a := range all {
			if a.piece.Problem == nil {
				answer, by := f.Unit.Answer, f.Unit.AnsweredBy
				f.Format, f.Unit, f.Warnings = a.piece.Format, a.piece.Unit, a.piece.Warnings
				f.Unit.Answer, f.Unit.AnsweredBy = answer, by
				break
			}
		}
		if err := b.p.Records.SaveFile(ctx, &f); err != nil {
			return err
		}
		r, err := b.p.Records.Request(ctx, f.RequestID)
		if err != nil {
			return err
		}
		if err := b.settle(ctx, r); err != nil {
			return err
		}
		return b.note(ctx, "desk", "file.analysed", f.ID, f.RequestID, nil, fmt.Sprintf("%d parts, round %d", len(all), round), "")
	})
	if err == nil {
		b.news.tell(progressOf(f))
	}
	return err
}

// membersMost is more than an archive may hold (content.DefaultLimits.Entries).
const membersMost = 10_000

// enterLines brings the file's lines up to date: what a person set stays, what was computed is replaced.
func (b *Bureau) enterLines(ctx context.Context, f request.File, all []found) error {
	of, err := b.linesOf(ctx, f)
	if err != nil {
		return err
	}
	files, err := b.p.Records.Files(ctx, f.RequestID)
	if err != nil {
		return err
	}
	// Lines stand in the order in which the files came, whichever was analysed first.
	before := slices.IndexFunc(files, func(g request.File) bool { return g.ID == f.ID }) * membersMost
	for i, a := range all {
		l, there := of[i]
		delete(of, i)
		if !there {
			if l.ID, err = b.number(ctx, "L"); err != nil {
				return err
			}
			l.RequestID, l.FileID, l.Member, l.Position, l.Qty = f.RequestID, f.ID, i, before+i+1, 1
		}
		l.Name, l.Facts, l.Findings, l.Bodies, l.Viewer = a.piece.Name, a.piece.Facts, a.piece.Findings, a.piece.Bodies, a.viewer
		l.Problem = a.piece.Problem
		l.Unknown()
		if l.Name == "" {
			l.Name = f.Name
		}
		switch {
		case a.err != nil:
			l.Problem = problem(a.err)
		case a.key != "" && l.Qty == a.line.Qty && l.Version == a.line.Version: // else somebody changed the question meanwhile
			l.Show(a.key, a.answer.Table)
			if err := b.p.Records.PutTable(ctx, a.key, a.answer); err != nil {
				return err
			}
		}
		if there {
			err = b.p.Records.SaveLine(ctx, &l)
		} else {
			err = b.p.Records.AddLine(ctx, &l)
		}
		if err != nil {
			return err
		}
	}
	for _, l := range of { // members a new reading no longer finds
		if err := b.p.Records.DeleteLine(ctx, l.ID); err != nil {
			return err
		}
		if err := b.note(ctx, "desk", "line.gone", l.ID, f.RequestID, l, nil, "the file was read anew"); err != nil {
			return err
		}
	}
	return nil
}

func problem(err error) *request.Problem {
	f := fault.Of(err)
	return &request.Problem{Code: f.Code, Message: f.Message, Where: f.Where}
}

// fail marks the file as failed, unless its analysis has been asked for anew meanwhile, and ends the task.
func (b *Bureau) fail(ctx context.Context, id string, round int, why *fault.Error) error {
	var f request.File
	err := b.p.Records.InTx(context.WithoutCancel(ctx), func(ctx context.Context) error {
		var err error
		if f, err = b.p.Records.File(ctx, id); missing(err) {
			return b.p.Tasks.Complete(ctx)
		} else if err != nil {
			return err
		}
		if err := b.p.Tasks.Complete(ctx); err != nil {
			return err
		}
		if f.Round != round || f.State.Done() {
			return nil
		}
		f.State, f.Percent, f.Step, f.Problem = request.Failed, 100, "", problem(why)
		if err := b.p.Records.SaveFile(ctx, &f); err != nil {
			return err
		}
		r, err := b.p.Records.Request(ctx, f.RequestID)
		if err != nil {
			return err
		}
		if err := b.settle(ctx, r); err != nil {
			return err
		}
		return b.note(ctx, "desk", "file.failed", f.ID, f.RequestID, nil, f.Problem, why.Code)
	})
	if err == nil {
		b.p.Log.Info("a file could not be analysed", "file", id, "code", why.Code, "where", why.Where, "err", why.Err)
		b.news.tell(progressOf(f))
	}
	return err
}

// AnalyseAgain has a file analysed anew. Fault: Conflict "request_closed".
func (b *Bureau) AnalyseAgain(ctx context.Context, who, fileID string) (request.File, error) {
	return b.anew(ctx, fileID, func(ctx context.Context, f *request.File) error {
		return b.note(ctx, who, "file.again", f.ID, f.RequestID, string(f.State), nil, "")
	})
}

// anew lets change prepare a file and asks for a new analysis, whose task replaces any earlier one.
func (b *Bureau) anew(ctx context.Context, fileID string, change func(ctx context.Context, f *request.File) error) (request.File, error) {
	var f request.File
	err := b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if f, err = b.p.Records.File(ctx, fileID); err != nil {
			return err
		}
		r, err := b.live(ctx, f.RequestID)
		if err != nil {
			return err
		}
		if err := change(ctx, &f); err != nil {
			return err
		}
		if err := b.p.Tasks.Cancel(ctx, TaskAnalyse, taskID(f)); err != nil {
			return err
		}
		f.Round++
		f.State, f.Percent, f.Step, f.Problem = request.Waiting, 0, "", nil
		if err := b.p.Records.SaveFile(ctx, &f); err != nil {
			return err
		}
		if err := b.settle(ctx, r); err != nil {
			return err
		}
		return b.p.Tasks.Enqueue(ctx, TaskAnalyse, taskID(f))
	})
	if err == nil {
		b.pass(f.ID)
		b.news.tell(progressOf(f))
	}
	return f, err
}

// CancelAnalysis stops a file's analysis. The file is kept as failed and can be analysed again.
// Fault: Conflict "file_done".
func (b *Bureau) CancelAnalysis(ctx context.Context, who, fileID string) (request.File, error) {
	var f request.File
	err := b.p.Records.InTx(ctx, func(ctx context.Context) (err error) {
		if f, err = b.p.Records.File(ctx, fileID); err != nil {
			return err
		}
		if f.State.Done() {
			return fault.New(fault.Conflict, "file_done", f.ID, "The analysis of this file has ended already.")
		}
		if err := b.p.Tasks.Cancel(ctx, TaskAnalyse, taskID(f)); err != nil {
			return err
		}
		f.State, f.Percent, f.Step = request.Failed, 100, ""
		f.Problem = &request.Problem{Code: "analysis_cancelled", Message: "The analysis was cancelled; it can be started again."}
		if err := b.p.Records.SaveFile(ctx, &f); err != nil {
			return err
		}
		r, err := b.p.Records.Request(ctx, f.RequestID)
		if err != nil {
			return err
		}
		if err := b.settle(ctx, r); err != nil {
			return err
		}
		return b.note(ctx, who, "file.cancelled", f.ID, f.RequestID, nil, nil, "")
	})
	if err == nil {
		b.pass(f.ID)
		b.news.tell(progressOf(f))
	}
	return f, err
}

// TakeUp asks anew for every analysis that has not ended and has no task: records restored from a backup come without
// their tasks. To be called at each start; it says how many there were.
func (b *Bureau) TakeUp(ctx context.Context) (int, error) {
	files, err := b.p.Records.UnfinishedFiles(ctx)
	if err != nil {
		return 0, err
	}
	n := 0
	for _, f := range files {
		has, err := b.p.Tasks.Has(ctx, TaskAnalyse, taskID(f))
		if err != nil {
			return n, err
		}
		if has {
			continue
		}
		if _, err := b.anew(ctx, f.ID, func(context.Context, *request.File) error { return nil }); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}
