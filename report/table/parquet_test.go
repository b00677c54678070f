package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"groundline/report/layout"
	"strconv"
	"testing"

	arrowparquet "github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/stretchr/testify/require"
)

// An independent reader (the Arrow project's, no line in common with the writer's library) finds in the Parquet file
// what the CSV says: names and order of columns, types, every value, what is missing, and the provenance.
func TestParquetReadBackByAnotherReader(t *testing.T) {
	rows := madeRows()
	p := NewProvenance("groundline test", Settings{}, "1/1", "")
	p.Add(&Result{Source: Source{Recording: "a.csv", Files: []File{{"a.csv", "00ff", 12}}}, Rows: rows})
	var pq, text bytes.Buffer
	for f, out := range map[Format]*bytes.Buffer{Parquet: &pq, CSV: &text} {
		w, err := NewWriter(out, f, "")
		require.NoError(t, err)
		require.NoError(t, w.Write(rows[:1]))
		require.NoError(t, w.Write(rows[1:]))
		require.NoError(t, w.Close(p))
	}
	want, err := csv.NewReader(&text).ReadAll()
	require.NoError(t, err)

	r, err := file.NewParquetReader(bytes.NewReader(pq.Bytes()))
	require.NoError(t, err)
	defer r.Close()
	require.EqualValues(t, len(rows), r.NumRows())
	schema := r.MetaData().Schema
	require.Equal(t, len(Columns()), schema.NumColumns())
	for k, c := range Columns() {
		col := schema.Column(k)
		require.Equal(t, c.Name, col.Name())
		require.Equal(t, c.Name, want[0][k])
		require.Equal(t, c.Required, col.MaxDefinitionLevel() == 0, c.Name)
		require.Equal(t, map[Kind]arrowparquet.Type{Text: arrowparquet.Types.ByteArray, Count: arrowparquet.Types.Int32, Number: arrowparquet.Types.Double}[c.Kind], col.PhysicalType(), c.Name)
		if c.Kind == Text {
			require.Equal(t, "String", col.LogicalType().String(), c.Name)
		}
		found := column(t, r, k, len(rows))
		for i := range rows {
			require.Equal(t, layout.OfCell(want[i+1][k]), found[i], "%s of row %d", c.Name, i)
		}
	}
	said := r.MetaData().KeyValueMetadata().FindValue("groundline.provenance")
	require.NotNil(t, said)
	var back Provenance
	require.NoError(t, json.Unmarshal([]byte(*said), &back))
	require.Equal(t, p, back)
}

// column is a column's values as the CSV writes them, missing ones empty.
func column(t *testing.T, r *file.Reader, k, n int) []string {
	t.Helper()
	var out []string
	for g := range r.NumRowGroups() {
		chunk, err := r.RowGroup(g).Column(k)
		require.NoError(t, err)
		for chunk.HasNext() {
			levels := make([]int16, n)
			var texts []string
			var total int64
			switch c := chunk.(type) {
			case *file.ByteArrayColumnChunkReader:
				v := make([]arrowparquet.ByteArray, n)
				var got int
				total, got, err = c.ReadBatch(int64(n), v, levels, nil)
				for _, x := range v[:got] {
					texts = append(texts, string(x))
				}
			case *file.Int32ColumnChunkReader:
				v := make([]int32, n)
				var got int
				total, got, err = c.ReadBatch(int64(n), v, levels, nil)
				for _, x := range v[:got] {
					texts = append(texts, strconv.Itoa(int(x)))
				}
			case *file.Float64ColumnChunkReader:
				v := make([]float64, n)
				var got int
				total, got, err = c.ReadBatch(int64(n), v, levels, nil)
				for _, x := range v[:got] {
					texts = append(texts, strconv.FormatFloat(x, 'f', -1, 64))
				}
			}
			require.NoError(t, err)
			most := chunk.Descriptor().MaxDefinitionLevel()
			for i := range total {
				if most > 0 && levels[i] < most {
					out = append(out, "")
					continue
				}
				out, texts = append(out, texts[0]), texts[1:]
			}
			require.Empty(t, texts)
		}
	}
	require.Len(t, out, n)
	return out
}
