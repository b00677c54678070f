package serve

import (
	"embed"
	"encoding/json"
	"fmt"
	"groundline/cmd/serve/shell"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"

	"github.com/goccy/go-yaml"
)

// apiFiles describe the interface for programs: openapi.yaml, and in schema the layouts that it refers to, which are
// those of the commands.
//
//go:embed api
var apiFiles embed.FS

//go:embed templates
var templates embed.FS

func newServer(sh *shell.Shell) *server {
	sh.Add(templates)
	return &server{sh}
}

// programRoutes are what describes the interface for programs.
func (s *server) programRoutes(mux *http.ServeMux) {
	described := sync.OnceValues(func() ([]byte, error) { return openAPIJSON(apiFiles) })
	mux.HandleFunc("GET /programs", func(w http.ResponseWriter, r *http.Request) {
		data, err := described()
		if err == nil {
			err = s.programs(w, r, data)
		}
		if err != nil {
			s.Fail(w, r, err)
		}
	})
	mux.HandleFunc("GET /api/openapi.yaml", func(w http.ResponseWriter, r *http.Request) {
		s.description(w, r, "api/openapi.yaml", "application/yaml")
	})
	mux.HandleFunc("GET /api/openapi.json", func(w http.ResponseWriter, r *http.Request) {
		data, err := described()
		if err != nil {
			s.Fail(w, r, err)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(data) // the reader has gone: nobody to tell
	})
	mux.HandleFunc("GET /api/schema/{file}", func(w http.ResponseWriter, r *http.Request) {
		s.description(w, r, "api/schema/"+path.Base(r.PathValue("file")), "application/schema+json")
	})
}

// description answers with one of the embedded files; nothing else is looked up.
func (s *server) description(w http.ResponseWriter, r *http.Request, name, kind string) {
	data, err := apiFiles.ReadFile(name)
	if err != nil {
		s.Nowhere(w, r)
		return
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(data) // the reader has gone: nobody to tell
}

// openAPIJSON is the description as one JSON document that needs no other: the layouts are in it, and what they refer to
// within themselves is referred to where it now stands.
func openAPIJSON(files fs.FS) ([]byte, error) {
	text, err := fs.ReadFile(files, "api/openapi.yaml")
	if err != nil {
		return nil, err
	}
	data, err := yaml.YAMLToJSON(text)
	if err != nil {
		return nil, fmt.Errorf("openapi.yaml: %w", err)
	}
	var doc map[string]any
	if err := json.Unmarshal(data, &doc); err != nil {
		return nil, fmt.Errorf("openapi.yaml: %w", err)
	}
	components, _ := doc["components"].(map[string]any)
	schemas, _ := components["schemas"].(map[string]any)
	for name, s := range schemas {
		of, _ := s.(map[string]any)
		file, _ := of["$ref"].(string)
		if !strings.HasPrefix(file, "schema/") {
			continue
		}
		text, err := fs.ReadFile(files, "api/"+file)
		if err != nil {
			return nil, err
		}
		var layout map[string]any
		if err := json.Unmarshal(text, &layout); err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		delete(layout, "$schema")
		delete(layout, "$id")
		moved(layout, "#/components/schemas/"+name)
		schemas[name] = layout
	}
	return json.Marshal(doc)
}

// moved corrects the references of a layout that now stands below a place.
func moved(v any, below string) {
	switch v := v.(type) {
	case map[string]any:
		for k, inner := range v {
			if ref, ok := inner.(string); ok && k == "$ref" && strings.HasPrefix(ref, "#") {
				v[k] = below + strings.TrimPrefix(ref, "#")
				continue
			}
			moved(inner, below)
		}
	case []any:
		for _, inner := range v {
			moved(inner, below)
		}
	}
}

// addressView is what can be asked for at an address.
type addressView struct{ Method, Path, Summary string }

// programs is the page that tells people of the interface. described is its description.
func (s *server) programs(w http.ResponseWriter, r *http.Request, described []byte) error {
	var doc struct {
		Paths map[string]map[string]json.RawMessage
	}
	if err := json.Unmarshal(described, &doc); err != nil {
		return err
	}
	var list []addressView
	for _, path := range slices.Sorted(maps.Keys(doc.Paths)) {
		for _, method := range []string{"get", "post", "put", "patch", "delete"} {
			var of struct{ Summary string }
			if data, ok := doc.Paths[path][method]; ok {
				if err := json.Unmarshal(data, &of); err != nil {
					return err
				}
				list = append(list, addressView{strings.ToUpper(method), path, of.Summary})
			}
		}
	}
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	s.Show(w, r, http.StatusOK, "programs.html", shell.View{Title: "For programs", Data: struct {
		Address string
		All     []addressView
	}{scheme + "://" + r.Host, list}})
	return nil
}
