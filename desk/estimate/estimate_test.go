package estimate

import (
	"math"
	"testing"

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

// TestBinderJet: green size and elapsed time of a charge by hand: 20 mm at 18 % shrinkage is 24.39 mm; 488 layers.
func TestBinderJet(t *testing.T) {
	b := BinderJet{LayerMM: 0.05, LayerS: 30, CureH: 4, DepowderS: 600, FurnaceH: 24, Charge: 10, ShrinkPct: 18}
	if g := b.GreenMM(20); math.Abs(g-24.3902) > 1e-4 {
		t.Errorf("green %.4f mm", g)
	}
	if s, want := b.ElapsedS(20, 12, 20), 488*30+4*3600+12*600+2*24*3600.0; s != want {
		t.Errorf("%.0f s, want %.0f", s, want)
	}
}
