package estimate

import (
	"fmt"
	"regexp"
	"strconv"
)

var boxText = regexp.MustCompile(`(\d+(?:\.\d+)?)\s*x\s*(\d+(?:\.\d+)?)(?:\s*x\s*(\d+(?:\.\d+)?))?`)

// sscanBox reads "101.6x50.8x25.4" out of a text.
func sscanBox(s string, v ...*float64) (int, error) {
	m := boxText.FindStringSubmatch(s)
	if m == nil {
		return 0, fmt.Errorf("no box in %q", s)
	}
	n := 0
	for i := 1; i < len(m) && i <= len(v); i++ {
		if m[i] == "" {
			break
		}
		f, err := strconv.ParseFloat(m[i], 64)
		if err != nil {
			return n, err
		}
		*v[i-1] = f
		n++
	}
	return n, nil
}
