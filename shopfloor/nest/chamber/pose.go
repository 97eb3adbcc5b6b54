package chamber

// Pose is one of the 24 turns that map the axes onto themselves: cell (x, y, z) goes to, on axis i, the coordinate Axis[i] of the
// original, counted backwards where Flip[i].
type Pose struct {
	Axis [3]int
	Flip [3]bool
}

// Poses are the 24 turns, the unturned first. Mirror images are not among them.
var Poses = func() (out []Pose) {
	perms := [][3]int{{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {0, 2, 1}, {1, 0, 2}, {2, 1, 0}}
	for k, p := range perms {
		odd := k >= 3
		for f := 0; f < 8; f++ {
			flips := f&1 + f>>1&1 + f>>2&1
			if (flips%2 == 1) != odd {
				continue
			}
			out = append(out, Pose{p, [3]bool{f&1 != 0, f>>1&1 != 0, f>>2&1 != 0}})
		}
	}
	return out
}()

// Upright are the four turns about z.
var Upright = func() (out []Pose) {
	for _, p := range Poses {
		if p.Axis[2] == 2 && !p.Flip[2] {
			out = append(out, p)
		}
	}
	return out
}()

// Matrix is the rotation, row-major.
func (p Pose) Matrix() (m [9]float64) {
	for i := range 3 {
		m[3*i+p.Axis[i]] = 1
		if p.Flip[i] {
			m[3*i+p.Axis[i]] = -1
		}
	}
	return m
}

// Turn is the body turned.
func (p Pose) Turn(b *Bits) *Bits {
	d := [3]int{b.NX, b.NY, b.NZ}
	t := New(d[p.Axis[0]], d[p.Axis[1]], d[p.Axis[2]])
	nt := [3]int{t.NX, t.NY, t.NZ}
	b.each(func(x, y, z int) {
		c := [3]int{x, y, z}
		var q [3]int
		for i := range 3 {
			q[i] = c[p.Axis[i]]
			if p.Flip[i] {
				q[i] = nt[i] - 1 - q[i]
			}
		}
		t.Set(q[0], q[1], q[2])
	})
	return t
}

// times is the pose that first applies q, then p.
func (p Pose) times(q Pose) (r Pose) {
	for i := range 3 {
		r.Axis[i] = q.Axis[p.Axis[i]]
		r.Flip[i] = p.Flip[i] != q.Flip[p.Axis[i]]
	}
	return r
}

// inverse undoes p.
func (p Pose) inverse() (r Pose) {
	for i := range 3 {
		r.Axis[p.Axis[i]] = i
		r.Flip[p.Axis[i]] = p.Flip[i]
	}
	return r
}

// vec turns a displacement.
func (p Pose) vec(v [3]int) (w [3]int) {
	for i := range 3 {
		w[i] = v[p.Axis[i]]
		if p.Flip[i] {
			w[i] = -w[i]
		}
	}
	return w
}

// Size is the extent of the body turned.
func (p Pose) Size(b *Bits) [3]int {
	d := [3]int{b.NX, b.NY, b.NZ}
	return [3]int{d[p.Axis[0]], d[p.Axis[1]], d[p.Axis[2]]}
}
