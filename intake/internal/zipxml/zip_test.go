package zipxml

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"firstoff/fault"
	"firstoff/intake/content"
)

// pack makes an archive of names and contents in turn.
func pack(t testing.TB, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		f, err := w.CreateHeader(&zip.FileHeader{Name: files[i], Method: zip.Deflate})
		if err != nil {
			t.Fatal(err)
		}
		f.Write([]byte(files[i+1]))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func wantFault(t *testing.T, what string, err error, kind fault.Kind, code string) {
	t.Helper()
	if err == nil {
		t.Errorf("%s: no fault, want %s", what, code)
	} else if f := fault.Of(err); f.Code != code || f.Kind != kind {
		t.Errorf("%s: %s %s (%v), want %s", what, f.Kind, f.Code, err, code)
	}
}

func TestNames(t *testing.T) {
	for name, code := range map[string]string{
		"../a": "zip_path_escapes", "a/../../b": "zip_path_escapes", "/etc/x": "zip_path_escapes", "..\\a": "zip_path_escapes", "C:\\a": "zip_path_escapes",
		"caf\xe9.stl": "zip_name_not_utf8", "a\x00b": "zip_broken",
	} {
		_, err := Open(pack(t, "good", "x", name, "y"), NewBudget(content.Limits{}))
		wantFault(t, name, err, fault.Invalid, code)
	}
	_, err := Open(pack(t, "a", "1", "b", "2", "a", "3"), NewBudget(content.Limits{}))
	wantFault(t, "twice", err, fault.Invalid, "zip_duplicate_name")
	a, err := Open(pack(t, "dir/", "", "dir\\é..stl", "1"), NewBudget(content.Limits{}))
	if err != nil || len(a.Entries) != 1 || a.Entries[0].Name != "dir/é..stl" || a.Find("dir/é..stl") == nil {
		t.Errorf("good names: %v", err)
	}
}

func TestBombs(t *testing.T) {
	zeros := strings.Repeat("\x00", 1<<20)
	var many []string
	for i := range 40 {
		many = append(many, fmt.Sprint(i), zeros)
	}
	bomb := pack(t, many...)
	_, err := Open(bomb, NewBudget(content.Limits{}))
	wantFault(t, "ratio", err, fault.TooLarge, "zip_bomb")
	_, err = Open(bomb, NewBudget(content.Limits{Ratio: 1e9, Bytes: 30 << 20}))
	wantFault(t, "bytes", err, fault.TooLarge, "too_large")
	_, err = Open(bomb, NewBudget(content.Limits{Entries: 39}))
	wantFault(t, "entries", err, fault.TooLarge, "zip_entries")

	// The directory says less than there is.
	small := pack(t, "liar", zeros)
	at := bytes.LastIndex(small, []byte("PK\x01\x02"))
	binary.LittleEndian.PutUint32(small[at+24:], 100)
	a, err := Open(small, NewBudget(content.Limits{}))
	if err != nil {
		t.Fatal(err)
	}
	_, err = a.Read(a.Entries[0])
	wantFault(t, "size too small", err, fault.Invalid, "zip_broken")

	inner := pack(t, "x", "y")
	b := NewBudget(content.Limits{Depth: 3})
	for range 3 {
		a, err := Open(pack(t, "inner.zip", string(inner)), b)
		if err != nil {
			t.Fatal(err)
		}
		b = a.Inside()
	}
	_, err = Open(inner, b)
	wantFault(t, "depth", err, fault.TooLarge, "zip_depth")

	// Archives in each other share the count of bytes.
	b = NewBudget(content.Limits{Bytes: 1000})
	outer, err := Open(pack(t, "a", strings.Repeat("ab", 300)), b)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := outer.Read(outer.Entries[0]); err != nil {
		t.Fatal(err)
	}
	_, err = Open(pack(t, "b", strings.Repeat("cd", 300)), outer.Inside())
	wantFault(t, "shared bytes", err, fault.TooLarge, "too_large")
}

func TestBroken(t *testing.T) {
	good := pack(t, "a", strings.Repeat("some text ", 50), "b", "more")
	edit := func(f func(b []byte) []byte) []byte { return f(bytes.Clone(good)) }
	_, err := Open(good[:len(good)-30], NewBudget(content.Limits{}))
	wantFault(t, "cut", err, fault.Invalid, "zip_broken")
	_, err = Open(pack(t), NewBudget(content.Limits{}))
	wantFault(t, "empty", err, fault.Invalid, "zip_empty")
	directory := bytes.Index(good, []byte("PK\x01\x02"))
	locked := edit(func(b []byte) []byte { b[directory+8] |= 1; return b })
	_, err = Open(locked, NewBudget(content.Limits{}))
	wantFault(t, "locked", err, fault.Unsupported, "zip_encrypted")
	_, err = Open(edit(func(b []byte) []byte { b[directory+10] = 14; return b }), NewBudget(content.Limits{}))
	wantFault(t, "method", err, fault.Unsupported, "zip_method")
	second := bytes.LastIndex(good, []byte("PK\x01\x02"))
	_, err = Open(edit(func(b []byte) []byte { copy(b[second+42:second+46], []byte{0, 0, 0, 0}); return b }), NewBudget(content.Limits{}))
	wantFault(t, "overlap", err, fault.Invalid, "zip_overlap")
	a, err := Open(edit(func(b []byte) []byte { b[directory+16]++; return b }), NewBudget(content.Limits{}))
	if err != nil {
		t.Fatal(err)
	}
	_, err = a.Read(a.Entries[0])
	wantFault(t, "checksum", err, fault.Invalid, "zip_checksum")

	var b bytes.Buffer
	w := zip.NewWriter(&b)
	h := &zip.FileHeader{Name: "link"}
	h.SetMode(0o777 | fs.ModeSymlink)
	f, _ := w.CreateHeader(h)
	f.Write([]byte("/etc/passwd"))
	w.Close()
	_, err = Open(b.Bytes(), NewBudget(content.Limits{}))
	wantFault(t, "link", err, fault.Invalid, "zip_symlink")
}

func FuzzZip(f *testing.F) {
	f.Add(pack(f, "a", "some text", "b/c", "more"))
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := Open(data, NewBudget(content.Limits{Bytes: 1 << 20}))
		if err != nil {
			if fault.KindOf(err) == fault.Internal {
				t.Fatal(err)
			}
			return
		}
		for _, e := range a.Entries {
			if b, err := a.Read(e); err == nil && int64(len(b)) != e.Size {
				t.Fatal("size")
			} else if err != nil && fault.KindOf(err) == fault.Internal {
				t.Fatal(err)
			}
		}
	})
}
