package testkit

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// SameFields holds a published schema to the type that is written in its layout: the schema has every field of the type, in its
// order, each of them required, and no other. With -update (go generate) it writes the schema so: what a field's node
// says stays, a new field's is made of its type and of meaning, which is given the field's path, as lines[].strides. enums are
// the words of $defs that are a choice.
func SameFields(t testing.TB, name string, typ reflect.Type, meaning func(path string) string, enums map[string][]string) {
	t.Helper()
	file := filepath.Join(Root(t), "cmd", "serve", "api", "schema", name)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	root := decoded(t, dec).(*object)
	s := schema{defs: root.object("$defs"), meaning: meaning}
	s.fill(root, typ, "")
	for def, words := range enums {
		list := make([]any, len(words))
		for i, w := range words {
			list[i] = w
		}
		s.defs.object(def).set("enum", list)
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	require.NoError(t, enc.Encode(root))
	Golden(t, file, out.Bytes())
}

type schema struct {
	defs    *object
	meaning func(path string) string
}

// fill gives a node the fields of a struct, or of what a list or pointer is of.
func (s *schema) fill(node *object, typ reflect.Type, path string) {
	for typ.Kind() == reflect.Pointer || typ.Kind() == reflect.Slice {
		if typ.Kind() == reflect.Slice {
			path += "[]"
		}
		typ = typ.Elem()
	}
	for {
		if items := node.object("items"); items != nil {
			node = items
		} else if either, ok := node.get("anyOf").([]any); ok {
			node = either[0].(*object)
		} else if ref, ok := node.get("$ref").(string); ok {
			node = s.defs.object(strings.TrimPrefix(ref, "#/$defs/"))
		} else {
			break
		}
	}
	if typ.Kind() != reflect.Struct || node.get("properties") == nil {
		return
	}
	before, now, required := node.object("properties"), &object{}, []any{}
	for i := range typ.NumField() {
		name, _, _ := strings.Cut(typ.Field(i).Tag.Get("json"), ",")
		if name == "-" || name == "" {
			continue
		}
		at := strings.TrimPrefix(path+"."+name, ".")
		of := before.object(name)
		if of == nil {
			of = s.node(typ.Field(i).Type, at)
		}
		s.fill(of, typ.Field(i).Type, at)
		now.set(name, of)
		required = append(required, name)
	}
	node.set("required", required)
	node.set("properties", now)
}

// node is that of a new field.
func (s *schema) node(typ reflect.Type, path string) *object {
	out := &object{}
	if words := s.meaning(path); words != "" {
		out.set("description", words)
	}
	null := typ.Kind() == reflect.Pointer
	if null {
		typ = typ.Elem()
	}
	kinds := map[reflect.Kind]string{reflect.Float64: "number", reflect.Int: "integer", reflect.String: "string", reflect.Bool: "boolean"}
	switch kind := kinds[typ.Kind()]; {
	case kind != "" && null:
		out.set("type", []any{kind, "null"})
	case kind != "":
		out.set("type", kind)
	case typ.Kind() == reflect.Slice:
		out.set("type", "array")
		out.set("items", s.node(typ.Elem(), path+"[]"))
	default:
		of := &object{}
		if typ.Name() == "Estimate" {
			of.set("$ref", "#/$defs/estimate")
		} else {
			of.set("type", "object")
			of.set("properties", &object{})
		}
		if !null {
			return of
		}
		nothing := &object{}
		nothing.set("type", "null")
		out.set("anyOf", []any{of, nothing})
	}
	return out
}

// object is a JSON object that keeps the order of its keys.
type object struct {
	keys   []string
	values []any
}

func (o *object) get(key string) any {
	if i := slices.Index(o.keys, key); i >= 0 {
		return o.values[i]
	}
	return nil
}

func (o *object) object(key string) *object {
	v, _ := o.get(key).(*object)
	return v
}

func (o *object) set(key string, value any) {
	if i := slices.Index(o.keys, key); i >= 0 {
		o.values[i] = value
		return
	}
	o.keys, o.values = append(o.keys, key), append(o.values, value)
}

// MarshalJSON writes the object in its order.
func (o *object) MarshalJSON() ([]byte, error) {
	out := []byte{'{'}
	for i, key := range o.keys {
		if i > 0 {
			out = append(out, ',')
		}
		var pair bytes.Buffer
		enc := json.NewEncoder(&pair)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(key); err != nil {
			return nil, err
		}
		pair.Truncate(pair.Len() - 1)
		pair.WriteByte(':')
		if err := enc.Encode(o.values[i]); err != nil {
			return nil, err
		}
		out = append(out, pair.Bytes()...)
	}
	return append(out, '}'), nil
}

// decoded is the next value: an object, a list or a plain one.
func decoded(t testing.TB, dec *json.Decoder) any {
	t.Helper()
	tok, err := dec.Token()
	require.NoError(t, err)
	switch tok {
	case json.Delim('{'):
		out := &object{}
		for dec.More() {
			key := decoded(t, dec).(string)
			out.set(key, decoded(t, dec))
		}
		_, err = dec.Token()
		require.NoError(t, err)
		return out
	case json.Delim('['):
		list := []any{}
		for dec.More() {
			list = append(list, decoded(t, dec))
		}
		_, err = dec.Token()
		require.NoError(t, err)
		return list
	}
	return tok
}
