package glb

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"io"
	"math"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
)

// Part is a body with the colours a view gives it.
type Part struct {
	content.Body
	// VertexColor, one a vertex of Body.Mesh, wins over the body's own colours: a heat map, say. Nil if none.
	VertexColor []content.RGBA
}

// Write writes bodies (in mm, Z up) as one GLB file for viewing. See WriteParts.
func Write(w io.Writer, bodies []content.Body) error {
	parts := make([]Part, len(bodies))
	for i, b := range bodies {
		parts[i].Body = b
	}
	return WriteParts(w, parts)
}

// WriteParts writes parts as one GLB file.
//
// Node 0 is the frame: it turns Z up into Y up and scales mm to metres as glTF prescribes; its children are the parts, in
// order. A part's node holds the move and scale that bring 16-bit positions (KHR_mesh_quantization) to mm; a position is off
// by at most half of 1/65534 of the part's largest extent. Each part is one indexed primitive whose i-th triangle is the
// mesh's i-th facet, so that a picked triangle names its facet. No normals are stored: glTF has the viewer shade facets flat then.
//
// The same parts give the same bytes. Without colours a file has 12 bytes a facet and 8 a vertex (6 + 8 in parts of up to 65,535 vertices).
func WriteParts(w io.Writer, parts []Part) error { return write(w, parts, nil) }

// generator is the name our files carry.
const generator = "firstoff"

// frame turns Z up into Y up and mm into metres.
func frame(name string, children ...int) node {
	return node{Name: name, Rotation: []float64{-math.Sqrt2 / 2, 0, 0, math.Sqrt2 / 2}, Scale: []float64{0.001, 0.001, 0.001}, Children: children}
}

func write(w io.Writer, parts []Part, preview *mesh.Mesh) error {
	doc := document{
		Asset:          asset{Version: "2.0", Generator: generator},
		ExtensionsUsed: []string{"KHR_mesh_quantization"}, ExtensionsRequired: []string{"KHR_mesh_quantization"},
		Scene: new(int), Scenes: []scene{{Nodes: []int{0}}},
		Nodes: []node{frame("mm, Z up")},
	}
	var bin []byte
	materials := make(map[materialKey]int)
	var ahead []node
	if preview != nil {
		var n node
		bin, n = doc.add(bin, Part{Body: content.Body{Name: "preview", Mesh: preview}}, materials)
		ahead = append(ahead, n)
	}
	for _, p := range parts {
		if p.Mesh == nil || p.Mesh.Facets() == 0 {
			// An empty node keeps the numbering.
			doc.Nodes[0].Children = append(doc.Nodes[0].Children, len(doc.Nodes))
			doc.Nodes = append(doc.Nodes, node{Name: p.Name})
			continue
		}
		var n node
		bin, n = doc.add(bin, p, materials)
		doc.Nodes[0].Children = append(doc.Nodes[0].Children, len(doc.Nodes))
		doc.Nodes = append(doc.Nodes, n)
	}
	if ahead != nil {
		doc.Nodes = append(doc.Nodes, ahead[0])
		doc.Nodes = append(doc.Nodes, frame("preview: mm, Z up", len(doc.Nodes)-1))
		doc.Scenes = append(doc.Scenes, scene{Nodes: []int{len(doc.Nodes) - 1}})
	}
	doc.Buffers = []buffer{{ByteLength: int64(len(bin))}}
	if len(bin) == 0 {
		doc.Buffers = nil
	}
	text, err := json.Marshal(&doc)
	if err != nil {
		return fault.Because(err, fault.Internal, "write_failed", "", "The file could not be written.")
	}
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	total := 12 + 8 + len(text)
	if len(bin) > 0 {
		total += 8 + len(bin)
	}
	if int64(total) > math.MaxUint32 {
		return fault.New(fault.TooLarge, "glb_too_large", "", "The model is over the 4 GiB that a GLB file can hold.")
	}
	out := bufio.NewWriterSize(w, 1<<16)
	word := func(v uint32) { out.Write(binary.LittleEndian.AppendUint32(nil, v)) }
	out.WriteString("glTF")
	word(2)
	word(uint32(total))
	word(uint32(len(text)))
	out.WriteString("JSON")
	out.Write(text)
	if len(bin) > 0 {
		word(uint32(len(bin)))
		out.WriteString("BIN\x00")
		out.Write(bin)
	}
	if err := out.Flush(); err != nil {
		return fault.Because(err, fault.Internal, "write_failed", "", "The file could not be written.")
	}
	return nil
}

type materialKey struct {
	name  string
	color content.RGBA
	none  bool
}

// corners is a part's mesh with vertices doubled where facets of different colour meet.
type corners struct {
	from  []uint32 // vertex of the mesh, one a written vertex
	color []content.RGBA
	tri   []uint32
}

func split(p Part) corners {
	n := p.Mesh.Vertices()
	c := corners{from: make([]uint32, n, n+n/8), tri: p.Mesh.Tri}
	for i := range c.from {
		c.from[i] = uint32(i)
	}
	if len(p.VertexColor) == n {
		c.color = p.VertexColor
		return c
	}
	if len(p.FacetColor) != p.Mesh.Facets() {
		return c
	}
	type key struct {
		v     uint32
		color content.RGBA
	}
	more := make(map[key]uint32)
	given := make([]bool, n)
	c.color = make([]content.RGBA, n, cap(c.from))
	c.tri = make([]uint32, len(p.Mesh.Tri))
	for i, v := range p.Mesh.Tri {
		col := p.FacetColor[i/3]
		switch {
		case !given[v]:
			given[v] = true
			c.color[v] = col
		case c.color[v] != col:
			k := key{v, col}
			w, ok := more[k]
			if !ok {
				w = uint32(len(c.from))
				more[k] = w
				c.from = append(c.from, v)
				c.color = append(c.color, col)
			}
			v = w
		}
		c.tri[i] = v
	}
	return c
}

// add appends one part's mesh to the document and its numbers to bin, and gives the node that is to place it.
func (d *document) add(bin []byte, p Part, materials map[materialKey]int) ([]byte, node) {
	c := split(p)
	box := r3.EmptyBox()
	for v := range p.Mesh.Vertices() {
		box = box.Add(p.Mesh.Vertex(uint32(v)))
	}
	at, size := box.Center(), box.Size()
	step := max(size.X, size.Y, size.Z) / 65534
	if step == 0 {
		step = 1
	}

	view := func(target int, stride int64, length int) int {
		d.BufferViews = append(d.BufferViews, bufferView{ByteOffset: int64(len(bin) - length), ByteLength: int64(length), ByteStride: stride, Target: target})
		return len(d.BufferViews) - 1
	}
	access := func(a accessor, view int) int {
		a.BufferView = &view
		d.Accessors = append(d.Accessors, a)
		return len(d.Accessors) - 1
	}

	start := len(bin)
	lo, hi := []float64{32767, 32767, 32767}, []float64{-32767, -32767, -32767}
	for _, v := range c.from {
		q := p.Mesh.Vertex(v).Sub(at)
		for i, x := range [3]float64{q.X, q.Y, q.Z} {
			n := max(-32767, min(32767, math.Round(x/step)))
			lo[i], hi[i] = min(lo[i], n), max(hi[i], n)
			bin = binary.LittleEndian.AppendUint16(bin, uint16(int16(n)))
		}
		bin = append(bin, 0, 0) // elements begin at multiples of four
	}
	pos := access(accessor{ComponentType: typeShort, Count: int64(len(c.from)), Type: "VEC3", Min: lo, Max: hi}, view(targetArray, 8, len(bin)-start))
	prim := primitive{Attributes: map[string]int{"POSITION": pos}}

	if c.color != nil {
		start = len(bin)
		for _, col := range c.color {
			for i := range 3 {
				bin = binary.LittleEndian.AppendUint16(bin, linear16[col[i]])
			}
			bin = binary.LittleEndian.AppendUint16(bin, uint16(col[3])*257)
		}
		prim.Attributes["COLOR_0"] = access(accessor{ComponentType: typeUshort, Normalized: true, Count: int64(len(c.color)), Type: "VEC4"}, view(targetArray, 8, len(bin)-start))
	}

	start = len(bin)
	kind := typeUint
	if len(c.from) <= math.MaxUint16 {
		kind = typeUshort
		for _, v := range c.tri {
			bin = binary.LittleEndian.AppendUint16(bin, uint16(v))
		}
	} else {
		for _, v := range c.tri {
			bin = binary.LittleEndian.AppendUint32(bin, v)
		}
	}
	index := access(accessor{ComponentType: kind, Count: int64(len(c.tri)), Type: "SCALAR"}, view(targetElements, 0, len(bin)-start))
	for len(bin)%4 != 0 {
		bin = append(bin, 0)
	}
	prim.Indices = &index

	key := materialKey{name: p.Material, none: p.Color == nil || c.color != nil}
	if !key.none {
		key.color = *p.Color
	}
	m, ok := materials[key]
	if !ok {
		m = len(d.Materials)
		materials[key] = m
		d.Materials = append(d.Materials, newMaterial(key))
	}
	prim.Material = &m

	which := len(d.Meshes)
	d.Meshes = append(d.Meshes, gmesh{Name: p.Name, Primitives: []primitive{prim}})
	return bin, node{Name: p.Name, Mesh: &which, Translation: []float64{at.X, at.Y, at.Z}, Scale: []float64{step, step, step}}
}

func newMaterial(k materialKey) material {
	metallic, roughness := 0.0, 0.7
	m := material{Name: k.name, PBR: &pbr{Metallic: &metallic, Roughness: &roughness}}
	if !k.none {
		c := k.color
		// Seven digits are more than 8 bits need and print the same everywhere.
		lin := func(v uint8) float64 { return math.Round(content.Linear(v)*1e7) / 1e7 }
		m.PBR.BaseColor = []float64{lin(c[0]), lin(c[1]), lin(c[2]), math.Round(float64(c[3])/255*1e7) / 1e7}
		if c[3] < 255 {
			m.AlphaMode = "BLEND"
		}
	}
	return m
}

var linear16 = func() (t [256]uint16) {
	for i := range t {
		t[i] = uint16(math.Round(65535 * content.Linear(uint8(i))))
	}
	return
}()
