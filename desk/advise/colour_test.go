package advise

import (
	"math"
	"testing"
)

// TestDeltaE00: the 34 pairs of Sharma, Wu & Dalal 2005, table 1, written down from memory; that they close to four digits by the formula
// is what vouches for both.
func TestDeltaE00(t *testing.T) {
	for i, c := range [][7]float64{
		{50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425}, {50, 3.1571, -77.2803, 50, 0, -82.7485, 2.8615}, {50, 2.8361, -74.0200, 50, 0, -82.7485, 3.4412},
		{50, -1.3802, -84.2814, 50, 0, -82.7485, 1}, {50, -1.1848, -84.8006, 50, 0, -82.7485, 1}, {50, -0.9009, -85.5211, 50, 0, -82.7485, 1},
		{50, 0, 0, 50, -1, 2, 2.3669}, {50, -1, 2, 50, 0, 0, 2.3669}, {50, 2.49, -0.001, 50, -2.49, 0.0009, 7.1792}, {50, 2.49, -0.001, 50, -2.49, 0.001, 7.1792},
		{50, 2.49, -0.001, 50, -2.49, 0.0011, 7.2195}, {50, 2.49, -0.001, 50, -2.49, 0.0012, 7.2195}, {50, -0.001, 2.49, 50, 0.0009, -2.49, 4.8045},
		{50, -0.001, 2.49, 50, 0.001, -2.49, 4.8045}, {50, -0.001, 2.49, 50, 0.0011, -2.49, 4.7461}, {50, 2.5, 0, 50, 0, -2.5, 4.3065},
		{50, 2.5, 0, 73, 25, -18, 27.1492}, {50, 2.5, 0, 61, -5, 29, 22.8977}, {50, 2.5, 0, 56, -27, -3, 31.9030}, {50, 2.5, 0, 58, 24, 15, 19.4535},
		{50, 2.5, 0, 50, 3.1736, 0.5854, 1}, {50, 2.5, 0, 50, 3.2972, 0, 1}, {50, 2.5, 0, 50, 1.8634, 0.5757, 1}, {50, 2.5, 0, 50, 3.2592, 0.3350, 1},
		{60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644}, {63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630},
		{61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731}, {35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645},
		{22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373}, {36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146},
		{90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441}, {90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381},
		{6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377}, {2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082},
	} {
		p, q := Lab{c[0], c[1], c[2]}, Lab{c[3], c[4], c[5]}
		if d := DeltaE00(p, q); math.Abs(d-c[6]) > 1e-4 {
			t.Errorf("pair %d: %.5f, the table says %.4f", i+1, d, c[6])
		}
		if d := DeltaE00(q, p); math.Abs(d-c[6]) > 1e-4 {
			t.Errorf("pair %d turned round: %.5f", i+1, d)
		}
	}
}

// TestSRGB: white and the primaries of sRGB in CIELAB under D65 (values common in the literature, from memory).
func TestSRGB(t *testing.T) {
	for _, c := range []struct {
		r, g, b uint8
		want    Lab
	}{{255, 255, 255, Lab{100, 0, 0}}, {255, 0, 0, Lab{53.24, 80.09, 67.20}}, {0, 255, 0, Lab{87.73, -86.18, 83.18}}, {0, 0, 255, Lab{32.30, 79.19, -107.86}}, {0, 0, 0, Lab{0, 0, 0}}} {
		got := FromSRGB(c.r, c.g, c.b)
		if math.Abs(got.L-c.want.L) > 0.02 || math.Abs(got.A-c.want.A) > 0.03 || math.Abs(got.B-c.want.B) > 0.03 {
			t.Errorf("%d %d %d: %.2f, want %.2f", c.r, c.g, c.b, got, c.want)
		}
	}
}

// TestGent: the relation is one to one, and lies where Gent's curve does (Shore A 30 about 1.1, 60 about 3.6, 90 about 19 MPa: read off, from memory).
func TestGent(t *testing.T) {
	for s := 20.0; s <= 95; s++ {
		if back := GentShoreA(GentMPa(s)); math.Abs(back-s) > 1e-9 {
			t.Errorf("Shore A %g comes back as %g", s, back)
		}
	}
	for s, e := range map[float64]float64{30: 1.1, 60: 3.6, 90: 20} {
		if got := GentMPa(s); math.Abs(got/e-1) > 0.15 {
			t.Errorf("Shore A %g: %.2f MPa, about %.1f expected", s, got, e)
		}
	}
	last := -1.0
	for s := 30.0; s <= 95; s += 5 {
		f := RigidShare(GentMPa(30), 2600, GentMPa(s))
		if f <= last || f > 1 {
			t.Errorf("share %.3f at Shore A %g after %.3f", f, s, last)
		}
		last = f
	}
}

// FuzzParseColor: no text makes it panic, and what it takes lies within CIELAB's bounds for sRGB.
func FuzzParseColor(f *testing.F) {
	for _, s := range []string{"#c03020", "white", "black dyed", "", "#", "#12345g", "WHITE ", "#ffffff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		c, ok := ParseColor(s)
		if ok && (c.L < -0.01 || c.L > 100.01 || math.Abs(c.A) > 130 || math.Abs(c.B) > 130) {
			t.Errorf("%q is %v", s, c)
		}
	})
}
