package cad

import (
	"bytes"
	"path"
	"strings"

	"firstoff/intake/cad/internal/part21"
)

// Format tells a file's format by its first bytes: "step", "iges", "brep", or "" for none of them.
func Format(data []byte) string {
	head := trimBOM(data)
	head = bytes.TrimLeft(head[:min(len(head), 4096)], " \t\r\n\x00")
	switch {
	case bytes.HasPrefix(head, []byte(part21.Signature)):
		return "step"
	case bytes.HasPrefix(head, []byte("DBRep_DrawableShape")), brepHead(head):
		return "brep"
	case igesHead(trimBOM(data)):
		return "iges"
	}
	return ""
}

func trimBOM(b []byte) []byte { return bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")) }

func brepHead(head []byte) bool {
	return bytes.Contains(head[:min(len(head), 200)], []byte("CASCADE Topology V"))
}

// igesHead: lines of 80 columns, the first with S in column 73 and its number after (IGES 5.3, section 2.2).
func igesHead(b []byte) bool {
	if len(b) < 80 || b[72] != 'S' {
		return false
	}
	line := b[:80]
	if bytes.ContainsAny(line, "\r\n\x00") {
		return false
	}
	number := strings.TrimLeft(string(line[73:]), " 0")
	return number == "1"
}

// Named tells the format a file's name promises, or "".
func Named(name string) string {
	switch strings.ToLower(path.Ext(strings.ReplaceAll(name, `\`, "/"))) {
	case ".step", ".stp", ".p21":
		return "step"
	case ".igs", ".iges":
		return "iges"
	case ".brep", ".brp":
		return "brep"
	}
	return ""
}
