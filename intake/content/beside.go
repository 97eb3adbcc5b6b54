package content

// Beside gives a file that came together with the one being read (a material library, a buffer, a texture), by its
// path relative to it. A nil Beside has none.
type Beside func(name string) (data []byte, ok bool)

// Find asks b, which may be nil.
func (b Beside) Find(name string) ([]byte, bool) {
	if b == nil {
		return nil, false
	}
	return b(name)
}
