package keep

import (
	"context"
	"errors"
	"io"
	"path"
	"slices"
	"strings"

	"groundline/report"
	"groundline/report/paths"
	"groundline/report/table"
)

// Strides gives the stride rows of rides (nil: of all), ride by ride, as groundline strides --manifest rides.csv makes them in an
// exported folder: in that order and under those names. What is worked out is not worked out again; a ride that is
// not yet ready is. A ride that is refused is a result with an error.
// set.Columns is for the provenance alone: what is ready was read with the ride's own.
func (s *Store) Strides(ctx context.Context, ids []int64, set table.Settings, each func(*table.Result) error) error {
	inv, err := s.takeStock(ctx)
	if err != nil {
		return s.explain(err)
	}
	rides := inv.kept.Rides
	if ids != nil {
		wanted := map[int64]bool{}
		for _, id := range ids {
			wanted[id] = true
		}
		rides = slices.DeleteFunc(rides, func(r KeptRide) bool {
			found := wanted[r.ID]
			delete(wanted, r.ID)
			return !found
		})
		if len(wanted) > 0 {
			return ErrNotFound
		}
	}
	slices.SortFunc(rides, func(a, b KeptRide) int { return strings.Compare(path.Clean(a.recording()), path.Clean(b.recording())) })
	for _, r := range rides {
		res, err := s.strides(ctx, inv, r, set)
		if errors.Is(err, ErrNotFound) { // removed meanwhile
			continue
		}
		if err != nil {
			return err
		}
		if err := each(res); err != nil {
			return err
		}
	}
	return nil
}

// strides is the table's result of one ride.
func (s *Store) strides(ctx context.Context, inv *inventory, r KeptRide, set table.Settings) (*table.Result, error) {
	ride := paths.Ride{Recording: path.Clean(r.recording()), Horse: inv.horseOf(r), Label: r.Label, Columns: r.Columns}
	var files []table.File
	for _, f := range r.Files {
		ride.Files = append(ride.Files, f.File)
		files = append(files, table.File{Name: f.File, SHA256: f.SHA256, Bytes: f.Bytes})
	}
	var plan *table.File
	name := ""
	if v := r.CourseVersion; v != nil {
		if _, known := inv.names[*v]; !known {
			p, _, err := s.Plan(ctx, *v)
			if err != nil {
				return nil, err
			}
			inv.names[*v] = p.Name
		}
		ride.Course, name = inv.file[*v], inv.names[*v]
		plan = &table.File{Name: ride.Course, SHA256: inv.sums[*v], Bytes: int64(len(inv.plans[*v]))}
	}
	rows, made, _, err := s.worked(ctx, r.ID, nil)
	d := &report.Debrief{Basis: rows.Basis, Rounds: rows.Rounds, Notes: rows.Notes, StrideRows: rows.Rows}
	var not *NotReadyError
	if errors.As(err, &not) {
		var kept Ride
		if kept, err = s.Ride(ctx, r.ID); err != nil {
			return nil, err
		}
		made, err = s.build(ctx, kept, 0, ride.Files)
		s.prog.end(r.ID)
	}
	if made.debrief != nil {
		of := *made.debrief
		of.Notes = of.Notes[made.onPlan:]
		d = &of
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	var ours notTheRides
	if errors.Is(err, ErrNotFound) || errors.As(err, &ours) {
		return nil, err
	}
	var bad unreadable
	return table.Worked(ride, files, plan, name, d, err, errors.As(err, &bad), set), nil
}

// WriteStrides writes the stride table of rides (nil: of all) in a format, the same bytes as the command's, and gives what it was
// made of, with the rides that failed among it.
func (s *Store) WriteStrides(ctx context.Context, w io.Writer, f table.Format, ids []int64, set table.Settings) (table.Provenance, error) {
	of := table.NewProvenance(s.program, set, "1/1", "")
	out, err := table.NewWriter(w, f, "")
	if err != nil {
		return of, err
	}
	err = s.Strides(ctx, ids, set, func(r *table.Result) error {
		of.Add(r)
		return out.Write(r.Rows)
	})
	if err != nil {
		return of, err
	}
	return of, out.Close(of)
}
