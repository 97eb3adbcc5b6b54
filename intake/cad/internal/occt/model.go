package occt

import "math"

// Model is what a file holds.
type Model struct {
	Root   Node
	Shapes []Shape
	Log    string // what the kernel printed
	Peak   uint32 // memory it held at the end, bytes
}

// Node is one step of the file's tree; Shapes are indices.
type Node struct {
	Name     string
	Shapes   []int
	Children []Node
}

// Shape is one solid, or one shell or set of faces outside a solid.
type Shape struct {
	Name  string
	Color *Color
	Pos   []float64 // 3 a node; nodes are not shared between faces
	Nrm   []float64 // 3 a node, or none: means of the facets around it on its face
	Tri   []uint32  // 3 a triangle
	Faces []Face
}

// Face is one exact face: triangles First to Last, both included; Last < First when it has none.
type Face struct {
	First, Last int
	Color       *Color
}

// Color is linear RGB, 0 to 1.
type Color [3]float64

const maxDepth = 256

// readModel takes the guest's answer apart. What is out of shape there is left out, never trusted.
func readModel(top *object) *Model {
	m := &Model{}
	if r, ok := child(top, "root"); ok {
		m.Root = readNode(r, 0)
	}
	shapes, _ := top.get("meshes")
	a, _ := shapes.p.(*array)
	if a == nil {
		return m
	}
	for _, v := range a.vals {
		o, ok := v.p.(*object)
		if !ok {
			o = &object{}
		}
		m.Shapes = append(m.Shapes, readShape(o))
	}
	return m
}

func readShape(o *object) Shape {
	s := Shape{Name: text(o, "name"), Color: color(o)}
	if at, ok := child(o, "attributes"); ok {
		if p, ok := child(at, "position"); ok {
			s.Pos = numbers(p, "array")
		}
		if n, ok := child(at, "normal"); ok {
			s.Nrm = numbers(n, "array")
		}
	}
	s.Pos = s.Pos[:len(s.Pos)/3*3]
	lost := map[uint32]bool{} // nodes nowhere: their triangles collapse
	for i, x := range s.Pos {
		if math.IsNaN(x) || math.Abs(x) > 1e30 {
			s.Pos[i] = 0
			lost[uint32(i/3)] = true
		}
	}
	if x, ok := child(o, "index"); ok {
		nodes := float64(len(s.Pos) / 3)
		idx := numbers(x, "array")
		s.Tri = make([]uint32, len(idx)/3*3)
		for i := 0; i < len(s.Tri); i += 3 {
			bad := false
			for k := range 3 {
				f := idx[i+k]
				if !(f >= 0 && f < nodes) || len(lost) > 0 && lost[uint32(f)] {
					bad = true
					break
				}
				s.Tri[i+k] = uint32(f)
			}
			if bad && nodes > 0 {
				s.Tri[i], s.Tri[i+1], s.Tri[i+2] = 0, 0, 0
			} else if bad {
				s.Tri = s.Tri[:i]
				break
			}
		}
	}
	faces, _ := o.get("brep_faces")
	if fa, ok := faces.p.(*array); ok {
		for _, v := range fa.vals {
			if fo, ok := v.p.(*object); ok {
				first, _ := fo.get("first")
				last, _ := fo.get("last")
				s.Faces = append(s.Faces, Face{int(first.f), min(int(last.f), len(s.Tri)/3-1), color(fo)})
			}
		}
	}
	return s
}

func readNode(o *object, depth int) Node {
	n := Node{Name: text(o, "name")}
	for _, f := range numbers(o, "meshes") {
		n.Shapes = append(n.Shapes, int(f))
	}
	kids, _ := o.get("children")
	if a, ok := kids.p.(*array); ok && depth < maxDepth {
		for _, v := range a.vals {
			if c, ok := v.p.(*object); ok {
				n.Children = append(n.Children, readNode(c, depth+1))
			}
		}
	}
	return n
}

func child(o *object, key string) (*object, bool) {
	v, _ := o.get(key)
	c, ok := v.p.(*object)
	return c, ok
}

func text(o *object, key string) string {
	v, _ := o.get(key)
	s, _ := v.p.(string)
	return s
}

func numbers(o *object, key string) []float64 {
	v, _ := o.get(key)
	if a, ok := v.p.(*array); ok {
		return a.nums
	}
	return nil
}

func color(o *object) *Color {
	f := numbers(o, "color")
	if len(f) != 3 {
		return nil
	}
	for _, x := range f {
		if math.IsNaN(x) {
			return nil
		}
	}
	return &Color{f[0], f[1], f[2]}
}
