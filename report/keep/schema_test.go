package keep

import (
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
)

const schemaFile = "../../cmd/serve/api/schema/kept-1.json"

// What is exported is as the schema says, and the schema says no to what is not.
func TestKeptIsAsItsSchema(t *testing.T) {
	schema, err := jsonschema.NewCompiler().Compile(schemaFile)
	require.NoError(t, err)
	s := opened(t, t.TempDir())
	study(t, s)
	out := filepath.Join(t.TempDir(), "out")
	require.NoError(t, s.Export(t.Context(), out))
	data, err := os.ReadFile(filepath.Join(out, keptFile))
	require.NoError(t, err)
	valid := func(text string) error {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		require.NoError(t, err)
		return schema.Validate(v)
	}
	require.NoError(t, valid(string(data)))
	none := opened(t, t.TempDir())
	empty := filepath.Join(t.TempDir(), "out")
	require.NoError(t, none.Export(t.Context(), empty))
	nothing, err := os.ReadFile(filepath.Join(empty, keptFile))
	require.NoError(t, err)
	require.NoError(t, valid(string(nothing)))
	for was, is := range map[string]string{
		`"groundline.kept/1"`: `"groundline.kept/2"`, `"bytes": 9835`: `"bytes": -1`, `"put_away": true`: `"put_away": 1`, `"rides/1-`: `"/rides/1-`, `"start": null`: `"start": 0`,
		`"label": "morning",`: ``,
	} {
		require.Contains(t, string(data), was)
		require.Error(t, valid(strings.Replace(string(data), was, is, 1)), is)
	}
}

// Every field is in the schema and demanded there, and the schema has no other.
func TestSchemaAndKeptHaveTheSameFields(t *testing.T) {
	data, err := os.ReadFile(schemaFile)
	require.NoError(t, err)
	var root map[string]any
	require.NoError(t, json.Unmarshal(data, &root))
	var same func(path string, typ reflect.Type, node map[string]any)
	same = func(path string, typ reflect.Type, node map[string]any) {
		for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
			typ = typ.Elem()
		}
		if items, ok := node["items"].(map[string]any); ok {
			node = items
		}
		if typ.Kind() != reflect.Struct {
			return
		}
		properties := node["properties"].(map[string]any)
		var fields, listed, required []string
		for i := range typ.NumField() {
			name := typ.Field(i).Tag.Get("json")
			fields = append(fields, name)
			if sub, ok := properties[name].(map[string]any); ok {
				same(path+"."+name, typ.Field(i).Type, sub)
			}
		}
		for name := range properties {
			listed = append(listed, name)
		}
		for _, name := range node["required"].([]any) {
			required = append(required, name.(string))
		}
		require.ElementsMatch(t, fields, listed, "properties of %s", path)
		require.ElementsMatch(t, fields, required, "required of %s", path)
	}
	same("kept", reflect.TypeFor[Kept](), root)
}
