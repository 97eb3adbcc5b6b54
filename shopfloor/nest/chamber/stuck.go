package chamber

// Stuck takes a packing apart: again and again a body that can be pushed straight out along an axis, past the rest with the gap left out,
// is taken away. What is left when no body will move that way is tried on longer ways of axis steps; those that still
// cannot leave are stuck in each other, by index. Nil is as it should be.
func Stuck(kinds []Kind, order []int, p Packing) []int {
	t := newTable(kinds, 0)
	n := len(order)
	po := make([]int32, n)
	left := make([]int, n)
	for i, k := range order {
		left[i] = i
		for q := t.first[k]; q < t.first[k]+t.count[k]; q++ {
			b := p.Spots[i].Pose.Turn(kinds[k].Bodies[p.Spots[i].Body])
			if t.posed[q].b.Equal(b) {
				po[i] = int32(q)
			}
		}
	}
	hits := func(i, x, y, z int) bool {
		s := p.Spots[i]
		for _, j := range left {
			if j == i {
				continue
			}
			o := p.Spots[j]
			if t.pair(po[i], po[j]).at(s.X+x-o.X, s.Y+y-o.Y, s.Z+z-o.Z) > 0 {
				return true
			}
		}
		return false
	}
	var lo, hi [3]int
	for i := range order {
		s, d := p.Spots[i], t.posed[po[i]].size
		for a, v := range [3]int{s.X, s.Y, s.Z} {
			lo[a], hi[a] = min(lo[a], v), max(hi[a], v+d[a])
		}
	}
	straight := func(i int) bool {
		s, d := p.Spots[i], t.posed[po[i]].size
		at := [3]int{s.X, s.Y, s.Z}
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
		s, d := p.Spots[i], t.posed[po[i]].size
		seen := map[[3]int]bool{{}: true}
		queue := [][3]int{{}}
		for len(queue) > 0 && len(seen) < 1_000_000 {
			v := queue[0]
			queue = queue[1:]
			at := [3]int{s.X + v[0], s.Y + v[1], s.Z + v[2]}
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
