package shop

import (
	"errors"
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"firstoff/digest"
	"firstoff/fault"
)

// Load reads a catalogue from the text of a YAML file and checks it as a whole. name is used in messages.
//
// Faults, all Invalid with Where "name:line:column":
// "shop_yaml" (not YAML, or a field the catalogue does not know), "shop_value" (a value out of range or not one
// of those allowed; the message lists what is), "shop_reference" (a name that nothing in the catalogue has),
// "shop_duplicate" (an id used twice), "shop_missing" (something every shop needs).
func Load(name string, text []byte) (*Catalogue, error) {
	file, err := parser.ParseBytes(text, 0)
	if err != nil {
		return nil, yamlFault(name, err)
	}
	if len(file.Docs) == 0 || file.Docs[0].Body == nil {
		return nil, fault.New(fault.Invalid, "shop_missing", name, "The catalogue is empty; it needs at least firm, rates, processes, materials, machines, people and shifts.")
	}
	var c Catalogue
	if err := yaml.UnmarshalWithOptions(text, &c, yaml.Strict()); err != nil {
		return nil, yamlFault(name, err)
	}
	c.Revision = digest.Of(text)
	for i := range c.Machines {
		if c.Machines[i].Count == 0 {
			c.Machines[i].Count = 1
		}
		if c.Machines[i].Calendar == "" {
			c.Machines[i].Calendar = "always"
		}
	}
	for i := range c.Resources {
		if c.Resources[i].Count == 0 {
			c.Resources[i].Count = 1
		}
		if c.Resources[i].Calendar == "" {
			c.Resources[i].Calendar = "always"
		}
	}
	v := &verifier{name: name, file: file}
	v.catalogue(&c)
	if v.err != nil {
		return nil, v.err
	}
	return &c, nil
}

// yamlFault turns a YAML library error into one sentence with its place.
func yamlFault(name string, err error) error {
	where, msg := name, err.Error()
	var ye yaml.Error
	if errors.As(err, &ye) {
		if tk := ye.GetToken(); tk != nil && tk.Position != nil {
			where = fmt.Sprintf("%s:%d:%d", name, tk.Position.Line, tk.Position.Column)
		}
		msg = ye.GetMessage()
	}
	if i := strings.IndexByte(msg, '\n'); i >= 0 {
		msg = msg[:i]
	}
	return fault.Because(err, fault.Invalid, "shop_yaml", where, "The catalogue cannot be read here: %s. Correct the entry or remove it.", strings.TrimSuffix(msg, "."))
}

// verifier keeps the first mistake found, with its place in the file.
type verifier struct {
	name string
	file *ast.File
	err  error
}

func (v *verifier) fail(code, path, format string, args ...any) {
	if v.err != nil {
		return
	}
	v.err = fault.New(fault.Invalid, code, v.place(path), format, args...)
}

// place finds line and column of a YAML path; a path that is not in the file (a missing key) falls back to its parent.
func (v *verifier) place(path string) string {
	for p := path; p != ""; {
		if yp, err := yaml.PathString(p); err == nil {
			if n, err := yp.FilterFile(v.file); err == nil && n != nil && n.GetToken() != nil {
				pos := n.GetToken().Position
				return fmt.Sprintf("%s:%d:%d", v.name, pos.Line, pos.Column)
			}
		}
		i := strings.LastIndexAny(p, ".[")
		if i <= 0 {
			break
		}
		p = p[:i]
	}
	return v.name
}

func (v *verifier) oneOf(path, what, got string, allowed ...string) {
	if !slices.Contains(allowed, got) {
		v.fail("shop_value", path, "%s is %q; allowed: %s.", what, got, strings.Join(allowed, ", "))
	}
}

func (v *verifier) ref(path, what, got string, known map[string]bool) {
	if !known[got] {
		names := make([]string, 0, len(known))
		for n := range known {
			names = append(names, n)
		}
		sort.Strings(names)
		v.fail("shop_reference", path, "%s %q is not in the catalogue; known: %s.", what, got, strings.Join(names, ", "))
	}
}

func (v *verifier) positive(path, what string, x float64) {
	if !(x > 0) || x > 1e12 {
		v.fail("shop_value", path, "%s is %g; it must be greater than zero.", what, x)
	}
}

func (v *verifier) within(path, what string, x, lo, hi float64) {
	if !(x >= lo && x <= hi) {
		v.fail("shop_value", path, "%s is %g; allowed: %g to %g.", what, x, lo, hi)
	}
}

// ids collects the ids of a list and reports the first empty or repeated one.
func ids[T any](v *verifier, list string, items []T, id func(T) string) map[string]bool {
	known := map[string]bool{}
	for i, it := range items {
		n := id(it)
		p := fmt.Sprintf("$.%s[%d]", list, i)
		if n == "" {
			v.fail("shop_missing", p, "Entry %d of %s has no id; give it one.", i+1, list)
		}
		if known[n] {
			v.fail("shop_duplicate", p+".id", "The id %q is used twice in %s; each needs its own.", n, list)
		}
		known[n] = true
	}
	return known
}

func (v *verifier) catalogue(c *Catalogue) {
	v.firm(&c.Firm)
	for _, need := range []struct {
		list string
		n    int
	}{{"processes", len(c.Processes)}, {"materials", len(c.Materials)}, {"machines", len(c.Machines)}, {"people", len(c.People)}, {"shifts", len(c.Shifts)}} {
		if need.n == 0 {
			v.fail("shop_missing", "$", "The catalogue has no %s; a shop needs at least one.", need.list)
		}
	}
	processes := ids(v, "processes", c.Processes, func(p Process) string { return p.Code })
	materials := ids(v, "materials", c.Materials, func(m Material) string { return m.ID })
	ids(v, "machines", c.Machines, func(m Machine) string { return m.ID })
	resources := ids(v, "resources", c.Resources, func(r Resource) string { return r.ID })
	ids(v, "people", c.People, func(p Person) string { return p.ID })
	shifts := ids(v, "shifts", c.Shifts, func(s Shift) string { return s.ID })
	ids(v, "operations", c.Operations, func(o Operation) string { return o.ID })
	ids(v, "partners", c.Partners, func(p Partner) string { return p.ID })

	for i, p := range c.Processes {
		at := fmt.Sprintf("$.processes[%d]", i)
		v.within(at+".yield", "yield", p.Yield, 0.01, 1)
		v.within(at+".self_support_deg", "self_support_deg", p.SelfSupportDeg, 0, 90)
		v.within(at+".it_grade", "it_grade", float64(p.ITGrade), 1, 18)
	}
	for i, m := range c.Materials {
		at := fmt.Sprintf("$.materials[%d]", i)
		for j, p := range m.Processes {
			v.ref(fmt.Sprintf("%s.processes[%d]", at, j), "The process", p, processes)
		}
		v.positive(at+".density_g_cm3", "density_g_cm3", m.DensityGCM3)
		if m.Support != "" {
			v.oneOf(at+".support", "support", m.Support, "breakaway", "soluble", "gel", "anchor")
		}
		for j, s := range m.SupportsFor {
			v.ref(fmt.Sprintf("%s.supports_for[%d]", at, j), "The material", s, materials)
		}
		for _, w := range []struct{ k, val string }{{"uv", m.UV}, {"chemical", m.Chemical}} {
			if w.val != "" {
				v.oneOf(at+"."+w.k, w.k, w.val, "good", "moderate", "poor")
			}
		}
		for j, s := range m.Sterilise {
			v.oneOf(fmt.Sprintf("%s.sterilise[%d]", at, j), "sterilise", s, "steam", "eto", "gamma", "h2o2")
		}
	}
	shiftOrAlways := map[string]bool{"always": true}
	for s := range shifts {
		shiftOrAlways[s] = true
	}
	for i, m := range c.Machines {
		v.machine(c, fmt.Sprintf("$.machines[%d]", i), m, processes, materials, shiftOrAlways)
	}
	for i, r := range c.Resources {
		at := fmt.Sprintf("$.resources[%d]", i)
		v.oneOf(at+".kind", "kind", r.Kind, "bath", "oven", "cabinet", "bench", "booth")
		v.ref(at+".calendar", "The calendar", r.Calendar, shiftOrAlways)
	}
	for i, p := range c.People {
		at := fmt.Sprintf("$.people[%d]", i)
		v.ref(at+".shift", "The shift", p.Shift, shifts)
		for j, s := range p.Skills {
			v.oneOf(fmt.Sprintf("%s.skills[%d]", at, j), "skill", s, skills...)
		}
	}
	for i, s := range c.Shifts {
		for d, spans := range s.Week {
			at := fmt.Sprintf("$.shifts[%d].week.%s", i, d)
			v.oneOf(at, "weekday", d, weekdays...)
			for j, sp := range spans {
				if _, _, err := ParseSpan(sp); err != nil {
					v.fail("shop_value", fmt.Sprintf("%s[%d]", at, j), "The span %q is not of the form 07:00-15:30, start before end.", sp)
				}
			}
		}
	}
	for i, h := range c.Holidays {
		if _, err := time.Parse("2006-01-02", h.Date); err != nil {
			v.fail("shop_value", fmt.Sprintf("$.holidays[%d].date", i), "The date %q is not of the form 2026-12-24.", h.Date)
		}
	}
	v.workload(c)
	can := map[string]bool{}
	for _, p := range c.People {
		for _, s := range p.Skills {
			can[s] = true
		}
	}
	for i, o := range c.Operations {
		at := fmt.Sprintf("$.operations[%d]", i)
		for j, p := range o.Processes {
			v.ref(fmt.Sprintf("%s.processes[%d]", at, j), "The process", p, processes)
		}
		v.oneOf(at+".skill", "skill", o.Skill, skills...)
		if !can[o.Skill] {
			v.fail("shop_reference", at+".skill", "Nobody in people has the skill %q that %q needs.", o.Skill, o.ID)
		}
		if o.Resource != "" {
			v.ref(at+".resource", "The resource", o.Resource, resources)
		}
		if o.Area != "" {
			v.oneOf(at+".area", "area", o.Area, "contact", "surface", "support")
		}
		kind, _, _ := strings.Cut(o.When, ":")
		v.oneOf(at+".when", "when", kind, "always", "support", "finish", "inspect", "insert")
	}
	for i, p := range c.Partners {
		for j, o := range p.Offers {
			at := fmt.Sprintf("$.partners[%d].offers[%d]", i, j)
			v.ref(at+".process", "The process", o.Process, processes)
			for k, m := range o.Materials {
				v.ref(fmt.Sprintf("%s.materials[%d]", at, k), "The material", m, materials)
			}
			v.positive(at+".envelope.x_mm", "x_mm", o.Envelope.X)
			v.positive(at+".envelope.y_mm", "y_mm", o.Envelope.Y)
			v.positive(at+".envelope.z_mm", "z_mm", o.Envelope.Z)
			if o.Process == "CAST" && o.MouldLife < 1 {
				v.fail("shop_value", at+".mould_life", "mould_life is %d; a silicone tool gives at least one shot (usual: 15 to 25).", o.MouldLife)
			}
		}
	}
}

// workload checks the work in hand.
func (v *verifier) workload(c *Catalogue) {
	ids(v, "workload", c.Workload, func(w Work) string { return w.ID })
	if c.WorkloadAsOf != "" {
		if _, err := time.Parse(time.RFC3339, c.WorkloadAsOf); err != nil {
			v.fail("shop_value", "$.workload_as_of", "workload_as_of is %q; give a moment such as 2026-12-01T07:00:00+01:00.", c.WorkloadAsOf)
		}
	}
	for i, w := range c.Workload {
		at := fmt.Sprintf("$.workload[%d]", i)
		v.within(at+".build_h", "build_h", w.BuildH, 0, 2000)
		v.within(at+".finish_min", "finish_min", w.FinishMin, 0, 100000)
		v.within(at+".due_days", "due_days", float64(w.DueDays), 0, 1000)
		if w.Machine == "" {
			continue
		}
		m := c.Machine(w.Machine)
		if m == nil {
			known := map[string]bool{}
			for _, m := range c.Machines {
				known[m.ID] = true
			}
			v.ref(at+".machine", "The machine", w.Machine, known)
			continue
		}
		if !slices.Contains(m.Materials, w.Material) {
			v.fail("shop_reference", at+".material", "The machine %q does not run %q; it runs %s.", w.Machine, w.Material, strings.Join(m.Materials, ", "))
		}
	}
}

var (
	skills   = []string{"estimate", "operate", "finish", "inspect", "pack"}
	weekdays = []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}
)

func (v *verifier) firm(f *Firm) {
	if f.Name == "" {
		v.fail("shop_missing", "$.firm", "The firm has no name.")
	}
	if len(f.Currency) != 3 || strings.ToUpper(f.Currency) != f.Currency {
		v.fail("shop_value", "$.firm.currency", "currency is %q; give an ISO 4217 code such as EUR.", f.Currency)
	}
	if _, err := time.LoadLocation(f.TimeZone); err != nil || f.TimeZone == "" {
		v.fail("shop_value", "$.firm.time_zone", "time_zone is %q; give a name of the time zone database such as Europe/Vienna or UTC.", f.TimeZone)
	}
	if _, err := time.Parse("15:04", f.CutOff); err != nil {
		v.fail("shop_value", "$.firm.cut_off", "cut_off is %q; give a clock time such as 12:00.", f.CutOff)
	}
	v.within("$.firm.margin_pct", "margin_pct", f.MarginPct, 0, 90)
	v.within("$.firm.tax_pct", "tax_pct", f.TaxPct, 0, 50)
	v.within("$.firm.promise_level", "promise_level", f.PromiseLevel, 0.5, 0.99)
	v.within("$.firm.valid_days", "valid_days", float64(f.ValidDays), 1, 365)
}

func (v *verifier) machine(c *Catalogue, at string, m Machine, processes, materials, calendars map[string]bool) {
	v.ref(at+".process", "The process", m.Process, processes)
	v.positive(at+".envelope.x_mm", "x_mm", m.Envelope.X)
	v.positive(at+".envelope.y_mm", "y_mm", m.Envelope.Y)
	v.positive(at+".envelope.z_mm", "z_mm", m.Envelope.Z)
	v.within(at+".count", "count", float64(m.Count), 1, 200)
	v.ref(at+".calendar", "The calendar", m.Calendar, calendars)
	v.within(at+".fail_pct", "fail_pct", m.FailPct, 0, 90)
	v.within(at+".spread_pct", "spread_pct", m.SpreadPct, 0, 100)
	if len(m.LayersMM) == 0 && m.Cast == nil {
		v.fail("shop_missing", at, "The machine %q offers no layer height; list at least one in layers_mm.", m.ID)
	}
	for j, l := range m.LayersMM {
		v.within(fmt.Sprintf("%s.layers_mm[%d]", at, j), "layer height", l, 0.005, 5)
	}
	if len(m.Materials) == 0 {
		v.fail("shop_missing", at, "The machine %q runs no material; list at least one.", m.ID)
	}
	check := func(key string, list []string, support bool) {
		for j, id := range list {
			p := fmt.Sprintf("%s.%s[%d]", at, key, j)
			v.ref(p, "The material", id, materials)
			mat := c.Material(id)
			if mat == nil {
				continue
			}
			if (mat.Support != "") != support {
				v.fail("shop_value", p, "%q is a %s material; list it under %s.", id, kindOf(mat), map[bool]string{true: "supports", false: "materials"}[mat.Support != ""])
			}
			if !slices.Contains(mat.Processes, m.Process) {
				v.fail("shop_value", p, "%q is a material for %s, but %q works by %s.", id, strings.Join(mat.Processes, ", "), m.ID, m.Process)
			}
		}
	}
	check("materials", m.Materials, false)
	check("supports", m.Supports, true)
	for j, id := range m.Loaded {
		if !slices.Contains(m.Materials, id) && !slices.Contains(m.Supports, id) {
			v.fail("shop_reference", fmt.Sprintf("%s.loaded[%d]", at, j), "%q is loaded but not among the materials or supports of %q.", id, m.ID)
		}
	}
	has := map[string]bool{"mex": m.MEX != nil, "mjt": m.MJT != nil, "pbf": m.PBF != nil, "vpp": m.VPP != nil, "bjt": m.BJT != nil, "cast": m.Cast != nil}
	need := ""
	switch {
	case m.Process == "MEX":
		need = "mex"
	case m.Process == "MJT":
		need = "mjt"
	case strings.HasPrefix(m.Process, "PBF"):
		need = "pbf"
	case m.Process == "VPP":
		need = "vpp"
	case m.Process == "BJT":
		need = "bjt"
	case m.Process == "CAST":
		need = "cast"
	}
	if need != "" && !has[need] {
		v.fail("shop_missing", at, "The machine %q works by %s and needs a block %q with its parameters.", m.ID, m.Process, need)
	}
	if m.MEX != nil {
		v.positive(at+".mex.speed_mm_s", "speed_mm_s", m.MEX.SpeedMMS)
		v.positive(at+".mex.accel_mm_s2", "accel_mm_s2", m.MEX.AccelMMS2)
		v.positive(at+".mex.travel_mm_s", "travel_mm_s", m.MEX.TravelMMS)
		v.positive(at+".mex.road_max_mm", "road_max_mm", m.MEX.RoadMaxMM)
		for j, f := range m.MEX.InfillsPct {
			v.within(fmt.Sprintf("%s.mex.infills_pct[%d]", at, j), "infill", f, 1, 100)
		}
		if len(m.MEX.InfillsPct) == 0 {
			v.fail("shop_missing", at+".mex", "The machine %q offers no infill; list at least 100 in infills_pct.", m.ID)
		}
	}
	if m.MJT != nil {
		v.positive(at+".mjt.swath_mm", "swath_mm", m.MJT.SwathMM)
		v.positive(at+".mjt.pass_mm_s", "pass_mm_s", m.MJT.PassMMS)
	}
	if m.PBF != nil && !m.PBF.FusedAgent {
		v.positive(at+".pbf.scan_mm_s", "scan_mm_s", m.PBF.ScanMMS)
		v.positive(at+".pbf.hatch_mm", "hatch_mm", m.PBF.HatchMM)
		v.within(at+".pbf.scan_share", "scan_share", m.PBF.ScanShare, 0.05, 1)
	}
	if p := m.PBF; p != nil {
		v.positive(at+".pbf.recoat_s", "recoat_s", p.RecoatS)
		v.within(at+".pbf.support_pct", "support_pct", p.SupportPct, 0, 100)
		if !p.Metal {
			v.within(at+".pbf.pack_pct", "pack_pct", p.PackPct, 1, 60)
		}
	}
	if p := m.VPP; p != nil {
		v.positive(at+".vpp.dp_mm", "dp_mm", p.DpMM)
		v.positive(at+".vpp.ec_mj_cm2", "ec_mj_cm2", p.EcMJCM2)
		v.within(at+".vpp.support_pct", "support_pct", p.SupportPct, 0, 100)
		v.within(at+".vpp.drain_pct", "drain_pct", p.DrainPct, 0, 100)
		if p.Mask {
			v.positive(at+".vpp.mask_mw_cm2", "mask_mw_cm2", p.MaskMWCM2)
		} else {
			v.positive(at+".vpp.power_mw", "power_mw", p.PowerMW)
			v.positive(at+".vpp.spot_mm", "spot_mm", p.SpotMM)
		}
	}
	if p := m.BJT; p != nil {
		v.positive(at+".bjt.recoat_s", "recoat_s", p.RecoatS)
		v.positive(at+".bjt.swath_mm", "swath_mm", p.SwathMM)
		v.positive(at+".bjt.pass_mm_s", "pass_mm_s", p.PassMMS)
		v.within(at+".bjt.shrink_pct", "shrink_pct", p.ShrinkPct, 0, 40)
		v.within(at+".bjt.pack_pct", "pack_pct", p.PackPct, 30, 80)
		v.within(at+".bjt.saturate_pct", "saturate_pct", p.SaturatePct, 0, 150)
	}
	if p := m.Cast; p != nil {
		v.within(at+".cast.life_shots", "life_shots", float64(p.Life), 1, 200)
		v.positive(at+".cast.shot_min", "shot_min", p.ShotMin)
		v.positive(at+".cast.cure_h", "cure_h", p.CureH)
		v.within(at+".cast.day_h", "day_h", p.DayH, 1, 24)
		v.positive(at+".cast.silicone_g_cm3", "silicone_g_cm3", p.SiliconeGCM3)
		v.positive(at+".cast.wall_mm", "wall_mm", p.WallMM)
	}
}

func kindOf(m *Material) string {
	if m.Support != "" {
		return "support"
	}
	return "build"
}

// ParseSpan reads "07:00-15:30" into minutes after midnight; "24:00" is allowed as an end.
func ParseSpan(s string) (from, to int, err error) {
	var h1, m1, h2, m2 int
	if n, e := fmt.Sscanf(s, "%d:%d-%d:%d", &h1, &m1, &h2, &m2); n != 4 || e != nil {
		return 0, 0, fault.New(fault.Invalid, "shop_value", "", "The span %q is not of the form 07:00-15:30.", s)
	}
	from, to = h1*60+m1, h2*60+m2
	if from < 0 || to > 24*60 || from >= to || m1 > 59 || m2 > 59 {
		return 0, 0, fault.New(fault.Invalid, "shop_value", "", "The span %q does not lie within a day, start before end.", s)
	}
	return from, to, nil
}
