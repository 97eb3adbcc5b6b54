package stl

import (
	"bytes"
	"context"
	"runtime"
	"slices"
	"sync"

	"firstoff/fault"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
)

// minChunk is the least text worth a second processor.
const minChunk = 4 << 20

// readText reads the text kind. The text is cut after some "endfacet"s into one piece a processor; if any piece has a
// fault the whole is read once more in one go, so that the fault reported is the first one.
func readText(ctx context.Context, data []byte, lim content.Limits) (*content.Content, error) {
	pieces := cut(data, runtime.GOMAXPROCS(0), minChunk)
	if len(pieces) > 1 {
		var wg sync.WaitGroup
		for i := range pieces {
			wg.Go(func() { pieces[i].read(ctx, lim) })
		}
		wg.Wait()
		for i := range pieces {
			if pieces[i].err != nil {
				pieces = cut(data, 1, minChunk)
				break
			}
		}
	}
	if len(pieces) == 1 {
		pieces[0].read(ctx, lim)
		if pieces[0].err != nil {
			return nil, pieces[0].err
		}
	}
	all := &pieces[0]
	for i := range pieces[1:] {
		p := &pieces[i+1]
		for _, s := range p.solids {
			s.first += all.facets()
			all.solids = append(all.solids, s)
		}
		all.corners = append(all.corners, p.corners...)
		p.corners = nil
		if all.strange < 0 {
			all.strange = p.strange
		}
		all.open = p.open
	}
	if all.facets() == 0 {
		if all.strange >= 0 {
			return nil, fault.New(fault.Invalid, "not_a_model", "", "The file begins like a text STL but holds no facets, only other text; send the model itself.")
		}
		return nil, fault.New(fault.Invalid, "stl_empty", "", "The STL file holds no facets; export the part again.")
	}
	if all.facets() > lim.Triangles {
		return nil, content.TooManyTriangles(int64(all.facets()), lim.Triangles)
	}
	c := &content.Content{Format: "stl-ascii"}
	if all.strange >= 0 {
		c.Warn("stl_strange_line", content.Place("line", content.Line(data, all.strange)), "Lines that belong to no facet were passed over.")
	}
	if all.open {
		c.Warn("stl_no_end", "", "The last solid has no \"endsolid\"; if facets seem to be missing, the file was cut off on its way.")
	}
	if i := decimal.AllFinite(all.corners); i >= 0 {
		return nil, fault.New(fault.Invalid, "stl_nan", content.Place("facet", i/9+1), "A coordinate is too large for a number of the format; repair or export the part again.")
	}
	return c, bodies(c, all, lim)
}

type solid struct {
	name  string
	first int // facet
}

// piece is a stretch of the text, read on its own.
type piece struct {
	text    []byte // the whole file up to the piece's end
	from    int
	corners []float32 // nine a facet
	solids  []solid
	strange int  // place of the first line that belongs to nothing, or -1
	open    bool // ends inside a solid
	err     error
}

func (p *piece) facets() int { return len(p.corners) / 9 }

// cut splits the text after "endfacet"s into at most n pieces of at least least bytes.
func cut(text []byte, n, least int) []piece {
	n = max(1, min(n, len(text)/least))
	out := make([]piece, 0, n)
	from := 0
	for i := 1; i < n; i++ {
		at := max(from, len(text)/n*i)
		// A window bounds the search in texts with other spelling; they are read in one piece.
		j := bytes.Index(text[at:min(len(text), at+4096)], []byte("endfacet"))
		if j < 0 {
			continue
		}
		at += j + len("endfacet")
		out = append(out, piece{text: text[:at], from: from, strange: -1})
		from = at
	}
	return append(out, piece{text: text, from: from, strange: -1})
}

// is says whether the word w (lower case letters) stands at text[p:], in any case.
func is(text []byte, p int, w string) bool {
	if len(text)-p < len(w) {
		return false
	}
	for i := range len(w) {
		if text[p+i]|0x20 != w[i] {
			return false
		}
	}
	return true
}

// past is the next place at or after p that is not white space.
func past(text []byte, p int) int {
	for p < len(text) && (text[p] == ' ' || text[p]-'\t' < 5) {
		p++
	}
	return p
}

// restOfLine is the end of the line that p is on.
func restOfLine(text []byte, p int) int {
	if i := bytes.IndexAny(text[p:min(len(text), p+256)], "\r\n"); i >= 0 {
		return p + i
	}
	for p < len(text) && text[p] != '\n' && text[p] != '\r' {
		p++
	}
	return p
}

// bodyOfLine is restOfLine, but ends before the first of words in files that are written on one line.
func bodyOfLine(text []byte, p int, words ...string) int {
	end := restOfLine(text, p)
	for _, w := range words {
		if i := bytes.Index(text[p:end], []byte(w)); i >= 0 {
			end = p + i
		}
	}
	return end
}

func (p *piece) read(ctx context.Context, lim content.Limits) {
	text, at := p.text, p.from
	if at == 0 {
		at = len(text) - len(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")))
	}
	p.open = at > 0
	most := 9 * (lim.Triangles + 1)
	for n := 0; ; n++ {
		if n&0xffff == 0 && ctx.Err() != nil {
			p.err = ctx.Err()
			return
		}
		at = past(text, at)
		for at < len(text) && (text[at] == 0 || text[at] == 0x1a) { // padding, old end-of-file mark
			at = past(text, at+1)
		}
		if at >= len(text) {
			return
		}
		switch {
		case is(text, at, "facet"):
			var v [9]float32
			at = p.facet(at, &v)
			if p.err != nil {
				return
			}
			p.corners = append(p.corners, v[:]...)
			if f := p.facets(); f == 256 {
				// Room for all at the mean size of these.
				p.corners = slices.Grow(p.corners, min(9*(len(text)-at)/((at-p.from)/f)*33/32, most))
			}
			if len(p.corners) >= most {
				p.err = content.TooManyTriangles(int64(p.facets()), lim.Triangles)
				return
			}
		case is(text, at, "endsolid"):
			at = bodyOfLine(text, at+8, " solid ", "facet normal")
			p.open = false
		case is(text, at, "solid"):
			end := bodyOfLine(text, at+5, "facet normal")
			p.solids = append(p.solids, solid{name(text[at+5 : end]), p.facets()})
			p.open = true
			at = end
			if len(p.solids) > 50*lim.Bodies { // more than can come down to the limit sensibly
				p.err = content.TooManyBodies(lim.Bodies)
				return
			}
		default:
			end := restOfLine(text, at)
			if i := firstNonText(text[at:end]); i >= 0 {
				p.fail("stl_mixed", at+i, "This is text up to here and then something else; the file is damaged, send it again.")
				return
			}
			if p.strange < 0 {
				p.strange = at
			}
			at = end
		}
	}
}

// facet reads one facet that begins at text[at] and gives the place after it.
func (p *piece) facet(at int, v *[9]float32) int {
	text, start := p.text, at
	at = past(text, at+5)
	if is(text, at, "normal") {
		at += 6
	}
	// The normal's numbers are passed over unread: the next word begins with o, or v where "outer loop" is left out.
	window := text[at:min(len(text), at+256)]
	i := bytes.IndexByte(window, 'o')
	if i < 0 || !is(window, i, "outer") {
		i = bytes.IndexAny(window, "oOvV")
	}
	if i < 0 {
		if at+256 > len(text) {
			return p.truncated(start)
		}
		return p.fail("stl_syntax", start, "After \"facet\" neither \"outer loop\" nor a vertex follows; export the part again.")
	}
	at += i
	if is(text, at, "outer") {
		at = past(text, at+5)
		if !is(text, at, "loop") {
			return p.expected("loop", at, start)
		}
		at += 4
	}
	n := 0
	for {
		at = past(text, at)
		if !is(text, at, "vertex") {
			break
		}
		if n == 3 {
			return p.fail("stl_syntax", at, "A facet has more than three corners, which STL does not allow; export the part again.")
		}
		at += 6
		for j := 3 * n; j < 3*n+3; j++ {
			at = past(text, at)
			x, next := decimal.Float32(text, at)
			if next == at || next < len(text) && text[next] > ' ' {
				return p.badNumber(at, next, start)
			}
			v[j], at = x, next
		}
		n++
	}
	if n < 3 {
		if at < len(text) && is(text, at, "endloop") {
			return p.fail("stl_syntax", at, "A facet has only %d corners; export the part again.", n)
		}
		return p.expected("vertex", at, start)
	}
	if is(text, at, "endloop") {
		at = past(text, at+7)
	}
	if !is(text, at, "endfacet") {
		return p.expected("endfacet", at, start)
	}
	return at + 8
}

func (p *piece) truncated(start int) int {
	return p.fail("stl_truncated", start, "The file ends inside this facet; it was probably cut off on its way, send it again.")
}

// expected reports that word is not at text[at].
func (p *piece) expected(word string, at, start int) int {
	if len(p.text)-at < len(word) && is([]byte(word), 0, string(bytes.ToLower(p.text[min(at, len(p.text)):]))) {
		return p.truncated(start)
	}
	if firstNonText(p.text[at:min(len(p.text), at+64)]) >= 0 {
		return p.fail("stl_mixed", at, "This is text up to here and then something else; the file is damaged, send it again.")
	}
	return p.fail("stl_syntax", at, "%q is expected here, but %s stands there; export the part again.", word, quoted(p.text[at:]))
}

// badNumber reports what stands at text[at] in place of a number; text[at:next] was readable as one.
func (p *piece) badNumber(at, next, start int) int {
	if at >= len(p.text) {
		return p.truncated(start)
	}
	word := bytes.ToLower(p.text[at:min(len(p.text), at+20)])
	switch {
	case firstNonText(p.text[at:min(len(p.text), at+64)]) >= 0:
		return p.fail("stl_mixed", at, "This is text up to here and then something else; the file is damaged, send it again.")
	case next > at && p.text[next] == ',':
		return p.fail("number_comma", at, "A number is written with a comma (%s); export with a decimal point.", quoted(p.text[at:]))
	case bytes.Contains(word, []byte("nan")) || bytes.Contains(word, []byte("inf")) || bytes.Contains(word, []byte("#ind")):
		return p.fail("stl_nan", at, "A coordinate is not a finite number; repair or export the part again.")
	}
	return p.fail("stl_syntax", at, "A coordinate is expected here, but %s stands there; export the part again.", quoted(p.text[at:]))
}

// quoted is the first word of b in quotes, cut to a readable length.
func quoted(b []byte) string {
	n := 0
	for n < len(b) && n < 24 && b[n] > ' ' {
		n++
	}
	return "\"" + name(b[:n]) + "\""
}

func (p *piece) fail(code string, at int, format string, args ...any) int {
	p.err = fault.New(fault.Invalid, code, content.Place("line", content.Line(p.text, at)), format, args...)
	return at
}
