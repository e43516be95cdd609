package dsp_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

const module = "pulsewright"

// rules say what packages of a folder must not import directly, and why.
var rules = []struct {
	folder  string
	imports []string // a path, or a path and all below it
	why     string
}{
	{"dsp", []string{module + "/acquire", module + "/server", module + "/web"},
		"signal processing serves live view, command line and firmware alike and knows none of them"},
	{"dsp", []string{"net", "os", "syscall", "io/ioutil"},
		"what is computed depends on the samples alone"},
	{"dsp", []string{"math/rand", "log", "flag"},
		"the same input gives the same output, and a package reports by its results"},
	{"acquire", []string{module + "/dsp", module + "/server", module + "/web"},
		"a source hands over raw counts; judging and showing them is the business of those above"},
}

// allowed are exceptions: package folder and import.
var allowed = map[[2]string]string{
	{"dsp/dsptest", "math/rand/v2"}: "test signals with a fixed seed; used by tests only",
	{"dsp/board", "math/rand/v2"}:   "boards drawn within their tolerances, with a seed that is given",
}

// clock are the functions of package time that ask for the time: in dsp the sample
// index is the clock.
var clock = map[string]bool{"Now": true, "Since": true, "Until": true, "Sleep": true, "After": true, "AfterFunc": true, "Tick": true, "NewTimer": true, "NewTicker": true}

func forbidden(path, rule string) bool { return path == rule || strings.HasPrefix(path, rule+"/") }

func TestForbiddenImports(t *testing.T) {
	files := 0
	for _, top := range []string{"dsp", "acquire"} {
		root := filepath.Join("..", top)
		err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if entry.IsDir() && (entry.Name() == "testdata" || entry.Name() == "node_modules") {
				return filepath.SkipDir
			}
			if entry.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			files++
			src, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			rel := strings.TrimPrefix(filepath.ToSlash(path), "../")
			for _, p := range check(t, rel, src) {
				t.Error(p)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if files < 10 {
		t.Errorf("only %d files looked at", files)
	}
}

// check gives the complaints about one file, named from the project's root.
func check(t *testing.T, name string, src []byte) (complaints []string) {
	t.Helper()
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, name, src, parser.SkipObjectResolution)
	if err != nil {
		// A file somebody is writing at this moment; the compiler complains about it.
		t.Logf("%v", err)
		return nil
	}
	top, _, _ := strings.Cut(name, "/")
	timeName := ""
	for _, imp := range file.Imports {
		path, _ := strconv.Unquote(imp.Path.Value)
		if path == "time" {
			timeName = "time"
			if imp.Name != nil {
				timeName = imp.Name.Name
			}
		}
		folder := name[:strings.LastIndex(name, "/")]
		if _, ok := allowed[[2]string{folder, path}]; ok {
			continue
		}
		for _, r := range rules {
			for _, i := range r.imports {
				if r.folder == top && forbidden(path, i) {
					complaints = append(complaints, set.Position(imp.Pos()).String()+": "+top+" must not import "+path+": "+r.why)
				}
			}
		}
	}
	if top == "dsp" && timeName != "" {
		ast.Inspect(file, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := s.X.(*ast.Ident); ok && x.Name == timeName && clock[s.Sel.Name] {
					complaints = append(complaints, set.Position(s.Pos()).String()+": dsp must not call time."+s.Sel.Name+": the sample index is its clock")
				}
			}
			return true
		})
	}
	return complaints
}

// TestForbiddenImportsAreSeen feeds the check what it must refuse.
func TestForbiddenImportsAreSeen(t *testing.T) {
	for _, c := range []struct {
		name, src string
		want      int
	}{
		{"dsp/beat/x.go", `package beat; import "net/http"`, 1},
		{"dsp/beat/x.go", `package beat; import "os"`, 1},
		{"dsp/beat/x.go", `package beat; import "pulsewright/acquire/playback"`, 1},
		{"dsp/beat/x.go", `package beat; import "pulsewright/server"; import "log/slog"`, 2},
		{"dsp/beat/x.go", `package beat; import "time"; var t = time.Now()`, 1},
		{"dsp/beat/x.go", `package beat; import clock "time"; var t = clock.Since`, 1},
		{"dsp/beat/x.go", `package beat; import "time"; var t = time.Second`, 0},
		{"dsp/beat/x.go", `package beat; import "pulsewright/dsp/filter"; import "math"`, 0},
		{"dsp/beat/x.go", `package beat; import "network"`, 0},
		{"acquire/x.go", `package acquire; import "net"; import "os"; import "time"; var t = time.Now()`, 0},
		{"acquire/x.go", `package acquire; import "pulsewright/dsp"`, 1},
		{"acquire/clock/x.go", `package clock; import "pulsewright/server/hub"`, 1},
	} {
		if got := check(t, c.name, []byte(c.src)); len(got) != c.want {
			t.Errorf("%s: %s: complaints %q, want %d", c.name, c.src, got, c.want)
		}
	}
}
