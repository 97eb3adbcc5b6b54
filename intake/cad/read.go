package cad

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/cad/internal/part21"
	"firstoff/intake/content"
	"firstoff/unit"
)

// Options of Read. The zero value is good for single files.
type Options struct {
	Tolerance float64 // the tightest tolerance asked of the part, mm; 0: not known
	Chord     float64 // fixes the largest distance between facets and surface, mm; 0: see Chord
	Angle     float64 // fixes the largest angle between neighbouring chords, rad; 0: chosen

	Format   string // "step", "iges" or "brep" where the caller knows; "": told by the content, else by the name
	Limits   content.Limits
	Deadline time.Duration // after which the child is ended, from when it begins; 0: DefaultDeadline
	Memory   int64         // the guest's cap in bytes; 0: DefaultMemory; at most 4 GiB

	// Cache is the folder for the compiled kernel (45 MB), which only this user may write: "" is the user's own
	// cache folder, NoCache compiles for every child (seconds).
	Cache string
	// Workers bounds the children and keeps them between files; nil starts one for each file, however many.
	Workers *Workers
	// Kernel is a folder with another build of the kernel; "" takes the one built in.
	Kernel string
}

// Defaults of Options.
const (
	DefaultDeadline = 3 * time.Minute
	DefaultMemory   = 1 << 30
	NoCache         = "-"
)

func (o Options) config() (kernelConfig, error) {
	dir, err := cacheFolder(o.Cache)
	c := kernelConfig{Folder: o.Kernel, Cache: dir, Memory: o.Memory}
	if c.Memory <= 0 {
		c.Memory = DefaultMemory
	}
	c.Memory = min(max(c.Memory, 32<<20), 4<<30-65536)
	return c, err
}

// Read reads a STEP, IGES or BREP file. name is used where the content does not tell the format, and in
// messages.
//
// Bodies that do not close are marked Open: surfaces the file gives as such, or solids with a defect, which a
// warning tells apart where the file's text does. Bodies of an assembly come once for each use, in place.
//
// Faults: Unsupported "cad_kernel_missing", "cad_format" (none of the three, or a binary or XML form of one),
// "step_external" (only refers to other files), "step_tessellated", "step_wireframe" (nothing exact in it);
// Invalid "cad_unreadable", "step_truncated", "step_empty"; TooLarge "cad_bytes", "cad_memory", "cad_deadline", "cad_triangles",
// "cad_bodies"; Unsupported "cad_crashed" when the child died; Internal otherwise. The context's own error
// when that ends first.
func Read(ctx context.Context, name string, data []byte, opt Options) (*content.Content, error) {
	lim := opt.Limits.OrDefault()
	if int64(len(data)) > lim.Bytes || len(data) > 1<<31-1 {
		return nil, fault.New(fault.TooLarge, "cad_bytes", name, "The file has %d bytes, more than the %d allowed.", len(data), min(lim.Bytes, 1<<31-1))
	}
	if f := odd(data); f != nil {
		return nil, fault.At(f, name)
	}
	format := opt.Format
	if format == "" {
		format = Format(data)
	}
	if format == "" {
		format = Named(name)
	}
	if format == "" {
		return nil, fault.New(fault.Unsupported, "cad_format", name, "This is no STEP, IGES or BREP file.")
	}
	data = trimBOM(data)
	cfg, err := opt.config()
	if err != nil {
		return nil, fault.At(err, name)
	}
	if int64(len(data)) > cfg.Memory/2 { // the kernel holds the text and more
		return nil, fault.New(fault.TooLarge, "cad_memory", name, "%s", memorySentence)
	}
	q := &request{Format: format, Tolerance: opt.Tolerance, Chord: opt.Chord, Angle: opt.Angle, Triangles: lim.Triangles, Bodies: lim.Bodies}
	var text *part21.File
	if format == "step" {
		text = part21.Scan(data)
		if f := nothingExact(text); f != nil {
			return nil, fault.At(f, name)
		}
		q.Extent = text.Extent()
	}
	a, err := ask(ctx, opt, q, data, lim)
	if err != nil {
		if f := fault.Of(err); text != nil && !text.Complete && f.Code == "cad_unreadable" {
			err = fault.Because(err, fault.Invalid, "step_truncated", "", "The file ends before its closing line: it was cut off when saved or sent. Send it again.")
		}
		return nil, fault.At(err, name)
	}
	return assemble(format, text, a, lim)
}

// Warm compiles the kernel into the cache, so that the first file need not wait for it.
func Warm(ctx context.Context, opt Options) error {
	_, err := ask(ctx, opt, &request{}, nil, content.DefaultLimits)
	return err
}

// ask has a child answer one request.
func ask(ctx context.Context, opt Options, q *request, data []byte, lim content.Limits) (*answer, error) {
	if _, _, err := kernelFiles(opt.Kernel); err != nil {
		return nil, err
	}
	cfg, err := opt.config()
	if err != nil {
		return nil, err
	}
	q.kernelConfig = cfg
	deadline := opt.Deadline
	if deadline <= 0 {
		deadline = DefaultDeadline
	}
	q.Soft = int64(deadline / 10 * 9)
	if err := opt.Workers.enter(ctx); err != nil {
		return nil, err
	}
	defer opt.Workers.leave()
	timed, cancel := context.WithTimeout(ctx, deadline)
	defer cancel()
	c := opt.Workers.take(cfg)
	if c == nil {
		if c, err = startChild(cfg); err != nil {
			return nil, fault.Because(err, fault.Internal, "cad_start", "", "The CAD reader could not be started.")
		}
	}
	a, err := c.ask(timed, q, data, lim)
	if err != nil {
		how := c.kill()
		switch {
		case ctx.Err() != nil:
			return nil, ctx.Err()
		case timed.Err() != nil:
			return nil, fault.Because(err, fault.TooLarge, "cad_deadline", "", "%s", deadlineSentence)
		}
		return nil, fault.Because(fmt.Errorf("%w; child: %v; %s", err, how, c.stderr), fault.Unsupported, "cad_crashed", "",
			"The CAD reader broke down on this file, which may be damaged; export it again, as STEP AP214 or AP242 if possible, or send a mesh (3MF, STL).")
	}
	if a.Code != "" {
		_ = c.kill()
		return nil, fault.Because(errors.New(a.Cause), a.Kind, a.Code, "", "%s", a.Message)
	}
	opt.Workers.give(c)
	return a, nil
}

// odd refuses forms of these formats that the kernel does not read.
func odd(data []byte) error {
	head := data[:min(len(data), 4096)]
	switch {
	case bytes.Contains(head[:min(len(head), 200)], []byte("Open CASCADE Topology V")):
		return fault.New(fault.Unsupported, "cad_format", "", "This is a binary BREP file; save it as text (.brep) or as STEP.")
	case bytes.Contains(head, []byte("<iso_10303")), bytes.Contains(head, []byte("urn:iso10303-28")):
		return fault.New(fault.Unsupported, "cad_format", "", "This is a STEP file in XML (ISO 10303-28); export it as text (.step, ISO 10303-21).")
	}
	return nil
}

// nothingExact refuses a STEP file whose text shows that there is nothing to mesh.
func nothingExact(f *part21.File) error {
	s := f.Shapes()
	if s.Solids > 0 || s.Surfaces > 0 {
		return nil
	}
	if ext := f.External(); len(ext) > 0 {
		list := ""
		for i, n := range ext {
			if i == 5 {
				list += fmt.Sprintf(" and %d more", len(ext)-5)
				break
			}
			if i > 0 {
				list += ", "
			}
			list += fmt.Sprintf("%q", n)
		}
		return fault.New(fault.Unsupported, "step_external", "", "This file holds no shape of its own, it only refers to others: %s. Export the assembly into one file.", list)
	}
	switch {
	case s.Tessellated > 0:
		return fault.New(fault.Unsupported, "step_tessellated", "", "This STEP file holds only triangles, no exact surfaces; export it with solids, or as 3MF or STL.")
	case s.Curves > 0:
		return fault.New(fault.Unsupported, "step_wireframe", "", "This STEP file holds only curves, no surfaces or solids; export the solids.")
	case f.Records() == 0:
		return fault.New(fault.Invalid, "step_empty", "", "This STEP file has no data in it; export it again.")
	}
	return nil // of a kind the text does not tell: the kernel decides
}

// assemble makes the content out of the child's answer and what the text says.
func assemble(format string, text *part21.File, a *answer, lim content.Limits) (*content.Content, error) {
	c := &content.Content{Format: format, Holes: a.Holes, Warnings: a.Warnings}
	if format != "brep" {
		c.Unit = unit.MM
	}
	var uses []string
	if text != nil {
		h := text.ReadHeader()
		c.Generator = h.Generator
		uses = instances(text.Occurrences(lim.Bodies), a.Bodies)
		if !text.Complete {
			c.Warn("step_truncated", "", "The file ends before its closing line; bodies may be missing. Send it again.")
		}
	}
	open := 0
	for i := range a.Bodies {
		b := &a.Bodies[i]
		body := content.Body{Name: b.Name, Mesh: &mesh.Mesh{Pos: b.pos, Tri: b.tri}, Color: b.Color, FacetColor: b.rgb, Open: b.Ragged > 0}
		if len(b.Nodes) > 1 {
			body.Instance = join(b.Nodes)
		}
		if uses != nil {
			body.Instance = uses[i]
		}
		if body.Name == "" && len(b.Nodes) > 0 {
			body.Name = b.Nodes[len(b.Nodes)-1]
		}
		if b.Sewn {
			c.Warn("cad_sewn", body.Name, "The surfaces of this body do not share their edges in the file; they were joined into a solid where they meet. Check its volume.")
		}
		if body.Open {
			open++
			if text != nil && text.Shapes().Surfaces == 0 {
				c.Warn("cad_solid_leaks", body.Name, fmt.Sprintf("A solid did not close when meshed (%d edges); the file's solid has a defect there.", b.Ragged))
			}
		}
		c.Bodies = append(c.Bodies, body)
	}
	if len(c.Bodies) == 0 {
		return nil, fault.New(fault.Invalid, "cad_unreadable", "", "The file holds no solid or surface that can be read; export it again, as STEP AP214 or AP242 if possible.")
	}
	if open > 0 && open == len(c.Bodies) && format == "iges" {
		c.Warn("iges_surfaces", "", "The file holds loose surfaces that do not close to a solid. Ask for STEP with solids.")
	}
	if text != nil {
		if s := text.Stated(); s != nil {
			c.Stated = &content.Stated{Volume: s.Volume, Area: s.Area}
			if s.Centroid != nil {
				v := r3.FromArray(*s.Centroid)
				c.Stated.Centroid = &v
			}
			compareStated(c, a)
		}
	}
	return c, nil
}

func join(names []string) string {
	s := ""
	for i, n := range names {
		if i > 0 {
			s += "/"
		}
		s += n
	}
	return s
}
