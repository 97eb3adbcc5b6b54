package threemf

import (
	"net/url"
	"path"
	"strings"

	"firstoff/fault"
	"firstoff/intake/internal/zipxml"
)

// container is the package: parts by name, with their content types.
type container struct {
	zip       *zipxml.Archive
	parts     map[string]*zipxml.Entry // by name as stored, beginning with /
	folded    map[string]*zipxml.Entry // by name in lower case, nil where two names fold to one
	defaults  map[string]string        // content type by ending, lower case
	overrides map[string]string        // content type by part name, lower case
}

// relationship is a link from the package or a part to another part.
type relationship struct {
	kind   string
	target string // absolute part name
}

func invalid(code, where, format string, args ...any) error {
	return fault.New(fault.Invalid, code, where, format, args...)
}

// openContainer reads the archive's directory and its content types.
func openContainer(data []byte, b *zipxml.Budget) (*container, error) {
	a, err := zipxml.Open(data, b)
	if err != nil {
		return nil, err
	}
	c := &container{zip: a, parts: make(map[string]*zipxml.Entry), folded: make(map[string]*zipxml.Entry), defaults: make(map[string]string), overrides: make(map[string]string)}
	for _, e := range a.Entries {
		name := "/" + e.Name
		c.parts[name] = e
		low := strings.ToLower(name)
		if _, twice := c.folded[low]; twice {
			c.folded[low] = nil
		} else {
			c.folded[low] = e
		}
	}
	return c, c.types()
}

// part finds a part by name: as it is, else with its percent signs resolved, else without regard to case.
func (c *container) part(name string) *zipxml.Entry {
	if e := c.parts[name]; e != nil {
		return e
	}
	if plain, err := url.PathUnescape(name); err == nil {
		if e := c.parts[plain]; e != nil {
			return e
		}
		if e := c.folded[strings.ToLower(plain)]; e != nil {
			return e
		}
	}
	return c.folded[strings.ToLower(name)]
}

func (c *container) types() error {
	const name = "[Content_Types].xml"
	e := c.part("/" + name)
	if e == nil {
		return invalid("3mf_no_content_types", "", "The package lacks %s, so it is not a 3MF file; export the model again.", name)
	}
	data, err := c.zip.Read(e)
	if err != nil {
		return err
	}
	s, err := root(data, nsTypes, "Types")
	if err != nil {
		return fault.At(err, name)
	}
	for {
		k, err := s.Next()
		if err != nil {
			return fault.At(err, name)
		}
		switch k {
		case zipxml.EOF:
			return nil
		case zipxml.Start:
			var key, kind string
			for _, a := range s.Attrs() {
				switch {
				case a.Is("Extension"), a.Is("PartName"):
					key = strings.ToLower(string(a.Value))
				case a.Is("ContentType"):
					kind = strings.ToLower(string(a.Value))
				}
			}
			into := c.defaults
			switch {
			case s.Is(nsTypes, "Override"):
				into = c.overrides
			case !s.Is(nsTypes, "Default"):
				if err := s.Skip(); err != nil {
					return fault.At(err, name)
				}
				continue
			}
			if key == "" || kind == "" {
				return invalid("3mf_content_type", name, "A content type is given without a name or a type; export the model again.")
			}
			if old, twice := into[key]; twice && old != kind {
				return invalid("3mf_content_type", name, "Two content types are given for %q; export the model again.", key)
			}
			into[key] = kind
		}
	}
}

// kind is the content type of a part, "" if none is given.
func (c *container) kind(name string) string {
	low := strings.ToLower(name)
	if t := c.overrides[low]; t != "" {
		return t
	}
	if plain, err := url.PathUnescape(low); err == nil && c.overrides[plain] != "" {
		return c.overrides[plain]
	}
	return c.defaults[strings.TrimPrefix(path.Ext(low), ".")]
}

// relationships reads those of a part, or of the package for "". found says whether the part has any list of them.
// A picture of the package that is missing is left out if the package does not even declare its kind: then it was never
// meant to be there; otherwise it got lost.
func (c *container) relationships(of string) (list []relationship, found bool, err error) {
	name := path.Dir(of) + "/_rels/" + path.Base(of) + ".rels"
	if of == "" {
		name = "/_rels/.rels"
	}
	name = strings.Replace(name, "//", "/", 1)
	e := c.part(name)
	if e == nil {
		return nil, false, nil
	}
	if t := c.kind(name); t != "" && t != typeRels {
		return nil, true, invalid("3mf_content_type", name, "The list of relationships has the wrong content type; export the model again.")
	}
	data, err := c.zip.Read(e)
	if err != nil {
		return nil, true, err
	}
	s, err := root(data, nsRels, "Relationships")
	if err != nil {
		return nil, true, fault.At(err, name)
	}
	ids := make(map[string]bool)
	for {
		k, err := s.Next()
		if err != nil {
			return nil, true, fault.At(err, name)
		}
		if k == zipxml.EOF {
			return list, true, nil
		}
		if k != zipxml.Start {
			continue
		}
		var r relationship
		var id, target string
		external := false
		for _, a := range s.Attrs() {
			switch {
			case a.Is("Id"):
				id = string(a.Value)
			case a.Is("Type"):
				r.kind = string(a.Value)
			case a.Is("Target"):
				target = string(a.Value)
			case a.Is("TargetMode"):
				external = string(a.Value) == "External"
			}
		}
		if id == "" || r.kind == "" || target == "" || ids[id] {
			return nil, true, invalid("3mf_relationship", name, "A relationship is incomplete or has the name of another; export the model again.")
		}
		ids[id] = true
		known := r.kind == relModel || r.kind == relTexture || r.kind == relThumbnail || r.kind == relTicket || r.kind == relKeystore
		if r.target, err = resolve(of, target); external || err != nil {
			if known {
				return nil, true, invalid("3mf_relationship", name, "A relationship leads out of the package, to %q; export the model again.", clip(target))
			}
			continue
		}
		if known && c.part(r.target) == nil {
			if r.kind == relThumbnail && c.kind(r.target) == "" {
				continue
			}
			return nil, true, invalid("3mf_relationship", name, "A relationship leads to %q, which is not in the package; export the model again.", clip(target))
		}
		list = append(list, r)
	}
}

// resolve makes a target absolute. Schemes, drives and ways out of the package are faults.
func resolve(from, target string) (string, error) {
	out := invalid("3mf_relationship", "", "outside")
	target = strings.ReplaceAll(target, "\\", "/")
	if strings.Contains(strings.SplitN(target, "/", 2)[0], ":") || strings.HasPrefix(target, "//") {
		return "", out
	}
	if !strings.HasPrefix(target, "/") {
		dir := path.Dir(from)
		if from == "" {
			dir = "/"
		}
		depth := strings.Count(strings.Trim(dir, "/")+"/", "/")
		if dir == "/" {
			depth = 0
		}
		for part := range strings.SplitSeq(target, "/") {
			switch part {
			case "..":
				depth--
			case ".", "":
			default:
				depth++
			}
			if depth < 0 {
				return "", out
			}
		}
		target = path.Join(dir, target)
	}
	return path.Clean(target), nil
}

// root starts a scanner and reads the root element, which must be the one expected.
func root(data []byte, space, local string) (*zipxml.Scanner, error) {
	s, err := zipxml.NewScanner(data)
	if err != nil {
		return nil, err
	}
	k, err := s.Next()
	if err != nil {
		return nil, err
	}
	if k != zipxml.Start || !s.Is(space, local) {
		return nil, invalid("3mf_root", s.Where(), "The XML text does not begin with <%s>; export the model again.", local)
	}
	return s, nil
}

func clip(s string) string {
	if len(s) > 80 {
		return strings.ToValidUTF8(s[:80], "") + "…"
	}
	return s
}
