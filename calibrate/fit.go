package calibrate

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"firstoff/desk/estimate"
	"firstoff/digest"
	"firstoff/fault"
)

// Key is what a coefficient set holds for.
type Key struct {
	Machine  string `json:"machine"`
	Material string `json:"material"`
	LayerUM  int    `json:"layerUm"`
}

func (k Key) String() string {
	return fmt.Sprintf("%s with %s at %d µm", k.Machine, k.Material, k.LayerUM)
}

// Compare orders keys.
func (k Key) Compare(o Key) int {
	return cmp.Or(strings.Compare(k.Machine, o.Machine), strings.Compare(k.Material, o.Material), cmp.Compare(k.LayerUM, o.LayerUM))
}

// Build is one build that was estimated and made. The terms are the estimate's own, computed with all factors at 1.
type Build struct {
	ID      string
	Key     Key
	At      time.Time // when it ended
	RoadsH  float64   // deposition or scanning
	LayersH float64   // changes of layer
	OtherH  float64   // not calibrated: warm-up, cool-down
	Grams   float64   // material; 0 where not weighed
	ActualH float64
	ActualG float64 // 0 where not weighed
	Aborted bool    // kept, never calibrated on
	Note    string
}

// Estimated is the hours of a build under a set of factors.
func (b Build) Estimated(f estimate.Factors) float64 {
	return b.RoadsH*one(f.Roads) + b.LayersH*one(f.Layers) + b.OtherH + f.FixedS/3600
}

func one(f float64) float64 {
	if f == 0 {
		return 1
	}
	return f
}

// Options steer Fit. The zero value is the usual.
type Options struct {
	Shrink   float64 // how many builds the catalogue counts as; 0 means 4 (handbook: 3 to 5)
	HalfLife float64 // after how many further builds of its key a build counts half, the catalogue's as well; 0 means 12; negative never fades
	Fewest   int     // builds below which a key keeps the catalogue; 0 means 3
}

func (o Options) orUsual() Options {
	if o.Shrink == 0 {
		o.Shrink = 4
	}
	if o.HalfLife == 0 {
		o.HalfLife = 12
	}
	if o.Fewest <= 0 {
		o.Fewest = 3
	}
	return o
}

// Set is a coefficient set: factors for one key, with where they come from. It is never changed; the next one names it.
type Set struct {
	ID       digest.Digest    `json:"id"` // of everything below
	Key      Key              `json:"key"`
	Factors  estimate.Factors `json:"factors"` // its ID is the set's, short
	Builds   int              `json:"builds"`  // calibrated on
	LeftOut  int              `json:"leftOut"` // gross outliers among them
	From     digest.Digest    `json:"from"`    // of the builds' names and actuals
	Through  time.Time        `json:"through"` // the last build
	Previous digest.Digest    `json:"previous,omitempty"`
	Before   Accuracy         `json:"before"` // of the catalogue's or previous factors on the same builds
	After    Accuracy         `json:"after"`  // of these
	Odd      []string         `json:"odd,omitempty"`
}

// minFactor keeps a fitted factor from the zero that means "not calibrated".
const minFactor = 1e-6

// Fit makes the next coefficient set for every key that has enough builds, in order of keys. current gives the factors in
// force (nil: the catalogue's, all 1), previous sets by key their names.
func Fit(builds []Build, current map[Key]Set, o Options) ([]Set, error) {
	o = o.orUsual()
	if !finite(o.Shrink) || o.Shrink < 0 || !finite(o.HalfLife) {
		return nil, fault.New(fault.Invalid, "calibrate_options", "", "shrinkage and half-life must be numbers, shrinkage not negative")
	}
	by := map[Key][]Build{}
	seen := map[string]bool{}
	for _, b := range builds {
		if b.Aborted {
			continue
		}
		for _, v := range []float64{b.RoadsH, b.LayersH, b.OtherH, b.Grams, b.ActualH, b.ActualG} {
			if !finite(v) || v < 0 {
				return nil, fault.New(fault.Invalid, "calibrate_build", b.ID, "hours and grams of a build must be numbers, none negative; correct the record or mark the build as aborted")
			}
		}
		if b.RoadsH+b.LayersH <= 0 || b.ActualH <= 0 {
			return nil, fault.New(fault.Invalid, "calibrate_build", b.ID, "a build without estimated or actual hours tells nothing; correct the record or mark the build as aborted")
		}
		if seen[b.ID] {
			return nil, fault.New(fault.Invalid, "calibrate_build_twice", b.ID, "this build stands twice among the actuals; leave one out")
		}
		seen[b.ID] = true
		by[b.Key] = append(by[b.Key], b)
	}
	keys := make([]Key, 0, len(by))
	for k := range by {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, Key.Compare)
	var out []Set
	for _, k := range keys {
		bs := by[k]
		if len(bs) < o.Fewest {
			continue
		}
		slices.SortFunc(bs, func(a, b Build) int { return cmp.Or(a.At.Compare(b.At), strings.Compare(a.ID, b.ID)) })
		out = append(out, fitKey(k, bs, current[k], o))
	}
	return out, nil
}

// fitKey fits one key's builds, oldest first.
func fitKey(k Key, bs []Build, now Set, o Options) Set {
	n := len(bs)
	shrink := o.Shrink // the catalogue's builds came before the first and fade like it
	if o.HalfLife > 0 {
		shrink *= math.Exp2(-float64(n) / o.HalfLife)
	}
	s := Set{Key: k, Builds: n, Through: bs[n-1].At.UTC(), Previous: now.ID}
	age := make([]float64, n)
	for i := range bs {
		age[i] = 1
		if o.HalfLife > 0 {
			age[i] = math.Exp2(-float64(n-1-i) / o.HalfLife)
		}
	}
	// Relative errors: every row is divided by its plain estimate. The fixed hours are measured against the usual build.
	usual := make([]float64, n)
	for i, b := range bs {
		usual[i] = b.RoadsH + b.LayersH + b.OtherH
	}
	unit := 0.1 * median(usual)
	x, y := make([][]float64, n), make([]float64, n)
	hasLayers := false
	for i, b := range bs {
		e := usual[i]
		x[i] = []float64{b.RoadsH / e, b.LayersH / e, unit / e}
		y[i] = (b.ActualH - b.OtherH) / e
		hasLayers = hasLayers || b.LayersH > 0
	}
	beta, weight, _ := robust(x, y, age, []float64{1, 1, 0}, shrink)
	f := estimate.Factors{Roads: math.Max(minFactor, beta[0]), FixedS: beta[2] * unit * 3600}
	if hasLayers {
		f.Layers = math.Max(minFactor, beta[1])
	}
	if g, sd, ok := fitGrams(bs, age, shrink, o); ok {
		f.Grams, f.GramsSD = rounded(g, 6), rounded(100*sd, 3)
	}
	f.Roads, f.Layers, f.FixedS = rounded(f.Roads, 6), rounded(f.Layers, 6), rounded(f.FixedS, 1)
	for i, w := range weight {
		if w == 0 {
			s.LeftOut++
			s.Odd = append(s.Odd, bs[i].ID)
		}
	}
	s.Before, s.After = Judge(bs, now.Factors), Judge(bs, f)
	// The spread that promises use: what was seen, drawn to the usual 10 % while there are few builds.
	f.SDPct = rounded(100*math.Sqrt((o.Shrink*0.01+float64(n)*s.After.Spread*s.After.Spread)/(o.Shrink+float64(n))), 3)
	h := digest.New()
	for _, b := range bs {
		fmt.Fprintf(h, "%q %v %v %v %v %v %v\n", b.ID, b.RoadsH, b.LayersH, b.OtherH, b.Grams, b.ActualH, b.ActualG)
	}
	s.From = digest.Sum(h)
	s.Factors = f
	s.ID = s.sum()
	s.Factors.ID = s.ID.Short()
	return s
}

// fitGrams is the one factor on material, from the builds that were weighed.
func fitGrams(bs []Build, age []float64, shrink float64, o Options) (factor, sd float64, ok bool) {
	var x [][]float64
	var y, a []float64
	for i, b := range bs {
		if b.Grams > 0 && b.ActualG > 0 {
			x, y, a = append(x, []float64{1}), append(y, b.ActualG/b.Grams), append(a, age[i])
		}
	}
	if len(x) < o.Fewest {
		return 0, 0, false
	}
	beta, _, scale := robust(x, y, a, []float64{1}, shrink)
	n := float64(len(x))
	return math.Max(minFactor, beta[0]), math.Sqrt((o.Shrink*0.0004 + n*scale*scale) / (o.Shrink + n)), true
}

// sum is the set's name: the digest of its content.
func (s Set) sum() digest.Digest {
	s.ID, s.Factors.ID = "", ""
	b, err := json.Marshal(s)
	if err != nil {
		panic(err) // numbers and texts only, all finite
	}
	return digest.Of(b)
}

// Intact says whether a set is as it was when it was made.
func (s Set) Intact() bool { return s.ID == s.sum() && s.Factors.ID == s.ID.Short() }

func rounded(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}
