// Package paper prints the bureau's documents as PDF: warm ink on white, hairlines, numbers right-aligned, states by
// word and shape, parts engraved. The same record gives the same bytes, so that a paper can be compared.
//
// Fonts are embedded from paper/fonts, where tools/bundle puts them; without them the program still builds and says so.
package paper

import (
	"bytes"
	"context"
	"embed"
	"fmt"
	"image/png"
	"io"
	"strings"
	"sync"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"firstoff/digest"
	"firstoff/fault"
	"firstoff/geom/engrave"
	"firstoff/geom/mesh"
	"firstoff/intake/glb"
	"firstoff/shop"
)

//go:embed all:fonts
var fonts embed.FS

// Models opens kept models (GLB) by digest.
type Models interface {
	Open(ctx context.Context, d digest.Digest) (io.ReadSeekCloser, error)
}

// Press prints papers for one shop. Safe for concurrent use.
type Press struct {
	Catalogue func() *shop.Catalogue
	Models    Models
	Poses     Poses // nil: how parts lie is not drawn

	mu       sync.Mutex
	pictures map[digest.Digest][]byte
}

// Ink and paper, as on the pages.
var (
	inkRGB   = [3]int{0x20, 0x26, 0x2B}
	quietRGB = [3]int{0x56, 0x5B, 0x5E}
	lineRGB  = [3]int{0xB9, 0xB3, 0xA2}
	actRGB   = [3]int{0x0B, 0x5C, 0x63}
)

// sheet is a document being written, A4, in mm.
type sheet struct {
	*fpdf.Fpdf
	foot string
}

const (
	left, right = 20.0, 190.0
	wide        = right - left
)

// newSheet starts a document. foot is printed at the bottom of every page before its number.
func newSheet(title, foot string, made time.Time) (*sheet, error) {
	p := fpdf.New("P", "mm", "A4", "")
	for _, f := range []struct{ style, file string }{{"", "text.ttf"}, {"B", "text-bold.ttf"}, {"I", "text-italic.ttf"}} {
		b, err := fonts.ReadFile("fonts/" + f.file)
		if err != nil {
			return nil, fault.Because(err, fault.Unsupported, "fonts_missing", "", "This program was built without its typeface, so it cannot print papers; build it with make build.")
		}
		p.AddUTF8FontFromBytes("Desk", f.style, b)
	}
	b, err := fonts.ReadFile("fonts/mono.ttf")
	if err != nil {
		return nil, fault.Because(err, fault.Unsupported, "fonts_missing", "", "This program was built without its typeface, so it cannot print papers; build it with make build.")
	}
	p.AddUTF8FontFromBytes("Mono", "", b)
	p.SetCreationDate(made.UTC())
	p.SetModificationDate(made.UTC())
	p.SetCatalogSort(true)
	p.SetTitle(title, true)
	p.SetProducer("firstoff", true)
	p.SetMargins(left, 18, 210-right)
	p.SetAutoPageBreak(true, 20)
	p.AliasNbPages("{pages}")
	s := &sheet{p, foot}
	p.SetFooterFunc(func() {
		p.SetY(-14)
		s.rule()
		p.SetY(-12)
		s.quiet(8)
		p.CellFormat(wide*0.8, 5, s.foot, "", 0, "L", false, 0, "")
		p.CellFormat(wide*0.2, 5, pageOf(p.PageNo()), "", 0, "R", false, 0, "")
	})
	p.AddPage()
	return s, nil
}

func pageOf(n int) string { return fmt.Sprintf("page %d of {pages}", n) }

func (s *sheet) ink(style string, size float64) {
	s.SetFont("Desk", style, size)
	s.SetTextColor(inkRGB[0], inkRGB[1], inkRGB[2])
}

func (s *sheet) quiet(size float64) {
	s.SetFont("Desk", "", size)
	s.SetTextColor(quietRGB[0], quietRGB[1], quietRGB[2])
}

func (s *sheet) rule() {
	s.SetDrawColor(lineRGB[0], lineRGB[1], lineRGB[2])
	s.SetLineWidth(0.2)
	s.Line(left, s.GetY(), right, s.GetY())
}

// heading is a section's name over a hairline; it takes what follows along if little room is left.
func (s *sheet) heading(text string) {
	s.room(24)
	s.Ln(3)
	s.ink("B", 11)
	s.CellFormat(wide, 6, text, "", 1, "L", false, 0, "")
	s.rule()
	s.Ln(1.5)
}

// room starts a new page unless h mm are left.
func (s *sheet) room(h float64) {
	if s.GetY()+h > 297-20 {
		s.AddPage()
	}
}

// para is running text.
func (s *sheet) para(size float64, text string) {
	s.MultiCell(wide, size*0.47, text, "", "L", false)
}

// bullets is a list of sentences.
func (s *sheet) bullets(list []string) {
	for _, t := range list {
		s.room(8)
		s.ink("", 9)
		y := s.GetY()
		s.CellFormat(4, 4.4, "–", "", 0, "L", false, 0, "")
		s.SetXY(left+4, y)
		s.MultiCell(wide-4, 4.4, t, "", "L", false)
		s.SetX(left)
	}
}

// bytes ends the document.
func (s *sheet) bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := s.Output(&b); err != nil {
		return nil, fault.Because(err, fault.Internal, "paper", "", "The paper could not be printed.")
	}
	return b.Bytes(), nil
}

// keptPictures bounds the cache of engravings.
const keptPictures = 200

// Picture is the engraving of a kept model as PNG, 480 × 360. Fault: NotFound "blob_missing".
func (p *Press) Picture(ctx context.Context, model digest.Digest) ([]byte, error) {
	p.mu.Lock()
	b := p.pictures[model]
	p.mu.Unlock()
	if b != nil {
		return b, nil
	}
	r, err := p.Models.Open(ctx, model)
	if err != nil {
		return nil, err
	}
	defer func() { _ = r.Close() }()
	data, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	bodies, err := glb.ReadView(ctx, data)
	if err != nil {
		return nil, err
	}
	var meshes []*mesh.Mesh
	for _, body := range bodies {
		meshes = append(meshes, body.Mesh)
	}
	var out bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	if err := enc.Encode(&out, engrave.Draw(meshes, engrave.Options{})); err != nil {
		return nil, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.pictures == nil || len(p.pictures) >= keptPictures {
		p.pictures = map[digest.Digest][]byte{}
	}
	p.pictures[model] = out.Bytes()
	return out.Bytes(), nil
}

// picture places an engraving at x, y with width w; nothing when the model is not kept any more.
func (s *sheet) picture(name string, png []byte, x, y, w float64) {
	s.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "PNG"}, bytes.NewReader(png))
	s.ImageOptions(name, x, y, w, 0, false, fpdf.ImageOptions{ImageType: "PNG"}, 0, "")
}

// day prints a date 2006-01-02 for people.
func day(d string) string {
	t, err := time.Parse(time.DateOnly, d)
	if err != nil {
		return d
	}
	return t.Format("Mon 2 Jan 2006")
}

// thin replaces the thin space of amounts, which narrow typefaces may lack, by a plain one.
func thin(s string) string { return strings.ReplaceAll(s, "\u2009", " ") }
