package texture

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"math"
	"testing"

	"firstoff/fault"
	"firstoff/intake/content"
)

func picture(t *testing.T) []byte {
	t.Helper()
	img := image.NewNRGBA(image.Rect(0, 0, 2, 2))
	img.SetNRGBA(0, 0, color.NRGBA{255, 0, 0, 255})
	img.SetNRGBA(1, 0, color.NRGBA{0, 255, 0, 255})
	img.SetNRGBA(0, 1, color.NRGBA{0, 0, 255, 128})
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestAt(t *testing.T) {
	p, err := Decode(picture(t))
	if err != nil {
		t.Fatal(err)
	}
	red, green, blue := content.RGBA{255, 0, 0, 255}, content.RGBA{0, 255, 0, 255}, content.RGBA{0, 0, 255, 128}
	for _, c := range []struct {
		u, v float64
		w    Wrap
		want content.RGBA
	}{
		{0.1, 0.1, Repeat, red}, {0.9, 0.1, Repeat, green}, {0.1, 0.9, Clamp, blue}, {1, 0, Clamp, green}, {1.1, 0.1, Repeat, red}, {-0.1, 0.1, Repeat, green},
		{1.1, 0.1, Mirror, green}, {-0.1, 0.1, Mirror, red}, {2.1, 0.1, Mirror, red}, {7, 0.1, Clamp, green}, {1.1, 0.1, None, content.RGBA{}},
		{math.NaN(), 0, Repeat, red}, {math.Inf(1), 0, Clamp, red}, {1e300, 0.1, Repeat, red},
	} {
		if got := p.At(c.u, c.v, c.w, c.w); got != c.want {
			t.Errorf("%v %v wrap %v: %v, want %v", c.u, c.v, c.w, got, c.want)
		}
	}
}

func TestHuge(t *testing.T) {
	b := picture(t)
	binary.BigEndian.PutUint32(b[16:], 1<<20)
	binary.BigEndian.PutUint32(b[20:], 1<<20)
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	if _, err := Decode(b); fault.Of(err) == nil || fault.Of(err).Code != "texture_too_large" {
		t.Error(err)
	}
	if _, err := Decode([]byte("no picture")); fault.Of(err) == nil || fault.Of(err).Code != "texture_broken" {
		t.Error(err)
	}
	if _, err := Decode(picture(t)[:60]); fault.Of(err) == nil || fault.Of(err).Code != "texture_broken" {
		t.Error(err)
	}
}
