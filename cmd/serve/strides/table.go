package strides

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"groundline/cmd/serve/guard"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"groundline/report/paths"
	"groundline/report/table"
	"io"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
)

// tablesAtOnce is how many tables are made at the same time; more wait their turn, or until who asked has gone. A table reads
// every ride's rows, so that more would only be slower.
const tablesAtOnce = 2

// tableOrder is a table that was asked for.
type tableOrder struct {
	strideQuery
	rides []int64 // worked out, or refused
}

// download is what was made of an order, whole.
type download struct {
	name, kind string
	data       []byte        // or
	file       *keep.Scratch // closed once it is sent
	size       int64
}

// maker makes what was asked for.
type maker func(context.Context, *tableOrder) (*download, error)

// order reads what is asked for, waits for what has to be, has it made and sends it.
//
// A table is made beside and then sent. Made while it is sent, it could only break off when a ride fails or the disk is
// full, and a browser that does not look for the end of a chunked answer would keep half a table as if it were whole.
// So what goes wrong is told by the status, the length is known before the first byte, and a table has no more than a
// few rides in memory.
func (s *Room) order(w http.ResponseWriter, r *http.Request, making chan struct{}, made maker, formats []table.Format) {
	var d *download
	o, err := s.readOrder(r, formats)
	if err == nil {
		d, err = inTurn(r.Context(), making, func() (*download, error) { return made(r.Context(), o) })
	}
	if err != nil {
		s.Fail(w, r, unlessGone(r, err))
		return
	}
	s.send(w, r, d)
}

// unlessGone is an error, unless it is of a request that was given up: who asked has gone, and is told nothing by it, or
// the program is being stopped.
func unlessGone(r *http.Request, err error) error {
	if r.Context().Err() != nil {
		return shell.Refusal{Status: http.StatusServiceUnavailable, Err: errors.New("the program is being stopped: ask again when it runs")}
	}
	return err
}

// orderFields are what an order may say.
func orderFields() []string {
	return []string{"rides", "horse_id", "course_id", "state", "q", "from", "to", "format", "without_places", "unready"}
}

// readOrder reads what an address asks for, and waits for its rides as it says.
func (s *Room) readOrder(r *http.Request, formats []table.Format) (*tableOrder, error) {
	v := r.URL.Query()
	for _, name := range slices.Sorted(maps.Keys(v)) {
		if shell.IsInterface(r.URL.Path) && !slices.Contains(orderFields(), name) { // a misspelt filter would give all rides
			return nil, shell.BadRequest("%q: no such parameter, expected %s", shell.Short(name), strings.Join(orderFields(), ", "))
		}
	}
	q, given, err := s.readStrides(r.Context(), v, formats)
	if err != nil {
		return nil, err
	}
	patient, cancel := context.WithTimeout(r.Context(), s.Patience)
	defer cancel()
	for {
		picks, err := s.picked(r.Context(), q, given)
		if err != nil {
			return nil, err
		}
		t := tallyOf(picks)
		switch {
		case t.Rides == 0:
			return nil, shell.Refusal{Status: http.StatusNotFound, Err: errors.New("none of these rides is kept, expected at least one: choose rides first")}
		case t.Unready > 0 && q.unready == "refuse":
			return nil, shell.Refusal{Status: http.StatusConflict, Err: fmt.Errorf("%s not worked out yet: ask again later, or with unready=wait or unready=leave", amount(t.Unready, "ride is", "rides are"))}
		case t.Unready > 0 && q.unready == "wait":
			if _, err := s.Store.Wait(patient, t.unreadyRides[0]); err != nil && !errors.Is(err, keep.ErrNotFound) {
				if r.Context().Err() == nil && patient.Err() != nil {
					err = shell.Refusal{Status: http.StatusConflict, Err: fmt.Errorf("%s still not worked out after %s: ask again later, or with unready=leave", amount(t.Unready, "ride is", "rides are"), s.Patience)}
				}
				return nil, err
			}
			continue
		case len(t.tableRides) == 0:
			return nil, shell.Refusal{Status: http.StatusConflict, Err: errors.New("none of these rides is worked out yet: ask again later, or with unready=wait")}
		}
		return &tableOrder{q, t.tableRides}, nil
	}
}

func amount(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + more
}

// inTurn does something when its turn comes.
func inTurn[T any](ctx context.Context, making chan struct{}, do func() (T, error)) (T, error) {
	select {
	case making <- struct{}{}:
		defer func() { <-making }()
		return do()
	case <-ctx.Done():
		var none T
		return none, ctx.Err()
	}
}

func (o *tableOrder) settings() table.Settings {
	return table.Settings{WithoutPlaces: o.withoutPlaces}
}

// unlessNone is an error where every ride failed: the command then writes no table either.
func unlessNone(of table.Provenance, err error) error {
	if n := len(of.Failed); err == nil && n > 0 && len(of.Recordings) == 0 {
		return shell.Refusal{Status: http.StatusConflict, Err: fmt.Errorf("none of these rides can be told: %s", cmp.Or(of.Failed[n-1].Why, "their pages say why"))}
	}
	return err
}

// strideTable is the table as the command writes it.
func (s *Room) strideTable(ctx context.Context, o *tableOrder) (*download, error) {
	f, err := s.Store.Scratch()
	if err != nil {
		return nil, err
	}
	err = unlessNone(s.Store.WriteStrides(ctx, f, o.format, o.rides, o.settings()))
	var size int64
	if err == nil {
		size, err = f.Seek(0, io.SeekCurrent)
	}
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return &download{name: "strides." + string(o.format), kind: kindOfTable(o.format), file: f, size: size}, nil
}

// kindOfTable is a format's media type: CSV's is RFC 4180's, Parquet's is registered with IANA, and that of JSON Lines is the one
// in common use.
func kindOfTable(f table.Format) string {
	switch f {
	case table.JSONL:
		return "application/x-ndjson"
	case table.Parquet:
		return "application/vnd.apache.parquet"
	}
	return "text/csv; charset=utf-8; header=present"
}

// strides hands over each ride of an order, and gives what they make.
func (s *Room) strides(ctx context.Context, o *tableOrder, each func(*table.Result)) (table.Provenance, error) {
	of := table.NewProvenance(s.Program, o.settings(), "1/1", "")
	err := s.Store.Strides(ctx, o.rides, o.settings(), func(d *table.Result) error {
		each(d)
		of.Add(d)
		return nil
	})
	return of, unlessNone(of, err)
}

// strideProvenance is what the command writes beside a table.
func (s *Room) strideProvenance(ctx context.Context, o *tableOrder) (*download, error) {
	of, err := s.strides(ctx, o, func(*table.Result) {})
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := of.JSON(&b); err != nil {
		return nil, err
	}
	return &download{name: "strides" + paths.SidecarEnding, kind: "application/json", data: b.Bytes()}, nil
}

// summarized is an order's summary.
func (s *Room) summarized(ctx context.Context, o *tableOrder) ([]table.Line, error) {
	var sum table.Summary
	_, err := s.strides(ctx, o, sum.Add)
	return sum.Lines(), err
}

// strideSummary is the summary as the command writes it.
func (s *Room) strideSummary(ctx context.Context, o *tableOrder) (*download, error) {
	lines, err := s.summarized(ctx, o)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	d := &download{name: "strides-summary.csv", kind: kindOfTable(table.CSV)}
	if o.format == asJSON {
		d.name, d.kind = "strides-summary.json", "application/json"
		err = table.SummaryJSON(&b, lines)
	} else {
		err = table.SummaryCSV(&b, lines)
	}
	d.data = b.Bytes()
	return d, err
}

// send sends what was made. Who does not read is the guard's to drop.
func (s *Room) send(w http.ResponseWriter, r *http.Request, d *download) {
	var in io.Reader = bytes.NewReader(d.data)
	if d.file != nil {
		defer d.file.Close()
		in = d.file
	} else {
		d.size = int64(len(d.data))
	}
	if d.file == nil && shell.IsInterface(r.URL.Path) {
		w.Header().Set("Content-Type", d.kind)
	} else {
		guard.Attachment(w, d.name, d.kind)
	}
	w.Header().Set("Content-Length", strconv.FormatInt(d.size, 10))
	w.WriteHeader(http.StatusOK)
	if r.Method == http.MethodHead {
		return
	}
	_, _ = io.Copy(w, in) // the reader has gone: nobody to tell
}
