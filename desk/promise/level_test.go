package promise_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"firstoff/desk/promise"
)

// What is drawn is the same in every run; -rapid.seed overrides it.
func init() { _ = flag.Set("rapid.seed", "20261201") }

// Whatever the odds, the level and the day: a promise at a level is kept exactly if the level is above the score.
func TestKeptAboveScore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var o promise.Odds
		day, done := 0, 0
		for range rapid.IntRange(1, 6).Draw(t, "days") {
			day += rapid.IntRange(1, 4).Draw(t, "gap")
			done += rapid.IntRange(1, 30).Draw(t, "done")
			o = append(o, promise.DayShare{Days: day, Share: float64(done)})
		}
		for i := range o {
			o[i].Share /= float64(done)
		}
		level := rapid.Float64Range(0.01, 3).Draw(t, "level")
		took := rapid.IntRange(1, 60).Draw(t, "took")
		score := o.Score(took)
		if math.Abs(level-score) < 1e-6 {
			return // on the edge
		}
		if kept := took <= o.Days(level); kept != (level > score) {
			t.Fatalf("odds %v at %.4f promise day %d; took %d, score %.4f", o, level, o.Days(level), took, score)
		}
	})
}

// A desk whose odds are far too narrow, and one whose odds are far too wide, keep about nine promises in ten once the
// level is learned (conformal guarantee: between 0.9 and 0.9 + 1/401 for scores without ties).
func TestLearnMendsOdds(t *testing.T) {
	rnd := rand.New(rand.NewPCG(4, 2))
	for name, spread := range map[string]float64{"too narrow": 0.4, "right": 1, "too wide": 2.5} {
		var past []promise.Past
		kept, n := 0, 0
		for range 4000 {
			middle := 20 + 60*rnd.Float64()
			var o promise.Odds
			for k := -20; k <= 20; k++ { // of a normal with sd 6 × spread, cut into days
				o = append(o, promise.DayShare{Days: int(middle) + k*2, Share: 0.5 + 0.5*math.Erf(float64(k*2)/(6*spread*math.Sqrt2))})
			}
			o[len(o)-1].Share = 1
			took := int(math.Round(middle + 6*rnd.NormFloat64()))
			l := promise.Learn(0.9, past)
			if len(past) >= 400 {
				n++
				if took <= o.Days(l.Use) {
					kept++
				}
			}
			past = append(past, promise.Past{Odds: o, Days: took})
		}
		share := float64(kept) / float64(n)
		t.Logf("%s: %.2f %% kept", name, 100*share)
		if share < 0.88 || share > 0.93 {
			t.Errorf("%s: %.1f %% kept, want about 90", name, 100*share)
		}
	}
}

func TestLearnNeedsHistory(t *testing.T) {
	l := promise.Learn(0, make([]promise.Past, 59))
	if l.Use != 0.9 || l.Past != 0 || !strings.Contains(l.String(), "too few") {
		t.Errorf("59 promises taught %+v: %s", l, l)
	}
	late := promise.Past{Odds: promise.Odds{{Days: 3, Share: 0.6}, {Days: 4, Share: 1}}, Days: 9}
	var past []promise.Past
	for range 100 {
		past = append(past, late)
	}
	if l = promise.Learn(0.9, past); l.Use <= 1 || l.Kept != 0 || late.Odds.Days(l.Use) != 9 || !strings.Contains(l.String(), "beyond the latest") {
		t.Errorf("a hundred late promises taught %+v: %s", l, l)
	}
}
