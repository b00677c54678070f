package keep

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"groundline/course"
)

// Horse is a horse that rides may be of.
type Horse struct {
	ID   int64
	Name string
	Size string // the name of one of [course.Profiles]; "" for not said
	Note string

	Rides int
	Last  *time.Time // when the newest of its rides with a date began; nil without one
}

const horseQuery = `SELECT h.id, h.name, h.size, h.note, (SELECT count(*) FROM ride WHERE horse_id = h.id),
	(SELECT start_ms FROM ride WHERE horse_id = h.id AND start_ms IS NOT NULL ORDER BY at_ms DESC LIMIT 1) FROM horse h`

func scanHorse(r row) (Horse, error) {
	var h Horse
	var lastMS *int64
	err := r.Scan(&h.ID, &h.Name, &h.Size, &h.Note, &h.Rides, &lastMS)
	if lastMS != nil {
		t := fromMS(*lastMS)
		h.Last = &t
	}
	return h, err
}

// Horses are all horses by name.
func (s *Store) Horses(ctx context.Context) ([]Horse, error) {
	rows, err := s.read.QueryContext(ctx, horseQuery+" ORDER BY h.folded")
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Horse
	for rows.Next() {
		h, err := scanHorse(rows)
		if err != nil {
			return nil, s.explain(err)
		}
		out = append(out, h)
	}
	return out, s.explain(rows.Err())
}

// Horse is one horse, or [ErrNotFound].
func (s *Store) Horse(ctx context.Context, id int64) (Horse, error) {
	h, err := scanHorse(s.read.QueryRowContext(ctx, horseQuery+" WHERE h.id = ?", id))
	return h, s.explain(err)
}

// NameHorse finds the horse of a name, small and capital letters alike, or makes one.
func (s *Store) NameHorse(ctx context.Context, name string) (int64, error) {
	name = strings.TrimSpace(name)
	if err := checkHorse(Horse{Name: name}); err != nil {
		return 0, err
	}
	var id int64
	err := s.read.QueryRowContext(ctx, "SELECT id FROM horse WHERE folded = ?", fold(name)).Scan(&id)
	if err == nil || !errors.Is(err, sql.ErrNoRows) {
		return id, s.explain(err)
	}
	err = s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "INSERT INTO horse (name, folded, size, note) VALUES (?, ?, '', '') ON CONFLICT DO NOTHING", name, fold(name)); err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, "SELECT id FROM horse WHERE folded = ?", fold(name)).Scan(&id)
	})
	if err == nil {
		s.bell.ring()
	}
	return id, err
}

func checkHorse(h Horse) error {
	if err := line("horse", h.Name, maxNameBytes); err != nil {
		return err
	}
	if h.Name == "" {
		return &InvalidError{"horse", "no name", "a name"}
	}
	if h.Size != "" && !slices.ContainsFunc(course.Profiles(), func(p course.Profile) bool { return p.Name == h.Size }) {
		return &InvalidError{"size", fmt.Sprintf("%q", cut(h.Size, maxNameBytes)), "the size of a horse or pony, as groundline walk has them"}
	}
	return About{Note: h.Note}.check()
}

// SetHorse changes name, size and note of a horse. A name that another horse has is refused.
func (s *Store) SetHorse(ctx context.Context, h Horse) error {
	h.Name = strings.TrimSpace(h.Name)
	if err := checkHorse(h); err != nil {
		return err
	}
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		var other int64
		switch err := tx.QueryRowContext(ctx, "SELECT id FROM horse WHERE folded = ? AND id <> ?", fold(h.Name), h.ID).Scan(&other); {
		case err == nil:
			return &InvalidError{"horse", "there is one named " + h.Name, "a name of its own"}
		case !errors.Is(err, sql.ErrNoRows):
			return err
		}
		return one(tx.ExecContext(ctx, "UPDATE horse SET name = ?, folded = ?, size = ?, note = ? WHERE id = ?", h.Name, fold(h.Name), h.Size, h.Note, h.ID))
	})
	if err == nil {
		s.bell.ring()
	}
	return err
}

// one wants a statement to have met a row.
func one(res sql.Result, err error) error {
	if err != nil {
		return err
	}
	if n, err := res.RowsAffected(); err != nil || n == 0 {
		return errors.Join(err, ErrNotFound)
	}
	return nil
}

// RemoveHorse removes a horse without rides; with some it is an [*InUseError].
func (s *Store) RemoveHorse(ctx context.Context, id int64) error {
	err := s.in(ctx, func(ctx context.Context, tx *sql.Tx) error {
		h, err := scanHorse(tx.QueryRowContext(ctx, horseQuery+" WHERE h.id = ?", id))
		if err != nil {
			return err
		}
		if h.Rides > 0 {
			return &InUseError{What: h.Name, Rides: h.Rides, Hint: "remove the ride or give it another"}
		}
		return one(tx.ExecContext(ctx, "DELETE FROM horse WHERE id = ?", id))
	})
	if err == nil {
		s.bell.ring()
	}
	return err
}
