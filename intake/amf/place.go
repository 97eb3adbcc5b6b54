package amf

import (
	"math"

	"firstoff/fault"
	"firstoff/geom/mesh"
	"firstoff/geom/r3"
	"firstoff/intake/content"
	"firstoff/intake/internal/decimal"
)

// settle gives bodies the colours and names of their materials, which may stand anywhere in the file.
func (r *reader) settle() {
	for _, p := range r.pending {
		b := &p.of.bodies[p.body]
		rest := b.Color // of the volume, else the object, else the material
		if rest == nil {
			rest = p.object
		}
		if m := r.materials[p.material]; m != nil {
			b.Material = m.name
			if rest == nil {
				rest = m.color
			}
		}
		if b.FacetColor == nil {
			b.Color = rest
			continue
		}
		fill := content.Uncoloured
		if rest != nil {
			fill = *rest
		}
		for i, none := range p.none {
			if none {
				b.FacetColor[i] = fill
			}
		}
		b.Color, b.FacetColor = content.OneOrEach(b.FacetColor)
	}
}

// pose is a turn, then a move.
type pose struct {
	turn r3.Quat
	move r3.Vec
}

func (in instance) pose() pose {
	const degree = math.Pi / 180
	x := r3.AxisAngle(r3.Vec{X: 1}, in.turn[0]*degree)
	y := r3.AxisAngle(r3.Vec{Y: 1}, in.turn[1]*degree)
	z := r3.AxisAngle(r3.Vec{Z: 1}, in.turn[2]*degree)
	return pose{z.Times(y).Times(x), r3.Vec{X: in.move[0], Y: in.move[1], Z: in.move[2]}}
}

// within first applies in, then p.
func (p pose) within(in pose) pose {
	return pose{p.turn.Times(in.turn), p.turn.Rotate(in.move).Add(p.move)}
}

// place puts every object and constellation that no constellation holds where it belongs.
func (r *reader) place() error {
	r.settle()
	for _, t := range r.order {
		for _, in := range t.instances {
			held := r.things[in.id]
			if held == nil {
				return fault.New(fault.Invalid, "amf_instance", r.s.LineOf(in.tag), "A constellation places %.24q, which is not in the file; export the model again.", in.id)
			}
			held.held = true
		}
	}
	total := int64(0)
	placed := 0
	for _, t := range r.order {
		if err := r.count(t, 1); err != nil {
			return err
		}
		if !t.held {
			total += t.facets
			placed++
		}
	}
	if total > int64(r.lim.Triangles) {
		return content.TooManyTriangles(total, r.lim.Triangles)
	}
	for _, t := range r.order {
		if !t.held {
			if err := r.put(t, pose{turn: r3.Identity}, ""); err != nil {
				return err
			}
		}
	}
	return nil
}

// count adds up facets and refuses constellations that hold themselves or nest too deep.
func (r *reader) count(t *thing, depth int) error {
	deep := func() error {
		return fault.New(fault.TooLarge, "amf_depth", "", "Constellations are nested more than %d deep; export the model flat.", r.lim.Depth)
	}
	switch {
	case t.state == 1:
		return fault.New(fault.Invalid, "amf_circle", "", "Constellation %.24q holds itself; export the model again.", t.id)
	case depth+t.height > r.lim.Depth:
		return deep()
	case t.state == 2:
		return nil
	}
	t.state = 1
	for _, b := range t.bodies {
		t.facets += int64(b.Mesh.Facets())
	}
	for _, in := range t.instances {
		sub := r.things[in.id]
		if err := r.count(sub, depth+1); err != nil {
			return err
		}
		t.facets = min(t.facets+sub.facets, 1<<50)
		t.height = max(t.height, sub.height+1)
	}
	t.state = 2
	return nil
}

func (r *reader) put(t *thing, at pose, path string) error {
	if err := r.ctx.Err(); err != nil {
		return err
	}
	for _, b := range t.bodies {
		if len(r.out.Bodies) >= r.lim.Bodies {
			return content.TooManyBodies(r.lim.Bodies)
		}
		b.Instance = path
		if path != "" {
			b.Mesh = moved(b.Mesh, at)
			if decimal.AllFinite(b.Mesh.Pos) >= 0 {
				return fault.New(fault.Invalid, "amf_number", "", "A constellation throws an object out to infinity; export the model again.")
			}
		}
		r.out.Bodies = append(r.out.Bodies, b)
	}
	name := t.name
	if name == "" {
		name = t.id
	}
	for _, in := range t.instances {
		if err := r.put(r.things[in.id], at.within(in.pose()), path+"/"+name); err != nil {
			return err
		}
	}
	return nil
}

func moved(m *mesh.Mesh, at pose) *mesh.Mesh { return m.Transformed(at.turn, 1, at.move) }
