package content

import (
	"math"
	"testing"
)

func TestColourRoundTrip(t *testing.T) {
	for i := range 256 {
		if got := FromLinear(Linear(uint8(i))); got != uint8(i) {
			t.Errorf("%d comes back as %d", i, got)
		}
	}
	// sRGB 188 is close to half the light: IEC 61966-2-1.
	if x := Linear(188); math.Abs(x-0.5029) > 1e-4 {
		t.Errorf("188 is %v", x)
	}
	if FromLinear(math.NaN()) != 0 || FromLinear(-1) != 0 || FromLinear(2) != 255 || FromShare(0.5) != 128 || FromShare(math.NaN()) != 0 {
		t.Error("clipping")
	}
}
