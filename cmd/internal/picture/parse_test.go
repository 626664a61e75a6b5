package picture

import (
	"bytes"
	"encoding/xml"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// node is an element of a drawn picture.
type node struct {
	name string
	attr map[string]string
	text string // its own, without that of elements inside it
	in   string // the name of what it is inside of
}

// inherit takes from a group around an element what holds for all in it.
func (n *node) inherit(around node) {
	n.in = around.name
	if around.name != "g" {
		return
	}
	for name, v := range around.attr {
		if name == "class" {
			n.attr[name] = strings.TrimSpace(n.attr[name] + " " + v)
		} else if n.attr[name] == "" {
			n.attr[name] = v
		}
	}
}

// place is a rectangle on a picture.
type place struct{ x, y, w, h float64 }

func (p place) holds(x, y float64) bool { return x >= p.x && x <= p.x+p.w && y >= p.y && y <= p.y+p.h }

var outlined = regexp.MustCompile(`M([-\d.]+) ([-\d.]+)h([-\d.]+)v([-\d.]+)h-[\d.]+z`)

// places are the rectangles that an element fills: its own, or those of a path
// of cells.
func (n node) places(t *testing.T) (list []place) {
	t.Helper()
	if n.name == "rect" {
		return []place{{n.at(t, "x"), n.at(t, "y"), n.at(t, "width"), n.at(t, "height")}}
	}
	for _, m := range outlined.FindAllStringSubmatch(n.attr["d"], -1) {
		var v [4]float64
		for i := range v {
			f, err := strconv.ParseFloat(m[i+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			v[i] = f
		}
		list = append(list, place{v[0], v[1], v[2], v[3]})
	}
	return list
}

func (n node) at(t *testing.T, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(n.attr[name], 64)
	if err != nil {
		t.Fatalf("%s of a %s: %v", name, n.name, err)
	}
	return v
}

// parsed reads a picture as XML, strictly, in the order of the document.
func parsed(t interface {
	Helper()
	Fatalf(string, ...any)
}, svg []byte) []node {
	t.Helper()
	var all []node
	var open []int
	dec := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			n := node{name: tok.Name.Local, attr: map[string]string{}}
			for _, a := range tok.Attr {
				n.attr[a.Name.Local] = a.Value
			}
			if len(open) > 0 {
				n.inherit(all[open[len(open)-1]])
			}
			all = append(all, n)
			open = append(open, len(all)-1)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				all[open[len(open)-1]].text += string(tok)
			}
		}
	}
	return all
}

func only(nodes []node, name string) (out []node) {
	for _, n := range nodes {
		if n.name == name {
			out = append(out, n)
		}
	}
	return out
}

// texts are all that a reader sees, one a line.
func texts(nodes []node) string {
	var b strings.Builder
	for _, n := range only(nodes, "text") {
		b.WriteString(n.text + "\n")
	}
	return b.String()
}

func hasLine(all, line string) bool { return strings.Contains("\n"+all, "\n"+line+"\n") }

var rules = regexp.MustCompile(`(?m)^\.pic \.(\w+)\{(.*)\}$`)

// styleOf reads what a picture's own style says of each class, and the colours
// behind its custom properties in light, in dark and on paper.
func styleOf(t *testing.T, svg []byte) (classes map[string]map[string]string, light, dark, paper map[string]string) {
	t.Helper()
	css := only(parsed(t, svg), "style")[0].text
	classes = map[string]map[string]string{}
	for _, m := range rules.FindAllStringSubmatch(css, -1) {
		classes[m[1]] = declared(m[2])
	}
	begin, rest, _ := strings.Cut(css, "@media (prefers-color-scheme: dark)")
	inDark, rest, ok := strings.Cut(rest, "@media print")
	if !ok {
		t.Fatal("the style has no part for dark, or none for paper")
	}
	inPrint, _, _ := strings.Cut(rest, "\n")
	return classes, declared(begin), declared(inDark), declared(inPrint)
}

func declared(css string) map[string]string {
	out := map[string]string{}
	for _, d := range strings.FieldsFunc(css, func(r rune) bool { return strings.ContainsRune("{};\n", r) }) {
		if name, value, ok := strings.Cut(d, ":"); ok {
			out[strings.TrimSpace(name)] = strings.TrimSpace(value) // the last one holds
		}
	}
	return out
}
