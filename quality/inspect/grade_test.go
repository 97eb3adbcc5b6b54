package inspect

import (
	"testing"

	"firstoff/fault"
)

// A grade lies half on either side of the size: IT7 at 25 mm is 21 µm (ISO 286-1 table 1, in docs/handbook/tables).
func TestWithGrade(t *testing.T) {
	c, err := Characteristic{Balloon: 3, Kind: Diameter, Nominal: 25}.WithGeneral("IT7", 0)
	if err != nil || c.Limits != Within(24.9895, 25.0105) || c.Source != "js7 of ISO 286-1" {
		t.Errorf("%+v %v", c, err)
	}
	for code, x := range map[string]struct {
		c Characteristic
		g string
	}{
		"grade_kind":    {Characteristic{Kind: Flatness, Nominal: 10}, "IT7"},
		"grade_unknown": {Characteristic{Kind: Linear, Nominal: 10}, "IT77"},
		"grade_size":    {Characteristic{Kind: Linear, Nominal: 5000}, "IT7"},
	} {
		if _, err := x.c.WithGeneral(x.g, 0); fault.Of(err).Code != code {
			t.Errorf("%s: %v", code, err)
		}
	}
}
