package strides

import (
	"context"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"groundline/report/table"
	"net/http"
	"net/url"
	"slices"
	"strings"
)

// Routes are the stride table: rides are picked on a page, then the table is made of them. Programs have the
// same under /api/1/strides.
func (s *Room) Routes(mux *http.ServeMux) {
	making := make(chan struct{}, tablesAtOnce)
	made := func(make maker, formats ...table.Format) http.HandlerFunc {
		return func(w http.ResponseWriter, r *http.Request) { s.order(w, r, making, make, formats) }
	}
	mux.HandleFunc("GET /strides", s.stridesPage)
	mux.HandleFunc("GET /strides/table", made(s.strideTable, tableFormats()...))
	mux.HandleFunc("GET /strides/provenance", made(s.strideProvenance, tableFormats()...))
	mux.HandleFunc("GET /strides/summary", func(w http.ResponseWriter, r *http.Request) { s.summaryPage(w, r, making) })
	mux.HandleFunc("GET /strides/summary.csv", made(s.strideSummary, tableFormats()...))
	mux.HandleFunc("GET /strides/columns", s.columnsPage)
	mux.HandleFunc("GET /strides/columns.csv", s.columnsCSV)
	mux.HandleFunc("GET /api/1/strides", made(s.strideTable, tableFormats()...))
	mux.HandleFunc("GET /api/1/strides/provenance", made(s.strideProvenance, tableFormats()...))
	mux.HandleFunc("GET /api/1/strides/summary", made(s.strideSummary, asJSON, table.CSV))
	mux.HandleFunc("GET /api/1/strides/columns", s.columnsAPI)
}

// strideQuery is what an address says of the rides and the table.
type strideQuery struct {
	find          url.Values // what narrows the list, as it was given
	filter        keep.Filter
	rides         choice
	format        table.Format
	withoutPlaces bool
	// unready is what becomes of rides that are not worked out yet: "wait", "leave", or "refuse".
	unready string
}

// readStrides reads an address that may choose one of some formats, the first if it says none. given tells whether it
// names rides, even none.
func (s *Room) readStrides(ctx context.Context, v url.Values, formats []table.Format) (q strideQuery, given bool, err error) {
	q = strideQuery{find: url.Values{}, format: formats[0], unready: "refuse"}
	for _, name := range []string{"horse_id", "course_id", "from", "to", "q"} {
		if text := strings.TrimSpace(v.Get(name)); text != "" {
			q.find.Set(name, text)
		}
	}
	if q.filter, err = s.rides.Filter(ctx, v); err != nil {
		return q, false, err
	}
	if q.rides, err = parseChoice(v.Get("rides")); err != nil {
		return q, false, err
	}
	if f := v.Get("format"); f != "" {
		q.format = table.Format(f)
		if !slices.Contains(formats, q.format) {
			return q, false, shell.BadRequest("format: %q, expected one of %q", shell.Short(f), formats)
		}
	}
	switch p := v.Get("without_places"); p {
	case "", "false":
	case "true":
		q.withoutPlaces = true
	default:
		return q, false, shell.BadRequest("without_places: %q, expected true or false", shell.Short(p))
	}
	switch u := v.Get("unready"); u {
	case "":
	case "refuse", "wait", "leave":
		q.unready = u
	default:
		return q, false, shell.BadRequest("unready: %q, expected refuse, wait or leave", shell.Short(u))
	}
	return q, v.Has("rides"), nil
}

func tableFormats() []table.Format { return []table.Format{table.CSV, table.JSONL, table.Parquet} }

// asJSON is the summary's format beside CSV.
const asJSON table.Format = "json"

// address is the address that says the same, with as little as it takes.
func (q strideQuery) address() url.Values {
	v := url.Values{}
	for name, text := range q.find {
		v[name] = text
	}
	if c := q.filter.Before.String(); c != "" {
		v.Set("before", c)
	}
	if len(q.rides) > 0 {
		v.Set("rides", q.rides.String())
	}
	if q.format != table.CSV {
		v.Set("format", string(q.format))
	}
	if q.withoutPlaces {
		v.Set("without_places", "true")
	}
	if q.unready != "refuse" {
		v.Set("unready", q.unready)
	}
	return v
}

// picked are the rides that the address names or, where it names none, all that its filter finds.
func (s *Room) picked(ctx context.Context, q strideQuery, given bool) ([]keep.Pick, error) {
	if !given {
		return s.Store.Picks(ctx, q.filter)
	}
	if len(q.rides) == 0 {
		return nil, nil
	}
	all, err := s.Store.Picks(ctx, keep.Filter{})
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(all, func(p keep.Pick) bool { return !q.rides.has(p.ID) }), nil
}

// tally is what is told of picked rides before a table is made of them.
type tally struct {
	Rides, Strides           int
	Unready, Refused         int // of Rides
	unreadyRides, tableRides []int64
}

func tallyOf(picks []keep.Pick) tally {
	t := tally{Rides: len(picks)}
	for _, p := range picks {
		switch p.State {
		case keep.Waiting, keep.Working:
			t.Unready++
			t.unreadyRides = append(t.unreadyRides, p.ID)
			continue
		case keep.Refused:
			t.Refused++
		}
		t.Strides += p.Strides
		t.tableRides = append(t.tableRides, p.ID)
	}
	return t
}
