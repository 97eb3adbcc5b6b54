package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// readFile is a reader for tests only: enough STL, OFF, OBJ and PLY for the outside data. Like the manifest's own measuring it
// merges vertices that are exactly equal.
func readFile(path string) (*Mesh, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	switch strings.ToLower(filepath.Ext(path)) {
	case ".stl":
		return readSTL(b)
	case ".off":
		return readOFF(b)
	case ".obj":
		return readOBJ(b)
	case ".ply":
		return readPLY(b)
	}
	return nil, fmt.Errorf("no test reader for %s", path)
}

func readSTL(b []byte) (*Mesh, error) {
	if len(b) >= 84 && len(b) == 84+50*int(binary.LittleEndian.Uint32(b[80:])) {
		return FromSTLRecords(b[84:]), nil
	}
	var s []float32
	words := strings.Fields(string(b))
	for i, w := range words {
		if strings.EqualFold(w, "vertex") && i+3 < len(words) {
			for _, n := range words[i+1 : i+4] {
				v, err := strconv.ParseFloat(n, 32)
				if err != nil {
					return nil, err
				}
				s = append(s, float32(v))
			}
		}
	}
	return FromSoup(s), nil
}

// fan adds the polygon as a fan from its first corner.
func fan(s []uint32, v []float64, poly []int) ([]uint32, error) {
	for i := 2; i < len(poly); i++ {
		for _, k := range []int{poly[0], poly[i-1], poly[i]} {
			if k < 0 || k >= len(v)/3 {
				return nil, fmt.Errorf("index %d of %d", k, len(v)/3)
			}
			s = append(s, uint32(k))
		}
	}
	return s, nil
}

func numbers(v []float64, words []string) ([]float64, error) {
	for _, w := range words {
		f, err := strconv.ParseFloat(w, 64)
		if err != nil {
			return nil, err
		}
		v = append(v, f)
	}
	return v, nil
}

func indexed(v []float64, tri []uint32) (*Mesh, error) {
	m, _ := FromIndexed(v, tri)
	return m, nil
}

func readOFF(b []byte) (*Mesh, error) {
	var lines [][]string
	for l := range strings.Lines(string(b)) {
		l, _, _ = strings.Cut(l, "#")
		if f := strings.Fields(l); len(f) > 0 {
			lines = append(lines, f)
		}
	}
	if len(lines[0]) == 1 {
		lines = lines[1:]
	} else {
		lines[0] = lines[0][1:]
	}
	nv, _ := strconv.Atoi(lines[0][0])
	nf, _ := strconv.Atoi(lines[0][1])
	lines = lines[1:]
	if nv+nf > len(lines) {
		return nil, fmt.Errorf("too short")
	}
	var v []float64
	var s []uint32
	var err error
	for _, l := range lines[:nv] {
		if v, err = numbers(v, l[:3]); err != nil {
			return nil, err
		}
	}
	for _, l := range lines[nv : nv+nf] {
		n, _ := strconv.Atoi(l[0])
		poly := make([]int, n)
		for i := range poly {
			poly[i], _ = strconv.Atoi(l[1+i])
		}
		if s, err = fan(s, v, poly); err != nil {
			return nil, err
		}
	}
	return indexed(v, s)
}

func readOBJ(b []byte) (*Mesh, error) {
	b = bytes.ReplaceAll(b, []byte("\\\n"), []byte(" "))
	var v []float64
	var s []uint32
	var err error
	for l := range strings.Lines(string(b)) {
		f := strings.Fields(l)
		if len(f) < 4 {
			continue
		}
		switch f[0] {
		case "v":
			if v, err = numbers(v, f[1:4]); err != nil {
				return nil, err
			}
		case "f":
			var poly []int
			for _, w := range f[1:] {
				w, _, _ = strings.Cut(w, "/")
				k, err := strconv.Atoi(w)
				if err != nil {
					return nil, err
				}
				if k < 0 {
					k += len(v)/3 + 1
				}
				poly = append(poly, k-1)
			}
			if s, err = fan(s, v, poly); err != nil {
				return nil, err
			}
		}
	}
	return indexed(v, s)
}

func readPLY(b []byte) (*Mesh, error) {
	type prop struct{ list, kind, name string }
	type element struct {
		name string
		n    int
		prop []prop
	}
	var els []element
	format := ""
	for {
		i := bytes.IndexByte(b, '\n')
		if i < 0 {
			return nil, fmt.Errorf("no end of header")
		}
		f := strings.Fields(string(b[:i]))
		b = b[i+1:]
		if len(f) == 0 {
			continue
		}
		if f[0] == "end_header" {
			break
		}
		switch f[0] {
		case "format":
			format = f[1]
		case "element":
			n, _ := strconv.Atoi(f[2])
			els = append(els, element{name: f[1], n: n})
		case "property":
			e := &els[len(els)-1]
			if f[1] == "list" {
				e.prop = append(e.prop, prop{f[2], f[3], f[4]})
			} else {
				e.prop = append(e.prop, prop{"", f[1], f[2]})
			}
		}
	}
	words := strings.Fields(string(b))
	var bad error
	num := func(kind string) float64 {
		if format == "ascii" {
			if len(words) == 0 {
				bad = fmt.Errorf("too short")
				return 0
			}
			f, err := strconv.ParseFloat(words[0], 64)
			if err != nil {
				bad = err
			}
			words = words[1:]
			return f
		}
		var o binary.ByteOrder = binary.LittleEndian
		if strings.Contains(format, "big") {
			o = binary.BigEndian
		}
		size := map[string]int{"char": 1, "uchar": 1, "int8": 1, "uint8": 1, "short": 2, "ushort": 2, "int": 4, "uint": 4, "int32": 4, "uint32": 4, "float": 4, "float32": 4, "double": 8, "float64": 8}[kind]
		if size == 0 || len(b) < size {
			bad = fmt.Errorf("too short or unknown %s", kind)
			return 0
		}
		q := b[:size]
		b = b[size:]
		switch kind {
		case "char", "int8":
			return float64(int8(q[0]))
		case "uchar", "uint8":
			return float64(q[0])
		case "float", "float32":
			return float64(math.Float32frombits(o.Uint32(q)))
		case "double", "float64":
			return math.Float64frombits(o.Uint64(q))
		case "short":
			return float64(int16(o.Uint16(q)))
		case "ushort":
			return float64(o.Uint16(q))
		}
		return float64(int32(o.Uint32(q)))
	}
	var v []float64
	var s []uint32
	for _, e := range els {
		for range e.n {
			var p [3]float64
			for _, q := range e.prop {
				if q.list != "" {
					n := int(num(q.list))
					poly := make([]int, 0, min(max(n, 0), 64))
					for range n {
						poly = append(poly, int(num(q.kind)))
						if bad != nil {
							return nil, bad
						}
					}
					if e.name == "face" && strings.HasPrefix(q.name, "vert") {
						if s, bad = fan(s, v, poly); bad != nil {
							return nil, bad
						}
					}
					continue
				}
				x := num(q.kind)
				if i := strings.Index("xyz", q.name); i >= 0 && len(q.name) == 1 {
					p[i] = x
				}
			}
			if bad != nil {
				return nil, bad
			}
			if e.name == "vertex" {
				v = append(v, p[:]...)
			}
		}
	}
	return indexed(v, s)
}
