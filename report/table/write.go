package table

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strconv"

	"github.com/parquet-go/parquet-go"

	"groundline/report/layout"
)

// Format is how a table is written.
type Format string

// The formats: CSV with a header, JSON Lines (one object a line), Parquet.
const (
	CSV     Format = "csv"
	JSONL   Format = "jsonl"
	Parquet Format = "parquet"
)

// Writer writes the rows of a table. Close ends it, with what it was made of where the format has room for that; it
// does not close what is below.
type Writer interface {
	Write(rows []Row) error
	Close(p Provenance) error
}

// NewWriter writes to w in a format. leftOut names a column that has no place in the table, because
// the name of a folder tells it; "" for none.
func NewWriter(w io.Writer, f Format, leftOut string) (Writer, error) {
	var columns []Column
	for _, c := range Columns() {
		if c.Name != leftOut {
			columns = append(columns, c)
		}
	}
	switch f {
	case CSV:
		return newCSV(w, columns)
	case JSONL:
		return &jsonlWriter{out: bufio.NewWriter(w), columns: columns}, nil
	case Parquet:
		return newParquet(w, columns), nil
	}
	return nil, fmt.Errorf("no such format as %q", f)
}

type csvWriter struct {
	out     *csv.Writer
	columns []Column
	fields  []string
}

func newCSV(w io.Writer, columns []Column) (*csvWriter, error) {
	c := &csvWriter{out: csv.NewWriter(w), columns: columns, fields: make([]string, len(columns))}
	for i := range columns {
		c.fields[i] = columns[i].Name
	}
	return c, c.out.Write(c.fields)
}

func (c *csvWriter) Write(rows []Row) error {
	for i := range rows {
		for k := range c.columns {
			text, number, known := c.columns[k].value(&rows[i])
			if c.columns[k].Kind == Text {
				text = layout.Cell(text)
			} else if known {
				text = strconv.FormatFloat(number, 'f', -1, 64)
			}
			c.fields[k] = text
		}
		if err := c.out.Write(c.fields); err != nil {
			return err
		}
	}
	return nil
}

func (c *csvWriter) Close(Provenance) error {
	c.out.Flush()
	return c.out.Error()
}

type jsonlWriter struct {
	out     *bufio.Writer
	columns []Column
	line    []byte
}

func (j *jsonlWriter) Write(rows []Row) error {
	for i := range rows {
		j.line = j.line[:0]
		for k := range j.columns {
			c := &j.columns[k]
			sep := byte(',')
			if k == 0 {
				sep = '{'
			}
			j.line = append(append(append(j.line, sep, '"'), c.Name...), '"', ':')
			switch text, number, known := c.value(&rows[i]); {
			case !known:
				j.line = append(j.line, "null"...)
			case c.Kind == Text:
				quoted, err := json.Marshal(text)
				if err != nil {
					return err
				}
				j.line = append(j.line, quoted...)
			default:
				j.line = strconv.AppendFloat(j.line, number, 'f', -1, 64)
			}
		}
		j.line = append(j.line, '}', '\n')
		if _, err := j.out.Write(j.line); err != nil {
			return err
		}
	}
	return nil
}

func (j *jsonlWriter) Close(Provenance) error { return j.out.Flush() }

// A row group is what readers load and skip as one; a hundred thousand rows of this table take some 15 MB in
// memory and a few on disk.
const rowsPerGroup = 100_000

type parquetWriter struct {
	out     *parquet.GenericWriter[any]
	columns []Column
	row     parquet.Row
}

// newParquet writes the plainest Parquet there is, for the sake of old engines: flat columns, version 1 pages, Snappy.
// Words are dictionary-coded UTF-8 strings, counts 32-bit integers, numbers doubles.
func newParquet(w io.Writer, columns []Column) *parquetWriter {
	schema := parquetSchema(columns)
	return &parquetWriter{
		out: parquet.NewGenericWriter[any](w, schema, parquet.Compression(&parquet.Snappy), parquet.DataPageVersion(1),
			parquet.MaxRowsPerRowGroup(rowsPerGroup)),
		columns: columns,
		row:     make(parquet.Row, len(columns)),
	}
}

// parquetSchema keeps the order of the columns, which the library's own groups would sort by name: it follows the fields
// of a struct.
func parquetSchema(columns []Column) *parquet.Schema {
	types := [...]reflect.Type{Text: reflect.TypeFor[string](), Count: reflect.TypeFor[int32](), Number: reflect.TypeFor[float64]()}
	fields := make([]reflect.StructField, len(columns))
	for i, c := range columns {
		tag := c.Name
		if !c.Required {
			tag += ",optional"
		}
		if c.Kind == Text {
			tag += ",dict"
		}
		fields[i] = reflect.StructField{Name: fmt.Sprintf("C%d", i), Type: types[c.Kind], Tag: reflect.StructTag(fmt.Sprintf("parquet:%q", tag))}
	}
	return parquet.NewSchema("strides", parquet.SchemaOf(reflect.New(reflect.StructOf(fields)).Interface()))
}

func (p *parquetWriter) Write(rows []Row) error {
	for i := range rows {
		for k := range p.columns {
			c := &p.columns[k]
			text, number, known := c.value(&rows[i])
			var v parquet.Value
			switch {
			case !known && c.Required:
				return fmt.Errorf("%s is missing in a stride of %s, which must not be", c.Name, rows[i].Recording)
			case !known:
				v = parquet.NullValue()
			case c.Kind == Text:
				v = parquet.ByteArrayValue([]byte(text))
			case c.Kind == Count:
				v = parquet.Int32Value(int32(number)) // strides and attempts of one ride
			default:
				v = parquet.DoubleValue(number)
			}
			level := 0 // of definition: 1 for a known value of an optional column
			if known && !c.Required {
				level = 1
			}
			p.row[k] = v.Level(0, level, k)
		}
		if _, err := p.out.WriteRows([]parquet.Row{p.row}); err != nil {
			return err
		}
	}
	return nil
}

func (p *parquetWriter) Close(of Provenance) error {
	for _, kv := range of.keyValues() {
		p.out.SetKeyValueMetadata(kv[0], kv[1])
	}
	return p.out.Close()
}
