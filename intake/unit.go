package intake

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"strings"

	"firstoff/geom/r3"
	"firstoff/unit"
)

// sure is the confidence from which no question is asked.
const sure = 0.95

// How often a unit is meant where a file does not say, before looking at it. An estimate of common practice: CAD
// systems export mm unless the model is in inches; metres come from glTF (which prescribes them) and from modellers for
// pictures.
var (
	usual = map[unit.Length]float64{unit.MM: 0.80, unit.Inch: 0.15, unit.M: 0.03, unit.CM: 0.02}
	glTF  = map[unit.Length]float64{unit.M: 0.60, unit.MM: 0.30, unit.CM: 0.08, unit.Inch: 0.02}
)

// The largest extent of parts that come to such a desk, as a log-normal: half are over typical, two thirds within a
// factor of e^spread of it. Common practice: prototypes run from a few mm to the metre.
const (
	typical = 80.0 // mm
	spread  = 1.2
)

// inferUnit says which unit the numbers were probably meant in. Evidence: how usual the unit is, whether the size
// makes a sensible part, whether the extents are round numbers (0.5 mm or 1/16 inch), a word in the file's head and one in
// its name. Extents in file units.
func inferUnit(prior map[unit.Length]float64, size r3.Vec, head, name unit.Length) Unit {
	type guess struct {
		u unit.Length
		p float64 // log, then share
	}
	largest := max(size.X, size.Y, size.Z)
	guesses := make([]guess, 0, 8)
	for _, u := range []unit.Length{unit.MM, unit.Inch, unit.CM, unit.M, unit.Foot, unit.UM} {
		share := prior[u]
		if share == 0 {
			if u != head && u != name {
				continue
			}
			share = 0.002
		}
		l := math.Log(share)
		if largest > 0 {
			z := math.Log(largest*u.MM()/typical) / spread
			l -= z * z / 2
			l += 0.7 * float64(round(size, u))
		}
		if u == head {
			l += math.Log(1e5) // as good as a statement
		}
		if u == name {
			l += math.Log(100)
		}
		guesses = append(guesses, guess{u, l})
	}
	slices.SortStableFunc(guesses, func(a, b guess) int { return cmp.Compare(b.p, a.p) })
	sum, top := 0.0, guesses[0].p
	for i := range guesses {
		guesses[i].p = math.Exp(guesses[i].p - top)
		sum += guesses[i].p
	}
	best := Unit{Name: guesses[0].u, Confidence: math.Floor(100*guesses[0].p/sum) / 100}
	if best.Confidence < sure {
		best.Question = question(size, guesses[0].u, guesses[1].u)
	}
	return best
}

var spoken = map[unit.Length]string{unit.MM: "mm", unit.CM: "cm", unit.M: "metres", unit.Inch: "inches", unit.Foot: "feet", unit.UM: "micrometres"}

// question asks which of two units is meant, by what size the part would have.
func question(size r3.Vec, a, b unit.Length) string {
	dims := func(u unit.Length) string {
		k := u.MM()
		return fmt.Sprintf("%s × %s × %s mm", short(size.X*k), short(size.Y*k), short(size.Z*k))
	}
	return fmt.Sprintf("The file does not say its unit. Taken in %s the part measures %s, taken in %s it measures %s: which is right?", spoken[a], dims(a), spoken[b], dims(b))
}

// short prints a length to three or four figures.
func short(v float64) string {
	digits := 1
	switch {
	case v >= 1000:
		digits = 0
	case v < 0.1:
		digits = 4
	case v < 10:
		digits = 2
	}
	return fmt.Sprintf("%.*f", digits, v)
}

// round counts the extents that are round when the numbers are taken in u: a multiple of 0.5 mm, or of 1/16 inch (a
// part drawn in inches is often exported in mm or m, hardly ever the other way).
func round(size r3.Vec, u unit.Length) int {
	n := 0
	for i := range 3 {
		mm := size.Axis(i) * u.MM()
		if mm == 0 {
			continue
		}
		tol := 1e-6 + 1e-6*mm
		near := func(step float64) bool { return math.Abs(mm-step*math.Round(mm/step)) < tol && mm > step/2 }
		if near(25.4/16) || u != unit.Inch && near(0.5) {
			n++
		}
	}
	return n
}

var (
	inName = regexp.MustCompile(`(?i)(?:^|[^a-z])(mm|millimet(?:er|re)s?|cm|centimet(?:er|re)s?|inch(?:es)?|met(?:er|re)s?)(?:$|[^a-z])|[0-9]in(?:$|[^a-z])`)
	inHead = regexp.MustCompile(`(?i)units?(?:\s*(?:=|:|is|are|in)?\s*|[^a-z]{1,4})"?(mm|millimet(?:er|re)s?|cm|centimet(?:er|re)s?|m|met(?:er|re)s?|in|inch(?:es)?|ft|feet|foot)(?:$|[^a-z])`)
)

// nameHint finds a unit's word in a file name: "plate_inch.stl", "20mm-cube.stl". Two that differ say nothing.
func nameHint(name string) unit.Length {
	name = path.Base(strings.ReplaceAll(name, "\\", "/"))
	name = strings.TrimSuffix(name, path.Ext(name))
	var found unit.Length
	for _, m := range inName.FindAllStringSubmatch(strings.ReplaceAll(name, "_", " "), -1) {
		word := m[1]
		if word == "" {
			word = "in"
		}
		u, err := unit.Parse(word)
		if err != nil || found != "" && found != u {
			return ""
		}
		found = u
	}
	return found
}

// headHint finds words such as "units: mm" among the first comments of a file.
func headHint(format string, data []byte) unit.Length {
	head := data[:min(len(data), 4096)]
	if format == "stl" {
		head = data[:min(len(data), 80)]
	}
	if i := bytes.Index(head, []byte("end_header")); format == "ply" && i >= 0 {
		head = head[:i]
	}
	m := inHead.FindSubmatch(head)
	if m == nil {
		return ""
	}
	u, err := unit.Parse(string(m[1]))
	if err != nil {
		return ""
	}
	return u
}
