package glb

import (
	"slices"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
)

// affine is the upper three rows of a transform, row by row.
type affine [12]float64

var identity = affine{1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0}

// times first applies b, then a.
func (a affine) times(b affine) (c affine) {
	for i := range 3 {
		for j := range 4 {
			c[4*i+j] = a[4*i]*b[j] + a[4*i+1]*b[4+j] + a[4*i+2]*b[8+j]
		}
		c[4*i+3] += a[4*i+3]
	}
	return
}

func (a affine) apply(x, y, z float64) (float64, float64, float64) {
	return a[0]*x + a[1]*y + a[2]*z + a[3], a[4]*x + a[5]*y + a[6]*z + a[7], a[8]*x + a[9]*y + a[10]*z + a[11]
}

func (a affine) mirrors() bool {
	return a[0]*(a[5]*a[10]-a[6]*a[9])-a[1]*(a[4]*a[10]-a[6]*a[8])+a[2]*(a[4]*a[9]-a[5]*a[8]) < 0
}

func (n node) transform() affine {
	if m := n.Matrix; len(m) == 16 {
		return affine{m[0], m[4], m[8], m[12], m[1], m[5], m[9], m[13], m[2], m[6], m[10], m[14]}
	}
	out := identity
	if q := n.Rotation; len(q) == 4 {
		r := r3.Quat{W: q[3], X: q[0], Y: q[1], Z: q[2]}.Unit().Mat()
		out = affine{r[0], r[1], r[2], 0, r[3], r[4], r[5], 0, r[6], r[7], r[8], 0}
	}
	if s := n.Scale; len(s) == 3 {
		for i := range 3 {
			for j := range 3 {
				out[4*i+j] *= s[j]
			}
		}
	}
	if t := n.Translation; len(t) == 3 {
		out[3], out[7], out[11] = t[0], t[1], t[2]
	}
	return out
}

// walk visits the nodes of the scene, or all roots where no scene is named.
func (r *reader) walk() error {
	var roots []int
	switch s := r.doc.Scene; {
	case s != nil && *s >= 0 && *s < len(r.doc.Scenes):
		roots = r.doc.Scenes[*s].Nodes
	case s != nil:
		return reference("scene")
	case len(r.doc.Scenes) > 0:
		roots = r.doc.Scenes[0].Nodes
	default:
		child := make([]bool, len(r.doc.Nodes))
		for _, n := range r.doc.Nodes {
			for _, c := range n.Children {
				if c >= 0 && c < len(child) {
					child[c] = true
				}
			}
		}
		for i, c := range child {
			if !c {
				roots = append(roots, i)
			}
		}
	}
	visited := make([]bool, len(r.doc.Nodes))
	for _, n := range roots {
		if err := r.visit(n, identity, visited, 0); err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) visit(i int, at affine, visited []bool, depth int) error {
	if i < 0 || i >= len(r.doc.Nodes) {
		return reference("node tree")
	}
	where := content.Place("node", i)
	if visited[i] {
		return fault.New(fault.Invalid, "glb_reference", where, "A node of the scene lies under two others or under itself, which glTF forbids; export the model again.")
	}
	visited[i] = true
	if depth > 64*r.lim.Depth {
		return fault.New(fault.TooLarge, "glb_depth", where, "The scene is nested more than %d deep; export the model flat.", 64*r.lim.Depth)
	}
	n := r.doc.Nodes[i]
	at = at.times(n.transform())
	for _, x := range at {
		if x-x != 0 {
			return fault.New(fault.Invalid, "glb_nan", where, "The place of a node is not a finite number; export the model again.")
		}
	}
	if n.Mesh != nil {
		if *n.Mesh < 0 || *n.Mesh >= len(r.doc.Meshes) {
			return reference(where)
		}
		if n.Skin != nil || len(r.doc.Meshes[*n.Mesh].Weights) > 0 {
			r.out.Warn("glb_pose", where, "The model carries a skeleton or shape targets; it was taken in its rest shape.")
		}
		if err := r.body(n, r.doc.Meshes[*n.Mesh], at, where); err != nil {
			return err
		}
	}
	for _, c := range n.Children {
		if err := r.visit(c, at, visited, depth+1); err != nil {
			return err
		}
	}
	return nil
}

// body makes one body of a mesh at its place.
func (r *reader) body(n node, g gmesh, at affine, where string) error {
	b := content.Body{Name: n.Name, Mesh: &mesh.Mesh{}}
	if b.Name == "" {
		b.Name = g.Name
	}
	var colours []content.RGBA // one a facet
	coloured := false
	for _, p := range g.Primitives {
		if err := r.ctx.Err(); err != nil {
			return err
		}
		which, ok := p.Attributes["POSITION"]
		if !ok {
			continue
		}
		pos, err := r.access(which, where)
		if err != nil {
			return err
		}
		if pos.width != 3 {
			return reference(where)
		}
		tri, err := r.indices(p, pos.count, where)
		if err != nil {
			return err
		}
		if tri == nil {
			if p.Mode != nil && *p.Mode < modeTriangles {
				r.out.Warn("glb_not_surface", where, "Points or lines were passed over; only surfaces are parts.")
			}
			continue
		}
		if r.facets += len(tri) / 3; r.facets > r.lim.Triangles {
			return content.TooManyTriangles(int64(r.facets), r.lim.Triangles)
		}
		base := uint32(b.Mesh.Vertices())
		place := func(v int) {
			x, y, z := at.apply(pos.value(v, 0), pos.value(v, 1), pos.value(v, 2))
			b.Mesh.Pos = append(b.Mesh.Pos, float32(x), float32(y), float32(z))
		}
		own := tri // what the look is asked for
		if len(tri) <= pos.count {
			// Few facets of a large table, which other primitives may share: only their corners.
			own = slices.Clone(tri)
			for i, v := range own {
				place(int(v))
				tri[i] = uint32(i)
			}
		} else {
			for v := range pos.count {
				place(v)
			}
		}
		look, err := r.look(p, where)
		if err != nil {
			return err
		}
		if look.name != "" && b.Material == "" {
			b.Material = look.name
		}
		for i := 0; i < len(tri); i += 3 {
			c, has := look.facet(own[i], own[i+1], own[i+2])
			coloured = coloured || has
			colours = append(colours, c)
		}
		if at.mirrors() {
			for i := 0; i < len(tri); i += 3 {
				tri[i+1], tri[i+2] = tri[i+2], tri[i+1]
			}
		}
		for _, v := range tri {
			b.Mesh.Tri = append(b.Mesh.Tri, v+base)
		}
	}
	if b.Mesh.Facets() == 0 {
		return nil
	}
	if i := decimal.AllFinite(b.Mesh.Pos); i >= 0 {
		return fault.New(fault.Invalid, "glb_nan", where, "A coordinate is not a finite number; repair or export the model again.")
	}
	b.Mesh = content.Welded(b.Mesh)
	if coloured {
		b.Color, b.FacetColor = content.OneOrEach(colours)
	}
	r.out.Bodies = append(r.out.Bodies, b)
	if len(r.out.Bodies) > r.lim.Bodies {
		return content.TooManyBodies(r.lim.Bodies)
	}
	return nil
}

// mean of three linear values.
func mean(a, b, c float64) float64 { return (a + b + c) / 3 }
