package table

import (
	"encoding/json"
	"groundline/report/paths"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"
)

func files(t *testing.T, dir string) []string {
	t.Helper()
	out := []string{}
	require.NoError(t, filepath.WalkDir(dir, func(p string, e fs.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			rel, _ := filepath.Rel(dir, p)
			out = append(out, filepath.ToSlash(rel))
		}
		return err
	}))
	return out
}

func madeRide(horse, recording string) *Result {
	rows := madeRows()
	for i := range rows {
		rows[i].Horse, rows[i].Recording = horse, recording
	}
	return &Result{Ride: paths.Ride{Recording: recording, Horse: horse}, Source: Source{Recording: recording, Horse: horse, Rows: len(rows)}, Rows: rows}
}

func TestDataset(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "table [1]*") // which must not be taken for a pattern
	write := func(shard Shard, rides ...*Result) error {
		d, err := NewDataset(dir, shard, NewProvenance("test", Settings{}, "", "horse"))
		if err != nil {
			return err
		}
		for _, r := range rides {
			require.NoError(t, d.Add(r))
		}
		for _, name := range files(t, dir) {
			require.NotContains(t, name, ".parquet.tmp")
		}
		return d.Commit()
	}
	require.NoError(t, write(Shard{1, 2}, madeRide("", "a"), madeRide("Bramble", "b"), madeRide("Bramble", "c"), madeRide("Moss/2", "d")))
	require.NoError(t, write(Shard{2, 2}, madeRide("Bramble", "e")))
	require.Equal(t, []string{
		"_provenance-00001-of-00002.json", "_provenance-00002-of-00002.json",
		"horse=Bramble/part-00001-of-00002.parquet", "horse=Bramble/part-00002-of-00002.parquet",
		"horse=Moss%2F2/part-00001-of-00002.parquet", "horse=__HIVE_DEFAULT_PARTITION__/part-00001-of-00002.parquet",
	}, files(t, dir))

	in, err := os.Open(filepath.Join(dir, "horse=Bramble/part-00001-of-00002.parquet"))
	require.NoError(t, err)
	defer in.Close()
	info, err := in.Stat()
	require.NoError(t, err)
	f, err := parquet.OpenFile(in, info.Size())
	require.NoError(t, err)
	require.EqualValues(t, 2*len(madeRows()), f.NumRows())
	require.Len(t, f.Schema().Fields(), len(Columns())-1)
	for _, c := range f.Schema().Fields() {
		require.NotEqual(t, "horse", c.Name(), "the folder tells it")
	}
	said, ok := f.Lookup("groundline.provenance")
	require.True(t, ok)
	var p Provenance
	require.NoError(t, json.Unmarshal([]byte(said), &p))
	require.Len(t, p.Recordings, 2, "of this horse only")

	// Written anew without Moss: the file of the earlier run goes, the other shard's stay.
	require.NoError(t, os.WriteFile(filepath.Join(dir, "horse=Bramble", "mine.txt"), nil, 0o666))
	require.NoError(t, write(Shard{1, 2}, madeRide("Bramble", "b")))
	require.Equal(t, []string{
		"_provenance-00001-of-00002.json", "_provenance-00002-of-00002.json",
		"horse=Bramble/mine.txt", "horse=Bramble/part-00001-of-00002.parquet", "horse=Bramble/part-00002-of-00002.parquet",
	}, files(t, dir))

	// Cut otherwise, it would be in there twice.
	other := &OtherShardsError{}
	require.ErrorAs(t, write(Shard{1, 3}, madeRide("Bramble", "b")), &other)
}

func TestAbortedDatasetLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	d, err := NewDataset(dir, Shard{1, 1}, NewProvenance("test", Settings{}, "", "horse"))
	require.NoError(t, err)
	require.NoError(t, d.Add(madeRide("Bramble", "b")))
	require.NoError(t, d.Add(madeRide("Moss", "c")))
	d.Abort()
	require.Empty(t, files(t, dir))
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}

// A list that someone has changed names nothing that is not this shard's.
func TestDatasetRemovesOnlyItsOwn(t *testing.T) {
	dir := t.TempDir()
	outside := filepath.Join(dir, "part-00001-of-00001.parquet")
	inner := filepath.Join(dir, "table")
	require.NoError(t, os.Mkdir(inner, 0o777))
	require.NoError(t, os.WriteFile(outside, nil, 0o666))
	require.NoError(t, os.WriteFile(filepath.Join(inner, "_provenance-00001-of-00001.json"),
		[]byte(`{"files": ["../part-00001-of-00001.parquet", "horse=x/../../part-00001-of-00001.parquet", "/etc/hostname"]}`), 0o666))
	d, err := NewDataset(inner, Shard{1, 1}, NewProvenance("test", Settings{}, "", "horse"))
	require.NoError(t, err)
	require.NoError(t, d.Commit())
	require.FileExists(t, outside)
}

func TestShardOf(t *testing.T) {
	for _, f := range []Format{CSV, Parquet} {
		name := filepath.Join(t.TempDir(), "table")
		require.Empty(t, ShardOf(name, f))
		p := NewProvenance("test", Settings{}, "2/8", "")
		out, err := os.Create(name)
		require.NoError(t, err)
		w, err := NewWriter(out, f, "")
		require.NoError(t, err)
		require.NoError(t, w.Close(p))
		require.NoError(t, out.Close())
		if f == CSV {
			require.Empty(t, ShardOf(name, f))
			side, err := os.Create(name + paths.SidecarEnding)
			require.NoError(t, err)
			require.NoError(t, p.JSON(side))
			require.NoError(t, side.Close())
		}
		require.Equal(t, "2/8", ShardOf(name, f))
		require.NoError(t, os.WriteFile(name, []byte("PAR1 something else PAR1"), 0o666))
		if f == Parquet {
			require.Empty(t, ShardOf(name, f))
		}
	}
}
