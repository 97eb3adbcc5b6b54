package runner

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"firstoff/fault"
)

// Attempts is how often a task is run before it is given up.
const Attempts = 5

// Database is what the runner stands on.
type Database struct {
	DB   *sql.DB                           // the writing side
	Pool *pgxpool.Pool                     // under DB; nil on SQLite
	Tx   func(ctx context.Context) *sql.Tx // the transaction ctx carries, or nil
}

// Options of a runner. The zero value enqueues only and runs nothing.
type Options struct {
	Workers int           // tasks run at the same time; 0 = none
	Timeout time.Duration // of one run; 0 = 15 min
	Sole    bool          // nobody else works on this database: what is running at start is orphaned
	Log     *slog.Logger  // nil = none
	Retry   func(attempt int) time.Duration
	Quick   bool // for tests: no staggered start of the queue's own upkeep
}

// Handler runs the task with this id. A nil error ends the task, an error has it run again later.
type Handler func(ctx context.Context, id string) error

// GivenUp is told about a task that will not be run again.
type GivenUp func(ctx context.Context, id string, last error) error

// Runner enqueues and runs tasks.
type Runner struct {
	d        Database
	o        Options
	name     string
	driver   riverdriver.Driver[*sql.Tx]
	client   *river.Client[*sql.Tx]
	handlers map[string]handler
	alive    *sql.Conn // holds this process's advisory lock (PostgreSQL)
	stop     context.CancelFunc
	watch    sync.WaitGroup
}

type handler struct {
	run     Handler
	givenUp GivenUp
}

// task is how the queue library sees all our tasks.
type task struct {
	What string `json:"what"`
	ID   string `json:"id"`
}

// Kind names the arguments for the queue library.
func (task) Kind() string { return "task" }

// New makes a runner. Handle the kinds, Migrate, then Start it.
func New(d Database, o Options) (*Runner, error) {
	if o.Timeout == 0 {
		o.Timeout = 15 * time.Minute
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Retry == nil {
		o.Retry = func(attempt int) time.Duration { return time.Duration(attempt*attempt) * 2 * time.Second }
	}
	r := &Runner{d: d, o: o, name: "firstoff-" + uuid.Must(uuid.NewV7()).String(), handlers: map[string]handler{}}
	if d.Pool != nil {
		r.driver = riverdatabasesql.NewWithPgxListener(d.DB, d.Pool)
	} else {
		r.driver = riversqlite.New(d.DB)
	}
	c := &river.Config{
		ID: r.name, Logger: o.Log, TestOnly: o.Quick,
		JobTimeout: o.Timeout, RescueStuckJobsAfter: o.Timeout + 5*time.Minute,
		SoftStopTimeout:     5 * time.Second,
		SkipUnknownJobCheck: true,
		// Our own count ends a task (see work); the queue's must not come first.
		MaxAttempts: 1000,
		RetryPolicy: retry(o.Retry),
	}
	if d.Pool == nil {
		// No notifications between connections here: look often. A look that finds nothing writes nothing.
		c.FetchPollInterval, c.FetchCooldown = 200*time.Millisecond, 50*time.Millisecond
	}
	if o.Workers > 0 {
		c.Workers = river.NewWorkers()
		river.AddWorker(c.Workers, &worker{r: r})
		c.Queues = map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: o.Workers}}
	}
	var err error
	r.client, err = river.NewClient(r.driver, c)
	return r, err
}

type retry func(attempt int) time.Duration

func (f retry) NextRetry(job *rivertype.JobRow) time.Time {
	return time.Now().UTC().Add(f(len(job.Errors) + 1))
}

// Handle names who runs the tasks of a kind, and who is told when one is given up. Before Start.
func (r *Runner) Handle(kind string, run Handler, givenUp GivenUp) {
	r.handlers[kind] = handler{run, givenUp}
}

// Migrate brings the queue's own tables up to date. Call it under the store's migration lock (store.Migrate).
func (r *Runner) Migrate(ctx context.Context) error {
	m, err := rivermigrate.New(r.driver, &rivermigrate.Config{Logger: r.o.Log})
	if err != nil {
		return err
	}
	_, err = m.Migrate(ctx, rivermigrate.DirectionUp, nil)
	return err
}

// Start begins to run tasks, taking up first what a dead process left. It returns at once; Stop ends it.
func (r *Runner) Start(ctx context.Context) error {
	if r.o.Workers == 0 {
		return nil
	}
	if err := r.claim(ctx); err != nil {
		return err
	}
	n, err := r.requeue(ctx)
	if err != nil {
		return err
	}
	if n > 0 {
		r.o.Log.Info("tasks of a stopped process taken up again", "tasks", n)
	}
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	r.stop = stop
	if r.d.Pool != nil {
		r.watch.Go(func() { r.look(run) })
	}
	return r.client.Start(run)
}

// Stop lets running tasks finish for a few seconds, then cuts them off (they will be run again), and waits.
func (r *Runner) Stop(ctx context.Context) error {
	if r.stop == nil {
		return nil
	}
	err := r.client.Stop(ctx)
	if err != nil { // no patience left: cut off, but let the cut-off be written down
		c, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		err = r.client.StopAndCancel(c)
		cancel()
	}
	r.stop()
	r.watch.Wait()
	if r.alive != nil {
		_ = r.alive.Close()
	}
	return err
}

// Enqueue asks for a task in the transaction that ctx carries.
func (r *Runner) Enqueue(ctx context.Context, kind, id string) error {
	tx := r.d.Tx(ctx)
	if tx == nil {
		return fault.New(fault.Internal, "task_outside", id, "A task was asked for outside a transaction.")
	}
	_, err := r.client.InsertTx(ctx, tx, task{What: kind, ID: id}, &river.InsertOpts{Tags: []string{tag(kind, id)}})
	return err
}

func tag(kind, id string) string { return kind + "-" + id }

// Has says whether a task of this kind and id waits or runs, as seen by the transaction of ctx if it carries one.
func (r *Runner) Has(ctx context.Context, kind, id string) (bool, error) {
	jobs, err := r.find(ctx, kind, id)
	return len(jobs) > 0, err
}

// find lists the tasks of this kind and id that wait or run.
func (r *Runner) find(ctx context.Context, kind, id string) ([]*rivertype.JobRow, error) {
	p := river.NewJobListParams().TagsAll(tag(kind, id)).
		States(rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRetryable, rivertype.JobStateRunning, rivertype.JobStateScheduled).First(100)
	var found *river.JobListResult
	var err error
	if tx := r.d.Tx(ctx); tx != nil {
		found, err = r.client.JobListTx(ctx, tx, p)
	} else {
		found, err = r.client.JobList(ctx, p)
	}
	if err != nil {
		return nil, err
	}
	return found.Jobs, nil
}

// Cancel stops the tasks of this kind and id that wait or run, in the transaction of ctx if it carries one.
func (r *Runner) Cancel(ctx context.Context, kind, id string) error {
	jobs, err := r.find(ctx, kind, id)
	if err != nil {
		return err
	}
	tx := r.d.Tx(ctx)
	for _, j := range jobs {
		if tx != nil {
			_, err = r.client.JobCancelTx(ctx, tx, j.ID)
		} else {
			_, err = r.client.JobCancel(ctx, j.ID)
		}
		if err != nil && !errors.Is(err, river.ErrNotFound) {
			return err
		}
	}
	return nil
}

type running struct{}

// Complete marks the task ctx belongs to as finished, in the transaction that ctx carries.
func (r *Runner) Complete(ctx context.Context) error {
	j, ok := ctx.Value(running{}).(*river.Job[task])
	if !ok {
		return nil
	}
	tx := r.d.Tx(ctx)
	if tx == nil {
		return fault.New(fault.Internal, "task_outside", j.Args.ID, "A task was completed outside a transaction.")
	}
	var err error
	if r.d.Pool != nil {
		_, err = river.JobCompleteTx[*riverdatabasesql.Driver](ctx, tx, j)
	} else {
		_, err = river.JobCompleteTx[*riversqlite.Driver](ctx, tx, j)
	}
	return err
}

type worker struct {
	river.WorkerDefaults[task]
	r *Runner
}

// Work runs one task.
func (w *worker) Work(ctx context.Context, j *river.Job[task]) (err error) {
	r := w.r
	h, ok := r.handlers[j.Args.What]
	if !ok {
		return river.JobCancel(fmt.Errorf("no handler for tasks of kind %q", j.Args.What))
	}
	ctx = context.WithValue(ctx, running{}, j)
	if j.Attempt > Attempts {
		return w.giveUp(ctx, h, j, errors.New("the program stopped while it ran"))
	}
	defer func() {
		if p := recover(); p != nil {
			r.o.Log.Error("a task panicked", "kind", j.Args.What, "id", j.Args.ID, "panic", p, "stack", string(debug.Stack()))
			err = fmt.Errorf("panic: %v", p)
		}
		switch {
		case err == nil:
		case ctx.Err() != nil:
			// Cut off by our own end it is run again and not counted, cancelled it is not: the queue tells by this error,
			// whatever the handler made of it.
			err = errors.Join(err, ctx.Err())
		case j.Attempt >= Attempts:
			err = w.giveUp(ctx, h, j, err)
		}
	}()
	return h.run(ctx, j.Args.ID)
}

func (w *worker) giveUp(ctx context.Context, h handler, j *river.Job[task], last error) error {
	w.r.o.Log.Error("a task was given up", "kind", j.Args.What, "id", j.Args.ID, "attempts", j.Attempt, "err", last)
	if h.givenUp != nil {
		if err := h.givenUp(ctx, j.Args.ID, last); err != nil {
			return err // run again: the records must hear of it
		}
	}
	return river.JobCancel(last)
}

// Unfinished counts tasks that wait or run.
func (r *Runner) Unfinished(ctx context.Context) (int, error) {
	var n int
	err := r.d.DB.QueryRowContext(ctx, "SELECT count(*) FROM river_job WHERE state NOT IN ('completed', 'cancelled', 'discarded')").Scan(&n)
	return n, err
}
