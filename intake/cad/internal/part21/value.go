package part21

import (
	"bytes"
	"strconv"
)

// Kind of a parameter.
type Kind uint8

// The kinds of ISO 10303-21: $, *, a number, a string, .ENUM., "binary", #reference, a list, KEYWORD(…).
const (
	Null Kind = iota
	Derived
	Number
	String
	Enum
	Binary
	Ref
	List
	Typed
)

// Value is one parameter. Text is a string decoded, an enumeration's word, or a typed value's keyword.
type Value struct {
	Kind Kind
	Num  float64
	ID   uint64
	Text string
	List []Value
}

// part is one keyword with its parameters; a plain record has one, a complex one several.
type part struct {
	word string
	args []Value
}

const maxNesting = 32

// parts parses a record.
func (f *File) parts(r *record) []part {
	s := &scanner{b: f.src[:r.end], p: r.at}
	s.space()
	if s.p >= len(s.b) || s.b[s.p] != '(' {
		return nil
	}
	if r.word != 0 {
		return []part{{f.words[r.word], s.list(0)}}
	}
	s.p++
	var all []part
	for {
		s.space()
		w := s.word()
		if len(w) == 0 {
			return all
		}
		s.space()
		p := part{word: string(w)}
		if s.p < len(s.b) && s.b[s.p] == '(' {
			p.args = s.list(0)
		}
		all = append(all, p)
	}
}

// get gives the parameters of the record id if it is, or has a part that is, called word.
func (f *File) get(id uint64, word string) ([]Value, bool) {
	if r := f.find(id); r != nil && (r.word == 0 || f.words[r.word] == word) {
		for _, p := range f.parts(r) {
			if p.word == word {
				return p.args, true
			}
		}
	}
	return nil, false
}

// word is the keyword of a record; "" when it does not exist or has several.
func (f *File) word(id uint64) string {
	if r := f.find(id); r != nil {
		return f.words[r.word]
	}
	return ""
}

// each calls fn with every record called word, and every complex one with a part that is.
func (f *File) each(word string, fn func(id uint64, args []Value)) {
	var w uint32
	for i, known := range f.words {
		if known == word {
			w = uint32(i)
		}
	}
	for i := range f.records {
		r := &f.records[i]
		switch {
		case r.word != 0 && r.word != w, r.word == 0 && !bytes.Contains(f.src[r.at:r.end], []byte(word)):
			continue
		}
		for _, p := range f.parts(r) {
			if p.word == word {
				fn(r.id, p.args)
			}
		}
	}
}

// list parses a parenthesised list; the scanner stands on its parenthesis.
func (s *scanner) list(depth int) []Value {
	s.p++
	vals := []Value{}
	for {
		s.space()
		if s.p >= len(s.b) {
			return vals
		}
		switch c := s.b[s.p]; {
		case c == ')':
			s.p++
			return vals
		case c == ',':
			s.p++
		default:
			at := s.p
			v := s.value(depth)
			if s.p == at { // nothing that can begin a value
				s.p++
				continue
			}
			vals = append(vals, v)
		}
	}
}

func (s *scanner) value(depth int) Value {
	switch c := s.b[s.p]; {
	case c == '$':
		s.p++
		return Value{}
	case c == '*':
		s.p++
		return Value{Kind: Derived}
	case c == '\'':
		return Value{Kind: String, Text: Decode(s.quoted())}
	case c == '#':
		s.p++
		id, _ := s.digits()
		return Value{Kind: Ref, ID: id}
	case c == '.' && !(s.p+1 < len(s.b) && s.b[s.p+1] >= '0' && s.b[s.p+1] <= '9'):
		s.p++
		w := s.word()
		if s.p < len(s.b) && s.b[s.p] == '.' {
			s.p++
		}
		return Value{Kind: Enum, Text: string(w)}
	case c == '"':
		s.p++
		at := s.p
		for s.p < len(s.b) && s.b[s.p] != '"' {
			s.p++
		}
		v := Value{Kind: Binary, Text: string(s.b[at:s.p])}
		s.p++
		return v
	case c == '(':
		if depth >= maxNesting {
			s.p = len(s.b)
			return Value{Kind: List}
		}
		return Value{Kind: List, List: s.list(depth + 1)}
	case c >= '0' && c <= '9' || c == '-' || c == '+' || c == '.':
		at := s.p
		s.p++
		for s.p < len(s.b) {
			c := s.b[s.p]
			if !(c >= '0' && c <= '9' || c == '.' || c == 'E' || c == 'e' || (c == '-' || c == '+') && (s.b[s.p-1]|32) == 'e') {
				break
			}
			s.p++
		}
		n, _ := strconv.ParseFloat(string(s.b[at:s.p]), 64)
		return Value{Kind: Number, Num: n}
	case letter(c):
		w := string(s.word())
		s.space()
		v := Value{Kind: Typed, Text: w}
		if s.p < len(s.b) && s.b[s.p] == '(' {
			if depth >= maxNesting {
				s.p = len(s.b)
				return v
			}
			v.List = s.list(depth + 1)
		}
		return v
	}
	return Value{}
}

// arg is the i-th parameter, Null when there are fewer.
func arg(args []Value, i int) Value {
	if i < len(args) {
		return args[i]
	}
	return Value{}
}
