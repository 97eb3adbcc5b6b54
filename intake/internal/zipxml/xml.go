package zipxml

import (
	"bytes"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"firstoff/fault"
	"firstoff/intake/content"
)

// Kind is a kind of token.
type Kind uint8

const (
	Start Kind = iota // an element begins; Name, Space, Attrs describe it
	End               // the element that began last and has not ended ends
	Text              // character data, Data holds it
	EOF               // after the root element
)

// maxElements is the deepest nesting of elements taken.
const maxElements = 256

// NamespaceXML is what the prefix xml stands for.
const NamespaceXML = "http://www.w3.org/XML/1998/namespace"

// Attr is an attribute of the element that began last. Value is good until the next token.
type Attr struct {
	Space string // namespace, "" without a prefix
	Local []byte
	Value []byte
}

// Is says whether the attribute has no namespace and this name.
func (a *Attr) Is(local string) bool { return a.Space == "" && string(a.Local) == local }

// Scanner reads an XML document token by token, strictly: well-formed, namespaces declared, no attribute twice, UTF-8 or
// UTF-16, and no document type, hence no entities but the five. It allocates nothing an element.
type Scanner struct {
	src   []byte
	pos   int
	tag   int // where the last tag began
	space string
	local []byte
	attrs []Attr
	data  []byte

	bound  []binding
	open   []element
	empty  bool // the last start tag ended with />
	rooted bool
	room   []byte // for values with references in them
	raw    []rawAttr
	tokens int

	// Stop is asked now and then; its error ends the reading. Nil never stops.
	Stop func() error
}

type binding struct {
	prefix []byte
	uri    string
}

type element struct {
	name  []byte // as written
	bound int    // bindings before it
}

type rawAttr struct {
	prefix, local, value []byte
}

// NewScanner begins to read. Faults: Invalid xml_encoding, xml_syntax.
func NewScanner(src []byte) (*Scanner, error) {
	switch {
	case bytes.HasPrefix(src, []byte("\xef\xbb\xbf")):
		src = src[3:]
	case bytes.HasPrefix(src, []byte("\xff\xfe")), bytes.HasPrefix(src, []byte("<\x00?\x00")):
		src = fromUTF16(bytes.TrimPrefix(src, []byte("\xff\xfe")), false)
	case bytes.HasPrefix(src, []byte("\xfe\xff")), bytes.HasPrefix(src, []byte("\x00<\x00?")):
		src = fromUTF16(bytes.TrimPrefix(src, []byte("\xfe\xff")), true)
	}
	s := &Scanner{src: src, bound: []binding{{[]byte("xml"), NamespaceXML}}}
	if !utf8.Valid(src) {
		return nil, fault.New(fault.Invalid, "xml_encoding", "", "The XML text is not in UTF-8 or UTF-16; export the model again.")
	}
	return s, s.declaration()
}

func fromUTF16(b []byte, big bool) []byte {
	units := make([]uint16, len(b)/2)
	for i := range units {
		lo, hi := b[2*i], b[2*i+1]
		if big {
			lo, hi = hi, lo
		}
		units[i] = uint16(hi)<<8 | uint16(lo)
	}
	return []byte(string(utf16.Decode(units)))
}

// declaration reads <?xml …?>, of which only the encoding matters.
func (s *Scanner) declaration() error {
	if !bytes.HasPrefix(s.src, []byte("<?xml")) || len(s.src) < 6 || !white(s.src[5]) {
		return nil
	}
	end := bytes.Index(s.src, []byte("?>"))
	if end < 0 {
		return s.fail("The XML declaration does not end.")
	}
	text := s.src[5:end]
	s.pos = end + 2
	if i := bytes.Index(text, []byte("encoding")); i >= 0 {
		v := strings.ToLower(strings.Trim(string(text[i+8:]), " \t\r\n="))
		if len(v) > 1 && (v[0] == '"' || v[0] == '\'') {
			v, _, _ = strings.Cut(v[1:], v[:1])
		}
		switch v {
		case "utf-8", "utf8", "utf-16", "us-ascii", "ascii":
		default:
			return fault.New(fault.Invalid, "xml_encoding", "", "The XML text is in the encoding %q; only UTF-8 and UTF-16 are read, export the model again.", v)
		}
	}
	return nil
}

// fail is the fault of text that is not well-formed, at the last tag or the present place.
func (s *Scanner) fail(format string, args ...any) error {
	return fault.New(fault.Invalid, "xml_syntax", s.Where(), strings.TrimSuffix(format, ".")+"; export the model again.", args...)
}

// Where is the line of the last tag. It counts from the top each time, so it is for faults only.
func (s *Scanner) Where() string { return s.LineOf(s.tag) }

// Tag is the place of the last tag, for LineOf.
func (s *Scanner) Tag() int { return s.tag }

// LineOf is the line of a place given by Tag.
func (s *Scanner) LineOf(tag int) string { return content.Place("line", content.Line(s.src, tag)) }

// Space is the namespace of the element that began or ended last.
func (s *Scanner) Space() string { return s.space }

// Local is the name, without prefix, of the element that began last.
func (s *Scanner) Local() []byte { return s.local }

// Is says whether the element that began last has this name in this namespace.
func (s *Scanner) Is(space, local string) bool { return s.space == space && string(s.local) == local }

// Attrs are the attributes of the element that began last, without namespace declarations; good until the next token.
func (s *Scanner) Attrs() []Attr { return s.attrs }

// Data is the text of a Text token; good until the next token.
func (s *Scanner) Data() []byte { return s.data }

// Depth is how many elements are open.
func (s *Scanner) Depth() int { return len(s.open) }

// Prefix is the namespace that a prefix stands for here, "" if none.
func (s *Scanner) Prefix(prefix string) string {
	uri, _ := s.lookup([]byte(prefix))
	return uri
}

func (s *Scanner) lookup(prefix []byte) (string, bool) {
	for i := len(s.bound) - 1; i >= 0; i-- {
		if string(s.bound[i].prefix) == string(prefix) {
			return s.bound[i].uri, true
		}
	}
	return "", len(prefix) == 0
}

func white(c byte) bool { return c == ' ' || c == '\n' || c == '\r' || c == '\t' }

// letter is for the bytes that names may hold: 1 also at their start, 2 only later. Letters beyond ASCII are not told apart.
var letter = func() (t [256]uint8) {
	for c := range t {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c == '_', c == ':', c >= 0x80:
			t[c] = 1
		case c >= '0' && c <= '9', c == '-', c == '.':
			t[c] = 2
		}
	}
	return
}()

// Next gives the next token. Fault: Invalid xml_syntax, xml_doctype.
func (s *Scanner) Next() (Kind, error) {
	if s.empty {
		s.empty = false
		s.closeTop()
		return End, nil
	}
	if s.tokens++; s.tokens&0xffff == 0 && s.Stop != nil {
		if err := s.Stop(); err != nil {
			return EOF, err
		}
	}
	for {
		if s.pos >= len(s.src) {
			if len(s.open) > 0 {
				return EOF, s.fail("The XML text ends inside of <%s>; it was cut off.", clip(s.open[len(s.open)-1].name))
			}
			if !s.rooted {
				return EOF, s.fail("The XML text holds no element.")
			}
			return EOF, nil
		}
		if s.src[s.pos] != '<' {
			some, err := s.text()
			if err != nil {
				return EOF, err
			}
			if some {
				return Text, nil
			}
			continue
		}
		s.tag = s.pos
		rest := s.src[s.pos:]
		switch {
		case len(rest) > 1 && letter[rest[1]] == 1:
			return Start, s.start()
		case len(rest) > 1 && rest[1] == '/':
			return End, s.end()
		case bytes.HasPrefix(rest, []byte("<!--")):
			i := bytes.Index(rest[4:], []byte("--"))
			if i < 0 || 4+i+2 >= len(rest) || rest[4+i+2] != '>' {
				return EOF, s.fail("A comment does not end, or holds \"--\".")
			}
			s.pos += 4 + i + 3
		case bytes.HasPrefix(rest, []byte("<?")):
			i := bytes.Index(rest, []byte("?>"))
			if i < 0 || bytes.HasPrefix(rest, []byte("<?xml ")) {
				return EOF, s.fail("A processing instruction does not end, or the XML declaration stands in the middle.")
			}
			s.pos += i + 2
		case bytes.HasPrefix(rest, []byte("<![CDATA[")):
			i := bytes.Index(rest, []byte("]]>"))
			if i < 0 || len(s.open) == 0 {
				return EOF, s.fail("A CDATA section does not end, or stands outside of the root element.")
			}
			s.data = rest[9:i]
			s.pos += i + 3
			return Text, nil
		case bytes.HasPrefix(rest, []byte("<!DOCTYPE")):
			return EOF, fault.New(fault.Invalid, "xml_doctype", s.Where(), "The XML text declares a document type, which could pull in other things and is refused; export the model again.")
		default:
			return EOF, s.fail("Here stands a \"<\" that begins nothing.")
		}
	}
}

// text reads character data up to the next tag; false if it was only the white space around the root.
func (s *Scanner) text() (bool, error) {
	s.tag = s.pos
	n := bytes.IndexByte(s.src[s.pos:], '<')
	if n < 0 {
		n = len(s.src) - s.pos
	}
	raw := s.src[s.pos : s.pos+n]
	s.pos += n
	if len(s.open) == 0 {
		for _, c := range raw {
			if !white(c) {
				return false, s.fail("Text stands outside of the root element.")
			}
		}
		return false, nil
	}
	for _, c := range raw {
		if c < ' ' && !white(c) {
			return false, s.fail("The text holds a control character that XML forbids.")
		}
	}
	if bytes.Contains(raw, []byte("]]>")) {
		return false, s.fail("The text holds \"]]>\", which XML forbids.")
	}
	s.room = s.room[:0]
	var err error
	s.data, err = s.resolve(raw)
	return true, err
}

// resolve replaces references; raw itself is returned where there are none.
func (s *Scanner) resolve(raw []byte) ([]byte, error) {
	i := bytes.IndexByte(raw, '&')
	if i < 0 {
		return raw, nil
	}
	from := len(s.room)
	for i >= 0 {
		s.room = append(s.room, raw[:i]...)
		raw = raw[i+1:]
		j := bytes.IndexByte(raw[:min(len(raw), 12)], ';')
		if j < 0 {
			return nil, s.fail("Here stands an \"&\" that begins no reference.")
		}
		name := string(raw[:j])
		switch name {
		case "lt":
			s.room = append(s.room, '<')
		case "gt":
			s.room = append(s.room, '>')
		case "amp":
			s.room = append(s.room, '&')
		case "quot":
			s.room = append(s.room, '"')
		case "apos":
			s.room = append(s.room, '\'')
		default:
			r, ok := character(name)
			if !ok {
				return nil, s.fail("The reference &%s; stands for nothing.", clip([]byte(name)))
			}
			s.room = utf8.AppendRune(s.room, r)
		}
		raw = raw[j+1:]
		i = bytes.IndexByte(raw, '&')
	}
	s.room = append(s.room, raw...)
	return s.room[from:len(s.room):len(s.room)], nil
}

// character reads #10 or #x0A.
func character(name string) (rune, bool) {
	if len(name) < 2 || name[0] != '#' {
		return 0, false
	}
	digits, base := name[1:], rune(10)
	if digits[0] == 'x' {
		digits, base = digits[1:], 16
	}
	if digits == "" {
		return 0, false
	}
	var r rune
	for _, c := range digits {
		d := rune(-1)
		switch {
		case c >= '0' && c <= '9':
			d = c - '0'
		case c >= 'a' && c <= 'f':
			d = c - 'a' + 10
		case c >= 'A' && c <= 'F':
			d = c - 'A' + 10
		}
		if d < 0 || d >= base {
			return 0, false
		}
		if r = r*base + d; r > utf8.MaxRune {
			return 0, false
		}
	}
	return r, r >= ' ' && utf8.ValidRune(r) && r != 0xfffe && r != 0xffff || r == '\t' || r == '\n' || r == '\r'
}

// clip cuts a name for a message.
func clip(b []byte) []byte { return bytes.ToValidUTF8(b[:min(len(b), 40)], nil) }

func (s *Scanner) start() error {
	if len(s.open) == 0 && s.rooted {
		return s.fail("A second root element begins here.")
	}
	if len(s.open) >= maxElements {
		return s.fail("Elements are nested more than %d deep.", maxElements)
	}
	src, p := s.src, s.pos+1
	first := p
	for p < len(src) && letter[src[p]] != 0 {
		p++
	}
	s.open = append(s.open, element{src[first:p], len(s.bound)})
	s.rooted = true
	s.raw, s.room = s.raw[:0], s.room[:0]
	plain := true
	for {
		gap := p
		for p < len(src) && white(src[p]) {
			p++
		}
		if p >= len(src) {
			return s.fail("The XML text ends inside of a tag; it was cut off.")
		}
		if src[p] == '>' {
			p++
			break
		}
		if src[p] == '/' && p+1 < len(src) && src[p+1] == '>' {
			p += 2
			s.empty = true
			break
		}
		if gap == p || letter[src[p]] != 1 {
			return s.fail("The tag <%s> is malformed.", clip(s.open[len(s.open)-1].name))
		}
		first, colon := p, -1
		for p < len(src) && letter[src[p]] != 0 {
			if src[p] == ':' {
				colon = p
			}
			p++
		}
		name := src[first:p]
		for p < len(src) && white(src[p]) {
			p++
		}
		if p >= len(src) || src[p] != '=' {
			return s.fail("The attribute %s has no value.", clip(name))
		}
		p++
		for p < len(src) && white(src[p]) {
			p++
		}
		if p >= len(src) || src[p] != '"' && src[p] != '\'' {
			return s.fail("The value of the attribute %s is not in quotes.", clip(name))
		}
		quote := src[p]
		p++
		value := p
		special := false
		for p < len(src) && src[p] != quote {
			if c := src[p]; c == '&' || c < ' ' || c == '<' {
				if c == '<' || c < ' ' && !white(c) {
					return s.fail("The value of the attribute %s holds a character that XML forbids there.", clip(name))
				}
				special = special || c == '&'
			}
			p++
		}
		if p >= len(src) {
			return s.fail("The XML text ends inside of a tag; it was cut off.")
		}
		a := rawAttr{local: name, value: src[value:p]}
		p++
		if special {
			var err error
			if a.value, err = s.resolve(a.value); err != nil {
				return err
			}
		}
		if colon >= 0 {
			if colon == first || colon+1 >= first+len(name) {
				return s.fail("The name %s is malformed.", clip(name))
			}
			a.prefix, a.local = src[first:colon], src[colon+1:first+len(name)]
			plain = false
		} else if len(name) == 5 && string(name) == "xmlns" {
			plain = false
		}
		s.raw = append(s.raw, a)
	}
	s.pos = p
	return s.names(plain)
}

// names resolves the namespaces of the tag just read.
func (s *Scanner) names(plain bool) error {
	top := &s.open[len(s.open)-1]
	if !plain {
		kept := s.raw[:0]
		for _, a := range s.raw {
			switch {
			case string(a.prefix) == "xmlns":
				if len(a.value) == 0 || string(a.local) == "xmlns" || (string(a.local) == "xml") != (string(a.value) == NamespaceXML) {
					return s.fail("The prefix %s is declared in a way that XML forbids.", clip(a.local))
				}
				s.bound = append(s.bound, binding{a.local, string(a.value)})
			case a.prefix == nil && string(a.local) == "xmlns":
				s.bound = append(s.bound, binding{nil, string(a.value)})
			default:
				kept = append(kept, a)
				continue
			}
			for _, b := range s.bound[top.bound : len(s.bound)-1] {
				if string(b.prefix) == string(s.bound[len(s.bound)-1].prefix) {
					return s.fail("A prefix is declared twice in one tag.")
				}
			}
		}
		s.raw = kept
	}
	s.attrs = s.attrs[:0]
	for i := range s.raw {
		a := &s.raw[i]
		space := ""
		if a.prefix != nil {
			var ok bool
			if space, ok = s.lookup(a.prefix); !ok {
				return s.fail("The prefix %s is not declared.", clip(a.prefix))
			}
		}
		for j := range s.attrs {
			if string(s.attrs[j].Local) == string(a.local) && s.attrs[j].Space == space {
				return s.fail("The attribute %s stands twice in one tag.", clip(a.local))
			}
		}
		s.attrs = append(s.attrs, Attr{space, a.local, a.value})
	}
	s.local = top.name
	var prefix []byte
	if i := bytes.IndexByte(top.name, ':'); i >= 0 {
		prefix, s.local = top.name[:i], top.name[i+1:]
		if len(prefix) == 0 || len(s.local) == 0 || letter[s.local[0]] != 1 || bytes.IndexByte(s.local, ':') >= 0 {
			return s.fail("The name %s is malformed.", clip(top.name))
		}
	}
	var ok bool
	if s.space, ok = s.lookup(prefix); !ok {
		return s.fail("The prefix %s is not declared.", clip(prefix))
	}
	return nil
}

func (s *Scanner) end() error {
	p := s.pos + 2
	first := p
	for p < len(s.src) && letter[s.src[p]] != 0 {
		p++
	}
	name := s.src[first:p]
	for p < len(s.src) && white(s.src[p]) {
		p++
	}
	if p >= len(s.src) || s.src[p] != '>' {
		return s.fail("An end tag is malformed.")
	}
	if len(s.open) == 0 || string(s.open[len(s.open)-1].name) != string(name) {
		return s.fail("The end tag </%s> does not fit what is open.", clip(name))
	}
	s.pos = p + 1
	s.closeTop()
	return nil
}

func (s *Scanner) closeTop() {
	top := s.open[len(s.open)-1]
	s.open = s.open[:len(s.open)-1]
	s.bound = s.bound[:top.bound]
}

// Leaf reads an element ahead of the next token if it is one of this name, without prefix and children, whose attributes
// are the first n ≥ least of keys in their order: as written by almost every program, and so worth reading without a detour. It
// fills values (raw, without references) and gives n; otherwise it gives 0 and reads nothing. The element's namespace is the
// default one, of which the caller makes sure.
func (s *Scanner) Leaf(name string, keys []string, least int, values [][]byte) (n int) {
	if s.empty {
		return 0
	}
	src, p := s.src, s.pos
	for p < len(src) && white(src[p]) {
		p++
	}
	at := p
	if len(src)-p < len(name)+3 || src[p] != '<' || string(src[p+1:p+1+len(name)]) != name {
		return 0
	}
	p += 1 + len(name)
	for {
		gap := p
		for p < len(src) && white(src[p]) {
			p++
		}
		if p+1 >= len(src) {
			return 0
		}
		if src[p] == '/' && src[p+1] == '>' {
			if n < least {
				return 0
			}
			s.pos, s.tag = p+2, at
			return n
		}
		if n == len(keys) || gap == p {
			return 0
		}
		key := keys[n]
		if len(src)-p < len(key)+3 || string(src[p:p+len(key)]) != key || src[p+len(key)] != '=' || src[p+len(key)+1] != '"' {
			return 0
		}
		p += len(key) + 2
		value := p
		for p < len(src) && plain[src[p]] {
			p++
		}
		if p >= len(src) || src[p] != '"' {
			return 0
		}
		values[n] = src[value:p:p]
		n++
		p++
	}
}

// Ahead is how many bytes lie between here and the next end tag of this name (written without prefix), or the end of the text:
// a measure for making room.
func (s *Scanner) Ahead(name string) int {
	rest := s.src[min(s.pos, len(s.src)):]
	if i := bytes.Index(rest, []byte("</"+name)); i >= 0 {
		return i
	}
	return len(rest)
}

// plain are the bytes of a value that Leaf takes: all that numbers are written with.
var plain = func() (t [256]bool) {
	for _, c := range "0123456789+-.eE ," {
		t[c] = true
	}
	return
}()

// Skip passes over the rest of the element that began last, up to and with its end.
func (s *Scanner) Skip() error {
	for depth := len(s.open) - 1; len(s.open) > depth; {
		if _, err := s.Next(); err != nil {
			return err
		}
	}
	return nil
}

// Content gathers the text of the element that began last and passes its end; elements inside are skipped. It is cut
// at limit bytes.
func (s *Scanner) Content(limit int) (string, error) {
	var out []byte
	for {
		k, err := s.Next()
		if err != nil {
			return "", err
		}
		switch k {
		case Start:
			if err := s.Skip(); err != nil {
				return "", err
			}
		case Text:
			out = append(out, s.data[:min(len(s.data), limit-len(out))]...)
		case End:
			return string(bytes.ToValidUTF8(out, nil)), nil
		}
	}
}
