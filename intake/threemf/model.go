package threemf

import (
	"bytes"
	"math"
	"strings"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
	"firstoff/intake/internal/zipxml"
	"firstoff/unit"
)

// model is one model part.
type model struct {
	name   string
	rels   []relationship
	r      *reader
	isRoot bool
	core   string // the core namespace the part uses
	old    bool   // it is the one before version 1.0

	s        *zipxml.Scanner
	ids      map[uint32]bool // of any kind of resource
	objects  map[uint32]*object
	order    []*object
	groups   map[uint32]*group
	textures map[uint32]*picture
	stacks   map[uint32]*stack

	stackOrder []*stack
	items      []instance
}

type object struct {
	id         uint32
	kind       string // model, solidsupport, support, surface, other
	name       string
	mesh       *mesh.Mesh
	color      *content.RGBA
	facetColor []content.RGBA
	material   string
	parts      []instance
	stack      uint32
	coarse     bool // the mesh stands in for slices
	lattice    *lattice
	sum        *sum

	used   int   // how often the build places the mesh
	height int   // levels of components with its own, 0 before it is counted
	total  int64 // facets with all components, -1 while being counted
}

// instance is a build item or a component: an object placed.
type instance struct {
	id   uint32
	path string // the part that holds the object, "" for this one
	at   place
	tag  int // where it stands in the text
}

// place is a transform, 3MF's twelve numbers: rows of a matrix that points are multiplied to from the left, then the move.
type place [12]float64

var unmoved = place{1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0}

func (p *place) apply(x, y, z float64) (float64, float64, float64) {
	return x*p[0] + y*p[3] + z*p[6] + p[9], x*p[1] + y*p[4] + z*p[7] + p[10], x*p[2] + y*p[5] + z*p[8] + p[11]
}

// then first applies p, then q.
func (p place) then(q place) (out place) {
	for i := range 4 {
		a, b, c := p[3*i], p[3*i+1], p[3*i+2]
		for j := range 3 {
			out[3*i+j] = a*q[j] + b*q[3+j] + c*q[6+j]
			if i == 3 {
				out[3*i+j] += q[9+j]
			}
		}
	}
	return
}

func (p *place) mirrors() bool {
	return p[0]*(p[4]*p[8]-p[5]*p[7])-p[1]*(p[3]*p[8]-p[5]*p[6])+p[2]*(p[3]*p[7]-p[4]*p[6]) < 0
}

// flat says whether the transform keeps layers layers: turns about z and moves only.
func (p *place) flat() bool {
	return p[2] == 0 && p[5] == 0 && p[6] == 0 && p[7] == 0 && p[8] == 1
}

func (m *model) fail(code, format string, args ...any) error {
	return invalid(code, m.s.Where(), format, args...)
}

func (m *model) parse(data []byte) error {
	s, err := zipxml.NewScanner(data)
	if err != nil {
		return err
	}
	m.s, s.Stop = s, m.r.ctx.Err
	m.ids, m.objects, m.groups = make(map[uint32]bool), make(map[uint32]*object), make(map[uint32]*group)
	m.textures, m.stacks = make(map[uint32]*picture), make(map[uint32]*stack)
	if _, err := s.Next(); err != nil {
		return err
	}
	switch {
	case s.Is(nsCore, "model"):
		m.core = nsCore
	case s.Is(nsCore2013, "model"):
		m.core, m.old = nsCore2013, true
		m.r.warn("3mf_old", m.name[1:], "The file is of a draft from before 3MF 1.0; it was read by today's rules.")
	default:
		return m.fail("3mf_root", "The model part does not begin with <model> of 3MF; export the model again.")
	}
	if err := m.header(); err != nil {
		return err
	}
	resources, built := false, false
	meta := make(map[string]bool)
	for {
		k, err := s.Next()
		if err != nil {
			return err
		}
		if k == zipxml.EOF {
			break
		}
		if k != zipxml.Start {
			continue
		}
		switch {
		case s.Is(m.core, "metadata"):
			err = m.metadata(meta)
		case s.Is(m.core, "resources"):
			if resources || built {
				return m.fail("3mf_structure", "<resources> stands twice or in the wrong place; export the model again.")
			}
			resources = true
			err = m.resources()
		case s.Is(m.core, "build"):
			if built || !resources {
				return m.fail("3mf_structure", "<build> stands twice or before <resources>; export the model again.")
			}
			built = true
			err = m.buildItems()
		default:
			err = m.unknown()
		}
		if err != nil {
			return err
		}
	}
	if !resources || !built {
		return invalid("3mf_structure", "", "The model lacks <resources> or <build>; export the model again.")
	}
	return nil
}

// unknown passes over an element that is not expected here.
func (m *model) unknown() error {
	switch space := m.s.Space(); {
	case space == m.core || space == "":
		m.r.warn("3mf_unknown_element", m.name[1:], "The element <"+clip(string(m.s.Local()))+"> is not part of the standard at its place and was passed over.")
	case foreign(space):
		return m.namespace(space)
	}
	return m.s.Skip()
}

func (m *model) namespace(space string) error {
	return m.fail("3mf_namespace", "Something is used from the namespace %q, which the standard does not define; export the model again.", clip(space))
}

// allow checks the attributes of an element of the core: those without namespace must be among names.
func (m *model) allow(names ...string) error {
attr:
	for _, a := range m.s.Attrs() {
		if a.Space != "" {
			if foreign(a.Space) {
				return m.namespace(a.Space)
			}
			continue
		}
		for _, n := range names {
			if string(a.Local) == n {
				continue attr
			}
		}
		return m.fail("3mf_attribute", "The attribute %q does not belong to <%s>; export the model again.", clip(string(a.Local)), m.s.Local())
	}
	return nil
}

func (m *model) header() error {
	if err := m.allow("unit", "requiredextensions", "recommendedextensions"); err != nil {
		return err
	}
	u := unit.MM
	for _, a := range m.s.Attrs() {
		switch {
		case a.Is("unit"):
			switch string(a.Value) {
			case "micron":
				u = unit.UM
			case "millimeter":
			case "centimeter":
				u = unit.CM
			case "inch":
				u = unit.Inch
			case "foot":
				u = unit.Foot
			case "meter":
				u = unit.M
			default:
				return m.fail("3mf_unit", "The unit %q is not one of 3MF's (micron, millimeter, centimeter, inch, foot, meter); export the model again.", clip(string(a.Value)))
			}
		case a.Is("requiredextensions"):
			for _, prefix := range strings.Fields(string(a.Value)) {
				space := m.s.Prefix(prefix)
				if space == "" {
					return m.fail("3mf_extension_undeclared", "The file requires an extension by the prefix %q without saying which; export the model again.", clip(prefix))
				}
				if e := extensions[space]; !e.read {
					name := e.name
					if name == "" {
						name = space
					}
					return fault.New(fault.Unsupported, "3mf_extension", m.s.Where(), "The file cannot be understood without the 3MF extension %q, which is not read here; export the model without it, as plain meshes.", clip(name))
				}
			}
		case a.Space == zipxml.NamespaceXML && string(a.Local) == "space":
			return m.fail("3mf_attribute", "The model carries xml:space, which 3MF forbids; export the model again.")
		}
	}
	if m.isRoot {
		m.r.out.Unit = u // the root's holds for all parts
	}
	return nil
}

// known are the metadata names that need no namespace (Core 1.3, §3.4.1).
var known = map[string]bool{"Title": true, "Designer": true, "Description": true, "Copyright": true, "LicenseTerms": true, "Rating": true, "CreationDate": true, "ModificationDate": true, "Application": true}

func (m *model) metadata(seen map[string]bool) error {
	if err := m.allow("name", "preserve", "type"); err != nil {
		return err
	}
	name := ""
	for _, a := range m.s.Attrs() {
		if a.Is("name") {
			name = string(a.Value)
		}
	}
	if name == "" {
		return m.fail("3mf_metadata", "A metadata entry has no name; export the model again.")
	}
	full := name
	if prefix, local, ok := strings.Cut(name, ":"); ok {
		if space := m.s.Prefix(prefix); space != "" {
			full = space + " " + local
		} else {
			m.r.warn("3mf_metadata", m.name[1:], "A metadata entry has an undeclared prefix and was passed over.")
		}
	} else if !known[name] {
		m.r.warn("3mf_metadata", m.name[1:], "A metadata entry has a name that the standard does not know and was passed over.")
	}
	if seen[full] {
		return m.fail("3mf_metadata", "Two metadata entries are named %q; export the model again.", clip(name))
	}
	seen[full] = true
	text, err := m.s.Content(1000)
	if name == "Application" && m.isRoot && m.s.Depth() == 1 {
		m.r.out.Generator = strings.TrimSpace(text)
	}
	return err
}

// metadataGroup reads the metadata of an object or item.
func (m *model) metadataGroup() error {
	seen := make(map[string]bool)
	return m.children(func() error {
		if m.s.Is(m.core, "metadata") {
			return m.metadata(seen)
		}
		return m.unknown()
	})
}

// children calls each for every element inside the one that began last, until that ends. each must consume its element.
func (m *model) children(each func() error) error {
	for {
		k, err := m.s.Next()
		if err != nil {
			return err
		}
		switch k {
		case zipxml.End:
			return nil
		case zipxml.Start:
			if err := each(); err != nil {
				return err
			}
		case zipxml.Text:
			for _, c := range m.s.Data() {
				if c > ' ' {
					return m.fail("3mf_structure", "Text stands where only elements may; export the model again.")
				}
			}
		}
	}
}

func (m *model) resources() error {
	if err := m.allow(); err != nil {
		return err
	}
	return m.children(func() error {
		s := m.s
		switch s.Space() {
		case m.core:
			switch string(s.Local()) {
			case "object":
				return m.object()
			case "basematerials":
				return m.group(baseMaterials)
			}
		case nsMaterial:
			switch string(s.Local()) {
			case "colorgroup":
				return m.group(colours)
			case "texture2dgroup":
				return m.group(textured)
			case "compositematerials":
				return m.group(composites)
			case "multiproperties":
				return m.group(multiples)
			case "texture2d":
				return m.texture2d()
			}
			// Display properties and the like: looks only.
			if id := m.optionalID("id"); id != 0 {
				if err := m.newID(id); err != nil {
					return err
				}
			}
			return s.Skip()
		case nsSlice:
			if string(s.Local()) == "slicestack" {
				return m.slicestack()
			}
		}
		return m.unknown()
	})
}

// newID takes a resource's number, which no other resource of the part may have.
func (m *model) newID(id uint32) error {
	if m.ids[id] {
		return m.fail("3mf_duplicate_id", "Two resources have the number %d; export the model again.", id)
	}
	m.ids[id] = true
	return nil
}

// number reads a non-negative integer below 2^31.
func number(v []byte) (uint32, bool) {
	v = bytes.TrimSpace(v)
	v = bytes.TrimPrefix(v, []byte("+"))
	n, next := decimal.Uint(v, 0)
	return uint32(n), next > 0 && next == len(v) && n < 1<<31
}

// id reads a resource number, which the draft let begin with 0.
func (m *model) id(a *zipxml.Attr) (uint32, error) {
	n, ok := number(a.Value)
	if !ok || n == 0 && !m.old {
		return 0, m.fail("3mf_number", "%q is not a number that a resource may have; export the model again.", clip(string(a.Value)))
	}
	return n, nil
}

func (m *model) optionalID(name string) uint32 {
	for _, a := range m.s.Attrs() {
		if a.Is(name) {
			n, _ := number(a.Value)
			return n
		}
	}
	return 0
}

func (m *model) index(a *zipxml.Attr) (uint32, error) {
	n, ok := number(a.Value)
	if !ok {
		return 0, m.fail("3mf_number", "%q is not an index; export the model again.", clip(string(a.Value)))
	}
	return n, nil
}

// coordinate reads a decimal number that fills v.
func (m *model) coordinate(v []byte) (float32, error) {
	v = bytes.TrimSpace(v)
	x, next := decimal.Float32(v, 0)
	if next == 0 || next != len(v) || !decimal.Finite(x) {
		return 0, m.badNumber(v)
	}
	return x, nil
}

func (m *model) float(v []byte) (float64, error) {
	v = bytes.TrimSpace(v)
	x, next := decimal.Float64(v, 0)
	if next == 0 || next != len(v) || math.IsInf(x, 0) {
		return 0, m.badNumber(v)
	}
	return x, nil
}

func (m *model) badNumber(v []byte) error {
	if bytes.IndexByte(v, ',') >= 0 {
		return m.fail("number_comma", "A number is written with a comma (%q); export with a decimal point.", clip(string(v)))
	}
	return m.fail("3mf_number", "%q is not a finite number; export the model again.", clip(string(v)))
}

// transform reads twelve numbers.
func (m *model) transform(v []byte) (place, error) {
	var p place
	n := 0
	for word := range bytes.FieldsSeq(v) {
		if n == 12 {
			n++
			break
		}
		x, err := m.float(word)
		if err != nil {
			return p, err
		}
		p[n] = x
		n++
	}
	if n != 12 {
		return p, m.fail("3mf_transform", "A transform must have twelve numbers; export the model again.")
	}
	return p, nil
}

func (m *model) object() error {
	if err := m.allow("id", "type", "thumbnail", "partnumber", "name", "pid", "pindex"); err != nil {
		return err
	}
	o := &object{kind: "model"}
	var err error
	pid, pindex := uint32(0), uint32(0)
	hasID, hasPID, hasIndex := false, false, false
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		switch {
		case a.Is("id"):
			o.id, err = m.id(a)
			hasID = true
		case a.Is("type"):
			switch o.kind = string(a.Value); o.kind {
			case "model", "solidsupport", "support", "surface", "other":
			default:
				err = m.fail("3mf_object_type", "An object has the unknown type %q; export the model again.", clip(o.kind))
			}
		case a.Is("name"):
			o.name = string(bytes.ToValidUTF8(a.Value[:min(len(a.Value), 200)], nil))
		case a.Is("pid"):
			pid, err = m.id(a)
			hasPID = true
		case a.Is("pindex"):
			pindex, err = m.index(a)
			hasIndex = true
		case a.Is("thumbnail"):
			err = m.objectThumbnail(string(a.Value))
		case a.Space == nsSlice && string(a.Local) == "slicestackid":
			o.stack, err = m.id(a)
		case a.Space == nsSlice && string(a.Local) == "meshresolution":
			o.coarse = string(a.Value) == "lowres"
		case a.Space == nsProduction && string(a.Local) == "UUID":
			err = m.uuid(a.Value)
		}
		if err != nil {
			return err
		}
	}
	if !hasID {
		return m.fail("3mf_attribute", "An object has no id; export the model again.")
	}
	if err := m.newID(o.id); err != nil {
		return err
	}
	if hasIndex && !hasPID {
		return m.fail("3mf_property", "An object names a property's index without the group it is in (pid); export the model again.")
	}
	look := look{pid: pid, p: [3]uint32{pindex, pindex, pindex}, has: hasPID}
	if hasPID && !m.ids[pid] {
		return m.fail("3mf_property", "Object %d refers to a group of properties, %d, that is not in the file before it; export the model again.", o.id, pid)
	}
	if hasPID {
		if err := m.checkLook(look); err != nil {
			return err
		}
	}
	m.objects[o.id] = o
	m.order = append(m.order, o)
	shapes := 0
	err = m.children(func() error {
		switch {
		case m.s.Is(m.core, "mesh"):
			shapes++
			return m.mesh(o, look)
		case m.s.Is(m.core, "components"):
			shapes++
			if err := m.allow(); err != nil {
				return err
			}
			return m.children(func() error {
				if !m.s.Is(m.core, "component") {
					return m.unknown()
				}
				if len(o.parts) >= maxInstances {
					return fault.New(fault.TooLarge, "3mf_instances", m.s.Where(), "An object is put together from more than %s components, which is refused as harmful; send fewer.", content.Thousands(maxInstances))
				}
				c, err := m.instance("objectid", "transform")
				if err == nil {
					o.parts = append(o.parts, c)
					err = m.s.Skip()
				}
				return err
			})
		case m.s.Is(nsBoolean, "booleanshape"):
			shapes++
			return m.booleanShape(o)
		case m.s.Is(m.core, "metadatagroup"):
			return m.metadataGroup()
		}
		return m.unknown()
	})
	if err == nil && shapes > 1 {
		err = m.fail("3mf_structure", "An object has two shapes; export the model again.")
	}
	return err
}

// uuid checks the form of a production UUID.
func (m *model) uuid(v []byte) error {
	ok := len(v) == 36
	for i := 0; ok && i < 36; i++ {
		c := v[i]
		if i == 8 || i == 13 || i == 18 || i == 23 {
			ok = c == '-'
		} else {
			ok = c >= '0' && c <= '9' || c|0x20 >= 'a' && c|0x20 <= 'f'
		}
	}
	if !ok {
		return m.fail("3mf_uuid", "%q is not a UUID; export the model again.", clip(string(v)))
	}
	return nil
}

// objectThumbnail checks that an object's picture, if it is there, is related as the standard asks.
func (m *model) objectThumbnail(name string) error {
	target, err := resolve(m.name, name)
	if err != nil || m.r.box.part(target) == nil {
		return nil // a picture less
	}
	if (m.isRoot || len(m.rels) > 0) && !m.related(relThumbnail, target) && !m.related(relTexture, target) {
		m.r.warn("3mf_thumbnail", m.name[1:], "The picture of an object is not listed among the relationships as it should be.")
	}
	return nil
}

// instance reads the attributes of an item or component.
func (m *model) instance(names ...string) (instance, error) {
	in := instance{at: unmoved, tag: m.s.Tag()}
	if err := m.allow(names...); err != nil {
		return in, err
	}
	var err error
	has := false
	for i := range m.s.Attrs() {
		a := &m.s.Attrs()[i]
		switch {
		case a.Is("objectid"):
			in.id, err = m.id(a)
			has = true
		case a.Is("transform"):
			in.at, err = m.transform(a.Value)
		case a.Space == nsProduction && string(a.Local) == "path":
			if !m.isRoot {
				return in, m.fail("3mf_path", "A part that is not the root refers to another part, which the standard forbids; export the model again.")
			}
			if in.path, err = resolve(m.name, string(a.Value)); err != nil {
				err = m.fail("3mf_path", "The path %q leads out of the package; export the model again.", clip(string(a.Value)))
			}
		case a.Space == nsProduction && string(a.Local) == "UUID":
			err = m.uuid(a.Value)
		}
		if err != nil {
			return in, err
		}
	}
	if !has {
		return in, m.fail("3mf_attribute", "An item or component does not say which object it places; export the model again.")
	}
	return in, nil
}

func (m *model) buildItems() error {
	if err := m.allow(); err != nil {
		return err
	}
	return m.children(func() error {
		if !m.s.Is(m.core, "item") {
			return m.unknown()
		}
		if len(m.items) >= maxInstances {
			return fault.New(fault.TooLarge, "3mf_instances", m.s.Where(), "The file places more than %s items, which is refused as harmful; send the part once and say how many.", content.Thousands(maxInstances))
		}
		in, err := m.instance("objectid", "transform", "partnumber")
		if err != nil {
			return err
		}
		m.items = append(m.items, in)
		return m.children(func() error {
			if m.s.Is(m.core, "metadatagroup") {
				return m.metadataGroup()
			}
			return m.unknown()
		})
	})
}
