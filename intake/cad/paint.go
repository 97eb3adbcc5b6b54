package cad

import (
	"math"

	"firstoff/intake/cad/internal/faces"
	"firstoff/intake/cad/internal/occt"
	"firstoff/intake/content"
)

// unpainted is shown on faces without a colour of a body on which other faces have one.
var unpainted = content.RGBA{192, 192, 192, 255}

// paint gives the body's colour, or a colour for each facet when its faces differ.
func paint(shape *occt.Shape, s *faces.Surface) (*content.RGBA, []content.RGBA) {
	var body *content.RGBA
	if shape.Color != nil {
		c := srgb(*shape.Color)
		body = &c
	}
	of := make([]content.RGBA, len(shape.Faces))
	painted, same := false, true
	for i, f := range shape.Faces {
		of[i] = unpainted
		switch {
		case f.Color != nil:
			of[i], painted = srgb(*f.Color), true
		case body != nil:
			of[i] = *body
		}
		same = same && of[i] == of[0]
	}
	switch {
	case !painted:
		return body, nil
	case same:
		return &of[0], nil
	}
	rgb := make([]content.RGBA, len(s.Source))
	for f, face := range s.Source {
		if rgb[f] = unpainted; face >= 0 {
			rgb[f] = of[face]
		}
	}
	return body, rgb
}

// srgb encodes linear light for a screen (IEC 61966-2-1). STEP files hold encoded values; the kernel decodes
// them, so this gives back the file's own numbers.
func srgb(c occt.Color) content.RGBA {
	out := content.RGBA{3: 255}
	for i, x := range c {
		x = math.Min(math.Max(x, 0), 1)
		if x <= 0.0031308 {
			x *= 12.92
		} else {
			x = 1.055*math.Pow(x, 1/2.4) - 0.055
		}
		out[i] = uint8(math.Round(255 * x))
	}
	return out
}
