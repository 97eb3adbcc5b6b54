package zipxml

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"testing"
	"unicode/utf16"

	"firstoff/fault"
)

// trace writes tokens as text.
func trace(src []byte) (string, error) {
	s, err := NewScanner(src)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for {
		k, err := s.Next()
		if err != nil {
			return b.String(), err
		}
		switch k {
		case Start:
			fmt.Fprintf(&b, "<{%s}%s", s.Space(), s.Local())
			for _, a := range s.Attrs() {
				fmt.Fprintf(&b, " {%s}%s=%q", a.Space, a.Local, a.Value)
			}
			b.WriteString(">")
		case End:
			b.WriteString("</>")
		case Text:
			fmt.Fprintf(&b, "%q", s.Data())
		case EOF:
			return b.String(), nil
		}
	}
}

func TestTokens(t *testing.T) {
	for src, want := range map[string]string{
		`<a/>`: `<{}a></>`,
		`<?xml version="1.0" encoding="UTF-8"?>` + "\n<!-- c --><a b = 'x' c=\"y&amp;&#65;&#x42;\" ><b>t&lt;</b ><![CDATA[<&]]><?pi?></a>\n": `<{}a {}b="x" {}c="y&AB"><{}b>"t<"</>"<&"</>`,
		`<a xmlns="u" xmlns:p="v" p:x="1" x="2"><p:b xmlns:p="w" p:y=""/><p:c/><d xmlns=""/></a>`:                                            `<{u}a {v}x="1" {}x="2"><{w}b {w}y=""></><{v}c></><{}d></></>`,
		`<a xml:lang="de">ä</a>`: `<{}a {http://www.w3.org/XML/1998/namespace}lang="de">"ä"</>`,
	} {
		got, err := trace([]byte(src))
		if err != nil || got != want {
			t.Errorf("%s:\n got %s (%v)\nwant %s", src, got, err, want)
		}
		var wide []byte
		for _, u := range utf16.Encode([]rune("\ufeff" + strings.Replace(src, "UTF-8", "UTF-16", 1))) {
			wide = append(wide, byte(u>>8), byte(u))
		}
		if got, err := trace(wide); err != nil || got != want {
			t.Errorf("%s in UTF-16: %s (%v)", src, got, err)
		}
	}
}

func TestNotWellFormed(t *testing.T) {
	for src, code := range map[string]string{
		``: "xml_syntax", `  `: "xml_syntax", `<?xml version="1.0"?>`: "xml_syntax", `text`: "xml_syntax", `<a>`: "xml_syntax", `<a`: "xml_syntax", `<a b`: "xml_syntax", `<a b="`: "xml_syntax",
		`<a></b>`: "xml_syntax", `<a/><b/>`: "xml_syntax", `<a/>x`: "xml_syntax", `</a>`: "xml_syntax", `<a b=1/>`: "xml_syntax", `<a b="1" b="2"/>`: "xml_syntax", `<a b="1"c="2"/>`: "xml_syntax",
		`<a b="<"/>`: "xml_syntax", `<a b="&"/>`: "xml_syntax", `<a b="&x;"/>`: "xml_syntax", `<a>&#0;</a>`: "xml_syntax", `<a>&#x110000;</a>`: "xml_syntax", "<a>\x01</a>": "xml_syntax", `<a>]]></a>`: "xml_syntax",
		`<p:a/>`: "xml_syntax", `<a p:b="1"/>`: "xml_syntax", `<a xmlns:p="u" xmlns:q="u" p:x="1" q:x="2"/>`: "xml_syntax", `<a xmlns:p=""/>`: "xml_syntax", `<a xmlns:p="1" xmlns:p="2"/>`: "xml_syntax",
		`<a:/>`: "xml_syntax", `<:a/>`: "xml_syntax", `<a><!-- -- --></a>`: "xml_syntax", `<a><!-- `: "xml_syntax", `<a><?pi`: "xml_syntax", `<a><![CDATA[`: "xml_syntax", `<a>< b/></a>`: "xml_syntax",
		`<a><?xml version="1.0"?></a>`: "xml_syntax", `<1/>`: "xml_syntax", strings.Repeat("<a>", 300): "xml_syntax",
		`<!DOCTYPE a><a/>`: "xml_doctype", `<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>`: "xml_doctype", "<a>\xff</a>": "xml_encoding", `<?xml version="1.0" encoding="EBCDIC"?><a/>`: "xml_encoding",
	} {
		if got, err := trace([]byte(src)); fault.Of(err) == nil || fault.Of(err).Code != code {
			t.Errorf("%.60s: %s (%v), want %s", src, got, err, code)
		}
	}
	_, err := trace([]byte("<a>\n\n<b c='1' c='2'/></a>"))
	if f := fault.Of(err); f.Where != "line 3" {
		t.Errorf("place %q", f.Where)
	}
}

func TestSkipAndContent(t *testing.T) {
	s, _ := NewScanner([]byte(`<a><b><c/>x<b/></b><d>one<e>no</e> two</d><f/></a>`))
	var seen []string
	for {
		k, err := s.Next()
		if err != nil {
			t.Fatal(err)
		}
		if k == EOF {
			break
		}
		if k != Start {
			continue
		}
		seen = append(seen, string(s.Local()))
		switch string(s.Local()) {
		case "b":
			if err := s.Skip(); err != nil {
				t.Fatal(err)
			}
		case "d":
			if text, err := s.Content(5); err != nil || text != "one t" {
				t.Errorf("content %q, %v", text, err)
			}
		}
	}
	if strings.Join(seen, "") != "abdf" {
		t.Errorf("elements %v", seen)
	}
}

// FuzzXML: no panic; what we accept, the standard library's reader accepts too, with as many elements.
func FuzzXML(f *testing.F) {
	f.Add([]byte(`<?xml version="1.0" encoding="UTF-8"?><a xmlns:p="u" b="1&amp;" p:c='2'><b>x</b><!-- c --><p:d/></a>`))
	f.Add([]byte(`<a><![CDATA[x]]>&#65;</a>`))
	f.Fuzz(func(t *testing.T, src []byte) {
		s, err := NewScanner(src)
		if err != nil {
			return
		}
		elements := 0
		for {
			k, err := s.Next()
			if err != nil {
				if fault.KindOf(err) == fault.Internal {
					t.Fatal(err)
				}
				return
			}
			if k == EOF {
				break
			}
			if k == Start {
				elements++
			}
		}
		if len(src) > 1 && (src[0] >= 0xfe || src[0] == 0 || src[1] == 0) {
			return // the other reader knows no UTF-16
		}
		d := xml.NewDecoder(strings.NewReader(string(s.src)))
		d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil }
		n := 0
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				// Letters beyond ASCII in names are not told apart here.
				if strings.Contains(err.Error(), "invalid XML name") || strings.Contains(err.Error(), "version") || strings.Contains(err.Error(), "illegal character") || strings.Contains(err.Error(), "expected") {
					return
				}
				t.Fatalf("accepted %q, the other reader says %v", src, err)
			}
			if _, ok := tok.(xml.StartElement); ok {
				n++
			}
		}
		if n != elements {
			t.Fatalf("%q: %d elements, the other reader finds %d", src, elements, n)
		}
	})
}

func BenchmarkScanner(b *testing.B) {
	var doc strings.Builder
	doc.WriteString(`<m xmlns="u">`)
	for i := range 100_000 {
		fmt.Fprintf(&doc, "\t\t<vertex x=\"%d.12345\" y=\"2.54321\" z=\"-3.5\" />\n", i%100)
	}
	doc.WriteString(`</m>`)
	src := []byte(doc.String())
	b.SetBytes(int64(len(src)))
	for b.Loop() {
		s, _ := NewScanner(src)
		for {
			k, err := s.Next()
			if err != nil {
				b.Fatal(err)
			}
			if k == EOF {
				break
			}
		}
	}
}
