package threemf

import (
	"bytes"
	"context"

	"firstoff/fault"
	"firstoff/intake/content"
	"firstoff/intake/internal/texture"
	"firstoff/intake/internal/zipxml"
)

// maxInstances is how many items a build, or components an object, may have. Files that repeat a part more often
// mean a quantity, or mean harm.
const maxInstances = 4000

// Read reads a 3MF package. A package that is sound but places nothing gives content without bodies.
// Faults: those of zipxml (zip_…, xml_…); Invalid 3mf_… for what breaks the standard's rules; Unsupported 3mf_extension;
// TooLarge 3mf_instances, 3mf_depth, too_many_triangles, too_many_bodies, too_large.
func Read(ctx context.Context, data []byte, lim content.Limits) (*content.Content, error) {
	lim = lim.OrDefault()
	if int64(len(data)) > lim.Bytes {
		return nil, content.TooLarge(int64(len(data)), lim.Bytes)
	}
	c, err := openContainer(data, zipxml.NewBudget(lim))
	if err != nil {
		return nil, err
	}
	r := &reader{ctx: ctx, lim: lim, box: c, out: &content.Content{Format: "3mf"}, models: make(map[string]*model), pictures: make(map[string]*texture.Texture)}
	if err := r.read(); err != nil {
		return nil, err
	}
	return r.out, nil
}

type reader struct {
	ctx      context.Context
	lim      content.Limits
	box      *container
	out      *content.Content
	root     *model
	models   map[string]*model // by part name; nil for one that is encrypted
	order    []*model
	pictures map[string]*texture.Texture
	facets   int // read
	summed   int // facets that sums of objects went over
	warned   map[string]bool
}

func (r *reader) warn(code, where, message string) {
	if r.warned == nil {
		r.warned = make(map[string]bool)
	}
	if !r.warned[code+where] {
		r.warned[code+where] = true
		r.out.Warn(code, where, message)
	}
}

func (r *reader) read() error {
	rels, found, err := r.box.relationships("")
	if err != nil {
		return err
	}
	if !found {
		return invalid("3mf_no_relationships", "", "The package lacks its list of relationships, so it is not a 3MF file; export the model again.")
	}
	start := ""
	encrypted := make(map[string]bool)
	for _, rel := range rels {
		switch rel.kind {
		case relModel:
			if start != "" {
				return invalid("3mf_two_models", "_rels/.rels", "The package names two models to begin with, and the standard allows one; send them in two files.")
			}
			start = rel.target
		case relThumbnail:
			if err := r.thumbnail(rel.target); err != nil {
				return err
			}
		case relKeystore:
			if err := r.keystore(rel.target, encrypted); err != nil {
				return err
			}
		}
	}
	if start == "" {
		return invalid("3mf_no_model", "_rels/.rels", "The package names no model to begin with; export the model again.")
	}
	if r.root, err = r.model(start, nil); err != nil {
		return err
	}
	// The parts that the root refers to; they may not refer further (Production 1.1, §2).
	for _, rel := range r.root.rels {
		if rel.kind != relModel || rel.target == start {
			continue
		}
		if _, done := r.models[rel.target]; done {
			continue
		}
		if encrypted[rel.target] {
			r.models[rel.target] = nil
			continue
		}
		if _, err := r.model(rel.target, r.root); err != nil {
			return err
		}
	}
	if err := r.checkSlices(); err != nil {
		return err
	}
	if err := r.sums(); err != nil {
		return err
	}
	return r.build()
}

// thumbnail keeps the package's picture.
func (r *reader) thumbnail(name string) error {
	if t := r.box.kind(name); t != typePNG && t != typeJPEG {
		return invalid("3mf_content_type", name, "The thumbnail is neither PNG nor JPEG by its content type; export the model again.")
	}
	data, err := r.box.zip.Read(r.box.part(name))
	if err != nil {
		return err
	}
	if r.out.Thumbnail == nil && (bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")) || bytes.HasPrefix(data, []byte("\xff\xd8\xff"))) {
		r.out.Thumbnail = data
	}
	return nil
}

// model reads one model part. parent is the root for the parts it refers to, nil for the root itself.
func (r *reader) model(name string, parent *model) (*model, error) {
	if t := r.box.kind(name); t != typeModel {
		return nil, invalid("3mf_content_type", name, "The model part has the content type %q instead of that of a model; export the model again.", clip(t))
	}
	rels, _, err := r.box.relationships(name)
	if err != nil {
		return nil, err
	}
	data, err := r.box.zip.Read(r.box.part(name))
	if err != nil {
		return nil, err
	}
	m := &model{name: name, rels: rels, r: r, isRoot: parent == nil}
	r.models[name] = m
	r.order = append(r.order, m)
	if err := m.parse(data); err != nil {
		return nil, fault.At(err, name[1:])
	}
	return m, nil
}

// related says whether the part has a relationship of this kind to target.
func (m *model) related(kind, target string) bool {
	for _, r := range m.rels {
		if r.kind == kind && (r.target == target || m.r.box.part(r.target) != nil && m.r.box.part(r.target) == m.r.box.part(target)) {
			return true
		}
	}
	return false
}
