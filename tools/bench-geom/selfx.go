package main

import "math"

// selfx: all pairs of facets that meet where they should not.
func init() {
	ops["selfx"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		l.start()
		c := m.Crossings(math.MaxInt32)
		l.stop()
		l.N = m.Facets()
		l.add("pairs", len(c.Pairs))
		return nil
	}
	// bodies: the pieces that hang together, and each facet's piece.
	ops["bodies"] = func(args []string, l *line) error {
		m, err := load(args[0])
		if err != nil {
			return err
		}
		l.start()
		n, _ := m.Components()
		l.stop()
		l.N = m.Facets()
		l.add("bodies", n)
		return nil
	}
}
