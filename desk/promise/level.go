package promise

import (
	"fmt"
	"math"
	"sort"
)

// DayShare is the share of replications done by the end of a business day, counted from receipt.
type DayShare struct {
	Days  int     `json:"days"`
	Share float64 `json:"share"`
}

// Odds are the chances of one promise, day by day, ascending; the last share is 1.
type Odds []DayShare

// Days is the least number of business days whose share is at least level. Above 1 the odds are stretched on beyond
// their last day by the span from their median, a day at the least: 1.5 is half of that span later.
func (o Odds) Days(level float64) int {
	if len(o) == 0 {
		return 0
	}
	for _, d := range o {
		if d.Share >= level-1e-9 {
			return d.Days
		}
	}
	return o[len(o)-1].Days + int(math.Ceil((level-1)*o.span()-1e-9))
}

func (o Odds) span() float64 {
	return math.Max(1, float64(o[len(o)-1].Days-o.Days(0.5)))
}

// Score says how much of the odds lay before the business day on which the work went out: it was in time at every level
// above its score, and late at every level up to it.
func (o Odds) Score(days int) float64 {
	if len(o) == 0 {
		return 0
	}
	if last := o[len(o)-1].Days; days-1 >= last {
		return 1 + float64(days-1-last)/o.span()
	}
	s := 0.0
	for _, d := range o {
		if d.Days > days-1 {
			break
		}
		s = d.Share
	}
	return s
}

// Past is a promise whose day has come.
type Past struct {
	Odds Odds
	Days int // business days from receipt to dispatch; for work still open, to the business day after the last one past
}

// Level is the share of replications a promised date must cover.
type Level struct {
	Use  float64 `json:"use"`  // what dates are taken at; above 1 beyond all replications
	Shop float64 `json:"shop"` // what the shop wants kept
	Past int     `json:"past"` // promises it was learned from; 0: none, Use is Shop
	Kept float64 `json:"kept"` // share of these that would have been kept at Shop
}

const (
	leastPast = 60  // fewer promises say too little
	mostPast  = 400 // older ones are of another shop
	least     = 0.5 // the level is never below even odds,
	most      = 10  // nor above nine times the span from the median to the last day beyond it
)

// Learn sets the level from the shop's own record: past in order of promised days, the latest last, every promise whose
// day has come and none picked by how it went, open work included. The level is the least that would have kept the share
// want of the last 400; with fewer than 60 it is want itself. A model that is too sure of itself is so corrected by
// what happened, and so is one that is too careful.
//
// If past and new promises are exchangeable the chance to keep the next one is want, up to 1/(n+1), however wrong the model
// (split conformal prediction: Vovk, Gammerman, Shafer, Algorithmic Learning in a Random World, 2005). A shop drifts;
// the window of the last 400 follows it. want 0 is 0.9. O(n log n).
func Learn(want float64, past []Past) Level {
	if want == 0 {
		want = 0.9
	}
	l := Level{Use: want, Shop: want}
	if len(past) > mostPast {
		past = past[len(past)-mostPast:]
	}
	if len(past) < leastPast {
		return l
	}
	l.Past = len(past)
	scores := make([]float64, len(past))
	for i, p := range past {
		scores[i] = p.Odds.Score(p.Days)
		if scores[i] < want-1e-9 {
			l.Kept++
		}
	}
	l.Kept /= float64(len(past))
	sort.Float64s(scores)
	k := min(int(math.Ceil(want*float64(len(past)+1))), len(past))
	// In time at every level above the score.
	l.Use = min(max(scores[k-1]+1e-6, least), most)
	return l
}

// String says in words which level is used and why.
func (l Level) String() string {
	if l.Past == 0 {
		return fmt.Sprintf("The date covers %.0f %% of the played cases. Fewer than %d of our promises have come due, too few to learn from.", 100*l.Shop, leastPast)
	}
	use := fmt.Sprintf("covers %.1f %% of the played cases", 100*l.Use)
	if l.Use > 1 {
		use = "lies beyond the latest of the played cases"
	}
	return fmt.Sprintf("Had our last %d promises been made at %.0f %% of the played cases, %.0f %% of them would have been kept. The date %s, the level that would have kept %.0f %% of them.", l.Past, 100*l.Shop, 100*l.Kept, use, 100*l.Shop)
}
