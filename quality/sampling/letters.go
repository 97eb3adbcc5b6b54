package sampling

import (
	"strings"

	"firstoff/fault"
)

// Level is an inspection level: how large a sample a lot of a given size gets.
type Level string

// The levels: II unless agreed otherwise; the special ones for costly or destructive tests.
const (
	S1  Level = "S-1"
	S2  Level = "S-2"
	S3  Level = "S-3"
	S4  Level = "S-4"
	I   Level = "I"
	II  Level = "II"
	III Level = "III"
)

// Levels are all inspection levels in the order of the table's columns.
func Levels() []Level { return []Level{S1, S2, S3, S4, I, II, III} }

// lots is ISO 2859-1 table 1: the largest lot of each row (the last has no end) and the letters of its levels.
var lots = []struct {
	upTo    int
	letters string // S-1 S-2 S-3 S-4 I II III
}{
	{8, "AAAAAAB"}, {15, "AAAAABC"}, {25, "AABBBCD"}, {50, "ABBCCDE"}, {90, "BBCCCEF"},
	{150, "BBCDDFG"}, {280, "BCDEEGH"}, {500, "BCDEFHJ"}, {1200, "CCEFGJK"}, {3200, "CDEGHKL"},
	{10000, "CDFGJLM"}, {35000, "CDFHKMN"}, {150000, "DEGJLNP"}, {500000, "DEGJMPQ"}, {0, "DEHKNQR"},
}

// letters are the sample-size code letters, lots' samples growing; S exists for one tightened plan only.
const letters = "ABCDEFGHJKLMNPQRS"

// sizes are the sample sizes of letters.
var sizes = []int{2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150}

// reducedSizes belong to the letters A to R.
var reducedSizes = []int{2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800}

// Letter is the code letter of a lot. A lot of one part has none: it is inspected whole.
func Letter(lot int, level Level) (string, error) {
	if lot < 2 {
		return "", fault.New(fault.Invalid, "lot_too_small", "lot", "a lot of %d has no code letter; inspect every part", lot)
	}
	col := -1
	for i, l := range Levels() {
		if l == level {
			col = i
		}
	}
	if col < 0 {
		return "", fault.New(fault.Invalid, "level_unknown", "level", "there is no inspection level %q; use one of S-1, S-2, S-3, S-4, I, II, III", level)
	}
	for _, row := range lots {
		if row.upTo == 0 || lot <= row.upTo {
			return row.letters[col : col+1], nil
		}
	}
	panic("sampling: the last row has no end")
}

// Size is the sample size of a code letter, before arrows; 0 for no letter.
func Size(letter string) int {
	if i := strings.Index(letters, letter); len(letter) == 1 && i >= 0 {
		return sizes[i]
	}
	return 0
}
