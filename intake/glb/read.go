package glb

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"net/url"
	"slices"
	"strings"

	"firstoff/fault"
	"firstoff/intake/content"
	"firstoff/unit"
)

// Extensions that a file may require: they change looks, not shape, or are read.
var understood = []string{
	"KHR_mesh_quantization", "KHR_texture_transform", "KHR_lights_punctual", "KHR_xmp_json_ld", "KHR_materials_unlit", "KHR_materials_pbrSpecularGlossiness",
	"KHR_materials_clearcoat", "KHR_materials_ior", "KHR_materials_sheen", "KHR_materials_specular", "KHR_materials_transmission", "KHR_materials_volume",
	"KHR_materials_emissive_strength", "KHR_materials_iridescence", "KHR_materials_anisotropy", "KHR_materials_dispersion", "KHR_materials_variants",
	"EXT_texture_webp", "KHR_texture_basisu", "MSFT_texture_dds",
}

// Read reads a GLB or glTF file. beside gives buffers and pictures that lie with it; it may be nil.
// Faults: Invalid glb_truncated, glb_syntax, glb_reference, glb_nan, glb_external, glb_empty; Unsupported glb_version, glb_extension;
// TooLarge too_many_triangles, too_many_bodies, glb_depth, too_large.
func Read(ctx context.Context, data []byte, beside content.Beside, lim content.Limits) (*content.Content, error) {
	lim = lim.OrDefault()
	if int64(len(data)) > lim.Bytes {
		return nil, content.TooLarge(int64(len(data)), lim.Bytes)
	}
	r := &reader{ctx: ctx, lim: lim, beside: beside, out: &content.Content{Format: "glb", Unit: unit.M}}
	text := data
	if bytes.HasPrefix(data, []byte("glTF")) {
		var err error
		if text, r.bin, err = chunks(data); err != nil {
			return nil, err
		}
	}
	if err := json.Unmarshal(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")), &r.doc); err != nil {
		return nil, fault.Because(err, fault.Invalid, "glb_syntax", "", "The description in the glTF file is not valid JSON of the expected form; export the model again.")
	}
	if !strings.HasPrefix(r.doc.Asset.Version, "2.") {
		return nil, fault.New(fault.Unsupported, "glb_version", "", "The file is glTF %q; only version 2 is read, export it as that.", r.doc.Asset.Version)
	}
	for _, e := range r.doc.ExtensionsRequired {
		if !slices.Contains(understood, e) {
			return nil, fault.New(fault.Unsupported, "glb_extension", "", "The file cannot be read without the extension %s, which is not read here; export it without compression or extensions.", e)
		}
	}
	r.out.Generator = r.doc.Asset.Generator
	if err := r.buffers(); err != nil {
		return nil, err
	}
	if err := r.walk(); err != nil {
		return nil, err
	}
	if len(r.out.Bodies) == 0 {
		return nil, fault.New(fault.Invalid, "glb_empty", "", "The file holds no surface, only an empty scene; export the model again.")
	}
	return r.out, nil
}

// chunks takes a GLB file apart into its JSON and its binary buffer.
func chunks(data []byte) (text, bin []byte, err error) {
	cut := fault.New(fault.Invalid, "glb_truncated", "", "The GLB file ends before its stated length; it was probably cut off on its way, send it again.")
	if len(data) < 20 {
		return nil, nil, cut
	}
	if v := binary.LittleEndian.Uint32(data[4:]); v != 2 {
		return nil, nil, fault.New(fault.Unsupported, "glb_version", "byte 4", "The file is GLB version %d; only version 2 is read, export it as that.", v)
	}
	total := int64(binary.LittleEndian.Uint32(data[8:]))
	if total > int64(len(data)) {
		return nil, nil, cut
	}
	rest := data[12:max(total, 12)]
	for i := 0; len(rest) >= 8; i++ {
		n, kind := int64(binary.LittleEndian.Uint32(rest)), string(rest[4:8])
		rest = rest[8:]
		if n > int64(len(rest)) {
			return nil, nil, cut
		}
		switch {
		case kind == "JSON" && text == nil:
			text = rest[:n]
		case kind == "BIN\x00" && bin == nil:
			bin = rest[:n:n]
		}
		rest = rest[n:]
	}
	if text == nil {
		return nil, nil, fault.New(fault.Invalid, "glb_syntax", "", "The GLB file has no description in it; export the model again.")
	}
	return text, bin, nil
}

type reader struct {
	ctx    context.Context
	lim    content.Limits
	doc    document
	bin    []byte
	beside content.Beside
	buf    [][]byte // nil: not there
	out    *content.Content
	facets int
	looks  looks
}

// buffers gets hold of the bytes of every buffer that can be had; a missing one matters only if it is used.
func (r *reader) buffers() error {
	total := int64(0)
	for i, b := range r.doc.Buffers {
		var data []byte
		if b.URI == "" {
			if i == 0 {
				data = r.bin
			}
		} else {
			data, _ = r.fetch(b.URI)
		}
		if total += int64(len(data)); total > r.lim.Bytes {
			return content.TooLarge(total, r.lim.Bytes)
		}
		if int64(len(data)) < b.ByteLength {
			if data != nil {
				return fault.New(fault.Invalid, "glb_truncated", content.Place("buffer", i), "A buffer of the glTF file is shorter than stated; export the model again.")
			}
			data = nil
		}
		r.buf = append(r.buf, data)
	}
	return nil
}

// fetch resolves a URI: data in it, or a file beside.
func (r *reader) fetch(uri string) ([]byte, bool) {
	if rest, ok := strings.CutPrefix(uri, "data:"); ok {
		_, b64, ok := strings.Cut(rest, ";base64,")
		if !ok {
			return nil, false
		}
		data, err := base64.StdEncoding.DecodeString(b64)
		return data, err == nil
	}
	name, err := url.PathUnescape(uri)
	if err != nil {
		name = uri
	}
	return r.beside.Find(name)
}

// view is the bytes of buffer view i, and its stride.
func (r *reader) view(i int, where string) ([]byte, int64, error) {
	if i < 0 || i >= len(r.doc.BufferViews) {
		return nil, 0, reference(where)
	}
	v := r.doc.BufferViews[i]
	if v.Buffer < 0 || v.Buffer >= len(r.buf) {
		return nil, 0, reference(where)
	}
	b := r.buf[v.Buffer]
	if b == nil {
		uri := r.doc.Buffers[v.Buffer].URI
		if uri == "" || strings.HasPrefix(uri, "data:") {
			return nil, 0, fault.New(fault.Invalid, "glb_truncated", content.Place("buffer", v.Buffer), "The geometry that the file describes is not in it; export the model again.")
		}
		return nil, 0, fault.New(fault.Invalid, "glb_external", "", "The geometry lies in another file, %q, that was not sent; send both in one ZIP archive, or export as one GLB file.", short(uri))
	}
	if v.ByteOffset < 0 || v.ByteLength < 0 || v.ByteStride < 0 || v.ByteOffset > int64(len(b)) || v.ByteLength > int64(len(b))-v.ByteOffset {
		return nil, 0, reference(where)
	}
	return b[v.ByteOffset : v.ByteOffset+v.ByteLength], v.ByteStride, nil
}

func reference(where string) error {
	return fault.New(fault.Invalid, "glb_reference", where, "The file refers to something that it does not hold; export the model again.")
}

// short cuts a name from a file to a readable length.
func short(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}
