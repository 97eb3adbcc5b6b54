package intake

import (
	"context"
	"math"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/amf"
	"firstoff/intake/content"
	"firstoff/intake/glb"
	"firstoff/intake/obj"
	"firstoff/intake/off"
	"firstoff/intake/ply"
	"firstoff/intake/stl"
	"firstoff/intake/threemf"
	"firstoff/unit"
)

// Options is what the person at the desk says about a file.
type Options struct {
	Unit   unit.Length // overrides what the file says or lets guess; "" to go by the file
	Limits content.Limits
	// AllowEmpty lets a sound file that holds nothing to make (a package that places nothing, an encrypted one) through, with the
	// warning no_surface in place of the fault.
	AllowEmpty bool
	// ToleranceMM is the tightest tolerance asked of the part: surfaces of CAD files are cut into facets finely enough for it. 0: not known, then
	// the part's size alone decides.
	ToleranceMM float64
}

// Reader reads files. Its zero value reads everything but CAD formats.
type Reader struct {
	// CAD reads STEP, IGES and BREP (format "step", "iges", "brep"). It runs a sandboxed kernel and so is given from
	// outside; without it these formats are answered with fault Unsupported "cad_reader_missing".
	CAD func(ctx context.Context, format, name string, data []byte, opt Options) (*content.Content, error)
}

// Read reads one file with a Reader that has no CAD kernel. See Reader.Read.
func Read(ctx context.Context, name string, data []byte, opt Options) (*File, error) {
	return Reader{}.Read(ctx, name, data, opt)
}

// Read reads one file. An archive is taken if there is exactly one model in it.
// Faults: those of the format's reader, with the file's name left to the caller; file_empty, name_not_utf8, not_a_model,
// format_unknown, cad_native and their like, archive_several, size_absurd.
func (r Reader) Read(ctx context.Context, name string, data []byte, opt Options) (*File, error) {
	all, err := r.ReadAll(ctx, name, data, opt)
	if err != nil {
		return nil, err
	}
	if len(all) > 1 {
		return nil, fault.New(fault.Invalid, "archive_several", "", "The archive holds %d models where one is asked for; send the one that is meant.", len(all))
	}
	return all[0].File, all[0].Err
}

// readOne reads one file that is not an archive. beside gives the files that lie with it.
func (r Reader) readOne(ctx context.Context, name string, data []byte, k kind, beside content.Beside, opt Options) (*File, error) {
	sum := make(chan digest.Digest, 1)
	go func() { sum <- digest.Of(data) }()
	c, err := r.content(ctx, name, data, k, beside, opt)
	if err != nil {
		return nil, err
	}
	n := 0
	for _, b := range c.Bodies {
		n += b.Mesh.Facets()
	}
	switch {
	case n == 0 && opt.AllowEmpty:
		c.Warn("no_surface", "", "The file is sound but holds no surface that is to be made.")
	case n == 0:
		for _, w := range c.Warnings {
			if w.Code == "3mf_encrypted" {
				return nil, fault.New(fault.Unsupported, w.Code, w.Where, "The model in the file is encrypted; ask for it unencrypted.")
			}
		}
		return nil, fault.New(fault.Invalid, "no_surface", "", "The file holds no surface; export the part again as a solid.")
	}
	f := &File{
		Name: name, Format: c.Format, Bodies: c.Bodies, Offset: c.Offset, Holes: c.Holes, Stated: c.Stated,
		Warnings: c.Warnings, Thumbnail: c.Thumbnail, Generator: c.Generator,
	}
	if err := f.settle(c, opt, headHint(c.Format, data), nameHint(name)); err != nil {
		return nil, err
	}
	f.SHA256 = <-sum
	return f, nil
}

// content reads the file in its own unit.
func (r Reader) content(ctx context.Context, name string, data []byte, k kind, beside content.Beside, opt Options) (*content.Content, error) {
	lim := opt.Limits.OrDefault()
	switch k {
	case kindSTL:
		return stl.Read(ctx, data, lim)
	case kindPLY:
		return ply.Read(ctx, data, lim)
	case kindOFF:
		return off.Read(ctx, data, lim)
	case kindAMF:
		return amf.Read(ctx, data, lim)
	case kind3MF:
		return threemf.Read(ctx, data, lim)
	case kindOBJ:
		return obj.Read(ctx, data, beside, lim)
	case kindGLB:
		return glb.Read(ctx, data, beside, lim)
	case kindSTEP, kindIGES, kindBREP:
		if r.CAD == nil {
			return nil, fault.New(fault.Unsupported, "cad_reader_missing", "", "This program was started without its CAD kernel, so STEP, IGES and BREP files cannot be read; send 3MF or STL.")
		}
		return r.CAD(ctx, string(k), name, data, opt)
	}
	return nil, named(k, name)
}

// longest is the greatest distance from the origin that is taken for a part, in mm: 100 km. Beyond it the numbers are
// damaged, and float32 could not hold a part's details.
const longest = 1e8

// settle decides the unit and brings everything to mm.
func (f *File) settle(c *content.Content, opt Options, head, name unit.Length) error {
	box := r3.EmptyBox()
	for _, b := range f.Bodies {
		if b.Mesh.Facets() > 0 {
			box = box.Union(b.Mesh.Box())
		}
	}
	size := box.Size()
	prior := usual
	if c.Format == "glb" {
		prior = glTF
	}
	guess := inferUnit(prior, size, head, name)
	switch {
	case opt.Unit != "":
		if opt.Unit.MM() == 0 {
			_, err := unit.Parse(string(opt.Unit))
			return err
		}
		f.Unit = Unit{Name: opt.Unit, Stated: true, Confidence: 1}
		if c.Unit != "" && c.Unit != opt.Unit && c.Format != "glb" {
			f.warn("unit_overridden", "The file says that it is in "+spoken[c.Unit]+"; it was taken in "+spoken[opt.Unit]+" as asked.")
		}
	case c.Unit == "":
		f.Unit = guess
	case c.Format == "glb" && guess.Name != c.Unit:
		// glTF prescribes metres, but many files are written in other units.
		f.Unit = guess
	default:
		f.Unit = Unit{Name: c.Unit, Stated: true, Confidence: 1}
		if l := max(size.X, size.Y, size.Z) * c.Unit.MM(); l > 0 && l < 0.2 || l > 10_000 {
			f.Unit.Confidence = 0.7
			f.Unit.Question = "The file says that it is in " + spoken[c.Unit] + ", which makes the part " + short(l) + " mm long: is that right?"
		}
	}
	k := f.Unit.Name.MM()
	if box.Empty() {
		return nil
	}
	for _, v := range []r3.Vec{box.Min.Add(f.Offset), box.Max.Add(f.Offset)} {
		if far := max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)) * k; far > longest {
			return fault.New(fault.Invalid, "size_absurd", "", "The part would lie %.3g mm from the origin, so its numbers are damaged or its unit is wrong; export it again.", far)
		}
	}
	f.scale(k)
	return nil
}

// scale multiplies every length by k. Bodies may share a mesh.
func (f *File) scale(k float64) {
	if k == 1 {
		return
	}
	done := make(map[*mesh.Mesh]bool, len(f.Bodies))
	for _, b := range f.Bodies {
		if done[b.Mesh] {
			continue
		}
		done[b.Mesh] = true
		for i, x := range b.Mesh.Pos {
			b.Mesh.Pos[i] = float32(float64(x) * k)
		}
	}
	f.Offset = f.Offset.Mul(k)
	for i := range f.Holes {
		h := &f.Holes[i]
		h.Diameter, h.Depth, h.At = h.Diameter*k, h.Depth*k, h.At.Mul(k)
	}
	if s := f.Stated; s != nil {
		s.Volume, s.Area = s.Volume*k*k*k, s.Area*k*k
		if s.Centroid != nil {
			c := s.Centroid.Mul(k)
			s.Centroid = &c
		}
	}
}

func (f *File) warn(code, message string) {
	f.Warnings = append(f.Warnings, content.Warning{Code: code, Message: message})
}
