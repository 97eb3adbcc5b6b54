package cad

import (
	"bufio"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"runtime/debug"
	"strings"
	"time"

	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake/cad/internal/faces"
	"firstoff/intake/cad/internal/occt"
	"firstoff/intake/content"
)

const childEnv = "FIRSTOFF_CAD_CHILD"

// ChildMain must be called first in main, and in the TestMain of packages whose tests read exact files. In an
// ordinary process it does nothing. In a child that Read started it serves requests until its input ends,
// and does not return.
func ChildMain() {
	if os.Getenv(childEnv) == "" {
		return
	}
	if err := serve(os.Stdin, os.Stdout); err != nil {
		_, _ = os.Stderr.WriteString(err.Error() + "\n")
		os.Exit(3)
	}
	os.Exit(0)
}

// serve answers requests one after the other.
func serve(in io.Reader, out io.Writer) error {
	r, w := bufio.NewReaderSize(in, 1<<16), bufio.NewWriterSize(out, 1<<16)
	var k *occt.Kernel
	for {
		var q request
		if err := readFrame(r, &q); err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		data := make([]byte, max(q.Size, 0))
		if _, err := io.ReadFull(r, data); err != nil {
			return err
		}
		if k == nil {
			limitProcess(q.Memory)
			debug.SetMemoryLimit(q.Memory + 512<<20)
			var err error
			if k, err = startKernel(q.kernelConfig); err != nil {
				return writeAnswer(w, failed(err))
			}
		}
		a := &answer{}
		if q.Format != "" {
			a = convert(k, &q, data)
		}
		if err := writeAnswer(w, a); err != nil {
			return err
		}
	}
}

func startKernel(c kernelConfig) (*occt.Kernel, error) {
	wasm, script, err := kernelFiles(c.Folder)
	if err != nil {
		return nil, err
	}
	k, err := occt.New(context.Background(), occt.Config{Wasm: wasm, Glue: script, Cache: c.Cache, Memory: uint32(c.Memory), Threads: 2})
	if err != nil {
		return nil, fault.Because(err, fault.Internal, "cad_kernel", "", "The CAD kernel could not be started.")
	}
	return k, nil
}

func failed(err error) *answer {
	f := fault.Of(err)
	a := &answer{Kind: f.Kind, Code: f.Code, Message: f.Message}
	if f.Err != nil {
		a.Cause = f.Err.Error()
	}
	return a
}

// pass is a model as meshed once, with its bodies joined.
type pass struct {
	model    *occt.Model
	surfaces []*faces.Surface
	size     float64 // longest edge of the box around everything
	gap      float64 // share of the volume that the facets miss
	facets   int
}

// convert reads a file and puts what it holds into an answer.
func convert(k *occt.Kernel, q *request, data []byte) *answer {
	ctx, cancel := context.Background(), func() {}
	if q.Soft > 0 {
		ctx, cancel = context.WithTimeout(ctx, time.Duration(q.Soft))
	}
	defer cancel()
	a := &answer{}
	m, err := meshed(ctx, k, q, data, a)
	if err != nil {
		return failed(kernelFault(err))
	}
	m.answer(a)
	return a
}

// meshed reads a file, and once more where the first mesh was too coarse. It notes in a how it went.
func meshed(ctx context.Context, k *occt.Kernel, q *request, data []byte, a *answer) (*pass, error) {
	chord, angle, ratio := q.Chord, q.Angle, 0.0
	if angle <= 0 {
		angle = angleMost
	}
	switch {
	case chord > 0:
	case q.Extent > 0:
		chord = Chord(q.Extent, q.Tolerance)
	default:
		ratio = firstRatio
	}
	m, err := read(ctx, k, q, data, chord, ratio, angle)
	if err != nil {
		return nil, err
	}
	if ratio > 0 {
		chord = ratio * m.size // at most: the ratio is to the mean edge of each part
	}
	a.Passes = 1
	if q.Chord <= 0 {
		c, g, again := finer(chord, angle, m.size, q.Tolerance, m.gap)
		if q.Angle > 0 {
			g = angle
		}
		if again && float64(m.facets)*math.Max(chord/c, angle/g) < float64(q.Triangles) {
			if fine, err := read(ctx, k, q, data, c, 0, g); err == nil {
				m, chord, angle, a.Passes = fine, c, g, 2
			} else {
				a.Warnings = append(a.Warnings, content.Warning{Code: "cad_coarse",
					Message: "Meshing this part as finely as its size or tolerance asks took more time or memory than allowed; a coarser mesh is used, check its volume."})
			}
		}
	}
	a.Chord, a.Angle, a.Peak, a.Log = chord, angle, m.model.Peak, m.model.Log
	return m, nil
}

func read(ctx context.Context, k *occt.Kernel, q *request, data []byte, chord, ratio, angle float64) (*pass, error) {
	model, err := k.Read(ctx, data, occt.Options{Format: q.Format, Chord: chord, Ratio: ratio, Angle: angle,
		Numbers: min(q.Memory/8, int64(q.Triangles)*21)})
	if err != nil {
		return nil, err
	}
	if len(model.Shapes) > q.Bodies {
		return nil, fault.New(fault.TooLarge, "cad_bodies", "", "The file holds %d bodies, more than the %d allowed; send it in parts.", len(model.Shapes), q.Bodies)
	}
	m := &pass{model: model}
	sew := chord
	if ratio > 0 {
		sew = ratio * extent(model)
	}
	box := r3.EmptyBox()
	var volume, missing float64
	for i := range model.Shapes {
		s := &model.Shapes[i]
		m.facets += len(s.Tri) / 3
		b := &faces.Body{Pos: s.Pos, Normal: s.Nrm, Tri: s.Tri}
		for _, f := range s.Faces {
			b.Faces = append(b.Faces, faces.Face{First: f.First, Last: f.Last})
		}
		j := faces.Join(b, sew)
		if v := math.Abs(j.Volume); j.Ragged == 0 {
			volume += v
			missing += v * j.Gap(b)
		}
		if !j.Box.Empty() {
			box = box.Union(j.Box)
		}
		m.surfaces = append(m.surfaces, j)
		s.Nrm = nil // not needed any more, and large
	}
	if m.facets > q.Triangles {
		return nil, occt.ErrAnswer
	}
	d := box.Size()
	m.size = math.Max(d.X, math.Max(d.Y, d.Z))
	if volume > 0 {
		m.gap = missing / volume
	}
	return m, nil
}

// extent is the longest edge of the box around a model.
func extent(m *occt.Model) float64 {
	box := r3.EmptyBox()
	for _, s := range m.Shapes {
		for i := 0; i+2 < len(s.Pos); i += 3 {
			box = box.Add(r3.Vec{X: s.Pos[i], Y: s.Pos[i+1], Z: s.Pos[i+2]})
		}
	}
	d := box.Size()
	return math.Max(d.X, math.Max(d.Y, d.Z))
}

// answer fills in bodies and holes.
func (m *pass) answer(a *answer) {
	where := make([][]string, len(m.model.Shapes))
	place(&m.model.Root, nil, where)
	for i, s := range m.surfaces {
		shape := &m.model.Shapes[i]
		if len(s.Tri) == 0 {
			a.Warnings = append(a.Warnings, content.Warning{Code: "cad_empty_body", Where: shape.Name,
				Message: "A body has no surface that could be meshed and was left out."})
			continue
		}
		b := wireBody{Name: given(shape.Name), Nodes: where[i], Vertices: len(s.Pos) / 3, Facets: len(s.Tri) / 3, Ragged: s.Ragged,
			Sewn: s.Sewn, Volume: s.Volume, Area: s.Area, Centroid: s.Centroid, tri: s.Tri}
		b.pos = make([]float32, len(s.Pos))
		for j, x := range s.Pos {
			b.pos[j] = float32(x)
		}
		b.Color, b.rgb = paint(shape, s)
		b.ByFacet = b.rgb != nil
		for _, h := range s.Holes {
			if s.Ragged == 0 {
				a.Holes = append(a.Holes, content.Hole{Diameter: h.Diameter, Depth: h.Depth, Axis: h.Axis, At: h.At, Through: h.Through, Body: len(a.Bodies)})
			}
		}
		a.Bodies = append(a.Bodies, b)
	}
}

// given is a name unless the kernel made it up for something the file does not name.
func given(name string) string {
	switch name {
	case "SOLID", "SHELL", "COMPOUND", "COMPSOLID", "FACE", "Shape":
		return ""
	}
	if strings.HasPrefix(name, "=>[") {
		return ""
	}
	return name
}

// place notes the names of the tree above each shape.
func place(n *occt.Node, above []string, where [][]string) {
	if given(n.Name) != "" {
		above = append(above[:len(above):len(above)], n.Name)
	}
	for _, i := range n.Shapes {
		if i >= 0 && i < len(where) {
			where[i] = above
		}
	}
	for i := range n.Children {
		place(&n.Children[i], above, where)
	}
}

// kernelFault puts the ways a reading can end into sentences.
func kernelFault(err error) error {
	var f *fault.Error
	switch {
	case errors.As(err, &f):
		return f
	case errors.Is(err, context.DeadlineExceeded):
		return fault.Because(err, fault.TooLarge, "cad_deadline", "", "%s", deadlineSentence)
	case errors.Is(err, occt.ErrMemory):
		return fault.Because(err, fault.TooLarge, "cad_memory", "", "%s", memorySentence)
	case errors.Is(err, occt.ErrAnswer):
		return fault.Because(err, fault.TooLarge, "cad_triangles", "", "Meshed finely enough, this file has more triangles than allowed; send fewer bodies, or a mesh (3MF, STL).")
	case errors.Is(err, occt.ErrUnreadable), errors.Is(err, occt.ErrException), errors.Is(err, occt.ErrTrap):
		return fault.Because(err, fault.Invalid, "cad_unreadable", "", "The file is damaged or holds no shape that can be read; export it again, as STEP AP214 or AP242 if possible.")
	}
	return fault.Because(err, fault.Internal, "cad_internal", "", "The CAD reader failed; the log says why.")
}

const (
	memorySentence   = "Reading this file needs more memory than allowed; send fewer or simpler bodies, or a mesh (3MF, STL)."
	deadlineSentence = "Reading this file took longer than allowed; send fewer or simpler bodies, or a mesh (3MF, STL)."
)
