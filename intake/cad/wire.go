package cad

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"

	"firstoff/fault"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

// What goes over the pipes: a frame is a magic word, the length of a JSON text, the text, then the blocks of
// bytes it announces. Both sides check every length against a cap.

// kernelConfig is what a child sets itself up with; it serves only requests with the same.
type kernelConfig struct {
	Folder string // of a replacement kernel
	Cache  string
	Memory int64
}

type request struct {
	kernelConfig
	Format    string // "" only compiles the kernel
	Size      int    // bytes of the file that follow
	Extent    float64
	Tolerance float64
	Chord     float64
	Angle     float64
	Triangles int
	Bodies    int
	Soft      int64 // ns after which the child should have answered
}

type answer struct {
	Kind    fault.Kind // with Code
	Code    string
	Message string
	Cause   string

	Bodies   []wireBody
	Holes    []content.Hole
	Warnings []content.Warning
	Chord    float64
	Angle    float64
	Passes   int
	Peak     uint32
	Log      string
}

type wireBody struct {
	Name             string
	Nodes            []string // names from the top of the tree
	Vertices, Facets int
	Color            *content.RGBA
	ByFacet          bool
	Ragged           int
	Sewn             bool
	Volume, Area     float64
	Centroid         r3.Vec

	pos []float32
	tri []uint32
	rgb []content.RGBA
}

const (
	frameMagic = 0x31444143 // "CAD1"
	maxText    = 256 << 20
)

func writeFrame(w io.Writer, text any) error {
	b, err := json.Marshal(text)
	if err != nil {
		return err
	}
	var head [8]byte
	binary.LittleEndian.PutUint32(head[:], frameMagic)
	binary.LittleEndian.PutUint32(head[4:], uint32(len(b)))
	if _, err := w.Write(head[:]); err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}

func readFrame(r io.Reader, text any) error {
	var head [8]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return err
	}
	n := binary.LittleEndian.Uint32(head[4:])
	if binary.LittleEndian.Uint32(head[:]) != frameMagic || n > maxText {
		return errors.New("cad: not a frame")
	}
	b := make([]byte, n)
	if _, err := io.ReadFull(r, b); err != nil {
		return err
	}
	return json.Unmarshal(b, text)
}

// writeAnswer sends an answer with its bodies' blocks.
func writeAnswer(w *bufio.Writer, a *answer) error {
	if err := writeFrame(w, a); err != nil {
		return err
	}
	var buf [4096]byte
	words := func(n int, word func(i int) uint32) error {
		for i := 0; i < n; {
			k := 0
			for ; k < len(buf) && i < n; k += 4 {
				binary.LittleEndian.PutUint32(buf[k:], word(i))
				i++
			}
			if _, err := w.Write(buf[:k]); err != nil {
				return err
			}
		}
		return nil
	}
	for i := range a.Bodies {
		b := &a.Bodies[i]
		err := words(len(b.pos), func(i int) uint32 { return math.Float32bits(b.pos[i]) })
		if err == nil {
			err = words(len(b.tri), func(i int) uint32 { return b.tri[i] })
		}
		if err == nil {
			err = words(len(b.rgb), func(i int) uint32 { return binary.LittleEndian.Uint32(b.rgb[i][:]) })
		}
		if err != nil {
			return err
		}
	}
	return w.Flush()
}

// readAnswer takes an answer apart; what does not add up is an error.
func readAnswer(r io.Reader, lim content.Limits) (*answer, error) {
	a := &answer{}
	if err := readFrame(r, a); err != nil {
		return nil, err
	}
	if len(a.Bodies) > lim.Bodies {
		return nil, fmt.Errorf("cad: %d bodies", len(a.Bodies))
	}
	facets := 0
	var buf [1 << 16]byte
	words := func(n int, put func(i int, word uint32) bool) error {
		for i := 0; i < n; {
			k := min(len(buf), 4*(n-i))
			if _, err := io.ReadFull(r, buf[:k]); err != nil {
				return err
			}
			for j := 0; j < k; j += 4 {
				if !put(i, binary.LittleEndian.Uint32(buf[j:])) {
					return errors.New("cad: a value out of range")
				}
				i++
			}
		}
		return nil
	}
	for i := range a.Bodies {
		b := &a.Bodies[i]
		if facets += b.Facets; b.Facets < 0 || b.Vertices < 0 || facets > lim.Triangles || b.Vertices > 3*lim.Triangles {
			return nil, fmt.Errorf("cad: %d facets", facets)
		}
		b.pos, b.tri = make([]float32, 3*b.Vertices), make([]uint32, 3*b.Facets)
		err := words(len(b.pos), func(i int, w uint32) bool {
			b.pos[i] = math.Float32frombits(w)
			return !math.IsNaN(float64(b.pos[i])) && !math.IsInf(float64(b.pos[i]), 0)
		})
		if err == nil {
			err = words(len(b.tri), func(i int, w uint32) bool { b.tri[i] = w; return w < uint32(b.Vertices) })
		}
		if err == nil && b.ByFacet {
			b.rgb = make([]content.RGBA, b.Facets)
			err = words(b.Facets, func(i int, w uint32) bool {
				binary.LittleEndian.PutUint32(b.rgb[i][:], w)
				return true
			})
		}
		if err != nil {
			return nil, err
		}
	}
	return a, nil
}
