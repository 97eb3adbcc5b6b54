// Command firstoff is the desk of a rapid-prototyping service: one binary, one file a command.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	_ "time/tzdata" // the shop's time zone must be known on machines without a zone database

	"github.com/alecthomas/kong"

	"firstoff/fault"
	"firstoff/intake/cad"
)

// Exit statuses, the same for every command.
const (
	exitDone  = 0
	exitBad   = 1 // the input is bad, or the work could not be done
	exitUsage = 2
)

// streams is where a command reads and writes; tests give their own.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

type commands struct {
	Check   checkCmd   `cmd:"" help:"Look files over: format, unit, bodies, volume, defects, findings."`
	Quote   quoteCmd   `cmd:"" help:"Answer with every option of every part: hours, grams, money, date."`
	Nest    nestCmd    `cmd:"" help:"Lay pieces on a strip, on platforms or into chambers."`
	Plan    planCmd    `cmd:"" help:"Plan operations on machines."`
	Compare compareCmd `cmd:"" help:"Hold measured points against the part as drawn."`
	Serve   serveCmd   `cmd:"" help:"Serve the desk: pages, JSON interface, clients' links, background work."`
	Work    workCmd    `cmd:"" help:"Run background work only, beside a serve on the same PostgreSQL and S3 store."`
	Backup  backupCmd  `cmd:"" help:"Copy a desk's records and files while it works."`
	Restore restoreCmd `cmd:"" help:"Put a backup into an empty desk."`
	Doctor  doctorCmd  `cmd:"" help:"Look whether a desk's folder is sound."`
	Version versionCmd `cmd:"" help:"Say which version this is and what it was built with."`
}

const description = `The desk of a rapid-prototyping service: files in, quotation out, orders made good.

Exit status: 0 done; 1 the input is bad or the work could not be done (with --json the answer is {"error":{"code","message","where"}}); 2 wrong usage.`

func main() {
	cad.ChildMain()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], streams{os.Stdin, os.Stdout, os.Stderr}))
}

// run is the whole program but for the process around it.
func run(ctx context.Context, args []string, s streams) int {
	var c commands
	exited := -1
	parser, err := kong.New(&c, kong.Name("firstoff"), kong.Description(description), kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}), kong.Writers(s.out, s.err),
		kong.Exit(func(code int) { exited = code }), kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(s))
	if err != nil {
		fmt.Fprintln(s.err, err)
		return exitUsage
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if exited >= 0 {
		return exited
	}
	if err != nil {
		parser.FatalIfErrorf(err)
		return exitUsage
	}
	if err := k.Run(); err != nil {
		var done quiet
		if errors.As(err, &done) {
			return int(done)
		}
		f := fault.Of(err)
		if f.Kind == fault.Internal && f.Err != nil {
			fmt.Fprintln(s.err, "firstoff:", f.Err)
		} else {
			fmt.Fprintln(s.err, "firstoff:", f)
		}
		return exitBad
	}
	return exitDone
}

// quiet ends a command with a status after it has said everything itself.
type quiet int

func (q quiet) Error() string { return fmt.Sprintf("exit status %d", int(q)) }

// answer is how a data command reports: JSON, one object a line, or text.
type answer struct {
	json bool
	s    streams
	bad  bool
}

// ok writes one result.
func (a *answer) ok(v any, text func(w io.Writer)) {
	if a.json {
		e := json.NewEncoder(a.s.out)
		e.SetEscapeHTML(false)
		if err := e.Encode(v); err != nil {
			a.fail(err, "")
		}
		return
	}
	text(a.s.out)
}

// fail writes one failure about where; the command goes on and ends with status 1.
func (a *answer) fail(err error, where string) {
	a.bad = true
	f := fault.Of(fault.At(err, where))
	if f.Where == "" {
		f.Where = where
	}
	if f.Kind == fault.Internal && f.Err != nil {
		fmt.Fprintln(a.s.err, "firstoff:", f.Err)
	}
	if a.json {
		var body struct {
			Error struct {
				Code    string `json:"code"`
				Message string `json:"message"`
				Where   string `json:"where"`
			} `json:"error"`
		}
		body.Error.Code, body.Error.Message, body.Error.Where = f.Code, f.Message, f.Where
		e := json.NewEncoder(a.s.out)
		e.SetEscapeHTML(false)
		_ = e.Encode(body)
		return
	}
	fmt.Fprintf(a.s.err, "%s [%s]\n", f, f.Code)
}

// end is the command's outcome.
func (a *answer) end() error {
	if a.bad {
		return quiet(exitBad)
	}
	return nil
}

type versionCmd struct {
	JSON bool `help:"Answer as JSON."`
}

// Run says the version.
func (v *versionCmd) Run(s streams) error {
	info, _ := debug.ReadBuildInfo()
	out := struct {
		Version  string `json:"version"`
		Go       string `json:"go"`
		Revision string `json:"revision,omitempty"`
		Time     string `json:"time,omitempty"`
	}{Version: version}
	if info != nil {
		out.Go = info.GoVersion
		for _, kv := range info.Settings {
			switch kv.Key {
			case "vcs.revision":
				out.Revision = kv.Value
			case "vcs.time":
				out.Time = kv.Value
			}
		}
	}
	a := answer{json: v.JSON, s: s}
	a.ok(out, func(w io.Writer) {
		fmt.Fprintf(w, "firstoff %s (%s)", out.Version, out.Go)
		if len(out.Revision) >= 12 {
			fmt.Fprintf(w, " %s", out.Revision[:12])
		}
		fmt.Fprintln(w)
	})
	return a.end()
}

// version is raised with each release; see CHANGELOG.md.
const version = "0.1.0"
