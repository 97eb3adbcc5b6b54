package chamber

// Stuck takes a packing apart: again and again a body that can be pushed straight out along an axis, past the rest (Stuck: gaps left
// out; in a search: gaps kept), is taken away. What is left when no body will move that way is tried on longer ways of axis steps; those that still
// cannot leave are stuck in each other, by index. Nil is as it should be.
func Stuck(kinds []Kind, order []int, p Packing) []int {
	t := newTable(kinds, 0)
	s := &spots{}
	all := make([]int, len(order))
	for i, k := range order {
		all[i] = i
		b := p.Spots[i].Pose.Turn(kinds[k].Bodies[p.Spots[i].Body])
		for q := t.first[k]; q < t.first[k]+t.count[k]; q++ {
			if t.posed[q].b.Equal(b) {
				s.po = append(s.po, int32(q))
				break
			}
		}
		s.x, s.y, s.z = append(s.x, int32(p.Spots[i].X)), append(s.y, int32(p.Spots[i].Y)), append(s.z, int32(p.Spots[i].Z))
	}
	return stuck(t, s, all)
}

// stuck is Stuck for the bodies listed.
func stuck(t *table, s *spots, list []int) []int {
	left := append([]int(nil), list...)
	hits := func(i, x, y, z int) bool {
		for _, j := range left {
			if j == i {
				continue
			}
			if t.pair(s.po[i], s.po[j]).at(int(s.x[i]-s.x[j])+x, int(s.y[i]-s.y[j])+y, int(s.z[i]-s.z[j])+z) > 0 {
				return true
			}
		}
		return false
	}
	var lo, hi [3]int
	place := func(i int) ([3]int, [3]int) {
		return [3]int{int(s.x[i]), int(s.y[i]), int(s.z[i])}, t.posed[s.po[i]].size
	}
	for _, i := range list {
		at, d := place(i)
		for a, v := range at {
			lo[a], hi[a] = min(lo[a], v), max(hi[a], v+d[a])
		}
	}
	straight := func(i int) bool {
		at, d := place(i)
		for a := range 3 {
			for _, sign := range [2]int{1, -1} {
				far := hi[a] - at[a]
				if sign < 0 {
					far = at[a] + d[a] - lo[a]
				}
				var v [3]int
				clear := true
				for k := 1; k <= far && clear; k++ {
					v[a] = sign * k
					clear = !hits(i, v[0], v[1], v[2])
				}
				if clear {
					return true
				}
			}
		}
		return false
	}
	winding := func(i int) bool { // flood over displacements, at most a million
		from, d := place(i)
		seen := map[[3]int]bool{{}: true}
		queue := [][3]int{{}}
		for len(queue) > 0 && len(seen) < 1_000_000 {
			v := queue[0]
			queue = queue[1:]
			at := [3]int{from[0] + v[0], from[1] + v[1], from[2] + v[2]}
			for a := range 3 {
				if at[a] >= hi[a] || at[a]+d[a] <= lo[a] {
					return true
				}
			}
			for a := range 3 {
				for _, sign := range [2]int{1, -1} {
					w := v
					w[a] += sign
					if !seen[w] && !hits(i, w[0], w[1], w[2]) {
						seen[w] = true
						queue = append(queue, w)
					}
				}
			}
		}
		return false
	}
	for _, leaves := range []func(int) bool{straight, winding} {
		for again := true; again; {
			again = false
			for k := 0; k < len(left); {
				if leaves(left[k]) {
					left = append(left[:k], left[k+1:]...)
					again = true
				} else {
					k++
				}
			}
		}
	}
	if len(left) == 0 {
		return nil
	}
	return left
}

// free lifts bodies that are stuck above all others, lowest pose down, one on the other; it gives the new height.
func (s *spots) free(t *table, kind []int32, box Box) {
	all := make([]int, len(kind))
	for i := range all {
		all[i] = i
	}
	for _, i := range stuck(t, s, all) {
		poses := t.lying(int(kind[i]), Box{NX: box.NX, NY: box.NY})
		s.high += t.pad
		s.po[i], s.x[i], s.y[i], s.z[i] = int32(poses[0]), 0, 0, int32(s.high)
		s.high += t.posed[poses[0]].size[2]
	}
}
