package intake

import (
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"testing"

	"firstoff/checks"
	"firstoff/fault"
)

// exceptions3MF are the cases answered otherwise than the manifest says, and why.
var exceptions3MF = map[string]struct{ answer, why string }{
	"verify/MUSTPASS_Chapter3.4.1c_MustIgnoreUndefinedMetadataName.3mf": {"warn", "the unknown metadata name is ignored, as the case demands, and told, as the reference reader's case " +
		"MetaData_Model_DefaultNS_Fail demands of the very same."},
	"reference-reader/Reader_CS-1111_3dmodel-e1r1_other-e1r1.3mf": {"reject", "names two models to begin with; the reference reader takes the first and warns, the conformance case " +
		"verify/MUSTFAIL_Chapter2.1.2 demands refusal. Quoting one of two parts unasked is the worse mistake, so both are refused."},
	"samples/boolean/booleans_operations.3mf": {"reject", "requires the boolean operations extension, which is not read: refused by its name, as the issue asks of extensions a file requires."},
}

// notes3MF are warnings that tell the desk what it must know of a file with which nothing is wrong.
var notes3MF = map[string]string{
	"no_surface":       "sound, but nothing in it is to be made",
	"3mf_slice_coarse": "only a coarse mesh stands beside ready slices",
	"3mf_lattice_clip": "a lattice's clipping is not carried out, so its volume is too large",
	"3mf_encrypted":    "objects are encrypted and left out",
	"3mf_property":     "facets refer to properties that are not there",
}

// answer3MF is how the door answers a 3MF file.
func answer3MF(name string, data []byte) (answer string, f *File, err error) {
	f, err = Read(context.Background(), name, data, Options{AllowEmpty: true})
	switch {
	case err != nil && fault.KindOf(err) == fault.TooLarge:
		return "limit", nil, err
	case err != nil:
		return "reject", nil, err
	}
	for _, w := range f.Warnings {
		if notes3MF[w.Code] == "" {
			return "warn", f, nil
		}
	}
	return "accept", f, nil
}

// TestManifest3MF: the outside collection (conformance cases and samples of the 3MF Consortium, a reference reader's tests, a
// security corpus; sources and licences in its manifest).
func TestManifest3MF(t *testing.T) {
	dir := checks.Path(t, "3mf/open")
	file, err := os.Open(filepath.Join(dir, "MANIFEST.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 134 {
		t.Errorf("%d rows, the collection had 133 when this was written", len(rows)-1)
	}
	for _, row := range rows[1:] {
		name, want := row[0], row[1]
		data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		got, f, err := answer3MF(filepath.Base(name), data)
		if e, ok := exceptions3MF[name]; ok {
			want = e.answer
		}
		if err != nil && fault.KindOf(err) == fault.Internal {
			t.Errorf("%s: a fault without a name: %v", name, err)
		}
		var warnings []string
		if f != nil {
			for _, w := range f.Warnings {
				warnings = append(warnings, w.Code)
			}
		}
		t.Logf("%s: %s %v %v", name, got, warnings, err)
		if got != want {
			t.Errorf("%s: %s, want %s (%s): %v %v", name, got, want, row[3], warnings, err)
		}
	}
}
