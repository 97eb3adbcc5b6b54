package glb

import (
	"math"
	"strconv"

	"firstoff/intake/content"
	tex "firstoff/intake/internal/texture"
)

// looks remembers pictures by image number; nil means it cannot be read.
type looks struct{ pictures map[int]*tex.Texture }

// look is how the facets of a primitive are coloured: material × corner colours × picture (glTF 2.0 §3.9).
type look struct {
	name         string
	plain        bool // only a colour for all
	has          bool
	one          content.RGBA
	base         [4]float64 // linear
	color        *array
	uv           *array
	picture      *tex.Texture
	wrapU, wrapV tex.Wrap
	change       *textureTransform
}

func (r *reader) look(p primitive, where string) (look, error) {
	l := look{base: [4]float64{1, 1, 1, 1}}
	if p.Material != nil {
		if *p.Material < 0 || *p.Material >= len(r.doc.Materials) {
			return l, reference(where)
		}
		m := r.doc.Materials[*p.Material]
		l.name = m.Name
		if m.PBR != nil {
			if f := m.PBR.BaseColor; len(f) == 4 {
				l.has = true
				copy(l.base[:], f)
			}
			if t := m.PBR.Texture; t != nil {
				r.texture(&l, p, t)
			}
		}
	}
	if i, ok := p.Attributes["COLOR_0"]; ok {
		a, err := r.access(i, where)
		if err != nil {
			return l, err
		}
		if pos := r.doc.Accessors[p.Attributes["POSITION"]]; int64(a.count) >= pos.Count && a.width >= 3 {
			l.color, l.has = &a, true
		}
	}
	l.plain = l.color == nil && l.picture == nil
	if l.plain {
		l.one = rgba(l.base)
	}
	return l, nil
}

// texture finds the picture and the corner coordinates; without either the colour stays the material's.
func (r *reader) texture(l *look, p primitive, t *textureRef) {
	if t.Index < 0 || t.Index >= len(r.doc.Textures) {
		return
	}
	g := r.doc.Textures[t.Index]
	coord := t.TexCoord
	if t.Extensions != nil && t.Extensions.Transform != nil {
		l.change = t.Extensions.Transform
		if l.change.TexCoord != nil {
			coord = *l.change.TexCoord
		}
	}
	i, ok := p.Attributes["TEXCOORD_"+strconv.Itoa(coord)]
	if !ok {
		return
	}
	uv, err := r.access(i, "")
	if pos := r.doc.Accessors[p.Attributes["POSITION"]]; err != nil || int64(uv.count) < pos.Count || uv.width != 2 || g.Source == nil {
		return
	}
	pic := r.picture(*g.Source)
	if pic == nil {
		return
	}
	l.uv, l.picture, l.has = &uv, pic, true
	if g.Sampler != nil && *g.Sampler >= 0 && *g.Sampler < len(r.doc.Samplers) {
		l.wrapU, l.wrapV = wrap(r.doc.Samplers[*g.Sampler].WrapS), wrap(r.doc.Samplers[*g.Sampler].WrapT)
	}
}

func wrap(n int) tex.Wrap {
	switch n {
	case 33071:
		return tex.Clamp
	case 33648:
		return tex.Mirror
	}
	return tex.Repeat
}

func (r *reader) picture(i int) *tex.Texture {
	if p, ok := r.looks.pictures[i]; ok {
		return p
	}
	if r.looks.pictures == nil {
		r.looks.pictures = make(map[int]*tex.Texture)
	}
	r.looks.pictures[i] = nil
	if i < 0 || i >= len(r.doc.Images) {
		return nil
	}
	im := r.doc.Images[i]
	var data []byte
	if im.BufferView != nil {
		data, _, _ = r.view(*im.BufferView, "")
	} else {
		data, _ = r.fetch(im.URI)
	}
	p, err := tex.Decode(data)
	if err != nil {
		r.out.Warn("glb_texture", content.Place("image", i), "A picture for the surface is missing or cannot be read; those colours are left out.")
		return nil
	}
	r.looks.pictures[i] = p
	return p
}

// facet is the colour of a facet: at its middle, with corner colours averaged.
func (l *look) facet(a, b, c uint32) (content.RGBA, bool) {
	if l.plain {
		return l.one, l.has
	}
	out := l.base
	if l.color != nil {
		for k := range min(l.color.width, 4) {
			out[k] *= mean(l.color.value(int(a), k), l.color.value(int(b), k), l.color.value(int(c), k))
		}
	}
	if l.picture != nil {
		u := mean(l.uv.value(int(a), 0), l.uv.value(int(b), 0), l.uv.value(int(c), 0))
		v := mean(l.uv.value(int(a), 1), l.uv.value(int(b), 1), l.uv.value(int(c), 1))
		if t := l.change; t != nil { // scaled, then turned, then moved
			if len(t.Scale) == 2 {
				u, v = u*t.Scale[0], v*t.Scale[1]
			}
			s, k := math.Sincos(t.Rotation)
			u, v = k*u+s*v, -s*u+k*v
			if len(t.Offset) == 2 {
				u, v = u+t.Offset[0], v+t.Offset[1]
			}
		}
		p := l.picture.At(u, v, l.wrapU, l.wrapV)
		for k := range 3 {
			out[k] *= content.Linear(p[k])
		}
		out[3] *= float64(p[3]) / 255
	}
	return rgba(out), l.has
}

func rgba(v [4]float64) content.RGBA {
	return content.RGBA{content.FromLinear(v[0]), content.FromLinear(v[1]), content.FromLinear(v[2]), content.FromShare(v[3])}
}
