package estimate

import (
	"math"
	"testing"

	"firstoff/checks"
	"firstoff/geom/geomtest"
	"firstoff/geom/r3"
	"firstoff/shop"
)

// families are one machine of each family, with parameters in the middle of the handbook's ranges.
func families() map[string]*shop.Machine {
	env := shop.Envelope{X: 300, Y: 250, Z: 280}
	m := func(x shop.Machine) *shop.Machine {
		x.Envelope, x.EdgeMM, x.SpacingMM, x.WarmUpH, x.CoolDownH, x.SetUpMin, x.UnloadMin, x.SpreadPct = env, 5, 4, 0.5, 0.25, 12, 10, 6
		return &x
	}
	return map[string]*shop.Machine{
		"MEX": m(shop.Machine{MEX: &shop.MEX{RoadPerLayer: 2, Contours: 2, SkinMM: 1, SpeedMMS: 70, ContourMMS: 50, SupportMMS: 80, AccelMMS2: 900, JunctionMM: 0.05, TravelMMS: 180,
			StartS: 0.25, FlowMM3S: 12, LayerS: 6, SwitchS: 9, SupportPct: 20, InterfaceLayers: 3, BaseLayers: 4, PurgePerLayerG: 0.01}}),
		"MJT":     m(shop.Machine{MJT: &shop.MJT{SwathMM: 60, PassMMS: 350, OverrunMM: 100, TurnS: 0.4, Passes: 2, LayerS: 1.2, MaintEvery: 150, MaintS: 60, GridPct: 45, WastePct: 8}, PurgeG: 50}),
		"PBF/P":   m(shop.Machine{PBF: &shop.PBF{RecoatS: 11, ScanMMS: 7000, HatchMM: 0.25, ContourMMS: 3000, ScanShare: 0.65, Lasers: 1, CoolTauC0H: 1.5, CoolTauC1HMM: 0.012, BedC: 170, OpenC: 50, RoomC: 22, PackPct: 9, UnpackMin: 50}}),
		"agent":   m(shop.Machine{PBF: &shop.PBF{RecoatS: 8, LayerMinS: 6, FusedAgent: true, CoolTauC0H: 1.2, CoolTauC1HMM: 0.01, BedC: 170, OpenC: 50, RoomC: 22, PackPct: 9}}),
		"PBF/M":   m(shop.Machine{PBF: &shop.PBF{RecoatS: 9, ScanMMS: 960, HatchMM: 0.1, ScanShare: 0.8, Lasers: 2, Metal: true, InertH: 0.5, UnpackMin: 60}}),
		"VPP/L":   m(shop.Machine{VPP: &shop.VPP{DpMM: 0.15, EcMJCM2: 9, PowerMW: 300, SpotMM: 0.12, HatchMM: 0.1, SpeedShare: 0.685, RecoatS: 12, OvercureMM: 0.1}}),
		"BJT":     m(shop.Machine{BJT: &shop.BJT{RecoatS: 12, SwathMM: 60, PassMMS: 300, OverrunMM: 80, DryS: 6, ShrinkPct: 17, PackPct: 55, SaturatePct: 60, BinderPerL: 9000, LossPct: 3}}),
		"VPP/UVM": m(shop.Machine{VPP: &shop.VPP{Mask: true, DpMM: 0.12, EcMJCM2: 10, MaskMWCM2: 10, BaseLayers: 4, BaseS: 30, MechS: 5, OvercureMM: 0.05}}),
	}
}

func plastic() *shop.Material {
	return &shop.Material{ID: "X", DensityGCM3: 1.1, PricePerKg: 20000, RefreshPct: 40}
}

func lineOf(t *testing.T, m *shop.Machine, layer, infill float64, qty int) Line {
	t.Helper()
	b := geomtest.Cylinder(15, 24, 96)
	st, err := FromMesh(b.Mesh, b.Mesh.Measure(), r3.Identity, []float64{layer}, Cut{SelfSupportDeg: 45, SkinMM: 1, InterfaceLayers: 3, Supported: true, Roads: true, BandMM: 2 * 2 * layer})
	if err != nil {
		t.Fatal(err)
	}
	return Line{Stack: st[0], Machine: m, Material: plastic(), Support: &shop.Material{ID: "S", DensityGCM3: 1.05}, LayerMM: layer, InfillPct: infill, Qty: qty,
		Packing: Rows(Piece{SizeMM: st[0].SizeMM, VolumeMM3: st[0].VolumeMM3}, m, qty)}
}

// TestSharedBuild: for every family more parts never take less time, material or hands; parts that share a build take less than as many builds of
// one, but not less than one build; and components sum to what the line pays for.
func TestSharedBuild(t *testing.T) {
	for name, m := range families() {
		var last Estimate
		one, ok := Of(lineOf(t, m, 0.2, 100, 1))
		if !ok || one.BuildS.Mean <= 0 || one.PartG.Mean <= 0 || one.BuildS.SD <= 0 {
			t.Fatalf("%s: %+v", name, one)
		}
		if name != "MEX" && math.Abs(one.PartG.Mean-math.Pi*225*24*1.1/1000) > 0.05 {
			t.Errorf("%s: a part weighs %.3f g", name, one.PartG.Mean)
		}
		for _, q := range []int{1, 2, 3, 7, 20, 50, 200, 1000} {
			l := lineOf(t, m, 0.2, 100, q)
			e, ok := Of(l)
			if !ok {
				t.Fatalf("%s × %d", name, q)
			}
			if e.BuildS.Mean < last.BuildS.Mean-1e-6 || e.ChargedS.Mean < last.ChargedS.Mean-1e-6 || e.StockG.Mean < last.StockG.Mean-1e-9 || e.SetUpS < last.SetUpS-1e-9 {
				t.Errorf("%s: %d take less than fewer", name, q)
			}
			if want := (q + e.PerBuild - 1) / e.PerBuild; e.Builds != want {
				t.Errorf("%s: %d in %d builds of %d", name, q, e.Builds, e.PerBuild)
			}
			if q > 1 && e.PerBuild > 1 && e.ChargedS.Mean >= float64(q)*one.ChargedS.Mean*(1+1e-9) {
				t.Errorf("%s: %d parts take %.0f s, alone %.0f s each", name, q, e.ChargedS.Mean, one.ChargedS.Mean)
			}
			var parts float64
			for _, p := range e.Parts {
				parts += p.Value * 3600
			}
			want := e.ChargedS.Mean
			if name == "MEX" { // from part to part on the tray goes unlisted
				if parts > want*(1+1e-9) || parts < want*0.9 {
					t.Errorf("%s × %d: components %.0f s of %.0f s", name, q, parts, want)
				}
			} else if math.Abs(parts/want-1) > 1e-6 {
				t.Errorf("%s × %d: components %.3f s of %.3f s", name, q, parts, want)
			}
			last = e
		}
	}
}

// TestSparseLighter: solid roads weigh what the volume weighs; sparse ones less, never less than skins and walls, in the order of their fill.
func TestSparseLighter(t *testing.T) {
	m := families()["MEX"]
	last := math.Inf(1)
	for _, f := range []float64{100, 60, 40, 20, 10} {
		e, _ := Of(lineOf(t, m, 0.2, f, 1))
		if f == 100 {
			if want := math.Pi * 225 * 24 * 1.1 / 1000; math.Abs(e.PartG.Mean/want-1) > 0.002 {
				t.Errorf("solid part weighs %.3f g, its volume %.3f g", e.PartG.Mean, want)
			}
		}
		if e.PartG.Mean >= last {
			t.Errorf("%g %% weighs %.2f g, more fill %.2f g", f, e.PartG.Mean, last)
		}
		last = e.PartG.Mean
	}
	shell := math.Pi * (225*24 - math.Pow(15-0.8, 2)*(24-2)) * 1.1 / 1000
	if last < shell*0.97 {
		t.Errorf("10 %% weighs %.2f g, walls and skins alone %.2f g", last, shell)
	}
}

// TestJetSwathShared: parts that lie in a swath already travelled are free (handbook 3.2).
func TestJetSwathShared(t *testing.T) {
	m := families()["MJT"].MJT
	a, _, s1 := JetS(m, 200, 55, 20, 0.03)
	b, _, s2 := JetS(m, 200, 60, 20, 0.03)
	c, _, s3 := JetS(m, 200, 61, 20, 0.03)
	if a != b || s1 != 1 || s2 != 1 || s3 != 2 || c <= b {
		t.Errorf("%g %g %g s in %d %d %d swaths", a, b, c, s1, s2, s3)
	}
}

// TestFactors: calibrated factors scale what they name and leave the rest.
func TestFactors(t *testing.T) {
	for name, m := range families() {
		l := lineOf(t, m, 0.2, 100, 3)
		e, _ := Of(l)
		l.Factor = Factors{Roads: 1.2, Grams: 1.1, FixedS: 60, SDPct: 20}
		f, _ := Of(l)
		if f.BuildS.Mean <= e.BuildS.Mean || math.Abs(f.PartG.Mean/e.PartG.Mean-1.1) > 1e-9 || math.Abs(f.BuildS.SD/f.BuildS.Mean-0.2) > 1e-9 || f.BuildS.Mean > 1.2*e.BuildS.Mean+60*float64(e.Builds)+1 {
			t.Errorf("%s: %+v then %+v", name, e.BuildS, f.BuildS)
		}
	}
}

// TestBinderBed: a cube of 20 mm at 18 % shrinkage is 24.390 mm green; 488 layers of 0.05 mm; a bed of 3 × 3 in one level, passes and binder by hand.
func TestBinderBed(t *testing.T) {
	b := &shop.BJT{RecoatS: 10, SwathMM: 60, PassMMS: 300, OverrunMM: 60, DryS: 5, ShrinkPct: 18, PackPct: 55, SaturatePct: 60, BinderPerL: 10000, LossPct: 4}
	m := &shop.Machine{ID: "b", Envelope: shop.Envelope{X: 90, Y: 90, Z: 40}, SpacingMM: 3, EdgeMM: 5, WarmUpH: 1, BJT: b}
	if g := GreenMM(20, 18); math.Abs(g-24.3902) > 1e-4 {
		t.Errorf("green %.4f mm", g)
	}
	size := r3.Vec{X: 20, Y: 20, Z: 20}
	st := &Stack{SizeMM: size, VolumeMM3: 8000, SurfaceMM2: 2400}
	l := Line{Stack: st, Machine: m, Material: &shop.Material{ID: "m", DensityGCM3: 7.8}, LayerMM: 0.05, Qty: 4, Packing: Rows(Piece{SizeMM: size, VolumeMM3: 8000}, m, 4)}
	if l.Packing.PerBuild != 9 { // ⌊(80 + 3)/(24.39 + 3)⌋ = 3 each way, one level
		t.Fatalf("%d to a bed", l.Packing.PerBuild)
	}
	e, ok := Of(l)
	if !ok {
		t.Fatal("not estimated")
	}
	g := 20 / 0.82
	// rows along x: 3 in the first row, 1 in the second
	x, y := 3*g+2*3, 2*g+3
	layer := 10 + math.Ceil(y/60)*(x+60)/300 + 5
	if want := 488*layer + 3600; e.Layers != 488 || math.Abs(e.BuildS.Mean-want) > 1e-6*want {
		t.Errorf("%d layers, %.1f s, by hand %.1f", e.Layers, e.BuildS.Mean, want)
	}
	if want := 8 * 7.8 * 4 * 1.04; math.Abs(e.StockG.Mean-want) > 1e-6 {
		t.Errorf("%.3f g of powder, by hand %.3f", e.StockG.Mean, want)
	}
	if want := 4 * 8000 / math.Pow(0.82, 3) * 0.45 * 0.6 / 1e6 * 10000; math.Abs(e.Extra[0].Minor-want) > 1e-9*want {
		t.Errorf("binder %.4f, by hand %.4f", e.Extra[0].Minor, want)
	}
	if r := m.Room(); math.Abs(r.X-90*0.82) > 1e-9 {
		t.Errorf("room %+v", r)
	}
}

// TestCastingCell: tools and days of row K16 reach the cell's hours; silicone and pattern by hand.
func TestCastingCell(t *testing.T) {
	k16 := checks.WorkedRow(t, "K16") // 50 pieces; tool life 20; cycle 2.5 h; 8 h day; 1 tool at a time | 3 tools
	for i, side := range []int{1, 3} {
		c := &shop.Cast{Life: 20, ShotMin: 20, DemouldMin: 10, CureH: 2, SideBySide: side, DayH: 8, WallMM: 30, SiliconeGCM3: 1.1, SiliconePerKg: 3000, ToolMin: 120, ToolCureH: 18, MasterMin: 240, MasterH: 48, MasterPerCM3: 80}
		size := r3.Vec{X: 60, Y: 40, Z: 20}
		l := Line{Stack: &Stack{SizeMM: size, VolumeMM3: 20000, SurfaceMM2: 9000}, Machine: &shop.Machine{ID: "c", Cast: c}, Material: &shop.Material{ID: "PU", DensityGCM3: 1.1}, Qty: 50}
		e, ok := Of(l)
		tools, days := Casting(50, 20, 2.5, 8, side)
		want := [][2]int{{3, 17}, {3, 6}}[i]
		if !ok || tools != want[0] || days != want[1] {
			t.Errorf("%d tools, %d days (%s)", tools, days, k16.Outputs)
		}
		rounds := math.Ceil(50 / float64(side))
		lastDay := rounds - float64(days-1)*3 // three rounds of 2.5 h a day
		if h := e.BuildS.Mean / 3600; math.Abs(h-(float64(days-1)*8+lastDay*2.5)) > 1e-9 {
			t.Errorf("%.2f h in %d days", h, days)
		}
		kg := (120*100*80 - 20000) / 1e6 * 1.1
		if math.Abs(e.Extra[1].Minor-3*kg*3000) > 1e-6 || len(e.Before) != 2 || e.Before[1].HandsS != 3*120*60 || e.Before[1].ElapsedS != 18*3600*math.Ceil(3/float64(side)) {
			t.Errorf("%+v %+v", e.Extra, e.Before)
		}
		if want := (50*20 + 3*60) * 60.0; math.Abs(e.ChargedS.Mean-want) > 1e-9 {
			t.Errorf("chamber %.0f s, by hand %.0f", e.ChargedS.Mean, want)
		}
	}
}

// TestFamiliesOnRows: the families as machines give the hours of the worked examples, not only their formulas: jetting B12, mask B19, polymer scan
// B22 and metal B24.
func TestFamiliesOnRows(t *testing.T) {
	hours := func(m *shop.Machine, st *Stack, layer float64, qty int) float64 {
		t.Helper()
		m.ID, m.Envelope = "m", shop.Envelope{X: 400, Y: 400, Z: 400}
		e, ok := Of(Line{Stack: st, Machine: m, Material: plastic(), LayerMM: layer, Qty: qty, Packing: Packing{PerBuild: qty, Columns: 1, Rows: qty, Levels: 1, StepX: st.SizeMM.X, StepY: st.SizeMM.Y}})
		if !ok {
			t.Fatal("not estimated")
		}
		return e.BuildS.Mean / 3600
	}
	near := func(id string, got float64, want string) {
		t.Helper()
		for _, n := range checks.Numbers(" " + checks.WorkedRow(t, id).Outputs) {
			if math.Abs(n-got) <= 1e-4*math.Max(1, n) {
				return
			}
		}
		t.Errorf("%s: %.5f h is not in %q%s", id, got, checks.WorkedRow(t, id).Outputs, want)
	}
	b12 := checks.WorkedRow(t, "B12")
	near("B12", hours(&shop.Machine{MJT: &shop.MJT{SwathMM: b12.After(t, "swath"), PassMMS: b12.In(t, "v"), OverrunMM: b12.After(t, "overrun"), TurnS: b12.After(t, "turn"), Passes: b12.Before(t, "passes per swath"), LayerS: 1}},
		&Stack{SizeMM: r3.Vec{X: b12.In(t, "x"), Y: b12.In(t, "y"), Z: b12.In(t, "z")}}, b12.In(t, "t"), 1), "")
	// B19: 500 layers, 4 base at 30 s, rest 2.5 s, 5 s mechanics; E_c chosen so that the exposure is 2.5 s
	near("B19", hours(&shop.Machine{VPP: &shop.VPP{Mask: true, DpMM: 0.1, OvercureMM: 0, EcMJCM2: 25 / math.E, MaskMWCM2: 10, BaseLayers: 4, BaseS: 30, MechS: 5}},
		&Stack{SizeMM: r3.Vec{X: 40, Y: 40, Z: 50}}, 0.1, 1), "")
	b24 := checks.WorkedRow(t, "B24")
	near("B24", hours(&shop.Machine{PBF: &shop.PBF{Metal: true, RecoatS: b24.After(t, "recoat"), ScanMMS: b24.In(t, "v"), HatchMM: b24.After(t, "hatch"), Lasers: 1, ScanShare: 1}},
		&Stack{SizeMM: r3.Vec{X: 40, Y: 40, Z: b24.In(t, "h")}, VolumeMM3: b24.In(t, "V")}, b24.In(t, "t"), 1), "")
	b22 := checks.WorkedRow(t, "B22")
	m := &shop.Machine{ID: "p", PBF: &shop.PBF{RecoatS: b22.After(t, "recoat"), ScanMMS: b22.In(t, "v"), HatchMM: b22.After(t, "hatch"), Lasers: 1, ScanShare: 1}, Envelope: shop.Envelope{X: 400, Y: 400, Z: b22.In(t, "h")}}
	e, _ := Of(Line{Stack: &Stack{SizeMM: r3.Vec{X: 40, Y: 40, Z: 100}, VolumeMM3: b22.After(t, "mean area") * b22.In(t, "h") / 6}, Machine: m, Material: plastic(), LayerMM: b22.In(t, "t"), Qty: 6, Packing: Packing{PerBuild: 6, Columns: 2, Rows: 1, Levels: 3}})
	near("B22", e.BuildS.Mean/3600, "")
}

// TestErrorsByTheirSources: in sums, errors of one machine add up, those of two are independent; a build's components add up to it.
func TestErrorsByTheirSources(t *testing.T) {
	mach := func(id string) *shop.Machine {
		m := families()["PBF/M"]
		m.ID = id
		return m
	}
	of := func(id string) Estimate {
		e, ok := Of(lineOf(t, mach(id), 0.2, 100, 1))
		if !ok || e.Builds != 1 {
			t.Fatal("one build is wanted")
		}
		return e
	}
	a, b, c := of("a"), of("a"), of("b")
	sd := a.Hours.SD()
	if math.Abs(sd-0.06*a.Hours.Mean) > 1e-9 || math.Abs(a.BuildS.SD-sd*3600) > 1e-6 {
		t.Fatalf("sd %g of %g h", sd, a.Hours.Mean)
	}
	same, two := Sum(a.Hours, b.Hours), Sum(a.Hours, c.Hours)
	// one machine: √((2·s·√½)² + 2·(s·√½)²) = s·√3; two machines: s·√2
	if math.Abs(same.SD()-sd*math.Sqrt(3)) > 1e-9 || math.Abs(two.SD()-sd*math.Sqrt2) > 1e-9 {
		t.Errorf("same machine %.4f (want %.4f), two machines %.4f (want %.4f)", same.SD(), sd*math.Sqrt(3), two.SD(), sd*math.Sqrt2)
	}
	if r := Correlation(a.Hours, b.Hours); math.Abs(r-SharedVariance) > 1e-12 || Correlation(a.Hours, c.Hours) != 0 {
		t.Errorf("correlation %g", r)
	}
	if d := a.Hours.Plus(b.Hours.Times(-1)); math.Abs(d.SD()-sd) > 1e-9 || math.Abs(d.Mean) > 1e-9 { // what they share cancels
		t.Errorf("difference %+v", d)
	}
	var parts, sds float64
	for _, p := range a.Parts {
		parts, sds = parts+p.Value, sds+p.SD
	}
	if math.Abs(parts-a.Hours.Mean) > 1e-6 || math.Abs(sds-sd) > 1e-9 {
		t.Errorf("components %.4f ± %.4f h of %.4f ± %.4f", parts, sds, a.Hours.Mean, sd)
	}
	many := lineOf(t, mach("a"), 0.2, 100, 1)
	many.Qty, many.Packing.PerBuild = 100, 1
	e, _ := Of(many)
	if r := e.Hours.SD() / e.Hours.Mean; math.Abs(r-0.06*math.Sqrt(0.5+0.5/100)) > 1e-9 {
		t.Errorf("a hundred builds of one machine: ±%.3f %%", 100*r)
	}
	if g := Sum(a.Grams, c.Grams); g.SD() <= math.Hypot(a.Grams.SD(), c.Grams.SD()) {
		t.Errorf("the same material on two machines: %.5f g", g.SD())
	}
}

// TestCoefficients: the most particular entry holds, others only where nothing nearer is known.
func TestCoefficients(t *testing.T) {
	var none *Coefficients
	if none.Of("a", "X", 0.2) != (Factors{}) {
		t.Error("no set changes nothing")
	}
	c := &Coefficients{ID: "7f3a", Known: []Keyed{{Machine: "a", Factors: Factors{Roads: 1.1}}, {Machine: "a", Material: "X", Factors: Factors{Roads: 1.2}}, {Machine: "a", Material: "X", LayerMM: 0.254, Factors: Factors{Roads: 1.3, ID: "own"}}}}
	for _, x := range []struct {
		machine, material string
		layer, want       float64
		id                string
	}{{"a", "X", 0.254, 1.3, "own"}, {"a", "X", 0.2541, 1.3, "own"}, {"a", "X", 0.178, 1.2, "7f3a"}, {"a", "Y", 0.254, 1.1, "7f3a"}, {"b", "X", 0.254, 0, ""}} {
		if f := c.Of(x.machine, x.material, x.layer); f.Roads != x.want || f.ID != x.id {
			t.Errorf("%+v: %+v", x, f)
		}
	}
}

// TestTerms: the terms of every family are what doubling a factor adds, whatever factors the estimate itself was made with.
func TestTerms(t *testing.T) {
	mean := func(l Line, f Factors) float64 {
		l.Factor = f
		e, ok := Of(l)
		if !ok {
			t.Fatalf("%s: no estimate", l.Machine.ID)
		}
		return e.BuildS.Mean
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-6*math.Max(1, math.Abs(want)) {
			t.Errorf("%s: %g, want %g", what, got, want)
		}
	}
	for name, m := range families() {
		for _, f := range []Factors{{}, {Roads: 1.2, Layers: 0.9, FixedS: 300}} {
			l := lineOf(t, m, 0.2, 20, 7)
			l.Factor = f
			e, ok := Of(l)
			if !ok {
				t.Fatalf("%s: no estimate", name)
			}
			plain := mean(l, Factors{})
			near(name+" roads", e.Terms.RoadsS, mean(l, Factors{Roads: 2})-plain)
			near(name+" layers", e.Terms.LayersS, mean(l, Factors{Layers: 2})-plain)
			near(name+" all", e.Terms.RoadsS+e.Terms.LayersS+e.Terms.OtherS, plain)
		}
	}
}
