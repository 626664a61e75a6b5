package cmd

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
)

// mayImport says which of our rooms a package may import, by the longest
// prefix of its path. A package may always import packages that its own row
// names; everything else of ours is a wrong way.
var mayImport = []struct{ room, may, why string }{
	{"events/hlc", "", "the clock knows nothing of events"},
	{"events/measure", "", "values are read without knowing what they are for"},
	{"events/tag", "", "a tag is digits"},
	{"events/trade", "", "the trade's words stand on their own"},
	{"events/sharedtest", "", "any package's tests may use it"},
	{"events/wholefile", "", "a file is written whole whatever is in it"},
	{"events", "events", "events are the bottom: nothing above them is known there"},
	{"projections/stats", "", "estimators work on plain numbers"},
	{"projections", "projections events", "projections follow from events and do not know sync or the faces"},
	{"sync", "sync events", "sync moves events and never sees a projection"},
	{"cmd", "cmd sync projections events", ""},
}

// source is one Go file of the project.
type source struct {
	dir  string // from the root, with slashes
	path string
	file *ast.File
	test bool
	size int // lines
}

// sources reads every Go file. It reads the files itself rather than ask the
// go command: a test that does the latter passes from the test cache after the
// rule was broken.
func sources(t *testing.T) []source {
	t.Helper()
	var all []source
	err := filepath.WalkDir("..", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if p != ".." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || isOtherModule(p)) {
				return filepath.SkipDir
			}
			return nil
		}
		if filepath.Ext(p) != ".go" {
			return nil
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, p, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel("..", p)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		all = append(all, source{path.Dir(rel), rel, f, strings.HasSuffix(rel, "_test.go"), set.File(f.Pos()).LineCount()})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func isOtherModule(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, "go.mod"))
	return err == nil && dir != ".."
}

func TestImportsPointOneWay(t *testing.T) {
	seen := 0
	for _, s := range sources(t) {
		for _, im := range s.file.Imports {
			p, ours := strings.CutPrefix(strings.Trim(im.Path.Value, `"`), "oldhand/")
			if !ours {
				continue
			}
			seen++
			if why, ok := allowed(s, p); !ok {
				t.Errorf("%s imports %s: %s", s.path, p, why)
			}
		}
	}
	if seen < 20 {
		t.Fatalf("only %d imports of our own seen: the test looks in the wrong place", seen)
	}
}

func allowed(s source, imported string) (why string, ok bool) {
	if s.test && (under(imported, "events/sharedtest") || imported == s.dir || under(imported, "events/eventstest")) {
		return "", true
	}
	for _, row := range mayImport {
		if !under(s.dir, row.room) {
			continue
		}
		for _, may := range strings.Fields(row.may) {
			if under(imported, may) {
				return "", true
			}
		}
		return row.why, imported == s.dir
	}
	return "this folder is in no room", false
}

func under(p, room string) bool { return p == room || strings.HasPrefix(p, room+"/") }

func TestEachPackageHasOnePackageComment(t *testing.T) {
	comments := map[string]int{}
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		if _, ok := comments[s.dir]; !ok {
			comments[s.dir] = 0
		}
		if s.file.Doc != nil {
			comments[s.dir]++
		}
	}
	for dir, n := range comments {
		if n != 1 {
			t.Errorf("%s has %d package comments, want one", dir, n)
		}
	}
}

// A file is one thing. Past this length it is two.
const (
	longestFile     = 500
	longestTestFile = 600
	longestFunc     = 80
)

func TestFilesKeepTheirSize(t *testing.T) {
	for _, s := range sources(t) {
		limit := longestFile
		if s.test {
			limit = longestTestFile
		}
		if s.size > limit {
			t.Errorf("%s has %d lines, at most %d", s.path, s.size, limit)
		}
	}
}

func TestFunctionsKeepTheirSize(t *testing.T) {
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, filepath.Join("..", s.path), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok {
				if n := set.Position(fn.End()).Line - set.Position(fn.Pos()).Line; n > longestFunc {
					t.Errorf("%s: %s has %d lines, at most %d", s.path, fn.Name.Name, n, longestFunc)
				}
			}
		}
	}
}
