package store

import (
	"context"

	"firstoff/bureau/books"
)

var versions = kind[books.Version]{
	table:   "coefficient_versions",
	id:      func(v *books.Version) string { return v.ID },
	version: func(v *books.Version) *int { return &v.Version },
	columns: func(*books.Version) []any { return nil },
}

// AddVersion keeps a new version of the coefficients.
func (s *Store) AddVersion(ctx context.Context, v *books.Version) error {
	return versions.add(ctx, s, v)
}

// SaveVersion replaces a version's record.
func (s *Store) SaveVersion(ctx context.Context, v *books.Version) error {
	return versions.save(ctx, s, v)
}

// Version finds a version by number.
func (s *Store) Version(ctx context.Context, id string) (books.Version, error) {
	return versions.get(ctx, s, id)
}

// Versions lists newest first.
func (s *Store) Versions(ctx context.Context) ([]books.Version, error) {
	return versions.list(ctx, s, "ORDER BY no DESC LIMIT 1000")
}
