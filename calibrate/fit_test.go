package calibrate

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"firstoff/desk/estimate"
	"firstoff/fault"
	"firstoff/money"
)

const seed = 20260302

var day0 = time.Date(2026, 1, 5, 6, 0, 0, 0, time.UTC)

// machine is one of the simulated fleet, with what nobody in the shop knows.
type machine struct {
	key                  Key
	roads, layers, fixed float64
	drift                float64 // relative change of roads and layers a build
	noise                float64
}

// build draws a job and what it took; true hours are those without noise.
func (m machine) build(r *rand.Rand, i int) (b Build, trueH float64, gross bool) {
	b = Build{ID: fmt.Sprintf("%s-%03d", m.key.Machine, i), Key: m.key, At: day0.Add(time.Duration(i) * 20 * time.Hour),
		RoadsH: math.Exp(r.NormFloat64()*0.7 + 1.5), OtherH: 0.4, Grams: 50 + 400*r.Float64()}
	b.LayersH = b.RoadsH * (0.05 + 0.5*r.Float64())
	d := 1 + m.drift*float64(i)
	trueH = b.RoadsH*m.roads*d + b.LayersH*m.layers*d + b.OtherH + m.fixed
	b.ActualH = trueH * math.Exp(m.noise*r.NormFloat64())
	b.ActualG = b.Grams * 1.07 * math.Exp(0.02*r.NormFloat64())
	if gross = r.Float64() < 0.05; gross {
		b.ActualH *= 1.5 + 1.5*r.Float64()
		if r.IntN(3) == 0 {
			b.ActualH = trueH * (0.3 + 0.3*r.Float64())
		}
	}
	return b, trueH, gross
}

func fleet(r *rand.Rand, n int) []machine {
	var out []machine
	for i := range n {
		out = append(out, machine{key: Key{fmt.Sprintf("M%02d", i), []string{"nylon", "resin", "abs"}[i%3], 100 + 50*(i%3)},
			roads: 0.75 + 0.6*r.Float64(), layers: 0.7 + 0.9*r.Float64(), fixed: 0.4 * r.Float64(), drift: 0.0012 * (2*r.Float64() - 1), noise: 0.05})
	}
	return out
}

// The simulated fleet: hidden coefficients 0.75 to 1.6, drift of up to 0.12 % a build either way, noise of 5 %, one build
// in twenty grossly wrong. After 40 builds a machine, each next build is estimated by a fit of all before it, for 20 builds.
// A single machine's level is known to about 1 % from 40 such builds, and drifts on: its own bias is held to 4 %, the
// root mean square over machines and the fleet's mean to 2 %.
func TestFleet(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 1))
	const machines, learn, then = 24, 40, 20
	var all, plain []float64
	noise := 0.0
	count, worst, square := 0, 0.0, 0.0
	for _, m := range fleet(r, machines) {
		var past []Build
		bias := 0.0
		for i := range learn + then {
			b, trueH, gross := m.build(r, i)
			if i >= learn {
				sets, err := Fit(past, nil, Options{})
				if err != nil || len(sets) != 1 {
					t.Fatal(err, len(sets))
				}
				f := sets[0].Factors
				bias += math.Log(trueH/b.Estimated(f)) / then
				if !gross {
					all = append(all, math.Log(b.ActualH/b.Estimated(f)))
					plain = append(plain, math.Log(b.ActualH/b.Estimated(estimate.Factors{})))
					noise += math.Pow(math.Log(b.ActualH/trueH), 2)
					count++
				}
			}
			past = append(past, b)
		}
		square += bias * bias / machines
		if worst = math.Max(worst, math.Abs(bias)); math.Abs(bias) > 0.04 {
			t.Errorf("seed %d, %s: bias %.2f %% after %d builds", seed, m.key, 100*bias, learn)
		}
	}
	noise = math.Sqrt(noise / float64(count))
	mean, rms, before := 0.0, 0.0, 0.0
	for i, e := range all {
		mean += e / float64(count)
		rms += e * e / float64(count)
		before += plain[i] * plain[i] / float64(count)
	}
	rms = math.Sqrt(rms)
	t.Logf("%d estimates: bias %.2f %% (machines %.2f %%, worst %.2f %%), spread about the estimate %.2f %% against noise %.2f %% (×%.3f); catalogue alone %.1f %%",
		count, 100*mean, 100*math.Sqrt(square), 100*worst, 100*rms, 100*noise, rms/noise, 100*math.Sqrt(before))
	if math.Abs(mean) > 0.02 || math.Sqrt(square) > 0.02 || rms > 1.15*noise {
		t.Errorf("seed %d: bias %.4f, spread %.4f, noise %.4f", seed, mean, rms, noise)
	}
}

// One term, no outliers, nothing fading: f = (k·f0 + Σxy)/(k + Σx²) with relative x = 1 (handbook 3.8).
func TestShrinkage(t *testing.T) {
	for _, k := range []float64{3, 4, 5} {
		beta, _, _ := robust([][]float64{{1}, {1}, {1}, {1}}, []float64{1.19, 1.21, 1.2, 1.2}, []float64{1, 1, 1, 1}, []float64{1}, k)
		// Near the robust centre Tukey's weights are close to 1 but not 1; the shrinkage is by their sum.
		if want := (k + 4.8) / (k + 4); math.Abs(beta[0]-want) > 0.03*(want-1)+0.001 {
			t.Errorf("k %g: %g, want about %g", k, beta[0], want)
		}
	}
	// Few builds move the catalogue a little, many move it all the way.
	m := machine{key: Key{Machine: "M"}, roads: 1.3, layers: 1.3, noise: 0.01}
	last := 1.0
	for _, n := range []int{3, 8, 20, 80} {
		r := rand.New(rand.NewPCG(seed, 2))
		var bs []Build
		for i := range n {
			b, trueH, _ := m.build(r, i)
			b.ActualH = trueH
			bs = append(bs, b)
		}
		s, err := Fit(bs, nil, Options{HalfLife: -1})
		if err != nil {
			t.Fatal(err)
		}
		b := Build{RoadsH: 6, LayersH: 1.5}
		level := b.Estimated(s[0].Factors) / b.Estimated(estimate.Factors{})
		if level <= last || level > 1.301 {
			t.Errorf("%d builds: %g after %g", n, level, last)
		}
		last = level
		if n == 3 && level > 1.2 {
			t.Errorf("three builds already give %g of 1.3", level)
		}
	}
	if last < 1.28 {
		t.Errorf("eighty builds: %g of 1.3", last)
	}
}

func TestOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 3))
	m := machine{key: Key{Machine: "M"}, roads: 1.2, layers: 0.9, fixed: 0.3, noise: 0.03}
	var clean, dirty []Build
	for i := range 60 {
		b, trueH, _ := m.build(r, i)
		b.ActualH = trueH * math.Exp(0.03*r.NormFloat64())
		clean = append(clean, b)
		if i%8 == 3 {
			b.ActualH *= 2.5
		}
		dirty = append(dirty, b)
	}
	a, err := Fit(clean, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Fit(dirty, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if b[0].LeftOut < 7 || b[0].LeftOut > 9 || a[0].LeftOut > 2 {
		t.Errorf("left out %d and %d", a[0].LeftOut, b[0].LeftOut)
	}
	for _, x := range clean {
		if d := math.Log(x.Estimated(a[0].Factors) / x.Estimated(b[0].Factors)); math.Abs(d) > 0.02 {
			t.Fatalf("outliers move the estimate of %s by %.3f: %+v %+v", x.ID, d, a[0].Factors, b[0].Factors)
		}
	}
	if math.Abs(a[0].Factors.Grams-1.07) > 0.02 {
		t.Errorf("grams %g", a[0].Factors.Grams)
	}
	// Judged on the same builds, the new factors are better than the catalogue's.
	if !(math.Abs(b[0].After.Bias) < 0.02 && b[0].After.Spread < b[0].Before.Spread && b[0].After.Outside >= 7) {
		t.Errorf("before %+v after %+v", b[0].Before, b[0].After)
	}
}

// One build all of layers, and wrong, among builds that are mostly roads.
func TestLeverage(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 4))
	m := machine{key: Key{Machine: "M"}, roads: 1.1, layers: 1.1, noise: 0.03}
	var bs []Build
	for i := range 40 {
		b, _, _ := m.build(r, i)
		b.LayersH = b.RoadsH * (0.1 + 0.02*r.Float64())
		b.ActualH = (1.1*(b.RoadsH+b.LayersH) + b.OtherH) * math.Exp(0.03*r.NormFloat64())
		bs = append(bs, b)
	}
	odd := bs[39]
	odd.ID, odd.RoadsH, odd.LayersH, odd.ActualH = "odd", 0.05, 9, 27
	before, err := Fit(bs, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	after, err := Fit(append(bs, odd), nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range bs {
		if d := math.Log(b.Estimated(after[0].Factors) / b.Estimated(before[0].Factors)); math.Abs(d) > 0.03 {
			t.Fatalf("one odd build moves %s by %.3f: %+v to %+v", b.ID, d, before[0].Factors, after[0].Factors)
		}
	}
}

func TestNonNegative(t *testing.T) {
	// More layers, less time: the factor stays at nothing, never below.
	var bs []Build
	for i := range 30 {
		l := 0.1 + 0.1*float64(i%10)
		bs = append(bs, Build{ID: fmt.Sprint(i), Key: Key{Machine: "M"}, At: day0.AddDate(0, 0, i), RoadsH: 5, LayersH: l, ActualH: 7 - 2*l})
	}
	s, err := Fit(bs, nil, Options{Shrink: 0.01, HalfLife: -1})
	if err != nil || s[0].Factors.Layers < 0 || s[0].Factors.Layers > 0.01 || s[0].Factors.Roads <= 0 || s[0].Factors.FixedS < 0 {
		t.Errorf("%+v %v", s[0].Factors, err)
	}
}

func TestDriftAlarm(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 5))
	const spread = 0.05
	if math.Abs(DriftLimit(spread)-0.05) > 1e-15 {
		t.Errorf("3·0.05·√(0.2/1.8) is 0.05, got %g", DriftLimit(spread))
	}
	late, falsely := 0, 0
	for range 200 {
		d := Drift{Spread: spread}
		for range 60 {
			e := spread * r.NormFloat64()
			if r.Float64() < 0.05 {
				e = 1
			}
			d = d.Next(e)
		}
		if d.Alarm != 0 {
			falsely++
		}
		sign := 1.0
		if r.IntN(2) == 0 {
			sign = -1
		}
		d = Drift{Spread: spread}
		for range 10 {
			d = d.Next(sign*0.15 + spread*r.NormFloat64())
		}
		if d.Alarm != int(sign) || d.Since > 6 {
			late++
		}
	}
	t.Logf("of 200: %d late, %d false in 60 builds with outliers", late, falsely)
	if late > 4 || falsely > 30 {
		t.Errorf("seed %d: %d late, %d false", seed, late, falsely)
	}
}

func TestSameSet(t *testing.T) {
	r := rand.New(rand.NewPCG(seed, 6))
	var bs []Build
	for _, m := range fleet(r, 3) {
		for i := range 15 {
			b, _, _ := m.build(r, i)
			bs = append(bs, b)
		}
	}
	a, err := Fit(bs, nil, Options{})
	if err != nil || len(a) != 3 {
		t.Fatal(err, len(a))
	}
	r.Shuffle(len(bs), func(i, j int) { bs[i], bs[j] = bs[j], bs[i] })
	b, err := Fit(bs, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range a {
		if a[i].ID != b[i].ID || !a[i].ID.Valid() || !a[i].Intact() || a[i].Factors.ID != a[i].ID.Short() {
			t.Errorf("%+v\n%+v", a[i], b[i])
		}
	}
	j, err := json.Marshal(a[0])
	if err != nil {
		t.Fatal(err)
	}
	var back Set
	if err := json.Unmarshal(j, &back); err != nil || !back.Intact() {
		t.Errorf("read back: %v", err)
	}
	back.Factors.Roads += 0.01
	if back.Intact() {
		t.Error("a changed set passes for intact")
	}
	// The next set names the one before.
	c, err := Fit(bs, map[Key]Set{a[0].Key: a[0]}, Options{})
	if err != nil || c[0].Previous != a[0].ID || c[0].ID == a[0].ID || c[1].Previous != "" {
		t.Errorf("%v %v", c[0].Previous, err)
	}
	// An aborted build changes nothing.
	x := bs[0]
	x.ID, x.Aborted, x.ActualH = "failed", true, 0.2
	d, err := Fit(append(bs, x), nil, Options{})
	if err != nil || d[0].ID != a[0].ID {
		t.Error("an aborted build was calibrated on", err)
	}
}

func TestReplay(t *testing.T) {
	k, other := Key{Machine: "A"}, Key{Machine: "B"}
	set := Set{Key: k, Factors: estimate.Factors{Roads: 1.2, Layers: 1.5, FixedS: 1800, Grams: 1.1}}
	q := []Quoted{
		{Quotation: "Q1", Build: Build{Key: k, RoadsH: 10, LayersH: 2, OtherH: 1, ActualH: 16.5}, Grams: 500, PerHour: 1000, PerKilo: 8000, Price: 30000},
		{Quotation: "Q1", Build: Build{Key: other, RoadsH: 4}, PerHour: 1000, Price: 9000},
		{Quotation: "Q2", Build: Build{Key: other, RoadsH: 4}, PerHour: 1000, Price: 9000},
	}
	r := Replay(q, []Set{set})
	// 10·1.2 + 2·1.5 + 1 + 0.5 = 16.5 h for 13 h: 3.5 h · 10.00; 0.05 kg · 80.00 = 4.00
	if len(r.Changes) != 2 || r.Changes[0].Quotation != "Q1" || r.Changes[0].Is-r.Changes[0].Was != money.Amount(3500+400) || math.Abs(r.Changes[0].IsH-20.5) > 1e-9 || math.Abs(r.Changes[0].WasH-17) > 1e-9 {
		t.Errorf("%+v", r)
	}
	if r.Touched != 1 || r.Total != 3900 || math.Abs(r.WorstPct-10) > 1e-9 || math.Abs(r.MeanPct-5) > 1e-9 || r.Quotations != 2 {
		t.Errorf("%+v", r)
	}
	if math.Abs(r.Before.Bias-math.Log(16.5/13)) > 1e-12 || math.Abs(r.After.Bias) > 1e-12 {
		t.Errorf("%+v %+v", r.Before, r.After)
	}
}

func TestRefusals(t *testing.T) {
	good := Build{ID: "a", RoadsH: 1, ActualH: 1}
	for code, bs := range map[string][]Build{
		"calibrate_build":       {{ID: "x", RoadsH: math.NaN(), ActualH: 1}},
		"calibrate_build_twice": {good, good},
	} {
		if _, err := Fit(bs, nil, Options{}); fault.Of(err) == nil || fault.Of(err).Code != code {
			t.Errorf("%s: %v", code, err)
		}
	}
	if _, err := Fit([]Build{{ID: "x", RoadsH: 1}}, nil, Options{}); fault.Of(err).Code != "calibrate_build" {
		t.Error(err)
	}
	if _, err := Fit(nil, nil, Options{Shrink: -1}); fault.Of(err).Code != "calibrate_options" {
		t.Error(err)
	}
	if s, err := Fit([]Build{good}, nil, Options{}); err != nil || len(s) != 0 {
		t.Error("one build made a set", err)
	}
	a := Judge([]Build{{RoadsH: 1, ActualH: math.E}, {RoadsH: 1, ActualH: 1, Aborted: true}}, estimate.Factors{})
	if a.Builds != 1 || a.Bias != 1 || math.Abs(a.Quantile(0)-math.E) > 1e-12 {
		t.Errorf("%+v", a)
	}
}
