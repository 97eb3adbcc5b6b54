package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"firstoff/bureau"
	"firstoff/client"
	"firstoff/demo"
	"firstoff/fault"
	"firstoff/intake/cad"
	"firstoff/paper"
	"firstoff/post"
	"firstoff/web"
	"firstoff/web/api"
)

type serveCmd struct {
	place
	Listen  string `help:"Address to serve on." default:"127.0.0.1:7117" env:"FIRSTOFF_LISTEN"`
	Demo    bool   `help:"Put the made-up shop and its clients' first requests into an empty folder."`
	Workers int    `help:"Analyses that run at the same time; 0 = as many as processors." default:"0"`
	JSONLog bool   `help:"Log as JSON." name:"json-log"`
}

// Help is printed below the options.
func (c *serveCmd) Help() string {
	return `Serves the desk's pages, the JSON interface and the clients' links, and runs the background work, all in one process and one folder.

People and rights do not exist yet, so only a loopback address is served; anything else is refused with exit status 1.

Examples:
  firstoff serve --demo --dir var/demo
  firstoff serve --dir /srv/desk --shop shop.yaml --listen 127.0.0.1:8080`
}

// Run serves until it is told to stop.
func (c *serveCmd) Run(ctx context.Context, s streams) error {
	if err := onlyLoopback(c.Listen); err != nil {
		return err
	}
	log := logger(s, c.JSONLog)
	if c.Demo {
		if err := installDemo(c.Dir); err != nil {
			return err
		}
	}
	o, err := c.place.open(ctx, log, workers(c.Workers))
	if err != nil {
		return err
	}
	defer o.close(context.WithoutCancel(ctx))
	l, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return fault.Because(err, fault.Conflict, "address_in_use", c.Listen, "This address cannot be served on: something else uses it. Name another with --listen, e.g. 127.0.0.1:0 for any free one.")
	}
	if err := o.start(ctx, log); err != nil {
		return err
	}
	// The CAD kernel is compiled once and kept; the first STEP file need not wait for it.
	go func() {
		if err := cad.Warm(ctx, cad.Options{Workers: cadWorkers}); err != nil && ctx.Err() == nil {
			log.Warn("CAD files cannot be read yet", "err", err)
		}
	}()
	go o.learn(ctx, log)
	go (&post.Office{Records: o.store, Clock: time.Now, Log: log}).Run(ctx, 3*time.Second)
	if c.Demo {
		if err := openEnquiries(ctx, o); err != nil {
			return err
		}
	}
	deps, err := c.deps(o, log)
	if err != nil {
		return err
	}
	srv := &http.Server{Handler: web.New(deps), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn), BaseContext: func(net.Listener) context.Context { return ctx }}
	fmt.Fprintf(s.out, "The desk of %s is open at http://%s/\n", o.shop.Load().Firm.Name, l.Addr())
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(l) }()
	select {
	case err := <-failed:
		if !errors.Is(err, http.ErrServerClosed) {
			return err
		}
	case <-ctx.Done():
		fmt.Fprintln(s.err, "closing the desk")
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		if srv.Shutdown(stop) != nil {
			_ = srv.Close()
		}
	}
	return nil
}

// deps wires the pages.
func (c *serveCmd) deps(o *opened, log *slog.Logger) (web.Deps, error) {
	press := &paper.Press{Catalogue: o.shop.Load, Models: o.blobs, Poses: handing{o}}
	return web.Deps{Steps: o.Bureau, Floor: o.floor, Proving: o.house, Books: o.books, Hand: handing{o}, Post: &post.Office{Records: o.store, Clock: time.Now, Log: log}, Slips: press, Catalogue: o.shop.Load, Clock: time.Now, Log: log, Papers: press, Wall: wall{o}, Compose: composing{o}, Hasten: hastening{o},
		Extra: map[string]http.Handler{"/api/": api.New(api.Deps{Steps: o.Bureau, Floor: o.floor, Proving: o.house, Books: o.books, Plans: o.plans, Hasten: hastening{o}, Version: version, Status: web.Status})}}, nil
}

// onlyLoopback refuses to serve anybody but this machine while there are no people and rights.
func onlyLoopback(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return fault.New(fault.Invalid, "listen_address", "--listen", "%q is not an address; write it as 127.0.0.1:7117.", address)
	}
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
		return nil
	}
	return fault.New(fault.Denied, "not_loopback", "--listen", "People and rights do not exist yet, so the desk is served to this machine only; use 127.0.0.1 or [::1] and put your own gate before it.")
}

func logger(s streams, json bool) *slog.Logger {
	o := &slog.HandlerOptions{Level: slog.LevelWarn}
	if json {
		o.Level = slog.LevelInfo
		return slog.New(slog.NewJSONHandler(s.err, o))
	}
	return slog.New(slog.NewTextHandler(s.err, o))
}

func workers(n int) int {
	if n > 0 {
		return n
	}
	return 2
}

// installDemo writes the made-up shop's catalogue into an empty folder, its work in hand counted from now.
func installDemo(dir string) error {
	path := filepath.Join(dir, "shop.yaml")
	if _, err := os.Stat(path); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fault.Because(err, fault.Invalid, "folder", dir, "The desk's folder cannot be made; check the path and its permissions.")
	}
	text := append(demo.ShopYAML(), fmt.Sprintf("\nworkload_as_of: %q\n", time.Now().UTC().Format(time.RFC3339))...)
	if err := os.WriteFile(path, text, 0o600); err != nil {
		return fault.Because(err, fault.Invalid, "folder", dir, "The catalogue cannot be written there; check the folder's permissions.")
	}
	return nil
}

// openEnquiries lets the made-up clients ask, if nobody has asked yet.
func openEnquiries(ctx context.Context, o *opened) error {
	l, err := o.Requests(ctx, bureau.Filter{Limit: 1})
	if err != nil || l.Total > 0 {
		return err
	}
	for _, e := range demo.Enquiries() {
		need := ""
		if e.NeedByDays > 0 {
			need = time.Now().AddDate(0, 0, e.NeedByDays*7/5).Format(time.DateOnly)
		}
		q, err := o.OpenRequest(ctx, "demo", bureau.NewRequest{Title: e.Title, NeedBy: need, Note: e.Note, Client: client.Client{Firm: e.Firm, Contact: e.Contact, Email: e.Email}})
		if err != nil {
			return err
		}
		for _, f := range e.Files {
			if _, err := o.ReceiveFile(ctx, "demo", q.ID, f.Name, bytes.NewReader(f.Data)); err != nil {
				return err
			}
		}
	}
	return nil
}

type workCmd struct {
	place
	Workers int  `help:"Analyses that run at the same time; 0 = as many as processors." default:"0"`
	JSONLog bool `help:"Log as JSON." name:"json-log"`
}

// Help is printed below the options.
func (c *workCmd) Help() string {
	return `Runs background work only, for a desk that has outgrown one process: the same PostgreSQL and S3 addresses as serve. On a folder of its own database one process must do everything, so this needs --database.`
}

// Run works until it is told to stop.
func (c *workCmd) Run(ctx context.Context, s streams) error {
	if c.Database == "" {
		return fault.New(fault.Invalid, "work_needs_database", "--database", "Several processes need a PostgreSQL database; with the folder's own database serve does the work itself.")
	}
	log := logger(s, c.JSONLog)
	o, err := c.place.open(ctx, log, workers(c.Workers))
	if err != nil {
		return err
	}
	defer o.close(context.WithoutCancel(ctx))
	if err := o.start(ctx, log); err != nil {
		return err
	}
	go o.learn(ctx, log)
	fmt.Fprintln(s.out, "working")
	<-ctx.Done()
	return nil
}
