package keep

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"os"
)

// applicationID marks a database as a store's: "Grnd" in ASCII.
const applicationID = 0x47726e64

//go:embed schema/*.sql
var schema embed.FS

// layout is this program's: each layout up to it has a file in schema that makes it of the one before.
const layout = 2

// known refuses a database that is no store's, or one of a newer program, before anything is written to it; full tells that
// there are recordings, of which an empty one would know nothing.
func (s *Store) known(ctx context.Context, file string, full bool) error {
	info, err := os.Stat(file)
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() {
		return &ForeignError{File: file, Found: "not a plain file"}
	}
	db, err := sql.Open("sqlite", fileURI(file)+fmt.Sprintf("?_query_only=1&_busy_timeout=%d", busyMS))
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	id, version, tables, err := marksNow(ctx, db)
	switch code := sqliteCode(err); {
	case code == sqliteNotADB, code == sqliteCorrupt:
		return &ForeignError{file, "no database or a damaged one", true}
	case err != nil:
		return err
	case id == 0 && version == 0 && tables == 0 && full:
		return &ForeignError{file, "an empty database beside recordings", true}
	case id == 0 && version == 0 && tables == 0: // just made
		return nil
	case id != applicationID:
		return &ForeignError{File: file, Found: "a database of another program"}
	case version > layout:
		return &NewerError{File: file, Made: version, Known: layout}
	case version < 1:
		return &ForeignError{File: file, Found: "a store's database without a layout"}
	}
	return nil
}

// marksNow are the marks at one moment: another process may be making the store.
func marksNow(ctx context.Context, db *sql.DB) (id, version, tables int, err error) {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return 0, 0, 0, err
	}
	defer tx.Rollback()
	return marks(ctx, tx)
}

type queryer interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func marks(ctx context.Context, q queryer) (id, version, tables int, err error) {
	for _, x := range []struct {
		query string
		to    *int
	}{
		{"PRAGMA application_id", &id},
		{"PRAGMA user_version", &version},
		{"SELECT count(*) FROM sqlite_schema", &tables},
	} {
		if err := q.QueryRowContext(ctx, x.query).Scan(x.to); err != nil {
			return 0, 0, 0, err
		}
	}
	return id, version, tables, nil
}

// migrate brings the database to this program's layout, step by step, each step whole or not at all.
func (s *Store) migrate(ctx context.Context, file string) error {
	for {
		done := false
		err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
			// Looked at again under the lock: another process may have been faster.
			id, version, tables, err := marks(ctx, tx)
			switch {
			case err != nil:
				return err
			case tables > 0 && id != applicationID:
				return &ForeignError{File: file, Found: "a database of another program"}
			case version > layout:
				return &NewerError{File: file, Made: version, Known: layout}
			case version == layout:
				done = true
				return nil
			}
			step, err := schema.ReadFile(fmt.Sprintf("schema/%d.sql", version+1))
			if err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, string(step)); err != nil {
				return fmt.Errorf("%s: layout %d can't be made: %w", file, version+1, err)
			}
			if _, err := tx.ExecContext(ctx, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, version+1)); err != nil {
				return err
			}
			_, err = tx.ExecContext(ctx, "INSERT INTO migration VALUES (?, ?, ?)", version+1, ms(s.now()), s.program)
			return err
		})
		if err != nil || done {
			return err
		}
	}
}
