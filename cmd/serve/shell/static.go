package shell

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
	"strings"
)

//go:embed static
var staticFiles embed.FS

// asset is a file that pages load.
type asset struct {
	data []byte
	kind string
	hash string
}

func loadStatic() map[string]asset {
	out := map[string]asset{}
	err := fs.WalkDir(staticFiles, "static", func(name string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		data, err := staticFiles.ReadFile(name)
		sum := sha256.Sum256(data)
		out[strings.TrimPrefix(name, "static/")] = asset{data, kindOf(name), hex.EncodeToString(sum[:8])}
		return err
	})
	if err != nil {
		panic(err) // the program's own files
	}
	return out
}

// kindOf is the media type by the name's ending, from a list of our own: the machine's may say otherwise.
func kindOf(name string) string {
	switch path.Ext(name) {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".yaml":
		return "application/yaml"
	}
	return "application/octet-stream"
}

// assetURL is the address of a file with its content's hash, so that browsers may keep it.
func assetURL(static map[string]asset, name string) string {
	a, ok := static[name]
	if !ok {
		panic("no such file: " + name) // a template's fault
	}
	return "/static/" + name + "?v=" + a.hash
}

// file answers with a file that pages load. Nothing but the embedded ones is looked up.
func (s *Shell) file(w http.ResponseWriter, r *http.Request) {
	a, ok := s.static[r.PathValue("file")]
	if !ok {
		s.Nowhere(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("ETag", `"`+a.hash+`"`)
	if r.URL.Query().Get("v") == a.hash {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	} else {
		h.Set("Cache-Control", "no-cache") // scripts load one another without the hash
	}
	if r.Header.Get("If-None-Match") == `"`+a.hash+`"` {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	if r.Method != http.MethodHead {
		_, _ = w.Write(a.data)
	}
}
