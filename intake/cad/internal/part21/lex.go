package part21

import (
	"bytes"
	"cmp"
	"slices"
)

// File is a text cut into records.
type File struct {
	Header  []byte // the header section's text
	records []record
	words   []string // the keywords met, each once
	src     []byte
	// Complete says that the closing END-ISO-10303-21 was met.
	Complete bool
}

// record is one instance: #id = KEYWORD(parameters); with KEYWORD 0 for several in parentheses.
type record struct {
	id      uint64
	word    uint32 // index into words
	at, end int    // of what follows the keyword
}

// maxRecords keeps a hostile text from asking for memory out of proportion: a record takes at least 6 bytes.
const maxRecords = 50_000_000

// Scan cuts a text into records. It never fails: what is no record is passed over.
func Scan(src []byte) *File {
	f := &File{src: src, words: []string{""}}
	s := scanner{b: src}
	known := map[string]uint32{}
	header := -1
	for {
		s.space()
		if s.p >= len(src) {
			break
		}
		start := s.p
		if src[s.p] == '#' {
			s.p++
			id, ok := s.digits()
			s.space()
			if ok && s.p < len(src) && src[s.p] == '=' {
				s.p++
				s.space()
				w := s.word()
				r := record{id: id, at: s.p}
				if len(w) > 0 {
					n, seen := known[string(w)]
					if !seen {
						n = uint32(len(f.words))
						f.words = append(f.words, string(w))
						known[string(w)] = n
					}
					r.word = n
				}
				closed := s.statement()
				r.end = s.p
				if closed {
					r.end--
					if len(f.records) < maxRecords {
						f.records = append(f.records, r)
					}
				}
				continue
			}
		}
		s.p = start
		word := s.word()
		s.statement()
		switch string(word) {
		case "HEADER":
			header = s.p
		case "ENDSEC":
			if header >= 0 && f.Header == nil {
				f.Header = src[header:start]
			}
		case "END-ISO-10303-21":
			f.Complete = true
		}
		if s.p == start {
			s.p++
		}
	}
	byID := func(a, b record) int { return cmp.Compare(a.id, b.id) }
	if !slices.IsSortedFunc(f.records, byID) {
		slices.SortStableFunc(f.records, byID)
	}
	return f
}

// scanner walks over the text's tokens.
type scanner struct {
	b []byte
	p int
}

// space passes over white space, control characters and comments.
func (s *scanner) space() {
	for s.p < len(s.b) {
		c := s.b[s.p]
		if c <= ' ' {
			s.p++
		} else if c == '/' && s.p+1 < len(s.b) && s.b[s.p+1] == '*' {
			s.comment()
		} else {
			return
		}
	}
}

func (s *scanner) comment() {
	if i := bytes.Index(s.b[s.p+2:], []byte("*/")); i >= 0 {
		s.p += 2 + i + 2
	} else {
		s.p = len(s.b)
	}
}

func (s *scanner) digits() (n uint64, ok bool) {
	for s.p < len(s.b) {
		c := s.b[s.p]
		if c < '0' || c > '9' {
			break
		}
		if n > 1<<59 {
			return 0, false
		}
		n = n*10 + uint64(c-'0')
		ok = true
		s.p++
	}
	return n, ok
}

func letter(c byte) bool {
	return c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_' || c == '-' || c == '!'
}

func (s *scanner) word() []byte {
	at := s.p
	for s.p < len(s.b) && letter(s.b[s.p]) {
		s.p++
	}
	return s.b[at:s.p]
}

// statement passes over everything up to and with the next semicolon outside strings and comments; false
// when the text ends before.
func (s *scanner) statement() bool {
	for s.p < len(s.b) {
		switch s.b[s.p] {
		case ';':
			s.p++
			return true
		case '\'':
			s.quoted()
		case '"':
			s.p++
			if i := bytes.IndexByte(s.b[s.p:], '"'); i >= 0 {
				s.p += i + 1
			} else {
				s.p = len(s.b)
			}
		case '/':
			if s.p+1 < len(s.b) && s.b[s.p+1] == '*' {
				s.comment()
			} else {
				s.p++
			}
		default:
			s.p++
		}
	}
	return false
}

// quoted passes over a string and gives what stands between its quotes, doubled quotes still doubled.
func (s *scanner) quoted() []byte {
	s.p++
	at := s.p
	for {
		i := bytes.IndexByte(s.b[s.p:], '\'')
		if i < 0 {
			s.p = len(s.b)
			return s.b[at:]
		}
		s.p += i + 1
		if s.p < len(s.b) && s.b[s.p] == '\'' {
			s.p++
			continue
		}
		return s.b[at : s.p-1]
	}
}

// find is the record with the id.
func (f *File) find(id uint64) *record {
	i, ok := slices.BinarySearchFunc(f.records, id, func(r record, id uint64) int { return cmp.Compare(r.id, id) })
	if !ok {
		return nil
	}
	return &f.records[i]
}

// Records is how many there are.
func (f *File) Records() int { return len(f.records) }
