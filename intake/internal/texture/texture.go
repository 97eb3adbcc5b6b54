// Package texture reads the pictures that colour a surface and looks colours up in them.
//
// Only what readers need: PNG and JPEG, nearest pixel, the four ways of going on past the edge that 3MF and glTF have.
// Promise: a picture that claims to be huge is refused before room is made for it (TestHuge).
package texture

import (
	"bytes"
	"image"
	"image/color"
	_ "image/jpeg" // the two kinds 3MF and glTF allow
	_ "image/png"
	"math"

	"firstoff/fault"
	"firstoff/intake/content"
)

// MaxPixels is the largest picture taken: 64 megapixels.
const MaxPixels = 64 << 20

// Texture is a decoded picture.
type Texture struct {
	w, h int
	pix  []content.RGBA // row by row from the top
}

// Decode reads PNG or JPEG. Faults: Invalid "texture_broken"; TooLarge "texture_too_large".
func Decode(data []byte) (*Texture, error) {
	cfg, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, fault.Because(err, fault.Invalid, "texture_broken", "", "The picture is neither PNG nor JPEG, or is damaged; export the model again.")
	}
	if cfg.Width <= 0 || cfg.Height <= 0 || int64(cfg.Width)*int64(cfg.Height) > MaxPixels {
		return nil, fault.New(fault.TooLarge, "texture_too_large", "", "The picture has %d × %d pixels, more than are taken for a texture; make it smaller.", cfg.Width, cfg.Height)
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, fault.Because(err, fault.Invalid, "texture_broken", "", "The picture is damaged; export the model again.")
	}
	b := img.Bounds()
	t := &Texture{w: b.Dx(), h: b.Dy(), pix: make([]content.RGBA, 0, b.Dx()*b.Dy())}
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA)
			t.pix = append(t.pix, content.RGBA{c.R, c.G, c.B, c.A})
		}
	}
	return t, nil
}

// Wrap says how a picture goes on past its edge.
type Wrap int

const (
	Repeat Wrap = iota
	Mirror
	Clamp
	None // transparent outside
)

// At is the colour at u (left to right) and v (top to bottom), 0…1 within the picture.
func (t *Texture) At(u, v float64, wrapU, wrapV Wrap) content.RGBA {
	x, inX := place(u, t.w, wrapU)
	y, inY := place(v, t.h, wrapV)
	if !inX || !inY {
		return content.RGBA{}
	}
	return t.pix[y*t.w+x]
}

func place(u float64, n int, w Wrap) (int, bool) {
	if math.IsNaN(u) || math.IsInf(u, 0) {
		return 0, w != None
	}
	switch w {
	case Repeat:
		u -= math.Floor(u)
	case Mirror:
		u = math.Abs(u - 2*math.Round(u/2))
	case None:
		if u < 0 || u > 1 {
			return 0, false
		}
	}
	return int(max(0, min(math.Floor(u*float64(n)), float64(n-1)))), true
}
