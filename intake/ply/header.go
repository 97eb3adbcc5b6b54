package ply

import (
	"bytes"
	"strconv"
	"strings"

	"firstoff/fault"
)

// kind is the type of a number.
type kind uint8

const (
	i8 kind = iota + 1
	u8
	i16
	u16
	i32
	u32
	f32
	f64
)

var kinds = map[string]kind{
	"char": i8, "int8": i8, "uchar": u8, "uint8": u8, "short": i16, "int16": i16, "ushort": u16, "uint16": u16,
	"int": i32, "int32": i32, "uint": u32, "uint32": u32, "float": f32, "float32": f32, "double": f64, "float64": f64,
}

func (k kind) bytes() int {
	switch k {
	case i8, u8:
		return 1
	case i16, u16:
		return 2
	case f64:
		return 8
	}
	return 4
}

// property is one number, or a list of them, of every element of a kind.
type property struct {
	name  string
	kind  kind
	count kind // of a list's length; 0 for a single number
}

type element struct {
	name  string
	count int64
	props []property
}

// find is the place of the first property with one of these names, or -1.
func (e *element) find(names ...string) int {
	for _, n := range names {
		for i, p := range e.props {
			if p.name == n {
				return i
			}
		}
	}
	return -1
}

// header is what stands before the data.
type header struct {
	ascii, big bool
	elements   []element
	generator  string
	body       int // where the data begin
}

const maxProperties = 1000

func syntax(line int, format string, args ...any) error {
	return fault.New(fault.Invalid, "ply_syntax", "line "+strconv.Itoa(line), strings.TrimSuffix(format, ".")+"; export the model again.", args...)
}

func readHeader(data []byte) (*header, error) {
	h := &header{body: -1}
	format := false
	pos, n, props := 0, 0, 0
	for h.body < 0 {
		if pos >= len(data) || n > 100_000 {
			return nil, fault.New(fault.Invalid, "ply_truncated", "", "The file ends inside of its header; it was probably cut off on its way, send it again.")
		}
		end := pos
		for end < len(data) && data[end] != '\n' && data[end] != '\r' {
			if end-pos > 1<<16 {
				return nil, syntax(n+1, "The header does not end.")
			}
			end++
		}
		line := strings.Fields(string(data[pos:end]))
		// Data may begin with a byte that looks like the second half of a line end: only a header written with CRLF has two.
		next := end + 1
		if end+1 < len(data) && data[end] == '\r' && data[end+1] == '\n' {
			next++
		}
		pos = next
		n++
		if len(line) == 0 {
			continue
		}
		switch line[0] {
		case "ply":
		case "format":
			if len(line) < 2 {
				return nil, syntax(n, "The format is missing.")
			}
			switch line[1] {
			case "ascii":
				h.ascii = true
			case "binary_little_endian":
			case "binary_big_endian":
				h.big = true
			default:
				return nil, fault.New(fault.Unsupported, "ply_format", "line "+strconv.Itoa(n), "The PLY format %.40q is not known; export it as ascii or binary.", line[1])
			}
			format = true
		case "comment", "obj_info":
			if h.generator == "" && len(line) > 2 && (strings.EqualFold(line[1], "created") || strings.EqualFold(line[1], "generated") || strings.EqualFold(line[len(line)-1], "generated")) {
				h.generator = strings.ToValidUTF8(strings.Join(line[1:], " "), "")
				h.generator = h.generator[:min(len(h.generator), 200)]
			}
		case "element":
			if len(line) < 3 {
				return nil, syntax(n, "An element has no name or count.")
			}
			count, err := strconv.ParseInt(line[2], 10, 64)
			if err != nil || count < 0 || len(h.elements) >= 100 {
				return nil, syntax(n, "An element has an impossible count.")
			}
			h.elements = append(h.elements, element{name: line[1], count: count})
		case "property":
			if props++; len(h.elements) == 0 || props > maxProperties {
				return nil, syntax(n, "A property belongs to no element.")
			}
			p := property{name: line[len(line)-1]}
			switch {
			case len(line) == 3:
				p.kind = kinds[line[1]]
			case len(line) == 5 && line[1] == "list":
				p.count, p.kind = kinds[line[2]], kinds[line[3]]
				if p.count == 0 || p.count == f32 || p.count == f64 {
					return nil, syntax(n, "A list has an unknown type.")
				}
			}
			if p.kind == 0 {
				return nil, syntax(n, "A property has an unknown type.")
			}
			e := &h.elements[len(h.elements)-1]
			e.props = append(e.props, p)
		case "end_header":
			h.body = pos
		default:
			return nil, syntax(n, "The header holds the unknown word %.40q.", line[0])
		}
	}
	if !format || !bytes.HasPrefix(data, []byte("ply")) {
		return nil, syntax(1, "The file does not begin as PLY does, or its format is missing.")
	}
	return h, nil
}
