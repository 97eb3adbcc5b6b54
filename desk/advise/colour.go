package advise

import (
	"math"
	"strconv"
	"strings"

	"firstoff/shop"
)

// Lab is a colour in CIELAB, D65.
type Lab struct{ L, A, B float64 }

// FromSRGB converts an sRGB colour (0..255 each) to CIELAB under D65 (IEC 61966-2-1; CIE 15).
func FromSRGB(r, g, b uint8) Lab {
	lin := func(v uint8) float64 {
		c := float64(v) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	R, G, B := lin(r), lin(g), lin(b)
	x := (0.4124564*R + 0.3575761*G + 0.1804375*B) / 0.95047
	y := 0.2126729*R + 0.7151522*G + 0.0721750*B
	z := (0.0193339*R + 0.1191920*G + 0.9503041*B) / 1.08883
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	return Lab{116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))}
}

// DeltaE00 is the colour difference CIEDE2000 (kL = kC = kH = 1), as written down by Sharma, Wu & Dalal 2005, Color Research and
// Application 30(1).
func DeltaE00(p, q Lab) float64 {
	c7 := func(c float64) float64 { return math.Sqrt(math.Pow(c, 7) / (math.Pow(c, 7) + 6103515625)) } // 25⁷
	mean := (math.Hypot(p.A, p.B) + math.Hypot(q.A, q.B)) / 2
	g := 0.5 * (1 - c7(mean))
	a1, a2 := (1+g)*p.A, (1+g)*q.A
	c1, c2 := math.Hypot(a1, p.B), math.Hypot(a2, q.B)
	hue := func(a, b float64) float64 {
		if a == 0 && b == 0 {
			return 0
		}
		h := math.Atan2(b, a) * 180 / math.Pi
		if h < 0 {
			h += 360
		}
		return h
	}
	h1, h2 := hue(a1, p.B), hue(a2, q.B)
	dL, dC := q.L-p.L, c2-c1
	dh := 0.0
	if c1*c2 != 0 {
		dh = h2 - h1
		if dh > 180 {
			dh -= 360
		} else if dh < -180 {
			dh += 360
		}
	}
	rad := func(d float64) float64 { return d * math.Pi / 180 }
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(rad(dh/2))
	lm, cm := (p.L+q.L)/2, (c1+c2)/2
	hm := h1 + h2
	if c1*c2 != 0 {
		switch {
		case math.Abs(h1-h2) <= 180:
			hm = (h1 + h2) / 2
		case h1+h2 < 360:
			hm = (h1 + h2 + 360) / 2
		default:
			hm = (h1 + h2 - 360) / 2
		}
	}
	t := 1 - 0.17*math.Cos(rad(hm-30)) + 0.24*math.Cos(rad(2*hm)) + 0.32*math.Cos(rad(3*hm+6)) - 0.20*math.Cos(rad(4*hm-63))
	th := 30 * math.Exp(-math.Pow((hm-275)/25, 2))
	rc := 2 * c7(cm)
	sl := 1 + 0.015*(lm-50)*(lm-50)/math.Sqrt(20+(lm-50)*(lm-50))
	sc, sh := 1+0.045*cm, 1+0.015*cm*t
	rt := -math.Sin(rad(2*th)) * rc
	x, y, z := dL/sl, dC/sc, dH/sh
	return math.Sqrt(x*x + y*y + z*z + rt*y*z)
}

// named are the sRGB values that the catalogue's colour words stand for; a sample of the lot decides.
var named = map[string][3]uint8{
	"white": {245, 245, 242}, "black": {28, 28, 30}, "grey": {128, 130, 132}, "gray": {128, 130, 132}, "red": {178, 32, 36}, "blue": {28, 72, 150},
	"green": {46, 120, 66}, "yellow": {238, 196, 40}, "orange": {222, 110, 32}, "ivory": {238, 230, 206}, "natural": {222, 204, 160}, "cyan": {0, 150, 200}, "magenta": {200, 20, 120},
}

// ParseColor reads a colour word of the shop or #rrggbb.
func ParseColor(s string) (Lab, bool) {
	s = strings.ToLower(strings.TrimSpace(s))
	if strings.HasPrefix(s, "#") && len(s) == 7 {
		v, err := strconv.ParseUint(s[1:], 16, 32)
		if err != nil {
			return Lab{}, false
		}
		return FromSRGB(uint8(v>>16), uint8(v>>8), uint8(v)), true
	}
	word, _, _ := strings.Cut(s, " ") // "black dyed"
	if c, ok := named[word]; ok {
		return FromSRGB(c[0], c[1], c[2]), true
	}
	return Lab{}, false
}

// Near and far in CIEDE2000: under near two samples pass for the same colour at a desk, over far they are different colours (common practice).
const (
	nearColour = 3
	farColour  = 12
)

// NearestColor is the colour of a material nearest to a wanted one, with its difference; ok is false when neither can be compared.
func NearestColor(m *shop.Material, want string) (color string, delta float64, ok bool) {
	w, known := ParseColor(want)
	delta = math.Inf(1)
	for _, c := range m.Colors {
		if c == "any" || strings.EqualFold(c, want) {
			return c, 0, true
		}
		word, _, _ := strings.Cut(strings.ToLower(c), " ")
		if strings.EqualFold(word, want) {
			return c, 0, true
		}
		if !known {
			continue
		}
		if l, is := ParseColor(c); is {
			if d := DeltaE00(w, l); d < delta {
				color, delta, ok = c, d, true
			}
		}
	}
	return color, delta, ok
}

// HasColor says whether a material comes in a colour or one that passes for it.
func HasColor(m *shop.Material, want string) bool {
	_, d, ok := NearestColor(m, want)
	return ok && d <= nearColour
}
