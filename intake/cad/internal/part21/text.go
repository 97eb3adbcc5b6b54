package part21

import (
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Decode turns what stands between a string's quotes into UTF-8: doubled quotes and backslashes, \S\c (the
// upper half of the current part of ISO 8859, part 1 assumed), \X\hh (ISO 8859-1), \X2\…\X0\ (UTF-16),
// \X4\…\X0\ (UTF-32). Bytes beyond ASCII, which older editions forbid and many exporters write, are taken as
// UTF-8 when they are, else as ISO 8859-1.
func Decode(b []byte) string {
	plain := true
	for _, c := range b {
		if c == '\\' || c == '\'' || c >= 0x80 {
			plain = false
			break
		}
	}
	if plain {
		return string(b)
	}
	valid := utf8.Valid(b)
	var out strings.Builder
	for i := 0; i < len(b); {
		rest := b[i:]
		switch c := b[i]; {
		case c == '\'' && len(rest) > 1 && rest[1] == '\'':
			out.WriteByte('\'')
			i += 2
		case c == '\\':
			n := escape(&out, rest)
			if n == 0 {
				out.WriteByte('\\')
				n = 1
			}
			i += n
		case c < 0x80:
			out.WriteByte(c)
			i++
		case valid:
			r, n := utf8.DecodeRune(rest)
			out.WriteRune(r)
			i += n
		default:
			out.WriteRune(rune(c))
			i++
		}
	}
	return out.String()
}

// escape writes what the escape at the beginning of b stands for and says how long it is; 0 if it is none.
func escape(out *strings.Builder, b []byte) int {
	has := func(p string) bool { return len(b) >= len(p) && string(b[:len(p)]) == p }
	switch {
	case has(`\\`):
		out.WriteByte('\\')
		return 2
	case has(`\S\`) && len(b) > 3:
		out.WriteRune(rune(b[3]&0x7f) + 0x80)
		return 4
	case len(b) > 3 && b[1] == 'P' && b[3] == '\\': // \PA\: which part of ISO 8859 follows
		return 4
	case has(`\X\`) && len(b) >= 5:
		if v, ok := hex(b[3:5]); ok {
			out.WriteRune(rune(v))
			return 5
		}
	case has(`\X2\`), has(`\X4\`):
		width := int(b[2]-'0') * 2
		var units []uint16
		for i := 4; ; i += width {
			if len(b) >= i+4 && string(b[i:i+4]) == `\X0\` {
				out.WriteString(string(utf16.Decode(units)))
				return i + 4
			}
			if len(b) < i+width {
				return 0
			}
			v, ok := hex(b[i : i+width])
			if !ok {
				return 0
			}
			if width == 4 {
				units = append(units, uint16(v))
			} else {
				units = utf16.AppendRune(units, rune(v))
			}
		}
	}
	return 0
}

func hex(b []byte) (v uint32, ok bool) {
	for _, c := range b {
		switch {
		case c >= '0' && c <= '9':
			v = v<<4 | uint32(c-'0')
		case c >= 'A' && c <= 'F':
			v = v<<4 | uint32(c-'A'+10)
		case c >= 'a' && c <= 'f':
			v = v<<4 | uint32(c-'a'+10)
		default:
			return 0, false
		}
	}
	return v, true
}
