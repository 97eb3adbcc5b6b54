package content

import (
	"fmt"

	"firstoff/fault"
)

// TooManyTriangles is the refusal every reader gives at the limit of triangles.
func TooManyTriangles(n int64, limit int) error {
	return fault.New(fault.TooLarge, "too_many_triangles", "", "The file holds %s triangles or more, over the limit of %s; export it coarser.", Thousands(n), Thousands(int64(limit)))
}

// TooManyBodies is the refusal every reader gives at the limit of bodies.
func TooManyBodies(limit int) error {
	return fault.New(fault.TooLarge, "too_many_bodies", "", "The file holds more than %s bodies; send it in several files.", Thousands(int64(limit)))
}

// TooLarge is the refusal of a file that is over the limit of bytes.
func TooLarge(n, limit int64) error {
	return fault.New(fault.TooLarge, "too_large", "", "The file has %s bytes, over the limit of %s; export it coarser or send it in parts.", Thousands(n), Thousands(limit))
}

// Place names a numbered thing in a file: "facet 12".
func Place(what string, n int) string { return fmt.Sprintf("%s %d", what, n) }

// Thousands prints n with commas: 1,234,567.
func Thousands(n int64) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// Line is the number of the line that holds byte at of text, counting from 1. CR, LF and CRLF end a line.
func Line(text []byte, at int) int {
	n := 1
	for i, c := range text[:min(at, len(text))] {
		if c == '\n' || c == '\r' && (i+1 >= len(text) || text[i+1] != '\n') {
			n++
		}
	}
	return n
}
