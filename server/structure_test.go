package server

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestStructure holds what keeps the program readable: no function is longer than 80 lines or takes
// more than four parameters, and of the server only this package and the command line know HTTP.
func TestStructure(t *testing.T) {
	const mostLines, mostParameters = 80, 4
	excepted := map[string]bool{
		"Handler": true, // the one list of routes
		"pipe":    true, // in assembly
		// Not broken up yet.
		"parseNumber": true, "newChannel": true, "Match": true,
	}
	knowHTTP := map[string]bool{".": true, "command": true}
	set, seen := token.NewFileSet(), 0
	for _, root := range []string{".", filepath.Join("..", "acquire"), filepath.Join("..", "dsp")} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			file, err := parser.ParseFile(set, path, text, 0)
			if err != nil {
				return err
			}
			for _, i := range file.Imports {
				if name := strings.Trim(i.Path.Value, `"`); (name == "net/http" || strings.Contains(name, "/chi/")) && !strings.HasPrefix(path, "..") && !knowHTTP[filepath.Dir(path)] {
					t.Errorf("%s imports %s: what answers requests stands in package server", path, name)
				}
			}
			for _, d := range file.Decls {
				f, ok := d.(*ast.FuncDecl)
				if !ok {
					continue
				}
				if seen++; excepted[f.Name.Name] {
					continue
				}
				if n := set.Position(f.End()).Line - set.Position(f.Pos()).Line + 1; n > mostLines {
					t.Errorf("%s: %s has %d lines, more than %d", path, f.Name.Name, n, mostLines)
				}
				if n := f.Type.Params.NumFields(); n > mostParameters {
					t.Errorf("%s: %s takes %d parameters, more than %d", path, f.Name.Name, n, mostParameters)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if seen < 2000 {
		t.Errorf("only %d functions were looked at", seen)
	}
}
