package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/part"
)

// line is one part: model, facts, requirement.
func (k *desk) line(w http.ResponseWriter, r *http.Request) error {
	l, err := k.Steps.Line(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	events, err := k.Steps.Trail(r.Context(), l.ID, 100)
	if err != nil {
		return err
	}
	k.show(w, r, http.StatusOK, linePage(k.frame(r, l.Name, "requests", "viewer.entry.js"), l, events))
	return nil
}

func (k *desk) model(w http.ResponseWriter, r *http.Request) error {
	l, body, err := k.Steps.OpenModel(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	defer body.Close()
	w.Header().Set("Content-Type", "model/gltf-binary")
	w.Header().Set("ETag", `"`+string(l.Viewer)+`"`)
	w.Header().Set("Cache-Control", "private, max-age=0, must-revalidate")
	http.ServeContent(w, r, "", k.Clock(), body)
	return nil
}

// picture is the part's engraving.
func (k *desk) picture(w http.ResponseWriter, r *http.Request) error {
	l, err := k.Steps.Line(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	if k.Papers == nil || l.Viewer == "" {
		return fault.New(fault.NotFound, "picture_missing", "", "There is no picture of this part.")
	}
	if r.URL.Query().Get("v") == l.Viewer.Short() {
		w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	}
	b, err := k.Papers.Picture(r.Context(), l.Viewer)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/png")
	_, _ = w.Write(b)
	return nil
}

// back is where a small form returns to: only a path of ours.
func back(r *http.Request, otherwise string) string {
	if b := r.FormValue("back"); strings.HasPrefix(b, "/") && !strings.HasPrefix(b, "//") && !strings.Contains(b, "\\") {
		return b
	}
	return otherwise
}

func (k *desk) setQty(w http.ResponseWriter, r *http.Request) error {
	n, err := strconv.Atoi(strings.TrimSpace(r.FormValue("qty")))
	if err != nil {
		return fault.New(fault.Invalid, "qty_range", "qty", "%q is not a quantity; give a whole number from 1.", r.FormValue("qty"))
	}
	id := r.PathValue("id")
	if _, err := k.Steps.SetQty(r.Context(), who(r), id, version(r), n); err != nil {
		return err
	}
	return seeOther(w, r, back(r, "/lines/"+id))
}

func (k *desk) setNeed(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	l, err := k.Steps.Line(r.Context(), id)
	if err != nil {
		return err
	}
	need, err := readNeed(r, l.Requirement, k.frame(r, "", "").digits)
	if err != nil {
		return err
	}
	if _, err := k.Steps.SetRequirement(r.Context(), who(r), id, version(r), need); err != nil {
		return err
	}
	return seeOther(w, r, "/lines/"+id)
}

// readNeed reads the requirement form; what the form does not hold stays as it was.
func readNeed(r *http.Request, q part.Requirement, digits int) (part.Requirement, error) {
	if err := r.ParseForm(); err != nil {
		return q, fault.Because(err, fault.Invalid, "form_broken", "", "The form did not arrive whole; send it again.")
	}
	text := func(f string, to *string) {
		if r.Form.Has(f) {
			*to = strings.TrimSpace(r.FormValue(f))
		}
	}
	for f, to := range map[string]*string{"purpose": &q.Purpose, "sterilise": &q.Sterilise, "finish": &q.Finish, "inspect": &q.Inspect, "material": &q.MaterialID, "process": &q.Process, "need_by": &q.NeedBy, "notes": &q.Notes} {
		text(f, to)
	}
	for f, to := range map[string]*bool{"loaded": &q.Loaded, "impact": &q.Impact, "sliding": &q.Sliding, "outdoor": &q.Outdoor, "chemicals": &q.Chemicals, "food": &q.Food, "skin": &q.Skin, "flame": &q.Flame, "esd": &q.ESD, "clear": &q.Clear, "watertight": &q.Watertight} {
		*to = r.Form.Has(f)
	}
	for _, x := range []struct {
		f  string
		to *float64
	}{{"temperature_c", &q.TemperatureC}, {"min_e_mpa", &q.MinEMPa}, {"min_uts_mpa", &q.MinUTSMPa}, {"shore_a", &q.ShoreA}, {"shore_d", &q.ShoreD}, {"tolerance_mm", &q.ToleranceMM}, {"over_mm", &q.OverMM}, {"hollow_mm", &q.HollowMM}} {
		v, err := number(r, x.f)
		if err != nil {
			return q, err
		}
		if v < 0 {
			return q, fault.New(fault.Invalid, "number_negative", x.f, "%g is below zero; leave the field empty if it does not matter.", v)
		}
		*x.to = v
	}
	inserts, err := number(r, "inserts")
	if err != nil {
		return q, err
	}
	if inserts < 0 || inserts > 1000 || inserts != float64(int(inserts)) {
		return q, fault.New(fault.Invalid, "inserts_range", "inserts", "%g is not a number of inserts; give a whole number up to 1000.", inserts)
	}
	q.Inserts = int(inserts)
	if r.Form.Has("body") {
		if q.Bodies, err = readWishes(r); err != nil {
			return q, err
		}
	}
	if s := strings.TrimSpace(r.FormValue("budget")); s != "" {
		a, err := amount(s, digits)
		if err != nil {
			return q, fault.At(err, "budget")
		}
		q.BudgetMinor = int64(a)
	} else {
		q.BudgetMinor = 0
	}
	q.Colors = nil
	for _, c := range strings.Split(r.FormValue("colors"), ",") {
		if c = strings.TrimSpace(c); c != "" {
			q.Colors = append(q.Colors, c)
		}
	}
	return q, nil
}

// readWishes reads what single bodies shall be of; bodies of which nothing is said are left out.
func readWishes(r *http.Request) ([]part.BodyWish, error) {
	var out []part.BodyWish
	for i, name := range r.Form["body"] {
		at := func(f string) string { return strings.TrimSpace(r.FormValue(fmt.Sprintf("body_%s_%d", f, i))) }
		w := part.BodyWish{Body: name, Rigid: at("rigid") != "", Color: at("color"), Material: at("material")}
		shore, err := number(r, fmt.Sprintf("body_shore_%d", i))
		if err != nil {
			return nil, err
		}
		if shore < 0 || shore > 100 {
			return nil, fault.New(fault.Invalid, "shore_range", name, "Shore A runs from 0 to 100, not to %g.", shore)
		}
		if w.ShoreA = shore; w != (part.BodyWish{Body: name}) {
			out = append(out, w)
		}
	}
	return out, nil
}

// wishFor is what a body shall be of.
func wishFor(q part.Requirement, body string) part.BodyWish {
	for _, w := range q.Bodies {
		if w.Body == body {
			return w
		}
	}
	return part.BodyWish{}
}

// makeHollow takes up the hint to make a line hollow.
func (k *desk) makeHollow(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	l, err := k.Steps.Line(r.Context(), id)
	if err != nil {
		return err
	}
	wall, err := number(r, "wall")
	if err != nil {
		return err
	}
	need := l.Requirement
	need.HollowMM = max(0, wall)
	if _, err := k.Steps.SetRequirement(r.Context(), who(r), id, version(r), need); err != nil {
		return err
	}
	return seeOther(w, r, "/lines/"+id+"/options")
}

func (k *desk) setAside(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Steps.SetAside(r.Context(), who(r), id, version(r), r.FormValue("aside") == "yes"); err != nil {
		return err
	}
	return seeOther(w, r, back(r, "/lines/"+id))
}

func (k *desk) undoLine(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := k.Steps.UndoLine(r.Context(), who(r), id); err != nil {
		return err
	}
	return seeOther(w, r, back(r, "/lines/"+id))
}

// marksOf are the places of a finding, in mm, as the viewer takes them: "x y z;x y z"; empty where it has none.
func marksOf(x part.Finding) string {
	var b strings.Builder
	add := func(p r3.Vec) {
		if b.Len() > 0 {
			b.WriteByte(';')
		}
		fmt.Fprintf(&b, "%.4g %.4g %.4g", p.X, p.Y, p.Z)
	}
	if x.At != nil {
		add(*x.At)
	}
	for _, p := range x.Points {
		add(p)
	}
	return b.String()
}
