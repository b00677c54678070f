package keep

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Setting is what a server that shows the store keeps under a key, "" for nothing. Settings are the store's alone:
// an export does not hold them.
func (s *Store) Setting(ctx context.Context, key string) (string, error) {
	var value string
	err := s.read.QueryRowContext(ctx, "SELECT value FROM setting WHERE key = ?", key).Scan(&value)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return value, s.explain(err)
}

// SetSetting keeps a value under a key; "" removes it.
func (s *Store) SetSetting(ctx context.Context, key, value string) error {
	return s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if value == "" {
			_, err := tx.ExecContext(ctx, "DELETE FROM setting WHERE key = ?", key)
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO setting (key, value) VALUES (?, ?)", key, value)
		return err
	})
}

// Sessions are the browsers that are signed in at a server that shows the store, by the hash of what they hold: several
// processes share them, and a restart ends none.
type Sessions struct{ s *Store }

// Sessions gives the store's.
func (s *Store) Sessions() Sessions { return Sessions{s} }

// Put keeps a session until a time, or moves its end; those that have ended go.
func (x Sessions) Put(ctx context.Context, hash [32]byte, until time.Time) error {
	return x.s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "DELETE FROM session WHERE until_ms <= ?", ms(x.s.now())); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO session (hash, until_ms) VALUES (?, ?)", hash[:], ms(until))
		return err
	})
}

// Until is a session's end, the zero time for one that is not kept.
func (x Sessions) Until(ctx context.Context, hash [32]byte) (time.Time, error) {
	var until int64
	err := x.s.read.QueryRowContext(ctx, "SELECT until_ms FROM session WHERE hash = ?", hash[:]).Scan(&until)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return time.Time{}, nil
	case err != nil:
		return time.Time{}, x.s.explain(err)
	}
	return fromMS(until), nil
}

// Drop ends a session.
func (x Sessions) Drop(ctx context.Context, hash [32]byte) error {
	return x.s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "DELETE FROM session WHERE hash = ?", hash[:])
		return err
	})
}

// DropAll ends all.
func (x Sessions) DropAll(ctx context.Context) error {
	return x.s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "DELETE FROM session")
		return err
	})
}
