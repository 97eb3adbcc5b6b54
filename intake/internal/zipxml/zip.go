// Package zipxml opens what hostile hands may have packed: ZIP archives under limits, and the XML inside them under
// the strict rules that 3MF and AMF ask for. It reads from memory and never unpacks to a disk.
//
// Promises: no entry is inflated past its declared size, nor all together past Limits.Bytes; names that could leave
// a folder are refused even though nothing is written; XML declares no types or entities, so nothing expands
// (TestBombs, TestNames, FuzzXML).
//
// Sources: ZIP application note 6.3 (from memory); XML 1.0 fifth edition and Namespaces in XML 1.0 (from memory).
package zipxml

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"io/fs"
	"slices"
	"strings"
	"unicode/utf8"

	"firstoff/fault"
	"firstoff/intake/content"
)

// ratioFrom is how much an archive may unpack to before its ratio is looked at: small text compresses well.
const ratioFrom = 16 << 20

// Budget is what is left to unpack; archives inside an archive share one.
type Budget struct {
	limits content.Limits
	bytes  *int64 // one count for all archives in each other
	depth  int
}

// NewBudget is a budget of lim's bytes, entries and depth.
func NewBudget(lim content.Limits) *Budget {
	lim = lim.OrDefault()
	return &Budget{limits: lim, bytes: &lim.Bytes}
}

// Archive is an opened ZIP archive.
type Archive struct {
	Entries []*Entry // files only, in the order of the directory
	budget  *Budget
}

// Entry is a file in an archive.
type Entry struct {
	Name string // as stored, with / between folders
	Size int64  // unpacked, as declared; Read holds it to that
	file *zip.File
}

// Open reads the directory of a ZIP archive and refuses what could harm. Faults: Invalid zip_broken, zip_empty,
// zip_name_not_utf8, zip_path_escapes, zip_duplicate_name, zip_symlink, zip_overlap; Unsupported zip_encrypted, zip_method;
// TooLarge zip_entries, zip_bomb, too_large, zip_depth.
func Open(data []byte, b *Budget) (*Archive, error) {
	if b.depth >= b.limits.Depth {
		return nil, fault.New(fault.TooLarge, "zip_depth", "", "Archives are packed inside archives more than %d deep; pack the files once.", b.limits.Depth)
	}
	r, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, broken(err)
	}
	if len(r.File) > b.limits.Entries {
		return nil, fault.New(fault.TooLarge, "zip_entries", "", "The archive holds %s files, over the limit of %s; send fewer.", content.Thousands(int64(len(r.File))), content.Thousands(int64(b.limits.Entries)))
	}
	total := uint64(0)
	for _, f := range r.File {
		total += min(f.UncompressedSize64, 1<<50)
	}
	if total > ratioFrom && float64(total) > b.limits.Ratio*float64(len(data)) {
		return nil, fault.New(fault.TooLarge, "zip_bomb", "", "The archive would unpack to %s bytes, more than %.0f times its size; it is refused as harmful.", content.Thousands(int64(min(total, 1<<62))), b.limits.Ratio)
	}
	if total > uint64(max(*b.bytes, 0)) {
		return nil, content.TooLarge(int64(min(total, 1<<62)), b.limits.Bytes)
	}
	a := &Archive{budget: b}
	seen := make(map[string]bool, len(r.File))
	var spans [][2]int64
	for i, f := range r.File {
		where := content.Place("entry", i+1)
		if !utf8.ValidString(f.Name) {
			return nil, fault.New(fault.Invalid, "zip_name_not_utf8", where, "The archive holds a file whose name is not UTF-8; rename it with plain letters and pack again.")
		}
		name := strings.ReplaceAll(f.Name, "\\", "/")
		if strings.ContainsRune(name, 0) || name == "" {
			return nil, fault.New(fault.Invalid, "zip_broken", where, "The archive holds a file with an impossible name; pack again.")
		}
		if escapes(name) {
			return nil, fault.New(fault.Invalid, "zip_path_escapes", where, "The archive holds a file named %q, which points outside of the archive; pack again without such paths.", f.Name)
		}
		if seen[f.Name] {
			return nil, fault.New(fault.Invalid, "zip_duplicate_name", where, "The archive holds two files named %q; rename one and pack again.", f.Name)
		}
		seen[f.Name] = true
		if f.Mode()&fs.ModeSymlink != 0 {
			return nil, fault.New(fault.Invalid, "zip_symlink", where, "%q in the archive is a link to another place, not a file; pack the file itself.", f.Name)
		}
		if f.Flags&1 != 0 {
			return nil, fault.New(fault.Unsupported, "zip_encrypted", where, "%q in the archive is locked with a password; pack it without.", f.Name)
		}
		if f.Method != zip.Store && f.Method != zip.Deflate {
			return nil, fault.New(fault.Unsupported, "zip_method", where, "%q in the archive is packed in an unusual way (method %d); pack it as a plain ZIP.", f.Name, f.Method)
		}
		at, err := f.DataOffset()
		if err != nil {
			return nil, broken(err)
		}
		if f.CompressedSize64 > uint64(len(data)) || at+int64(f.CompressedSize64) > int64(len(data)) {
			return nil, fault.New(fault.Invalid, "zip_broken", where, "The archive ends inside %q; it was probably cut off on its way, send it again.", f.Name)
		}
		spans = append(spans, [2]int64{at, at + int64(f.CompressedSize64)})
		if strings.HasSuffix(name, "/") {
			continue
		}
		a.Entries = append(a.Entries, &Entry{Name: name, Size: int64(f.UncompressedSize64), file: f})
	}
	slices.SortFunc(spans, func(x, y [2]int64) int { return int(min(max(x[0]-y[0], -1), 1)) })
	for i := 1; i < len(spans); i++ {
		if spans[i][0] < spans[i-1][1] {
			return nil, fault.New(fault.Invalid, "zip_overlap", "", "Files in the archive lie over each other; it is refused as harmful.")
		}
	}
	if len(a.Entries) == 0 {
		return nil, fault.New(fault.Invalid, "zip_empty", "", "The archive is empty; put the files in and send it again.")
	}
	return a, nil
}

// Find is the entry with exactly this name, or nil.
func (a *Archive) Find(name string) *Entry {
	for _, e := range a.Entries {
		if e.Name == name {
			return e
		}
	}
	return nil
}

// Inside is the budget for an archive that lies in this one.
func (a *Archive) Inside() *Budget {
	return &Budget{limits: a.budget.limits, bytes: a.budget.bytes, depth: a.budget.depth + 1}
}

// Read unpacks an entry and counts it against the budget. Faults: Invalid zip_broken, zip_checksum; TooLarge too_large.
func (a *Archive) Read(e *Entry) ([]byte, error) {
	if e.Size > *a.budget.bytes {
		return nil, content.TooLarge(e.Size, a.budget.limits.Bytes)
	}
	r, err := e.file.Open()
	if err != nil {
		return nil, fault.At(broken(err), e.Name)
	}
	defer r.Close()
	out := make([]byte, e.Size)
	if _, err := io.ReadFull(r, out); err != nil {
		return nil, fault.At(broken(err), e.Name)
	}
	// One byte more shows that the declared size was the whole of it, and has the checksum compared.
	var more [1]byte
	switch n, err := io.ReadFull(r, more[:]); {
	case n > 0:
		return nil, fault.New(fault.Invalid, "zip_broken", e.Name, "The file in the archive is longer than the archive says; pack again.")
	case !errors.Is(err, io.EOF):
		return nil, fault.At(broken(err), e.Name)
	}
	*a.budget.bytes -= e.Size
	return out, nil
}

// escapes says whether a path leads out of its folder, or names a root or drive.
func escapes(name string) bool {
	if strings.HasPrefix(name, "/") || len(name) > 1 && name[1] == ':' {
		return true
	}
	for part := range strings.SplitSeq(name, "/") {
		if part == ".." {
			return true
		}
	}
	return false
}

func broken(err error) error {
	if errors.Is(err, zip.ErrChecksum) {
		return fault.Because(err, fault.Invalid, "zip_checksum", "", "A file in the archive does not match its checksum; the archive is damaged, send it again.")
	}
	return fault.Because(err, fault.Invalid, "zip_broken", "", "The ZIP archive cannot be read; it is damaged or was cut off on its way, send it again.")
}
