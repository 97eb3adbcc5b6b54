package calibrate

import (
	"cmp"
	"math"
	"slices"

	"firstoff/desk/estimate"
	"firstoff/money"
)

// Quoted is one line of a past quotation, enough to see what other factors would have made of it.
type Quoted struct {
	Quotation string
	Line      string
	Build     Build        // its terms; ActualH 0 if it was never made
	Grams     float64      // material with factor 1, whole line
	PerHour   money.Amount // what an hour changed the price by, margin included
	PerKilo   money.Amount // likewise a kilogram
	Price     money.Amount // as quoted
	Factors   estimate.Factors
}

// Change is what a new set would have done to one quotation.
type Change struct {
	Quotation string       `json:"quotation"`
	Lines     int          `json:"lines"`
	WasH      float64      `json:"wasH"`
	IsH       float64      `json:"isH"`
	Was       money.Amount `json:"was_minor"`
	Is        money.Amount `json:"is_minor"`
	Percent   float64      `json:"percent"`
}

// Replayed sums the changes up.
type Replayed struct {
	Changes    []Change     `json:"changes"` // largest first
	Touched    int          `json:"touched"` // quotations whose price changes at all
	Total      money.Amount `json:"total_minor"`
	MeanPct    float64      `json:"meanPct"`
	WorstPct   float64      `json:"worstPct"` // by size, with its sign
	Before     Accuracy     `json:"before"`   // over the lines that were made
	After      Accuracy     `json:"after"`
	Quotations int          `json:"quotations"`
}

// Replay computes what the new sets would have done to the last quotations (give the last hundred): every line of a key
// with a new set is estimated again with it; other lines stay.
func Replay(quoted []Quoted, sets []Set) Replayed {
	by := map[Key]estimate.Factors{}
	for _, s := range sets {
		by[s.Key] = s.Factors
	}
	var out Replayed
	at := map[string]int{}
	var before, after []float64
	for _, q := range quoted {
		i, ok := at[q.Quotation]
		if !ok {
			i = len(out.Changes)
			at[q.Quotation] = i
			out.Changes = append(out.Changes, Change{Quotation: q.Quotation})
		}
		c := &out.Changes[i]
		c.Lines++
		f, ok := by[q.Build.Key]
		if !ok {
			f = q.Factors
		}
		was, is := q.Build.Estimated(q.Factors), q.Build.Estimated(f)
		grams := q.Grams * (one(f.Grams) - one(q.Factors.Grams))
		c.WasH, c.IsH = c.WasH+was, c.IsH+is
		c.Was += q.Price
		c.Is += q.Price + money.Round(float64(q.PerHour)*(is-was)+float64(q.PerKilo)*grams/1000)
		if q.Build.ActualH > 0 && !q.Build.Aborted && was > 0 && is > 0 {
			before = append(before, math.Log(q.Build.ActualH/was))
			after = append(after, math.Log(q.Build.ActualH/is))
		}
	}
	for i := range out.Changes {
		c := &out.Changes[i]
		if c.Was != 0 {
			c.Percent = 100 * float64(c.Is-c.Was) / float64(c.Was)
		}
		if c.Is != c.Was {
			out.Touched++
		}
		out.Total += c.Is - c.Was
		out.MeanPct += c.Percent / float64(len(out.Changes))
		if math.Abs(c.Percent) > math.Abs(out.WorstPct) {
			out.WorstPct = c.Percent
		}
	}
	out.Before, out.After, out.Quotations = accuracy(before), accuracy(after), len(out.Changes)
	slices.SortStableFunc(out.Changes, func(a, b Change) int { return cmp.Compare(math.Abs(b.Percent), math.Abs(a.Percent)) })
	return out
}
