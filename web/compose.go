package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"firstoff/appraise"
	"firstoff/bureau/planning"
	"firstoff/fault"
	"firstoff/shopfloor/plan"
)

// Composing lays out the builds of the plan.
type Composing interface {
	Composed(ctx context.Context, task string) (planning.Composed, error)
	LayOut(ctx context.Context, b planning.Composed) (appraise.Layout, error)
	Model(ctx context.Context, b planning.Composed) ([]byte, error) // GLB
}

// composedBuild is the page of one build of the plan.
type composedBuild struct {
	planning.Composed
	layout  *appraise.Layout
	problem string // why it is not laid out
	times   buildTimes
	title   string
}

type buildTimes struct{ start, end, free string }

func (k *desk) composed(r *http.Request) (planning.Composed, error) {
	if k.Compose == nil {
		return planning.Composed{}, fault.New(fault.NotFound, "board_missing", "", "This desk plans no builds.")
	}
	return k.Compose.Composed(r.Context(), r.URL.Query().Get("task"))
}

// composer shows a build of the plan: what is in it, how it lies, what could join it.
func (k *desk) composer(w http.ResponseWriter, r *http.Request) error {
	b, err := k.composed(r)
	if err != nil {
		return err
	}
	p := composedBuild{Composed: b, title: b.Lines[0].Order.ID + " " + b.Lines[0].Line.Name}
	if n := len(b.Lines); n > 1 {
		p.title += fmt.Sprintf(" and %d more", n-1)
	}
	f := k.frame(r, "Build of "+p.title, "board", "viewer.entry.js")
	if b.Entry.Task != "" {
		at := func(s int64) string { return momentWord(timeIn(s, f.loc)) }
		p.times = buildTimes{at(b.Entry.Start), at(b.Entry.End), at(b.Entry.Free)}
	}
	if l, err := k.Compose.LayOut(r.Context(), b); err == nil {
		p.layout = &l
	} else if x := fault.Of(err); x.Kind == fault.Internal {
		k.Log.Error("laying out a build failed", "task", b.Task, "err", err)
		p.problem = "The build could not be laid out; the log says why."
	} else {
		p.problem = x.Message
	}
	k.show(w, r, http.StatusOK, composerPage(f, p))
	return nil
}

// composerModel is the laid out build for the viewer.
func (k *desk) composerModel(w http.ResponseWriter, r *http.Request) error {
	b, err := k.composed(r)
	if err != nil {
		return err
	}
	glb, err := k.Compose.Model(r.Context(), b)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "model/gltf-binary")
	w.Header().Set("Cache-Control", "no-store")
	http.ServeContent(w, r, "", k.Clock(), bytes.NewReader(glb))
	return nil
}

// layBuild lays the lines of a planned build into a build of the floor.
func (k *desk) layBuild(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return fault.Because(err, fault.Invalid, "form", "", "The form could not be read.")
	}
	if k.Compose == nil || k.Floor == nil {
		return fault.New(fault.NotFound, "board_missing", "", "This desk plans no builds.")
	}
	b, err := k.Compose.Composed(r.Context(), r.FormValue("task"))
	if err != nil {
		return err
	}
	ts, err := k.Floor.TravellersFor(r.Context(), keysOf(b.Lines))
	if err != nil {
		return err
	}
	var ids []string
	for _, t := range ts {
		ids = append(ids, t.ID)
	}
	made, err := k.Floor.PlanBuild(r.Context(), k.byWhom(r), r.FormValue("event"), b.Machine.ID, ids)
	if err != nil {
		return err
	}
	if made.ID == "" { // sent twice
		return seeOther(w, r, "/floor")
	}
	return seeOther(w, r, "/b/"+made.ID)
}

func keysOf(lines []plan.Whole) []string {
	var out []string
	for _, l := range lines {
		out = append(out, l.Key)
	}
	return out
}

// buildLink is the page of a build of the plan.
func buildLink(task string) string { return "/board/build?task=" + url.QueryEscape(task) }

// ring is an outline as an SVG path in the platform's own millimetres, seen from above with y upwards.
func ring(outline [][2]float64, depth float64) string {
	var s strings.Builder
	for i, p := range outline {
		c := "L"
		if i == 0 {
			c = "M"
		}
		fmt.Fprintf(&s, "%s%.1f %.1f ", c, p[0], depth-p[1])
	}
	return s.String() + "Z"
}

// middle is where a piece's number is written.
func middle(outline [][2]float64, depth float64) (x, y float64) {
	if len(outline) == 0 {
		return 0, 0
	}
	lo, hi := outline[0], outline[0]
	for _, p := range outline {
		lo = [2]float64{min(lo[0], p[0]), min(lo[1], p[1])}
		hi = [2]float64{max(hi[0], p[0]), max(hi[1], p[1])}
	}
	return (lo[0] + hi[0]) / 2, depth - (lo[1]+hi[1])/2
}

func queryOf(s string) string { return url.QueryEscape(s) }

func pieceCount(p composedBuild) int {
	n := 0
	for _, l := range p.Lines {
		n += len(l.Line.Pieces)
	}
	return n
}

// usedGrams are of the pieces and their support.
func usedGrams(p composedBuild) float64 {
	g := 0.0
	for _, l := range p.Lines {
		g += float64(len(l.Line.Pieces)) * (l.Line.Option.PartG + l.Line.Option.SupportG)
	}
	return g
}
