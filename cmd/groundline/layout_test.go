package main

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Layers from the bottom: a package may import its own layer and those before it.
var layers = []string{"trace", "detect", "course", "report", "cmd"}

// The libraries that each layer may use outside its tests, and what for.
var libraries = map[string][]string{
	"trace": {
		"github.com/tkrajina/gpxgo", // GPX
		"github.com/muktihari/fit",  // FIT
		"gonum.org/v1/gonum",        // numerics
		"golang.org/x/net/html",     // encodings that XML declares
		"golang.org/x/text",         // byte order marks
	},
	"detect": {"gonum.org/v1/gonum"},
	"course": {"github.com/goccy/go-yaml", "gonum.org/v1/gonum"}, // plans with line numbers
	"report": {
		"gonum.org/v1/gonum",
		"golang.org/x/image",               // drawings as PNG
		"codeberg.org/go-pdf/fpdf",         // drawings as PDF
		"github.com/parquet-go/parquet-go", // the stride table as Parquet
		"modernc.org/sqlite",               // the store's database, in pure Go
		"github.com/gofrs/flock",           // who works in the store
		"golang.org/x/text/unicode/norm",   // one name for one horse, however its accents are typed
	},
	"cmd": {
		"github.com/spf13/cobra",
		"golang.org/x/term",
		"golang.org/x/crypto/argon2",     // the page's passcode
		"github.com/goccy/go-yaml",       // the interface for programs, described, as JSON
		"golang.org/x/text/unicode/norm", // the same passcode from two keyboards
	},
}

const root = "../.."

// eachFile walks the project's files, without what git keeps for itself.
func eachFile(t *testing.T, do func(path string)) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && e.Name() == ".git":
			return fs.SkipDir
		case e.Type().IsRegular():
			rel, err := filepath.Rel(root, path)
			require.NoError(t, err)
			do(filepath.ToSlash(rel))
		}
		return nil
	}))
}

func layerOf(path string) int {
	first, _, _ := strings.Cut(path, "/")
	return slices.Index(layers, first)
}

func TestImportsPointOneWay(t *testing.T) {
	seen := 0
	eachFile(t, func(path string) {
		layer := layerOf(path)
		if !strings.HasSuffix(path, ".go") || strings.Contains(path, "testdata/") || layer < 0 {
			return
		}
		file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root, path), nil, parser.ImportsOnly)
		require.NoError(t, err)
		for _, i := range file.Imports {
			name, err := strconv.Unquote(i.Path.Value)
			require.NoError(t, err)
			inner, ours := strings.CutPrefix(name, "groundline/")
			first, _, _ := strings.Cut(name, "/")
			switch {
			case inner == "trace/testkit" || strings.HasPrefix(inner, "trace/testkit/"):
				require.True(t, strings.HasSuffix(path, "_test.go") || strings.HasPrefix(path, "trace/testkit/"), "%s imports %s, which is for tests", path, name)
			case ours:
				seen++
				require.LessOrEqual(t, layerOf(inner), layer, "%s imports %s, which stands above it", path, name)
				require.GreaterOrEqual(t, layerOf(inner), 0, "%s imports %s, which is in no layer", path, name)
			case strings.Contains(first, ".") && !strings.HasSuffix(path, "_test.go") && !strings.HasPrefix(path, "trace/testkit/"):
				allowed := slices.ContainsFunc(libraries[layers[layer]], func(l string) bool {
					return name == l || strings.HasPrefix(name, l+"/")
				})
				require.True(t, allowed, "%s imports %s, which is not listed for its layer", path, name)
			}
		}
	})
	require.Greater(t, seen, 10, "the walk found hardly any import")
}

// Nothing below the command touches the process: no printing, no exit, no environment.
func TestOnlyTheCommandTouchesTheProcess(t *testing.T) {
	forbidden := map[string][]string{
		"os":  {"Exit", "Stdout", "Stderr", "Stdin", "Args", "Getenv", "Environ", "LookupEnv"},
		"fmt": {"Print", "Printf", "Println", "Scan", "Scanln", "Scanf"},
		"log": nil, // all of it
	}
	eachFile(t, func(path string) {
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.Contains(path, "testdata/") ||
			layerOf(path) < 0 || path == "cmd/groundline/main.go" {
			return
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, filepath.Join(root, path), nil, 0)
		require.NoError(t, err)
		ast.Inspect(file, func(n ast.Node) bool {
			s, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if x, ok := s.X.(*ast.Ident); ok && x.Obj == nil { // a package, not a variable
				names, listed := forbidden[x.Name]
				if listed && (names == nil || slices.Contains(names, s.Sel.Name)) {
					t.Errorf("%s uses %s.%s", set.Position(s.Pos()), x.Name, s.Sel.Name)
				}
			}
			return true
		})
	})
}

// Only tests may look at material that is not part of the project, and they pass without it.
func TestNothingButTestsLooksOutsideTheProject(t *testing.T) {
	outside := []byte("../" + "shared")
	eachFile(t, func(path string) {
		if strings.HasSuffix(path, "_test.go") {
			return
		}
		data, err := os.ReadFile(filepath.Join(root, path))
		require.NoError(t, err)
		require.False(t, bytes.Contains(data, outside), "%s looks outside the project", path)
	})
}
