package flat

import (
	"math"
	"sort"
)

// Pieces cuts a clean outline into convex pieces that cover exactly it: ears are cut off, then the cuts that are not
// needed are taken back, the longest first (Hertel and Mehlhorn 1983: at most four times the fewest). Where the outline is
// too tangled to be cut (it crosses itself) its convex hull is given instead, which covers more, never less.
func Pieces(p Poly) []Poly {
	n := len(p)
	if n < 3 {
		return nil
	}
	convex := true
	for i := range p {
		if p[(i+1)%n].Sub(p[i]).Cross(p[(i+2)%n].Sub(p[(i+1)%n])) < 0 {
			convex = false
			break
		}
	}
	if convex {
		return []Poly{p}
	}
	tris, ok := ears(p)
	if ok {
		var sum float64
		for _, t := range tris {
			sum += math.Abs(Poly{p[t[0]], p[t[1]], p[t[2]]}.Area())
		}
		ok = math.Abs(sum-p.Area()) <= 1e-7*p.Area()
	}
	if !ok {
		return []Poly{Hull(p)}
	}
	return merge(p, tris)
}

// ears triangulates by cutting ears, the fattest first.
func ears(p Poly) ([][3]int, bool) {
	idx := make([]int, len(p))
	for i := range idx {
		idx[i] = i
	}
	var tris [][3]int
	for len(idx) > 3 {
		best, bestQ := -1, -1.0
		n := len(idx)
		for i := 0; i < n; i++ {
			ia, ib, ic := idx[(i+n-1)%n], idx[i], idx[(i+1)%n]
			a, b, c := p[ia], p[ib], p[ic]
			area := b.Sub(a).Cross(c.Sub(b))
			if area <= 0 {
				continue
			}
			q := area / (b.Sub(a).Dot(b.Sub(a)) + c.Sub(b).Dot(c.Sub(b)) + a.Sub(c).Dot(a.Sub(c)))
			if q <= bestQ {
				continue
			}
			clear := true
			for k := 0; k < n; k++ {
				j := idx[k]
				if j == ia || j == ib || j == ic {
					continue
				}
				if p[j] == a || p[j] == b || p[j] == c {
					continue
				}
				if inTriangle(p[j], a, b, c) {
					clear = false
					break
				}
			}
			if clear {
				best, bestQ = i, q
			}
		}
		if best < 0 {
			return nil, false
		}
		tris = append(tris, [3]int{idx[(best+n-1)%n], idx[best], idx[(best+1)%n]})
		idx = append(idx[:best], idx[best+1:]...)
	}
	if p[idx[1]].Sub(p[idx[0]]).Cross(p[idx[2]].Sub(p[idx[1]])) > 0 {
		tris = append(tris, [3]int{idx[0], idx[1], idx[2]})
	}
	return tris, true
}

// merge joins neighbouring triangles across their common edge while the union stays convex.
func merge(p Poly, tris [][3]int) []Poly {
	rings := make([][]int, len(tris))
	owner := make([]int, len(tris)) // union-find over pieces
	for i, t := range tris {
		rings[i] = []int{t[0], t[1], t[2]}
		owner[i] = i
	}
	find := func(i int) int {
		for owner[i] != i {
			i = owner[i]
		}
		return i
	}
	type diag struct {
		a, b int // as directed in piece f; piece g has b→a
		f, g int
		l    float64
	}
	at := map[[2]int]int{}
	for i, t := range tris {
		for k := 0; k < 3; k++ {
			at[[2]int{t[k], t[(k+1)%3]}] = i
		}
	}
	var ds []diag
	for i, t := range tris {
		for k := 0; k < 3; k++ {
			a, b := t[k], t[(k+1)%3]
			if a > b {
				continue
			}
			if j, ok := at[[2]int{b, a}]; ok {
				ds = append(ds, diag{a, b, i, j, p[a].Sub(p[b]).Len()})
			}
		}
	}
	sort.Slice(ds, func(i, j int) bool {
		if ds[i].l != ds[j].l {
			return ds[i].l > ds[j].l
		}
		if ds[i].a != ds[j].a {
			return ds[i].a < ds[j].a
		}
		return ds[i].b < ds[j].b
	})
	for _, d := range ds {
		f, g := find(d.f), find(d.g)
		if f == g {
			continue
		}
		r := splice(rings[f], rings[g], d.a, d.b)
		if r != nil && ringConvex(p, r) {
			rings[f], rings[g] = r, nil
			owner[g] = f
		}
	}
	var out []Poly
	for _, r := range rings {
		if r == nil {
			continue
		}
		q := make(Poly, len(r))
		for i, k := range r {
			q[i] = p[k]
		}
		out = append(out, q)
	}
	return out
}

// splice joins ring f, which runs a→b, with ring g, which runs b→a.
func splice(f, g []int, a, b int) []int {
	fi := -1
	for i := range f {
		if f[i] == a && f[(i+1)%len(f)] == b {
			fi = i
		}
	}
	gi := -1
	for i := range g {
		if g[i] == b && g[(i+1)%len(g)] == a {
			gi = i
		}
	}
	if fi < 0 || gi < 0 {
		return nil
	}
	var r []int
	for k := 0; k < len(f); k++ { // b … a of f
		r = append(r, f[(fi+1+k)%len(f)])
	}
	for k := 1; k < len(g)-1; k++ { // between a and b of g
		r = append(r, g[(gi+1+k)%len(g)])
	}
	return r
}

func ringConvex(p Poly, r []int) bool {
	n := len(r)
	for i := range r {
		u := p[r[(i+1)%n]].Sub(p[r[i]])
		v := p[r[(i+2)%n]].Sub(p[r[(i+1)%n]])
		if u.Cross(v) < -1e-12*u.Len()*v.Len() {
			return false
		}
	}
	return true
}

// minkowski is the sum of two convex counter-clockwise polygons, edges merged by direction.
func minkowski(a, b Poly) Poly {
	lowest := func(p Poly) int {
		k := 0
		for i := range p {
			if p[i].Y < p[k].Y || p[i].Y == p[k].Y && p[i].X < p[k].X {
				k = i
			}
		}
		return k
	}
	ia, ib := lowest(a), lowest(b)
	na, nb := len(a), len(b)
	out := make(Poly, 0, na+nb)
	i, j := 0, 0
	for i < na || j < nb {
		out = append(out, a[(ia+i)%na].Add(b[(ib+j)%nb]))
		ea := a[(ia+i+1)%na].Sub(a[(ia+i)%na])
		eb := b[(ib+j+1)%nb].Sub(b[(ib+j)%nb])
		switch cr := ea.Cross(eb); {
		case i == na:
			j++
		case j == nb:
			i++
		case math.Abs(cr) <= 1e-13*ea.Len()*eb.Len() && ea.Dot(eb) > 0:
			i++
			j++
		case cr > 0 || cr == 0 && upper(ea) < upper(eb):
			i++
		case cr < 0:
			j++
		default:
			i++
		}
	}
	return out
}

// upper is 0 for directions in [0, π) and 1 for the rest.
func upper(d Pt) int {
	if d.Y > 0 || d.Y == 0 && d.X > 0 {
		return 0
	}
	return 1
}

// mirror is p turned by half a turn: the set of −q for q in p; the sense stays.
func mirror(p Poly) Poly {
	q := make(Poly, len(p))
	for i, a := range p {
		q[i] = Pt{-a.X, -a.Y}
	}
	return q
}

// discSides is the number of sides of the polygon drawn around a disc: at its corners it reaches 1/cos(π/16) = 1.02 radii.
const discSides = 16

// disc is a regular polygon around the disc of radius r, with sides square to the axes.
func disc(r float64) Poly {
	d := make(Poly, discSides)
	out := r / math.Cos(math.Pi/discSides)
	for i := range d {
		s, c := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / discSides)
		d[i] = Pt{out * c, out * s}
	}
	return d
}
