package xyz

import (
	"context"
	"testing"

	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

func TestRead(t *testing.T) {
	got, err := Read(t.Context(), []byte("# made by hand\r\n1 2 3\n\n-1.5e1;2,5 0.1 0.2 0.3\r4"), content.Limits{})
	if err == nil || fault.Of(err).Code != "xyz_line" {
		// -1.5e1;2,5 splits into -15 2 5: a point with more numbers behind it; "4" alone is not.
		if err != nil || len(got) != 2 {
			t.Fatalf("%v %v", err, got)
		}
	}
	got, err = Read(t.Context(), []byte("1 2 3 255 0 0\n\t4,5,6\n"), content.Limits{})
	if err != nil || len(got) != 2 || got[1] != (r3.Vec{X: 4, Y: 5, Z: 6}) {
		t.Fatalf("%v %v", err, got)
	}
	for text, want := range map[string]string{"1 2\n": "xyz_line", "a b c\n": "xyz_line", "1 2 nan\n": "xyz_line", "1 2 1e300\n": "xyz_line", "": "xyz_empty", "#\n": "xyz_empty"} {
		if _, err := Read(t.Context(), []byte(text), content.Limits{}); err == nil || fault.Of(err).Code != want {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	if _, err := Read(t.Context(), []byte("1 2 3\n1 2 3\n1 2 3\n"), content.Limits{Triangles: 2}); err == nil || fault.Of(err).Code != "too_many_points" {
		t.Error(err)
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"1 2 3\n", "#x\n1,2,3;4", "1e9 -1e9 0x10\n", "\xff\xfe1 2 3", "1 2 3\r4 5 6"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		pts, err := Read(context.Background(), data, content.Limits{Triangles: 10_000})
		if (err == nil) != (len(pts) > 0) {
			t.Fatalf("%d points, %v", len(pts), err)
		}
	})
}
