package store

import (
	"context"
	"embed"
	"io/fs"

	"github.com/pressly/goose/v3"

	"firstoff/fault"
)

//go:embed migrations
var migrations embed.FS

// migrationLock is the advisory lock under which one starting program migrates while the others wait.
// The number is "firstoff" read as eight letters.
const migrationLock = 0x66697273746f6666

// Migrate brings the schema up to date, then runs more (the task queue's own migration) under the same lock.
// Programs starting at the same time wait for one another. A schema newer than this program is a
// fault: Conflict "schema_newer".
func (s *Store) Migrate(ctx context.Context, more ...func(ctx context.Context) error) (err error) {
	if s.postgres {
		conn, err := s.write.Conn(ctx)
		if err != nil {
			return plain(err)
		}
		defer func() {
			// The lock belongs to the connection; give it back before the pool gets the connection again.
			_, _ = conn.ExecContext(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock($1)", int64(migrationLock))
			_ = conn.Close()
		}()
		if _, err := conn.ExecContext(ctx, "SELECT pg_advisory_lock($1)", int64(migrationLock)); err != nil {
			return plain(err)
		}
	}
	p, err := s.goose()
	if err != nil {
		return err
	}
	have, want, err := p.GetVersions(ctx)
	if err != nil {
		return plain(err)
	}
	if have > want {
		return fault.New(fault.Conflict, "schema_newer", "", "The records were written by a newer firstoff (schema %d, this program knows %d); use that one.", have, want)
	}
	if _, err := p.Up(ctx); err != nil {
		return plain(err)
	}
	for _, m := range more {
		if err := m(ctx); err != nil {
			return err
		}
	}
	return nil
}

// Schema gives the version of the records' schema and the version this program wants.
func (s *Store) Schema(ctx context.Context) (have, want int64, err error) {
	p, err := s.goose()
	if err != nil {
		return 0, 0, err
	}
	have, want, err = p.GetVersions(ctx)
	return have, want, plain(err)
}

func (s *Store) goose() (*goose.Provider, error) {
	dialect := goose.DialectSQLite3
	if s.postgres {
		dialect = goose.DialectPostgres
	}
	sub, err := fs.Sub(migrations, "migrations/"+s.Dialect())
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(dialect, s.write, sub, goose.WithDisableGlobalRegistry(true))
}
