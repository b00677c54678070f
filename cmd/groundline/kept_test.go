package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

// Each list in JSON is as its schema says, which has every field of it and no other, and the schema says no to another layout.
func TestKeptListsAreAsTheirSchemas(t *testing.T) {
	schemas, err := filepath.Abs(filepath.Join(root, "cmd", "serve", "api", "schema"))
	require.NoError(t, err)
	t.Chdir(exampleFolder(t))
	show := func(args ...string) string {
		t.Helper()
		var out, errOut bytes.Buffer
		require.Equal(t, exitDone, run(t.Context(), args, streams{out: &out, err: &errOut, store: exampleStore}), errOut.String())
		return out.String()
	}
	lists := map[string][]string{"rides": {"kept", "list", "--format", "json"}, "horses": {"kept", "horses", "--format", "json"}, "courses": {"kept", "courses", "--format", "json"}}
	check := func() {
		t.Helper()
		for name, args := range lists {
			file := filepath.Join(schemas, name+"-1.json")
			schema, err := jsonschema.NewCompiler().Compile(file)
			require.NoError(t, err)
			text := show(args...)
			v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
			require.NoError(t, err)
			require.NoError(t, schema.Validate(v), name)
			other, err := jsonschema.UnmarshalJSON(strings.NewReader(strings.Replace(text, "/1\"", "/2\"", 1)))
			require.NoError(t, err)
			require.Error(t, schema.Validate(other), name)
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			var node map[string]any
			require.NoError(t, json.Unmarshal(data, &node))
			allListed(t, name, v, node)
		}
	}
	check()
	show("keep", "ride.gpx", "motion.csv", "--course", "course.yaml", "--horse", "Bramble", "--wait")
	show("keep", "ride.gpx")
	show("keep", "points.gpx") // a walk: no ride
	require.Equal(t, exitNoAnswer, run(t.Context(), []string{"keep", "points.gpx", "--wait"}, streams{out: new(bytes.Buffer), err: new(bytes.Buffer), store: exampleStore}))
	check()
}

// allListed holds that every field of a value is in its schema.
func allListed(t *testing.T, path string, v any, node map[string]any) {
	t.Helper()
	switch v := v.(type) {
	case map[string]any:
		properties, _ := node["properties"].(map[string]any)
		for name, inner := range v {
			sub, ok := properties[name].(map[string]any)
			require.True(t, ok, "%s.%s is not in the schema", path, name)
			allListed(t, path+"."+name, inner, sub)
		}
		require.Len(t, v, len(properties), path)
	case []any:
		items, _ := node["items"].(map[string]any)
		for _, inner := range v {
			allListed(t, path, inner, items)
		}
	}
}
