package flat

import "sort"

func (s *spots) clone() *spots {
	return &spots{append([]int32(nil), s.or...), append([]int32(nil), s.reg...), append([]float64(nil), s.x...), append([]float64(nil), s.y...), append([]Box(nil), s.regions...)}
}

// length of a strip's layout.
func (s *spots) length() float64 { return s.regions[0].MaxX }

func sortStable(p []int, less func(a, b int) bool) {
	sort.SliceStable(p, func(i, j int) bool { return less(p[i], p[j]) })
}
