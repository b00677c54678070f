// Package testkit is what the tests of several packages share: golden files and JSON schemas. The browser is in package chrome
// below it. Nothing but tests imports either.
package testkit

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files of testdata; read the difference then")

// Updating reports whether golden files are to be rewritten.
func Updating() bool { return *update }

// Golden holds what was written to the golden file of that path; with -update it writes the file.
func Golden(t testing.TB, path string, got []byte) {
	t.Helper()
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o777))
		require.NoError(t, os.WriteFile(path, got, 0o666))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got), "go test -update rewrites it; look at it then")
}

// Root is the project's folder, found from the folder that the test runs in.
func Root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		require.NotEqual(t, dir, up, "no go.mod above the test's folder")
		dir = up
	}
}

// Schema is one of the project's published schemas, by its file's name in cmd/serve/api/schema.
func Schema(t testing.TB, name string) *jsonschema.Schema {
	t.Helper()
	s, err := jsonschema.NewCompiler().Compile(filepath.Join(Root(t), "cmd", "serve", "api", "schema", name))
	require.NoError(t, err)
	return s
}

// Valid holds that a JSON text is one and as the schema has it.
func Valid(t testing.TB, s *jsonschema.Schema, text []byte) {
	t.Helper()
	require.True(t, json.Valid(text), "%.300s", text)
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, s.Validate(v))
}
