// Package stl reads and writes STL: facets and nothing else, binary or as text, without a unit.
//
// Coordinates come through as the file has them (the unit is the door's business). Stored normals are not used: the
// order of the corners says the same and says it more often truly. A text file's solids become bodies, except
// that solids which are only patches of one surface are joined (see patches).
//
// Promises: numbers in text are rounded correctly to float32; the result does not depend on the number of
// processors (TestChunksAgree); nothing in a file makes it panic or take more than 36 bytes for every 40 of the
// text (FuzzRead).
//
// Source: the format has no standard; this follows its first description (StereoLithography Interface
// Specification, 1989, from memory) and common practice for what files really hold.
package stl

import (
	"bytes"
	"context"
	"encoding/binary"
	"unicode"
	"unicode/utf8"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
)

const (
	headerBytes = 80
	headBytes   = headerBytes + 4
	recordBytes = mesh.RecordBytes
)

// Read takes either kind apart. Faults: Invalid stl_empty, stl_truncated, stl_count, stl_mixed, stl_syntax,
// stl_nan, number_comma; TooLarge too_many_triangles, too_many_bodies, too_large.
func Read(ctx context.Context, data []byte, lim content.Limits) (*content.Content, error) {
	lim = lim.OrDefault()
	if int64(len(data)) > lim.Bytes {
		return nil, content.TooLarge(int64(len(data)), lim.Bytes)
	}
	if Text(data) {
		return readText(ctx, data, lim)
	}
	return readBinary(ctx, data, lim)
}

// Plausible says whether data may be an STL file at all: text that begins like one, or a length that fits its count.
func Plausible(data []byte) bool { return Text(data) || exactBinary(data) }

func exactBinary(data []byte) bool {
	return len(data) >= headBytes && int64(len(data)) == headBytes+recordBytes*int64(count(data))
}

func count(data []byte) uint32 { return binary.LittleEndian.Uint32(data[headerBytes:]) }

// Text says whether data is the text kind. A length that fits the count in a binary head settles it, whatever the
// head says ("solid" there is common); else a file that begins with "solid" is text when its first kilobyte has no
// byte that text cannot have, or has one only after a vertex; and so is one without "solid" that has a facet's words.
func Text(data []byte) bool {
	if exactBinary(data) {
		return false
	}
	head := bytes.TrimLeft(bytes.TrimPrefix(data[:min(len(data), 1024)], []byte("\xef\xbb\xbf")), " \t\r\n\f\v")
	i := firstNonText(head)
	text := head
	if i >= 0 {
		text = head[:i]
	}
	text = bytes.ToLower(text)
	if !bytes.HasPrefix(text, []byte("solid")) {
		return bytes.Contains(text, []byte("facet")) && bytes.Contains(text, []byte("vertex")) && bytes.Contains(text, []byte("loop"))
	}
	return i < 0 || bytes.Contains(text, []byte("vertex"))
}

// firstNonText is the place of the first control character that no text holds, or -1. Bytes above 127 are let
// through: names are in any encoding.
func firstNonText(b []byte) int {
	for i, c := range b {
		if c < ' ' && c != '\t' && c != '\r' && c != '\n' && c != '\f' && c != '\v' && c != 0x1a || c == 0x7f {
			return i
		}
	}
	return -1
}

func readBinary(ctx context.Context, data []byte, lim content.Limits) (*content.Content, error) {
	if len(data) < headBytes {
		return nil, fault.New(fault.Invalid, "stl_truncated", "", "A binary STL file begins with %d bytes of head, this file has only %d in all; export or send it again.", headBytes, len(data))
	}
	c := &content.Content{Format: "stl"}
	body := data[headBytes:]
	n, room := int64(count(data)), int64(len(body)/recordBytes)
	switch {
	case n == 0 && room == 0:
		return nil, fault.New(fault.Invalid, "stl_empty", "", "The STL file holds no facets; export the part again.")
	case n == 0 && len(body)%recordBytes == 0:
		c.Warn("stl_count_zero", "byte 80", "The head states no facets but records follow; they were read to the end of the file.")
		n = room
	case n > room && n > int64(lim.Triangles):
		return nil, fault.New(fault.Invalid, "stl_count", "byte 80", "The head states %d facets but the file has room for only %d; export the part again.", n, room)
	case n > room:
		return nil, fault.New(fault.Invalid, "stl_truncated", "byte 80", "The head states %d facets but the file ends after %d; it was probably cut off on its way, send it again.", n, room)
	case n == 0:
		return nil, fault.New(fault.Invalid, "stl_empty", "byte 80", "The STL file states no facets and what follows is not a whole number of them; export the part again.")
	}
	if n > int64(lim.Triangles) {
		return nil, content.TooManyTriangles(n, lim.Triangles)
	}
	if rest := int64(len(body)) - n*recordBytes; rest > 0 {
		c.Warn("stl_trailing", "", "Bytes after the last facet were passed over.")
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	body = body[:n*recordBytes]
	m := mesh.FromSTLRecords(body)
	if i := decimal.AllFinite(m.Pos); i >= 0 {
		f := facetOf(m, uint32(i/3))
		return nil, fault.New(fault.Invalid, "stl_nan", content.Place("facet", f+1), "A coordinate is not a finite number; repair or export the part again.")
	}
	c.Bodies = []content.Body{{Name: headName(data[:headerBytes]), Mesh: m}}
	colours(&c.Bodies[0], data[:headerBytes], body)
	return c, nil
}

// facetOf is the first facet that uses vertex v.
func facetOf(m *mesh.Mesh, v uint32) int {
	for i, w := range m.Tri {
		if w == v {
			return i / 3
		}
	}
	return 0
}

// headName is the part's name where the head holds one: "solid NAME" is the only form common enough to trust.
func headName(head []byte) string {
	if !bytes.HasPrefix(head, []byte("solid ")) {
		return ""
	}
	s := head[6:]
	if i := bytes.IndexByte(s, 0); i >= 0 {
		s = s[:i]
	}
	return name(s)
}

// name makes printable text of what stands after "solid".
func name(b []byte) string {
	b = bytes.TrimSpace(b)
	if len(b) > 200 {
		b = b[:200]
	}
	out := make([]rune, 0, len(b))
	for len(b) > 0 {
		r, n := utf8.DecodeRune(b)
		if r == utf8.RuneError && n == 1 {
			r = rune(b[0]) // an old code page; Latin-1 is the likeliest
		}
		b = b[n:]
		if unicode.IsPrint(r) {
			out = append(out, r)
		}
	}
	return string(out)
}

// colours reads the two unofficial uses of a record's attribute word (common practice). In both, 5 bits each of red, green, blue.
//   - The head says "COLOR=" and four bytes: the body's colour. A record's bit 15 clear means it has its own, red lowest.
//   - Otherwise bit 15 set means the record has a colour, blue lowest. Taken only if every record has it set, since
//     the word holds anything in files that do not mean colours.
func colours(b *content.Body, head, records []byte) {
	if i := bytes.Index(head, []byte("COLOR=")); i >= 0 && i+10 <= len(head) {
		h := head[i+6 : i+10]
		// An all-blank value is a head that names the field and leaves it empty.
		if !bytes.Equal(h, []byte("    ")) && !bytes.Equal(h, []byte{0, 0, 0, 0}) {
			b.Color = &content.RGBA{h[0], h[1], h[2], h[3]}
		}
		own := false
		for p := 48; p < len(records); p += recordBytes {
			if records[p+1]&0x80 == 0 && (records[p] != 0 || records[p+1] != 0) {
				own = true
				break
			}
		}
		if !own {
			return
		}
		base := content.RGBA{0xb0, 0xb0, 0xb0, 0xff}
		if b.Color != nil {
			base = *b.Color
		}
		b.FacetColor = make([]content.RGBA, 0, len(records)/recordBytes)
		for p := 48; p < len(records); p += recordBytes {
			w := binary.LittleEndian.Uint16(records[p:])
			if w&0x8000 != 0 {
				b.FacetColor = append(b.FacetColor, base)
			} else {
				b.FacetColor = append(b.FacetColor, content.RGBA{five(w), five(w >> 5), five(w >> 10), 0xff})
			}
		}
		return
	}
	same := true
	first := binary.LittleEndian.Uint16(records[48:])
	for p := 48; p < len(records); p += recordBytes {
		w := binary.LittleEndian.Uint16(records[p:])
		if w&0x8000 == 0 {
			return
		}
		same = same && w == first
	}
	if same {
		b.Color = &content.RGBA{five(first >> 10), five(first >> 5), five(first), 0xff}
		return
	}
	b.FacetColor = make([]content.RGBA, 0, len(records)/recordBytes)
	for p := 48; p < len(records); p += recordBytes {
		w := binary.LittleEndian.Uint16(records[p:])
		b.FacetColor = append(b.FacetColor, content.RGBA{five(w >> 10), five(w >> 5), five(w), 0xff})
	}
}

// five widens 5 bits to 8.
func five(w uint16) uint8 { w &= 31; return uint8(w<<3 | w>>2) }
