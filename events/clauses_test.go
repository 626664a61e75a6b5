package events_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Line coverage can't tell whether a clause has a test: all clauses of a
// Validate are evaluated in one expression. So this file reads the clauses out
// of the source and asks the table of broken clauses for a row each.

func TestEveryClauseOfEveryValidateHasARow(t *testing.T) {
	src := readSource(t)
	rows := map[string][]broken{}
	for _, b := range brokenClauses() {
		rows[b.of] = append(rows[b.of], b)
	}
	if len(src.validates) < 30 {
		t.Fatalf("only %d types with a Validate in the source", len(src.validates))
	}
	for of, fn := range src.validates {
		want := src.clauses(fn.Body, nil)
		wantInner := src.innerRules(fn.Body)
		for _, b := range rows[of] {
			if b.inner {
				wantInner--
				continue
			}
			if i := longestMatch(want, b.clause); i >= 0 {
				want[i].rows = append(want[i].rows, b)
			} else {
				t.Errorf("%s: no clause says %q", of, b.clause)
			}
		}
		for _, c := range want {
			if n := distinct(c.rows); n < c.times {
				t.Errorf("%s: clause %q stands %d times in Validate and has %d rows", of, c.says, c.times, n)
			}
		}
		if wantInner > 0 {
			t.Errorf("%s: %d rules of things inside have no row", of, wantInner)
		}
	}
	for of := range rows {
		if src.validates[of] == nil {
			t.Errorf("rows for %s, which has no Validate", of)
		}
	}
}

// anything stands in a clause's sentence for what is known only when it is
// broken.
const anything = "\u2026"

type clauseSeen struct {
	says  string // with anything in it
	times int    // how often it stands in one Validate
	rows  []broken
}

func (c clauseSeen) matches(sentence string) bool {
	parts := strings.Split(c.says, anything)
	for i := range parts {
		parts[i] = regexp.QuoteMeta(parts[i])
	}
	return regexp.MustCompile("(?s)^" + strings.Join(parts, ".*") + "$").MatchString(sentence)
}

// longestMatch finds the clause with the most fixed text that a sentence fits.
func longestMatch(list []clauseSeen, sentence string) int {
	best := -1
	for i, c := range list {
		if c.matches(sentence) && (best < 0 || len(c.says) > len(list[best].says)) {
			best = i
		}
	}
	return best
}

// distinct counts rows with different broken values.
func distinct(rows []broken) (n int) {
	for i, a := range rows {
		again := false
		for _, b := range rows[:i] {
			again = again || reflect.DeepEqual(a.value, b.value)
		}
		if !again {
			n++
		}
	}
	return n
}

// source is the package's rules as they are written.
type source struct {
	validates map[string]*ast.FuncDecl // methods by the name of their type
	helpers   map[string]*ast.FuncDecl // functions whose first parameter is "what"
}

func readSource(t *testing.T) source {
	src := source{map[string]*ast.FuncDecl{}, map[string]*ast.FuncDecl{}}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok {
				src.keep(fn)
			}
		}
	}
	return src
}

func (src source) keep(fn *ast.FuncDecl) {
	switch params := fn.Type.Params.List; {
	case fn.Recv != nil && fn.Name.Name == "Validate":
		src.validates[fn.Recv.List[0].Type.(*ast.Ident).Name] = fn
	case fn.Recv == nil && len(params) > 0 && params[0].Names[0].Name == "what":
		src.helpers[fn.Name.Name] = fn
	}
}

// clauses collects the sentences under a node. What is the expression that the
// caller of a helper gives for its first parameter.
func (src source) clauses(under ast.Node, what *string) (list []clauseSeen) {
	add := func(says string, times int) {
		for i := range list {
			if list[i].says == says {
				list[i].times += times
				return
			}
		}
		list = append(list, clauseSeen{says: says, times: times})
	}
	ast.Inspect(under, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			name, _ := n.Fun.(*ast.Ident)
			if name == nil {
				return true
			}
			if name.Name == "clause" {
				add(sentence(n.Args[1], n.Args[2:], what), 1)
				return false // what stands in the condition is no clause
			}
			if h := src.helpers[name.Name]; h != nil {
				given := valueOf(n.Args[0], what)
				for _, c := range src.clauses(h.Body, &given) {
					if !unreachable(name.Name, c.says) {
						add(c.says, c.times)
					}
				}
				return false
			}
		case *ast.CompositeLit:
			if name, _ := n.Type.(*ast.Ident); name != nil && name.Name == "Invalid" {
				add(valueOf(n.Elts[0], what), 1)
			}
		}
		return true
	})
	return list
}

// unreachable reports a clause that can't be broken: an id of a table's row
// that has the right form is ASCII.
func unreachable(helper, says string) bool {
	return helper == "tableID" && (strings.HasSuffix(says, ": not UTF-8") || strings.HasSuffix(says, ": there is a zero byte in it"))
}

// innerRules counts the calls of another Validate.
func (src source) innerRules(under ast.Node) (n int) {
	ast.Inspect(under, func(node ast.Node) bool {
		if sel, ok := node.(*ast.SelectorExpr); ok && sel.Sel.Name == "Validate" {
			n++
		}
		return true
	})
	return n
}

var verb = regexp.MustCompile(`%[a-z]`)

// sentence is a clause's format with its arguments put in where they are known.
func sentence(format ast.Expr, args []ast.Expr, what *string) string {
	i := -1
	return verb.ReplaceAllStringFunc(valueOf(format, what), func(string) string {
		i++
		return valueOf(args[i], what)
	})
}

// valueOf is a text expression's value as far as the source shows it.
func valueOf(e ast.Expr, what *string) string {
	switch e := e.(type) {
	case *ast.BasicLit:
		if s, err := strconv.Unquote(e.Value); err == nil {
			return s
		}
	case *ast.BinaryExpr:
		return valueOf(e.X, what) + valueOf(e.Y, what)
	case *ast.Ident:
		if e.Name == "what" && what != nil {
			return *what
		}
	}
	return anything
}
