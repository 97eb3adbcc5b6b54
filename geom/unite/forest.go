package unite

// forest says which numbers belong together; the root of each tree is its lowest.
type forest []uint32

func newForest(n int) forest {
	f := make(forest, n)
	for i := range f {
		f[i] = uint32(i)
	}
	return f
}

func (f forest) root(x uint32) uint32 {
	for f[x] != x {
		f[x] = f[f[x]]
		x = f[x]
	}
	return x
}

func (f forest) join(a, b uint32) {
	switch a, b = f.root(a), f.root(b); {
	case a < b:
		f[b] = a
	case b < a:
		f[a] = b
	}
}
