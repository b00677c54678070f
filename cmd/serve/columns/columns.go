package columns

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/csv"
	"fmt"
	"groundline/cmd/serve/shell"
	"groundline/report/keep"
	"groundline/trace/read"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Form asks which column of a motion CSV is which, where its header does not tell.
type Form struct {
	File          string
	Columns       string       // as said before, or to be said by hand
	Heads         []headColumn // in the file's order; nil where its beginning is no table
	Rows          [][]string
	Needed, Turns []askedColumn
}

// headColumn is a column of the file, numbered from 1.
type headColumn struct {
	N    int
	Name string
}

// askedColumn is a channel that a column is named for.
type askedColumn struct {
	Name, Text string
	Picks      []shell.Pick
	Must       bool // without it nothing can be read
}

func askedColumns() []askedColumn {
	return []askedColumn{
		{Name: "t", Text: "Time"}, {Name: "ax", Text: "Acceleration x"}, {Name: "ay", Text: "Acceleration y"}, {Name: "az", Text: "Acceleration z"},
		{Name: "gx", Text: "Turn rate x"}, {Name: "gy", Text: "Turn rate y"}, {Name: "gz", Text: "Turn rate z"},
	}
}

// lookedAtBytes is as much of a file's beginning as shows its header and some rows.
const lookedAtBytes = 4 << 10

// shownRows is how many rows of a file are shown: enough to tell a clock from a sensor.
const shownRows = 3

// FormOf is the form for a ride's first table; nil where it has none.
func FormOf(ctx context.Context, store *keep.Store, ride keep.Ride) *Form {
	for _, f := range ride.Files {
		if strings.EqualFold(path.Ext(f.Name), ".zip") {
			return &Form{File: f.Name, Columns: ride.Columns}
		}
		in, err := store.OpenFile(ctx, f.SHA256)
		if err != nil {
			continue
		}
		head := beginning(in)
		in.Close()
		if rows := tableOf(head); rows != nil {
			form := &Form{File: f.Name, Columns: ride.Columns, Rows: rows[1:]}
			for i, name := range rows[0] {
				form.Heads = append(form.Heads, headColumn{i + 1, name})
			}
			for _, a := range askedColumns() {
				for _, h := range form.Heads {
					a.Picks = append(a.Picks, shell.Pick{Value: strconv.Itoa(h.N), Text: fmt.Sprintf("%d %s", h.N, h.Name), Chosen: named(ride.Columns, a.Name, h)})
				}
				a.Must = a.Name[0] != 'g'
				if !a.Must {
					form.Turns = append(form.Turns, a)
				} else {
					form.Needed = append(form.Needed, a)
				}
			}
			return form
		}
	}
	return nil
}

// beginning is the beginning of a file, unpacked where it is packed with gzip. What can't be read is not shown.
func beginning(in io.Reader) []byte {
	packed := bufio.NewReader(in)
	from := io.Reader(packed)
	if magic, _ := packed.Peek(2); string(magic) == "\x1f\x8b" {
		unpacked, err := gzip.NewReader(packed)
		if err != nil {
			return nil
		}
		from = unpacked
	}
	head, _ := io.ReadAll(io.LimitReader(from, lookedAtBytes))
	return head
}

// tableOf is the beginning of a file as a table: at least two rows of as many fields, at least four of them. nil where
// it is none.
func tableOf(head []byte) [][]string {
	head = bytes.TrimPrefix(head, []byte("\ufeff"))
	if i := bytes.LastIndexByte(head, '\n'); len(head) == lookedAtBytes && i > 0 {
		head = head[:i] // the last row was cut off
	}
	if !utf8.Valid(head) || bytes.ContainsRune(head, 0) || bytes.HasPrefix(bytes.TrimSpace(head), []byte("<")) {
		return nil
	}
	var best [][]string
	for _, comma := range []rune{',', ';', '\t'} {
		r := csv.NewReader(bytes.NewReader(head))
		r.Comma, r.FieldsPerRecord, r.LazyQuotes = comma, -1, true
		rows, err := r.ReadAll()
		if err != nil {
			continue
		}
		// What the device says of itself may stand above the table.
		for len(rows) > 1 && len(rows[0]) != len(rows[1]) {
			rows = rows[1:]
		}
		if len(rows) < 2 || len(rows[0]) < 4 {
			continue
		}
		if best == nil || len(rows[0]) > len(best[0]) {
			best = rows
		}
	}
	for i, row := range best {
		if len(row) != len(best[0]) || i > shownRows {
			return best[:i]
		}
		for j := range row {
			row[j] = shell.Short(row[j])
		}
	}
	return best
}

// Of is what the form says, as the reader wants it: from the choices of columns by number or, where none was
// chosen, from the text.
func Of(fields map[string]string) (string, error) {
	var pairs []string
	for _, a := range askedColumns() {
		n := fields["column_"+a.Name]
		if n == "" {
			continue
		}
		unit := ""
		switch a.Name[0] {
		case 't':
			unit = fields["unit_t"]
		case 'a':
			unit = fields["unit_a"]
		default:
			unit = fields["unit_g"]
		}
		if unit != "" {
			n += "/" + unit
		}
		pairs = append(pairs, a.Name+"=#"+n)
	}
	text := fields["columns"]
	if len(pairs) > 0 {
		text = strings.Join(pairs, ",")
	}
	if err := read.CheckColumns(text); err != nil {
		if len(pairs) > 0 {
			return "", shell.BadRequest("choose at least the columns of time and of the three accelerations")
		}
		return "", shell.BadRequest("columns: %s", strings.TrimPrefix(err.Error(), "--columns: "))
	}
	return text, nil
}

// named tells whether a column is the one that was named for a channel before.
func named(columns, channel string, head headColumn) bool {
	return slices.ContainsFunc(strings.Split(columns, ","), func(pair string) bool {
		key, column, _ := strings.Cut(pair, "=")
		column, _, _ = strings.Cut(column, "/")
		return key == channel && (column == fmt.Sprintf("#%d", head.N) || column == head.Name)
	})
}
