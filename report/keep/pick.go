package keep

import (
	"context"
	"os"
)

// Pick is a ride of a list in short: enough to choose many by.
type Pick struct {
	ID      int64
	State   State
	Strides int // rows of the stride table, once it is ready
}

// Picks are all rides that a filter chooses, newest first, without its Before and Limit.
func (s *Store) Picks(ctx context.Context, f Filter) ([]Pick, error) {
	where, args := f.where()
	rows, err := s.read.QueryContext(ctx, "SELECT r.id, r.state, r.strides FROM ride r"+where+" ORDER BY r.at_ms DESC, r.id DESC", args...)
	if err != nil {
		return nil, s.explain(err)
	}
	defer rows.Close()
	var out []Pick
	for rows.Next() {
		var p Pick
		if err := rows.Scan(&p.ID, &p.State, &p.Strides); err != nil {
			return nil, s.explain(err)
		}
		out = append(out, p)
	}
	return out, s.explain(rows.Err())
}

// Scratch is a file for what is made to be handed on and not kept. It is gone when it is closed, or when the store is
// next opened after its process died.
type Scratch struct {
	f *os.File
	s *Store
}

// Scratch makes one, empty.
func (s *Store) Scratch() (*Scratch, error) {
	f, err := os.OpenFile(s.desk.place(), os.O_CREATE|os.O_EXCL|os.O_RDWR, fileMode)
	if err != nil {
		return nil, s.explain(err)
	}
	return &Scratch{f, s}, nil
}

// Write writes; the error is a [*FullError] where the disk is full.
func (f *Scratch) Write(b []byte) (int, error) {
	n, err := f.f.Write(b)
	return n, f.s.explain(err)
}

// Read is of io.Reader.
func (f *Scratch) Read(b []byte) (int, error) { return f.f.Read(b) }

// Seek is of io.Seeker.
func (f *Scratch) Seek(offset int64, whence int) (int64, error) { return f.f.Seek(offset, whence) }

// Close closes and removes the file.
func (f *Scratch) Close() error {
	err := f.f.Close()
	if removed := os.Remove(f.f.Name()); err == nil {
		err = removed
	}
	return err
}
