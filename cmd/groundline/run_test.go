package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestInterruptedWritesNothing(t *testing.T) {
	t.Chdir(exampleFolder(t))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errOut bytes.Buffer
	code := run(ctx, []string{"debrief", "ride.gpx", "--course", "course.yaml", "-o", "out.txt"}, streams{out: &out, err: &errOut})
	require.Equal(t, exitStopped, code)
	require.NoFileExists(t, "out.txt")
	require.Empty(t, out.String())
	require.Contains(t, errOut.String(), "interrupted")
}

// Ornament is for terminals that want it: the stream says so, never the command.
func TestBoldOnlyWhereItIsShown(t *testing.T) {
	t.Chdir(exampleFolder(t))
	show := func(std streams, args ...string) string {
		var out, errOut bytes.Buffer
		std.out, std.err = &out, &errOut
		require.Equal(t, exitDone, run(t.Context(), args, std), errOut.String())
		return out.String()
	}
	args := []string{"debrief", "ride.gpx", "motion.csv", "--course", "course.yaml"}
	require.Contains(t, show(streams{bold: true}, args...), "\x1b[1m")
	require.NotContains(t, show(streams{}, args...), "\x1b")
	show(streams{bold: true}, append(args, "-o", "out.txt")...)
	written, err := os.ReadFile("out.txt")
	require.NoError(t, err)
	require.NotContains(t, string(written), "\x1b", "a file is no terminal")
}

// A file appears whole or not at all, and what was there stays until then.
func TestWriteWhole(t *testing.T) {
	path := filepath.Join(t.TempDir(), "out.json")
	require.NoError(t, os.WriteFile(path, []byte("old"), 0o644))
	require.ErrorIs(t, writeWhole(path, func(w io.Writer) error {
		_, err := w.Write([]byte("half"))
		require.NoError(t, err)
		return os.ErrInvalid
	}), os.ErrInvalid)
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "old", string(data))
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, entries, 1, "nothing is left beside it")
}
