package intake

import (
	"context"
	"path"
	"strings"

	"firstoff/fault"
	"firstoff/intake/content"
	"firstoff/intake/internal/zipxml"
)

// Outcome is what came of one model: the file, or the fault that says why not.
type Outcome struct {
	Name string // the path inside the archive, or the file's own name
	Data []byte // the model's bytes as received, to be kept
	File *File  // nil if Err is not
	Err  error
}

// ReadAll reads a file, or every model in a ZIP archive (and in archives inside it). There is at least one outcome
// when the error is nil. The error is for what concerns the archive as a whole; a bad model in it spoils only its own
// outcome. Drawings, pictures and the like in an archive are passed over.
func ReadAll(ctx context.Context, name string, data []byte, opt Options) ([]Outcome, error) {
	return Reader{}.ReadAll(ctx, name, data, opt)
}

// ReadAll is as the function of that name.
func (r Reader) ReadAll(ctx context.Context, name string, data []byte, opt Options) ([]Outcome, error) {
	opt.Limits = opt.Limits.OrDefault()
	if err := validName(name); err != nil {
		return nil, err
	}
	if len(data) == 0 {
		return nil, fault.New(fault.Invalid, "file_empty", "", "The file is empty; send it again.")
	}
	if int64(len(data)) > opt.Limits.Bytes {
		return nil, content.TooLarge(int64(len(data)), opt.Limits.Bytes)
	}
	k := sniff(name, data)
	if k != kindZIP {
		f, err := r.readOne(ctx, name, data, k, nil, opt)
		if err != nil {
			return nil, err
		}
		return []Outcome{{Name: name, Data: data, File: f}}, nil
	}
	out, passed, err := r.unpack(ctx, "", data, zipxml.NewBudget(opt.Limits), opt)
	if err != nil {
		return nil, err
	}
	if len(out) == 0 {
		if passed != nil {
			return nil, fault.At(passed, "in the archive")
		}
		return nil, fault.New(fault.Invalid, "archive_no_model", "", "The archive holds no model; put the part in as STEP, 3MF or STL.")
	}
	return out, nil
}

// unpack reads the models of one archive; passed is the fault of the first thing that is no model.
func (r Reader) unpack(ctx context.Context, under string, data []byte, budget *zipxml.Budget, opt Options) (out []Outcome, passed, err error) {
	a, err := zipxml.Open(data, budget)
	if err != nil {
		return nil, nil, err
	}
	for _, e := range a.Entries {
		base := path.Base(e.Name)
		if strings.HasPrefix(base, ".") || strings.HasPrefix(e.Name, "__MACOSX/") || strings.EqualFold(base, "thumbs.db") {
			continue // what file managers leave behind
		}
		full := under + e.Name
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		ext := extensions[strings.ToLower(path.Ext(base))]
		if ext == kindPaper || ext == kindDraw {
			if passed == nil {
				passed = fault.At(named(ext, base), full)
			}
			continue
		}
		b, err := a.Read(e)
		if err != nil {
			return nil, nil, err
		}
		k := sniff(base, b)
		switch {
		case len(b) == 0:
			out = append(out, Outcome{Name: full, Err: fault.New(fault.Invalid, "file_empty", "", "The file is empty; send it again.")})
			continue
		case k == kindZIP:
			inner, p, err := r.unpack(ctx, full+"/", b, a.Inside(), opt)
			if err != nil {
				return nil, nil, err
			}
			out = append(out, inner...)
			if passed == nil {
				passed = p
			}
			continue
		case k == kindPaper || k == kindDraw || (k == kindText || k == kindOther) && ext == "":
			if passed == nil {
				passed = fault.At(named(k, base), full)
			}
			continue
		}
		beside := func(name string) ([]byte, bool) {
			n := a.Find(path.Join(path.Dir(e.Name), strings.ReplaceAll(name, "\\", "/")))
			if n == nil {
				return nil, false
			}
			b, err := a.Read(n)
			return b, err == nil
		}
		f, err := r.readOne(ctx, full, b, k, beside, opt)
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		out = append(out, Outcome{Name: full, Data: b, File: f, Err: err})
	}
	return out, passed, nil
}
