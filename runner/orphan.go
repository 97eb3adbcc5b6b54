package runner

import (
	"context"
	"time"
)

// How often a process looks for tasks of dead ones (PostgreSQL): soon after its start, since the server may need a
// moment to notice a death, then regularly.
const (
	lookSoon  = time.Second
	lookEvery = 20 * time.Second
)

// claim takes the advisory lock under this process's name and keeps its connection for as long as the process
// lives: when it dies, the server ends the session and frees the lock.
func (r *Runner) claim(ctx context.Context) error {
	if r.d.Pool == nil {
		return nil
	}
	c, err := r.d.DB.Conn(context.WithoutCancel(ctx))
	if err != nil {
		return err
	}
	if _, err := c.ExecContext(ctx, "SELECT pg_advisory_lock(hashtextextended($1, 0))", r.name); err != nil {
		_ = c.Close()
		return err
	}
	r.alive = c
	return nil
}

// requeue puts tasks that a dead process was running back to waiting, without forgiving the attempt.
func (r *Runner) requeue(ctx context.Context) (int64, error) {
	if r.d.Pool == nil {
		if !r.o.Sole {
			return 0, nil
		}
		res, err := r.d.DB.ExecContext(ctx, "UPDATE river_job SET state = 'available', scheduled_at = datetime('now', 'subsec') WHERE state = 'running'")
		if err != nil {
			return 0, err
		}
		return res.RowsAffected()
	}
	rows, err := r.d.DB.QueryContext(ctx, "SELECT DISTINCT attempted_by[array_upper(attempted_by, 1)] FROM river_job WHERE state = 'running' AND attempted_by[array_upper(attempted_by, 1)] <> $1", r.name)
	if err != nil {
		return 0, err
	}
	var names []string
	for rows.Next() {
		var n string
		if err := rows.Scan(&n); err != nil {
			_ = rows.Close()
			return 0, err
		}
		names = append(names, n)
	}
	if err := rows.Close(); err != nil {
		return 0, err
	}
	var total int64
	for _, n := range names {
		k, err := r.inherit(ctx, n)
		total += k
		if err != nil {
			return total, err
		}
	}
	return total, nil
}

// inherit requeues the tasks of the process called name if its lock is free.
func (r *Runner) inherit(ctx context.Context, name string) (int64, error) {
	tx, err := r.d.DB.BeginTx(ctx, nil)
	if err != nil {
		return 0, err
	}
	defer func() { _ = tx.Rollback() }()
	var dead bool
	if err := tx.QueryRowContext(ctx, "SELECT pg_try_advisory_xact_lock(hashtextextended($1, 0))", name).Scan(&dead); err != nil || !dead {
		return 0, err
	}
	res, err := tx.ExecContext(ctx, "UPDATE river_job SET state = 'available', scheduled_at = now() WHERE state = 'running' AND attempted_by[array_upper(attempted_by, 1)] = $1", name)
	if err != nil {
		return 0, err
	}
	n, err := res.RowsAffected()
	if err != nil {
		return 0, err
	}
	return n, tx.Commit()
}

// look inherits from dead processes until ctx ends.
func (r *Runner) look(ctx context.Context) {
	t := time.NewTimer(lookSoon)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			t.Reset(lookEvery)
			if n, err := r.requeue(ctx); err != nil {
				r.o.Log.Warn("could not look for tasks of stopped processes", "err", err)
			} else if n > 0 {
				r.o.Log.Info("tasks of a stopped process taken up again", "tasks", n)
			}
		}
	}
}
