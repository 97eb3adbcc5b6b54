package content

import "math"

// Linear is the linear value 0…1 of an 8-bit sRGB channel (IEC 61966-2-1).
func Linear(c uint8) float64 {
	x := float64(c) / 255
	if x <= 0.04045 {
		return x / 12.92
	}
	return math.Pow((x+0.055)/1.055, 2.4)
}

// FromLinear is the 8-bit sRGB channel of a linear value; values outside 0…1 are clipped, NaN is 0.
func FromLinear(x float64) uint8 {
	switch {
	case !(x > 0):
		return 0
	case x >= 1:
		return 255
	case x <= 0.0031308:
		x *= 12.92
	default:
		x = 1.055*math.Pow(x, 1/2.4) - 0.055
	}
	return uint8(math.Round(255 * x))
}

// FromShare is the 8-bit value of an opacity 0…1, clipped; NaN is 0.
func FromShare(x float64) uint8 {
	if !(x > 0) {
		return 0
	}
	return uint8(math.Round(255 * min(x, 1)))
}

// OneOrEach is the colour of a whole body if all facets agree, else the colours of the facets.
func OneOrEach(facets []RGBA) (*RGBA, []RGBA) {
	if len(facets) == 0 {
		return nil, nil
	}
	for _, c := range facets {
		if c != facets[0] {
			return nil, facets
		}
	}
	one := facets[0]
	return &one, nil
}

// Uncoloured stands for facets without a colour in a body where others have one.
var Uncoloured = RGBA{0xb8, 0xb8, 0xb8, 0xff}

// Mean is the colour half-way between three, channel by channel.
func Mean(a, b, c RGBA) (m RGBA) {
	for i := range m {
		m[i] = uint8((int(a[i]) + int(b[i]) + int(c[i]) + 1) / 3)
	}
	return
}
