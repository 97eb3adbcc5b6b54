package threemf

import (
	"bytes"
	"math"

	"firstoff/intake/content"
	"firstoff/intake/internal/texture"
	"firstoff/intake/internal/zipxml"
)

// groupKind is a kind of property group (Materials and Properties 1.2).
type groupKind int

const (
	baseMaterials groupKind = iota
	colours
	textured
	composites
	multiples
)

// group is a list of properties that facets refer to.
type group struct {
	kind    groupKind
	size    int
	colour  []content.RGBA // base, colours, composites
	name    []string       // base; of the largest share in composites
	uv      []float32      // textured, two each
	picture *picture
	layers  []uint32 // multiples: the groups
	mix     []bool   // how each layer but the first is laid over: mixed by its opacity, else multiplied
	choice  []uint32 // multiples: one index a layer, all properties in a row
}

// picture is a texture2d.
type picture struct {
	part         string
	wrapU, wrapV texture.Wrap
	tried        bool
	image        *texture.Texture
}

// member are the elements inside of each kind of group.
var member = map[groupKind]string{baseMaterials: "base", colours: "color", textured: "tex2coord", composites: "composite", multiples: "multi"}

func (m *model) group(kind groupKind) error {
	g := &group{kind: kind}
	space := nsMaterial
	if kind == baseMaterials {
		space = m.core
		if err := m.allow("id", "displaypropertiesid"); err != nil {
			return err
		}
	}
	var id, ref uint32
	var indices []uint32
	var hasID, hasRef, hasIndices bool
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		var err error
		switch {
		case a.Is("id"):
			id, err = m.id(a)
			hasID = true
		case kind == textured && a.Is("texid"), kind == composites && a.Is("matid"):
			ref, err = m.id(a)
			hasRef = true
		case kind == composites && a.Is("matindices"), kind == multiples && a.Is("pids"):
			indices, err = m.indices(a.Value)
			hasIndices = true
		case kind == multiples && a.Is("blendmethods"):
			for word := range bytes.FieldsSeq(a.Value) {
				g.mix = append(g.mix, string(word) != "multiply")
			}
		}
		if err != nil {
			return err
		}
	}
	if !hasID || (kind == textured || kind == composites) && !hasRef || (kind == composites || kind == multiples) && !hasIndices {
		return m.fail("3mf_attribute", "A group of properties lacks its id or what it refers to; export the model again.")
	}
	if err := m.newID(id); err != nil {
		return err
	}
	switch kind {
	case textured:
		if g.picture = m.textures[ref]; g.picture == nil {
			return m.fail("3mf_property", "A texture group refers to texture %d, which is not in the file before it; export the model again.", ref)
		}
	case composites:
		base := m.groups[ref]
		if base == nil || base.kind != baseMaterials {
			return m.fail("3mf_property", "Composite materials refer to %d, which is not a group of base materials; export the model again.", ref)
		}
		for _, i := range indices {
			if int(i) >= base.size {
				return m.fail("3mf_property", "Composite materials use base material %d, of only %d; export the model again.", i, base.size)
			}
		}
	case multiples:
		if err := m.layers(g, indices); err != nil {
			return err
		}
	}
	m.groups[id] = g
	return m.children(func() error {
		if !m.s.Is(space, member[kind]) {
			return m.unknown()
		}
		if g.size >= 1<<24 {
			return content.TooManyTriangles(1<<24, 1<<24)
		}
		g.size++
		var err error
		switch kind {
		case baseMaterials:
			err = m.base(g)
		case colours:
			err = m.colour(g)
		case textured:
			err = m.coordinates(g)
		case composites:
			err = m.composite(g, m.groups[ref], indices)
		case multiples:
			err = m.multi(g)
		}
		if err != nil {
			return err
		}
		return m.s.Skip()
	})
}

func (m *model) indices(v []byte) ([]uint32, error) {
	var out []uint32
	for word := range bytes.FieldsSeq(v) {
		n, ok := number(word)
		if !ok || len(out) >= 1000 {
			return nil, m.fail("3mf_number", "%q is not a list of indices; export the model again.", clip(string(v)))
		}
		out = append(out, n)
	}
	return out, nil
}

// layers checks what several properties at once may be put together from: at most one material, at most one group of
// colours, no such group again (Materials 1.2, ch. 5).
func (m *model) layers(g *group, pids []uint32) error {
	materials, colour := 0, 0
	for i, id := range pids {
		l := m.groups[id]
		if l == nil {
			if !m.ids[id] {
				return m.fail("3mf_property", "The group of properties %d is used, but not in the file before that; export the model again.", id)
			}
			continue // files in use name the picture itself here; it adds nothing
		}
		switch l.kind {
		case baseMaterials, composites:
			if materials++; materials > 1 {
				return m.fail("3mf_property", "Several properties at once use two groups of materials, and may use one; export the model again.")
			}
			if i != 0 {
				return m.fail("3mf_property", "Of several properties at once the material must come first; export the model again.")
			}
		case colours:
			if colour++; colour > 1 {
				return m.fail("3mf_property", "Several properties at once use two groups of colours, and may use one; export the model again.")
			}
		case multiples:
			return m.fail("3mf_property", "Several properties at once may not be put together from others of their kind; export the model again.")
		}
	}
	g.layers = pids
	return nil
}

func (m *model) base(g *group) error {
	if err := m.allow("name", "displaycolor", "displaypropertiesid"); err != nil {
		return err
	}
	var name string
	var c content.RGBA
	named, ok := false, false
	for i := range m.s.Attrs() {
		switch a := &m.s.Attrs()[i]; {
		case a.Is("name"):
			name, named = string(bytes.ToValidUTF8(a.Value[:min(len(a.Value), 200)], nil)), true
		case a.Is("displaycolor"):
			c, ok = rgba(a.Value)
		}
	}
	if !ok || !named {
		return m.fail("3mf_colour", "A base material lacks its name, or its colour is not of the form #RRGGBB or #RRGGBBAA; export the model again.")
	}
	g.name, g.colour = append(g.name, name), append(g.colour, c)
	return nil
}

// rgba reads #RRGGBB or #RRGGBBAA.
func rgba(v []byte) (content.RGBA, bool) {
	c := content.RGBA{3: 255}
	if len(v) != 7 && len(v) != 9 || v[0] != '#' {
		return c, false
	}
	for i, x := range v[1:] {
		d := byte(0)
		switch {
		case x >= '0' && x <= '9':
			d = x - '0'
		case x|0x20 >= 'a' && x|0x20 <= 'f':
			d = x | 0x20 - 'a' + 10
		default:
			return c, false
		}
		if i%2 == 0 {
			c[i/2] = d << 4
		} else {
			c[i/2] |= d
		}
	}
	return c, true
}

func (m *model) colour(g *group) error {
	for i := range m.s.Attrs() {
		if a := &m.s.Attrs()[i]; a.Is("color") {
			c, ok := rgba(a.Value)
			if !ok {
				break
			}
			g.colour = append(g.colour, c)
			return nil
		}
	}
	return m.fail("3mf_colour", "A colour is missing or not of the form #RRGGBB or #RRGGBBAA; export the model again.")
}

func (m *model) coordinates(g *group) error {
	var uv [2]float32
	n := 0
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		if !a.Is("u") && !a.Is("v") {
			continue
		}
		x, err := m.coordinate(a.Value)
		if err != nil {
			return err
		}
		uv[a.Local[0]-'u'] = x
		n++
	}
	if n != 2 {
		return m.fail("3mf_attribute", "A place in a texture lacks u or v; export the model again.")
	}
	g.uv = append(g.uv, uv[0], uv[1])
	return nil
}

// composite mixes the base materials' colours by their shares, in light.
func (m *model) composite(g, base *group, indices []uint32) error {
	var share []float64
	has := false
	for i := range m.s.Attrs() {
		if a := &m.s.Attrs()[i]; a.Is("values") {
			has = true
			for word := range bytes.FieldsSeq(a.Value) {
				x, err := m.float(word)
				if err != nil {
					return err
				}
				if x < 0 {
					return m.fail("3mf_number", "A composite has a negative share; export the model again.")
				}
				share = append(share, x)
			}
		}
	}
	if !has {
		return m.fail("3mf_attribute", "A composite lacks its shares; export the model again.")
	}
	if len(share) > len(indices) {
		return m.fail("3mf_property", "A composite has more shares than there are materials; export the model again.")
	}
	sum, most, which := 0.0, -1.0, uint32(0)
	for i, x := range share {
		sum += x
		if x > most {
			most, which = x, indices[i]
		}
	}
	if !(sum > 0) || math.IsInf(sum, 0) {
		// Shares that add up to nothing mean equal ones (Materials 1.2, §4.1).
		share = share[:0]
		for range indices {
			share = append(share, 1)
		}
		if sum = float64(len(indices)); sum == 0 {
			return m.fail("3mf_property", "A composite is of no material; export the model again.")
		}
		which = indices[0]
	}
	var mix [4]float64
	for i, x := range share {
		c := base.colour[indices[i]]
		for k := range 3 {
			mix[k] += x / sum * content.Linear(c[k])
		}
		mix[3] += x / sum * float64(c[3]) / 255
	}
	g.colour = append(g.colour, content.RGBA{content.FromLinear(mix[0]), content.FromLinear(mix[1]), content.FromLinear(mix[2]), content.FromShare(mix[3])})
	g.name = append(g.name, base.name[which])
	return nil
}

func (m *model) multi(g *group) error {
	var list []uint32
	for i := range m.s.Attrs() {
		if a := &m.s.Attrs()[i]; a.Is("pindices") {
			var err error
			if list, err = m.indices(a.Value); err != nil {
				return err
			}
		}
	}
	if len(list) > len(g.layers) {
		return m.fail("3mf_property", "Several properties at once have more indices than groups; export the model again.")
	}
	for len(list) < len(g.layers) {
		list = append(list, 0)
	}
	g.choice = append(g.choice, list...)
	return nil
}

// texture2d reads a picture's description; the picture must be in the package.
func (m *model) texture2d() error {
	var id uint32
	var path, kind string
	p := &picture{}
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		var err error
		switch {
		case a.Is("id"):
			id, err = m.id(a)
		case a.Is("path"):
			path = string(a.Value)
		case a.Is("contenttype"):
			kind = string(a.Value)
		case a.Is("tilestyleu"):
			p.wrapU, err = m.wrap(a)
		case a.Is("tilestylev"):
			p.wrapV, err = m.wrap(a)
		}
		if err != nil {
			return err
		}
	}
	if id == 0 || path == "" {
		return m.fail("3mf_attribute", "A texture lacks its id or its path; export the model again.")
	}
	if kind != typePNG && kind != typeJPEG {
		return m.fail("3mf_content_type", "A texture is of type %q; only PNG and JPEG are allowed, export the model again.", clip(kind))
	}
	if err := m.newID(id); err != nil {
		return err
	}
	var err error
	if p.part, err = resolve(m.name, path); err != nil || m.r.box.part(p.part) == nil {
		return m.fail("3mf_texture", "The texture %q is not in the package; export the model again.", clip(path))
	}
	if !m.related(relTexture, p.part) {
		return m.fail("3mf_texture", "The texture %q is not listed among the model's relationships; export the model again.", clip(path))
	}
	if t := m.r.box.kind(p.part); t != typePNG && t != typeJPEG && t != typeTexture {
		return m.fail("3mf_content_type", "The texture %q has the content type %q, not that of a picture; export the model again.", clip(path), clip(t))
	}
	m.textures[id] = p
	return m.s.Skip()
}

func (m *model) wrap(a *zipxml.Attr) (texture.Wrap, error) {
	switch string(a.Value) {
	case "wrap":
		return texture.Repeat, nil
	case "mirror":
		return texture.Mirror, nil
	case "clamp":
		return texture.Clamp, nil
	case "none":
		return texture.None, nil
	}
	return 0, m.fail("3mf_attribute", "A texture goes on in the unknown way %q; export the model again.", clip(string(a.Value)))
}

// load reads the picture once; one that cannot be read is warned of and leaves no colour.
func (p *picture) load(m *model) *texture.Texture {
	if p.tried {
		return p.image
	}
	p.tried = true
	if t, ok := m.r.pictures[p.part]; ok {
		p.image = t
		return t
	}
	data, err := m.r.box.zip.Read(m.r.box.part(p.part))
	if err == nil {
		p.image, err = texture.Decode(data)
	}
	if err != nil {
		m.r.warn("3mf_texture", p.part, "A picture for the surface cannot be read; its colours are left out.")
	}
	m.r.pictures[p.part] = p.image
	return p.image
}

// facet is the colour and material of a facet with these properties at its corners, which are in range.
func (g *group) facet(m *model, p [3]uint32) (c content.RGBA, material string, ok bool) {
	switch g.kind {
	case baseMaterials, composites:
		return g.colour[p[0]], g.name[p[0]], true
	case colours:
		if p[0] == p[1] && p[1] == p[2] {
			return g.colour[p[0]], "", true
		}
		return content.Mean(g.colour[p[0]], g.colour[p[1]], g.colour[p[2]]), "", true
	case textured:
		img := g.picture.load(m)
		if img == nil {
			return c, "", false
		}
		var u, v float64
		for _, i := range p {
			u += float64(g.uv[2*i]) / 3
			v += float64(g.uv[2*i+1]) / 3
		}
		return img.At(u, 1-v, g.picture.wrapU, g.picture.wrapV), "", true
	}
	for i, id := range g.layers {
		l := m.groups[id]
		if l == nil {
			continue
		}
		var q [3]uint32
		within := true
		for k := range q {
			q[k] = g.choice[int(p[k])*len(g.layers)+i]
			within = within && int(q[k]) < l.size
		}
		if !within {
			continue // files in use have such layers; they add nothing
		}
		over, name, has := l.facet(m, q)
		if name != "" {
			material = name
		}
		switch {
		case !has:
		case !ok:
			c, ok = over, true
		default:
			c = lay(c, over, i-1 >= len(g.mix) || g.mix[i-1])
		}
	}
	return c, material, ok
}

// lay puts one colour over another: mixed by its opacity, or multiplied.
func lay(under, over content.RGBA, mix bool) (c content.RGBA) {
	a := float64(over[3]) / 255
	for k := range 3 {
		u, o := float64(under[k])/255, float64(over[k])/255
		if mix {
			c[k] = content.FromShare(o*a + u*(1-a))
		} else {
			c[k] = content.FromShare(o * u)
		}
	}
	b := float64(under[3]) / 255
	c[3] = content.FromShare(a + b*(1-a))
	return c
}
