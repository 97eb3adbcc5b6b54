package mesh

// Crossings are the facets that cut each other.
type Crossings struct {
	Pairs int // pairs of facets that share no vertex and meet, or that overlap beyond the vertices they share
}

func (r *Report) addCrossings(m *Mesh) {}
