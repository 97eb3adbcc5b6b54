package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sort"
	"time"

	"github.com/goccy/go-yaml"

	"firstoff/bureau"
	"firstoff/demo"
	"firstoff/desk/offer"
	"firstoff/fault"
	"firstoff/money"
	"firstoff/part"
	"firstoff/shop"
	"firstoff/unit"
)

type quoteCmd struct {
	Files    []string `arg:"" name:"file" help:"Model files, or ZIP of them; each model is a line."`
	Qty      int      `help:"How many of each." default:"1"`
	Need     string   `help:"What the part must do: a YAML file (see --help of serve, or docs/guide)." placeholder:"FILE"`
	Tol      float64  `name:"tolerance" help:"Tightest tolerance asked, ± mm: for the routes, and for how finely CAD surfaces are cut into facets." placeholder:"MM"`
	Over     float64  `help:"Length that tolerance holds over, mm; the longest extent if left out." placeholder:"MM"`
	Shop     string   `help:"The shop's catalogue; the made-up shop if left out." placeholder:"FILE"`
	Material string   `help:"Only this material of the catalogue." placeholder:"ID"`
	NeedBy   string   `help:"Day it must be in the client's hands." placeholder:"DATE"`
	Unit     string   `help:"Length unit of files that state none." enum:"mm,cm,m,in,ft,um," default:""`
	At       string   `help:"Reckon as if received at this moment (RFC 3339); now if left out." placeholder:"TIME"`
	All      bool     `help:"Text output: list every option instead of the best of each route."`
	JSON     bool     `help:"Answer as JSON."`
}

// quoted is the answer (DESIGN §7).
type quoted struct {
	Currency string        `json:"currency"`
	Lines    []offer.Table `json:"lines"`
}

// Run answers with every option of every line, or says why not.
func (c *quoteCmd) Run(ctx context.Context, s streams) error {
	a := answer{json: c.JSON, s: s}
	now := time.Now()
	if c.At != "" {
		t, err := time.Parse(time.RFC3339, c.At)
		if err != nil {
			return a.stop(fault.New(fault.Invalid, "date_form", "--at", "%q is not a moment; write it as 2026-12-01T09:00:00+01:00.", c.At))
		}
		now = t
	}
	cat, err := catalogue(c.Shop)
	if err != nil {
		return a.stop(err)
	}
	req, err := requirementWith(c.Need, c.Tol, c.Over)
	if err != nil {
		return a.stop(err)
	}
	if c.Material != "" {
		if cat.Material(c.Material) == nil {
			return a.stop(fault.New(fault.Invalid, "material_unknown", "--material", "The shop has no material %q.", c.Material))
		}
		req.MaterialID = c.Material
	}
	if c.NeedBy != "" {
		if _, err := time.Parse(time.DateOnly, c.NeedBy); err != nil {
			return a.stop(fault.New(fault.Invalid, "date_form", "--need-by", "%q is not a date; write it as 2026-01-31.", c.NeedBy))
		}
		req.NeedBy = c.NeedBy
	}
	desk := newDesk(nil)
	desk.ToleranceMM = req.ToleranceMM
	desk.Threads = runtime.GOMAXPROCS(0)
	// The load is played while the file is being read.
	warm := make(chan struct{})
	go func() { defer close(warm); _, _ = desk.Promise(ctx, cat, bureau.Load{}, now, 1) }()
	out := quoted{Currency: cat.Firm.Currency, Lines: []offer.Table{}}
	bar := newProgress(s.err, len(c.Files), c.JSON)
	defer bar.done()
	for _, name := range c.Files {
		bar.start(filepath.Base(name))
		data, err := readBytes(name)
		if err != nil {
			a.fail(err, name)
			continue
		}
		pieces, err := desk.Read(ctx, filepath.Base(name), data, unit.Length(c.Unit), bar.step)
		if err != nil {
			a.fail(err, name)
			continue
		}
		<-warm
		for _, p := range pieces {
			if p.Problem != nil {
				a.fail(fault.New(fault.Invalid, p.Problem.Code, p.Problem.Where, "%s", p.Problem.Message), name+": "+p.Name)
				continue
			}
			t, err := p.Evaluate(ctx, bureau.Ask{Name: p.Name, Qty: c.Qty, Requirement: req, Catalogue: cat, Now: now, Seed: 1})
			if err != nil {
				a.fail(err, name)
				continue
			}
			out.Lines = append(out.Lines, t)
		}
		bar.next()
	}
	bar.done()
	if len(out.Lines) > 0 {
		a.ok(out, func(w io.Writer) {
			for _, t := range out.Lines {
				printTable(w, t, cat, c.All)
			}
		})
	}
	return a.end()
}

// stop reports a failure that ends the command.
func (a *answer) stop(err error) error {
	a.fail(err, "")
	return a.end()
}

// catalogue reads the shop's catalogue from a file, or gives the made-up shop.
func catalogue(path string) (*shop.Catalogue, error) {
	if path == "" {
		return demo.Shop(), nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fault.Because(err, fault.Invalid, "shop_unreadable", path, "The catalogue cannot be read; check the path.")
	}
	return shop.Load(filepath.Base(path), text)
}

// requirement reads what the part must do from a YAML file.
func requirement(path string) (part.Requirement, error) {
	var r part.Requirement
	if path == "" {
		return r, nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return r, fault.Because(err, fault.Invalid, "need_unreadable", path, "The requirement cannot be read; check the path.")
	}
	if err := yaml.UnmarshalWithOptions(text, &r, yaml.Strict()); err != nil {
		return r, fault.Because(err, fault.Invalid, "need_yaml", path, "The requirement cannot be read: %s.", firstLine(err.Error()))
	}
	return r, nil
}

// requirementWith is the requirement of a file with a tolerance of the command line, which overrules the file's.
func requirementWith(path string, tolerance, over float64) (part.Requirement, error) {
	r, err := requirement(path)
	if err != nil {
		return r, err
	}
	if tolerance < 0 || over < 0 || tolerance > 1000 || over > 1e6 {
		return r, fault.New(fault.Invalid, "tolerance_form", "--tolerance", "A tolerance of ±%g mm over %g mm cannot be meant; give positive lengths in mm.", tolerance, over)
	}
	if tolerance > 0 {
		r.ToleranceMM = tolerance
	}
	if over > 0 {
		r.OverMM = over
	}
	return r, nil
}

func firstLine(s string) string {
	for i, c := range s {
		if c == '\n' {
			return s[:i]
		}
	}
	return s
}

func printTable(w io.Writer, t offer.Table, cat *shop.Catalogue, all bool) {
	fmt.Fprintf(w, "%s, %d off: %d options, %d refused\n", t.File, t.Qty, len(t.Options), len(t.Refused))
	opts := slices.Clone(t.Options)
	sort.SliceStable(opts, func(i, j int) bool { return opts[i].Total < opts[j].Total })
	seen := map[string]bool{}
	fmt.Fprintf(w, "  %-12s %-12s %-11s %6s %5s %9s %9s %9s %10s  %s\n", "process", "made on", "material", "layer", "fill", "build h", "part g", "each", "ship by", "")
	for _, o := range opts {
		on := o.Machine
		if on == "" {
			on = o.Partner
		}
		route := o.Process + on + o.Material
		if !all && seen[route] && len(o.Tags) == 0 && !o.Pareto {
			continue
		}
		seen[route] = true
		mark := ""
		for _, g := range o.Tags {
			mark += " " + g
		}
		layer, fill := "", ""
		if o.LayerMM > 0 {
			layer = fmt.Sprintf("%.3f", o.LayerMM)
		}
		if o.InfillPct > 0 {
			fill = fmt.Sprintf("%.0f %%", o.InfillPct)
		}
		fmt.Fprintf(w, "  %-12s %-12s %-11s %6s %5s %9.2f %9.1f %9s %10s %s\n", o.Process, on, o.Material, layer, fill, o.BuildS/3600, o.PartG, money.Format(o.UnitPrice, 2), o.P90, mark)
	}
	for _, h := range t.Hints {
		fmt.Fprintf(w, "  %s: %s\n", h.Code, h.Text)
	}
	if len(t.Breaks) > 0 {
		fmt.Fprintf(w, "  the pick at other quantities: %8s %7s %9s %10s\n", "off", "builds", "each", "total")
		for _, b := range t.Breaks {
			fmt.Fprintf(w, "  %38d %7d %9s %10s\n", b.Qty, b.Builds, money.Format(b.UnitPrice, 2), money.Format(b.Total, 2))
		}
	}
	for _, r := range t.Refused {
		on := r.Machine
		if on == "" {
			on = r.Partner
		}
		fmt.Fprintf(w, "  refused: %s %s %s: %s %s\n", r.Process, on, r.Material, r.Reason, r.Change)
	}
}
