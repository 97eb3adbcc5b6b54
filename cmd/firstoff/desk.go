package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"time"

	"firstoff/appraise"
	"firstoff/blob"
	"firstoff/bureau"
	"firstoff/bureau/books"
	"firstoff/bureau/making"
	"firstoff/bureau/planning"
	"firstoff/bureau/proving"
	"firstoff/fault"
	"firstoff/part"
	"firstoff/runner"
	"firstoff/shop"
	"firstoff/shopfloor/order"
	"firstoff/shopfloor/work"
	"firstoff/store"
)

// place is where a desk keeps its things; the same flags on every command that opens one.
type place struct {
	Dir      string `help:"Folder for records and files." default:"var/desk" placeholder:"FOLDER" env:"FIRSTOFF_DIR"`
	Database string `help:"PostgreSQL address instead of the folder's own database." placeholder:"postgres://…" env:"FIRSTOFF_DATABASE"`
	Blobs    string `help:"S3 address for files instead of the folder." placeholder:"s3://bucket?…" env:"FIRSTOFF_BLOBS"`
	Shop     string `help:"The shop's catalogue; FOLDER/shop.yaml if left out." placeholder:"FILE" env:"FIRSTOFF_SHOP"`
}

// opened is a desk with everything it stands on.
type opened struct {
	*bureau.Bureau
	store   *store.Store
	blobs   blob.Place
	runner  *runner.Runner
	desk    *appraise.Desk
	floor   *making.Floor
	house   *proving.House
	books   *books.Books
	plans   *planning.House
	lock    *os.File
	shop    atomic.Pointer[shop.Catalogue]
	started bool
}

func (p *place) shopFile() string {
	if p.Shop != "" {
		return p.Shop
	}
	return filepath.Join(p.Dir, "shop.yaml")
}

// open opens the place, brings its tables up to date and stands the bureau on it. workers 0 runs no tasks.
func (p *place) open(ctx context.Context, log *slog.Logger, workers int) (o *opened, err error) {
	o = &opened{}
	defer func() {
		if err != nil {
			o.close(context.WithoutCancel(ctx))
		}
	}()
	if err := os.MkdirAll(p.Dir, 0o700); err != nil {
		return o, fault.Because(err, fault.Invalid, "folder", p.Dir, "The desk's folder cannot be made; check the path and its permissions.")
	}
	cat, err := catalogueOf(p.shopFile())
	if err != nil {
		return o, err
	}
	o.shop.Store(cat)
	dsn := p.Database
	if dsn == "" {
		if o.lock, err = own(p.Dir); err != nil {
			return o, err
		}
		dsn = filepath.Join(p.Dir, "records.db")
	}
	if o.store, err = store.Open(ctx, dsn); err != nil {
		return o, err
	}
	address := p.Blobs
	if address == "" {
		address = filepath.Join(p.Dir, "files")
	}
	if o.blobs, err = blob.Open(ctx, address); err != nil {
		return o, err
	}
	if o.runner, err = runner.New(runner.Database{DB: o.store.DB(), Pool: o.store.Pool(), Tx: store.Tx}, runner.Options{Workers: workers, Sole: p.Database == "", Log: log}); err != nil {
		return o, err
	}
	if err = o.store.Migrate(ctx, o.runner.Migrate); err != nil {
		return o, err
	}
	o.desk = newDesk(o.shop.Load)
	o.desk.Threads = max(1, runtime.GOMAXPROCS(0)-1)
	if err = o.openFloor(ctx, log); err != nil {
		return o, err
	}
	o.Bureau, err = bureau.New(bureau.Ports{Records: o.store, Blobs: o.blobs, Tasks: o.runner, Clock: time.Now, Catalogue: o.shop.Load, Appraiser: o.desk, Coefficients: o.books.Coefficients, Log: log,
		Left: o.floor.Left, Decided: func(ctx context.Context) (work.Decided, error) { return o.plans.Decided(ctx) }})
	if err != nil {
		return o, err
	}
	o.plans, err = planning.New(planning.Ports{Records: o.store, Clock: time.Now, Catalogue: o.shop.Load, InHand: o.InHand, Threads: o.desk.Threads, Log: log})
	if err != nil {
		return o, err
	}
	o.runner.Handle(bureau.TaskAnalyse, o.Bureau.Analyse, o.Bureau.GivenUp)
	return o, nil
}

// openFloor wires the floor, its inspection and the books.
func (o *opened) openFloor(ctx context.Context, log *slog.Logger) (err error) {
	o.floor, err = making.New(making.Ports{Records: o.store, Clock: time.Now, Catalogue: o.shop.Load, Log: log, Photos: o.blobs,
		Hold: func(ctx context.Context, x order.Order, pieces []string) error { return o.house.Hold(ctx, x, pieces) }})
	if err != nil {
		return err
	}
	o.house, err = proving.New(proving.Ports{Records: o.store, Floor: o.floor, Clock: time.Now, Catalogue: o.shop.Load, Log: log,
		Facts: func(ctx context.Context, lineID string) (part.Facts, error) {
			l, err := o.store.Line(ctx, lineID)
			return l.Facts, err
		}, Scanning: scanning{o}, Blobs: o.blobs})
	if err != nil {
		return err
	}
	if o.books, err = books.New(books.Ports{Records: o.store, Floor: o.floor, Clock: time.Now, Catalogue: o.shop.Load}); err != nil {
		return err
	}
	return o.books.Load(ctx)
}

// learn follows what another process adopted.
func (o *opened) learn(ctx context.Context, log *slog.Logger) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(15 * time.Second):
			if err := o.books.Load(ctx); err != nil && ctx.Err() == nil {
				log.Warn("the coefficients could not be read", "err", err)
			}
		}
	}
}

// catalogueOf reads the catalogue of a desk's folder; a missing one is named with what to do.
func catalogueOf(path string) (*shop.Catalogue, error) {
	cat, err := catalogue(path)
	if err != nil && errors.Is(err, os.ErrNotExist) {
		return nil, fault.New(fault.NotFound, "shop_missing", path, "There is no catalogue of the shop here. Start with --demo for a made-up one to edit, or name yours with --shop.")
	}
	return cat, err
}

// start begins to run tasks, takes up what was left, and tidies up once a day until ctx ends.
func (o *opened) start(ctx context.Context, log *slog.Logger) error {
	o.started = true
	if f, ok := o.blobs.(*blob.Folder); ok && o.lock != nil {
		if err := f.Sweep(); err != nil {
			log.Warn("what interrupted uploads left could not be removed", "err", err)
		}
	}
	if err := o.runner.Start(ctx); err != nil {
		return err
	}
	if n, err := o.TakeUp(ctx); err != nil {
		return err
	} else if n > 0 {
		log.Info("analyses taken up again", "files", n)
	}
	go func() {
		for {
			if _, err := o.Tidy(ctx); err != nil && ctx.Err() == nil {
				log.Warn("tidying up failed", "err", err)
			}
			select {
			case <-ctx.Done():
				return
			case <-time.After(24 * time.Hour):
			}
		}
	}()
	return nil
}

// close lets running work finish for a moment, then lets go of everything.
func (o *opened) close(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, 20*time.Second)
	defer cancel()
	if o.runner != nil && o.started {
		_ = o.runner.Stop(ctx)
	}
	if o.blobs != nil {
		_ = o.blobs.Close()
	}
	if o.store != nil {
		_ = o.store.Close()
	}
	if o.lock != nil {
		_ = o.lock.Close()
	}
}

// own takes the folder for this process alone: two desks on one folder would run each other's tasks.
func own(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fault.Because(err, fault.Invalid, "folder", dir, "The desk's folder cannot be written to; check its permissions.")
	}
	if err := lockFile(f); err != nil {
		_ = f.Close()
		return nil, fault.New(fault.Conflict, "folder_in_use", dir, "Another firstoff works on this folder; stop it first, or give this one a folder of its own with --dir.")
	}
	_ = f.Truncate(0)
	_, _ = fmt.Fprintf(f, "%d\n", os.Getpid())
	return f, nil
}
