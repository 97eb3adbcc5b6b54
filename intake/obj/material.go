package obj

import (
	"bytes"

	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
	"firstoff/intake/internal/texture"
)

// material is what a material library says that matters here.
type material struct {
	name    string
	has     bool // a colour was given
	color   content.RGBA
	picture *texture.Texture
}

// useMaterial sets the material of the facets to come.
func (r *reader) useMaterial(p int) {
	name := text(r.text[p:lineEnd(r.text, p)])
	if name == "" {
		r.look = -1
		return
	}
	i, ok := r.materials[name]
	if !ok {
		// Not in a library (yet): the name alone is worth keeping.
		i = r.add(material{name: name})
	}
	r.look = i
}

func (r *reader) add(m material) int32 {
	if r.materials == nil {
		r.materials = make(map[string]int32)
	}
	i, ok := r.materials[m.name]
	if !ok {
		i = int32(len(r.library))
		r.materials[m.name] = i
		r.library = append(r.library, m)
	} else {
		r.library[i] = m
	}
	return i
}

// libraries reads the material libraries named on a line. The name may hold blanks, so the whole rest of the line is
// tried before its words.
func (r *reader) libraries(p int) error {
	line := text(r.text[p:lineEnd(r.text, p)])
	if data, ok := r.beside.Find(line); ok {
		r.readLibrary(data)
		return nil
	}
	for _, name := range bytes.Fields([]byte(line)) {
		if data, ok := r.beside.Find(string(name)); ok {
			r.readLibrary(data)
			continue
		}
		r.warn("obj_material_missing", p, "A material library named in the file was not sent; its colours are left out. Send both in one ZIP archive.")
	}
	return nil
}

// readLibrary reads one material library; what it does not understand it passes over.
func (r *reader) readLibrary(data []byte) {
	data, _ = plain(data)
	var m material
	done := func() {
		if m.name != "" {
			r.add(m)
		}
	}
	p := 0
	for p < len(data) {
		p = blank(data, p)
		if p < len(data) && data[p] <= ' ' {
			p++
			continue
		}
		start := p
		p = wordEnd(data, p)
		end := lineEnd(data, p)
		rest := data[p:end]
		switch string(data[start:p]) {
		case "newmtl":
			done()
			m = material{name: text(rest), color: content.RGBA{0, 0, 0, 255}}
		case "Kd":
			if v, n := numbers(rest); n >= 1 {
				if n < 3 { // one value stands for all three
					v[1], v[2] = v[0], v[0]
				}
				m.has = true
				for i := range 3 {
					m.color[i] = content.FromShare(float64(v[i]))
				}
			}
		case "d":
			if v, n := numbers(bytes.TrimPrefix(bytes.TrimSpace(rest), []byte("-halo"))); n >= 1 {
				m.color[3] = content.FromShare(float64(v[0]))
			}
		case "Tr":
			if v, n := numbers(rest); n >= 1 {
				m.color[3] = content.FromShare(1 - float64(v[0]))
			}
		case "map_Kd":
			m.picture = r.picture(rest)
		}
		p = end
	}
	done()
}

// picture finds the picture at the end of a map line, behind its options.
func (r *reader) picture(rest []byte) *texture.Texture {
	name := text(rest)
	data, ok := r.beside.Find(name)
	if f := bytes.Fields(rest); !ok && len(f) > 0 {
		data, ok = r.beside.Find(string(f[len(f)-1]))
	}
	if ok {
		if t, err := texture.Decode(data); err == nil {
			return t
		}
	}
	r.warn("obj_texture_missing", 0, "A picture for the surface is missing or cannot be read; those colours are left out.")
	return nil
}

// numbers reads up to three numbers.
func numbers(b []byte) (v [3]float32, n int) {
	p := 0
	for n < 3 {
		p = blank(b, p)
		x, next := decimal.Float32(b, p)
		if next == p {
			return
		}
		v[n], p = x, next
		n++
	}
	return
}

// colour notes the colour and material of the facet just added; uv are its corners' places in the picture, 0 for none.
func (r *reader) colour(uv [3]uint32) {
	if r.look < 0 {
		return
	}
	at := len(r.of) - 1
	for len(r.used) < at {
		r.used = append(r.used, -1)
	}
	r.used = append(r.used, r.look)
	m := &r.library[r.look]
	c, has := m.color, m.has
	if m.picture != nil && uv[0] > 0 && uv[1] > 0 && uv[2] > 0 {
		var u, v float64
		for _, i := range uv {
			u += float64(r.uv[2*i-2]) / 3
			v += float64(r.uv[2*i-1]) / 3
		}
		c, has = m.picture.At(u, 1-v, texture.Repeat, texture.Repeat), true
	}
	if !has {
		return
	}
	for len(r.facet) < at {
		r.facet = append(r.facet, content.Uncoloured)
	}
	r.facet = append(r.facet, c)
}

// materialOf is the material that all of the facets have, or "".
func (r *reader) materialOf(facets []uint32) string {
	one := int32(-1)
	for _, f := range facets {
		if int(f) >= len(r.used) || r.used[f] < 0 {
			return ""
		}
		if one >= 0 && r.used[f] != one {
			return ""
		}
		one = r.used[f]
	}
	return r.library[one].name
}
