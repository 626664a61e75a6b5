package picture

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

// The formulas are those of WCAG 2.x, "relative luminance" and "contrast
// ratio" (W3C Recommendation, glossary): sRGB channels made linear, weighted
// 0.2126, 0.7152, 0.0722, and (L1 + 0.05) / (L2 + 0.05).
func luminance(c [3]float64) float64 {
	var lin [3]float64
	for i, v := range c {
		if v <= 0.04045 {
			lin[i] = v / 12.92
		} else {
			lin[i] = math.Pow((v+0.055)/1.055, 2.4)
		}
	}
	return 0.2126*lin[0] + 0.7152*lin[1] + 0.0722*lin[2]
}

func contrast(a, b [3]float64) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func rgb(t *testing.T, hex string) (c [3]float64) {
	t.Helper()
	if len(hex) != 7 || hex[0] != '#' {
		t.Fatalf("%q is no colour", hex)
	}
	for i := range c {
		v, err := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c[i] = float64(v) / 255
	}
	return c
}

// Black on white is 21 to 1 by the definition; #767676 on white is the well
// known last grey that passes, 4.54 (from memory).
func TestContrastIsThatOfTheStandard(t *testing.T) {
	white := rgb(t, "#ffffff")
	if c := contrast(rgb(t, "#000000"), white); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white is %v, want 21", c)
	}
	if c := contrast(rgb(t, "#767676"), white); math.Abs(c-4.54) > 0.005 {
		t.Errorf("#767676 on white is %v, want 4.54", c)
	}
}

// WCAG 2.x, success criterion 1.4.3: 4.5 to 1 for text. What a text stands on
// is looked up in the picture itself: the last rectangle drawn before it that
// holds its place.
func TestEveryTextCanBeReadOnWhatItStandsOn(t *testing.T) {
	seen := map[string]bool{}
	for name, p := range samples() {
		svg, err := SVG(p)
		if err != nil {
			t.Fatal(err)
		}
		textsCanBeRead(t, name, svg, seen)
	}
	textsCanBeRead(t, "spark", Spark([]float64{1, 2}, "x"), seen)
	for i := range 6 {
		if pair := fmt.Sprintf("on%d on cell%d", i, i); !seen[pair] {
			t.Errorf("no sample has %s, so it was not judged", pair)
		}
	}
}

func textsCanBeRead(t *testing.T, name string, svg []byte, seen map[string]bool) {
	t.Helper()
	classes, light, dark, paper := styleOf(t, svg)
	var under []ground
	for _, n := range parsed(t, svg) {
		if c := strings.Fields(n.attr["class"]); len(c) > 0 && (n.name == "rect" || n.name == "path") && classes[c[0]]["fill"] != "none" {
			for _, p := range n.places(t) {
				under = append(under, ground{p, c[0]})
			}
		}
		if n.name != "text" {
			continue
		}
		ground := groundOf(t, under, n.at(t, "x"), n.at(t, "y")-3)
		ink := fillClass(t, classes, n.attr["class"])
		seen[ink+" on "+ground] = true
		for scheme, vars := range map[string]map[string]string{"light": light, "dark": dark, "print": paper} {
			if c := contrast(rgb(t, fillOf(classes, ink, vars)), rgb(t, fillOf(classes, ground, vars))); c < 4.5 {
				t.Errorf("%s, %s: text %q, %s on %s: contrast %.2f, want 4.5", name, scheme, n.text, ink, ground, c)
			}
		}
	}
}

// ground is what something stands on: where, and in which class's colour.
type ground struct {
	place
	class string
}

func groundOf(t *testing.T, under []ground, x, y float64) string {
	t.Helper()
	for i := len(under) - 1; i >= 0; i-- {
		if under[i].holds(x, y) {
			return under[i].class
		}
	}
	t.Fatalf("the text at %v, %v stands on nothing", x, y)
	return ""
}

// fillClass is the one of an element's classes that colours it.
func fillClass(t *testing.T, classes map[string]map[string]string, of string) string {
	t.Helper()
	for _, c := range strings.Fields(of) {
		if classes[c]["fill"] != "" {
			return c
		}
	}
	t.Fatalf("the classes %q have no colour, so a text of theirs is black on black in the dark", of)
	return ""
}

func fillOf(classes map[string]map[string]string, class string, vars map[string]string) string {
	return value(classes[class]["fill"], vars)
}

func value(css string, vars map[string]string) string {
	return vars[strings.TrimSuffix(strings.TrimPrefix(css, "var("), ")")]
}

// quiet are the classes of graphics that may be fainter than 3 to 1, each with
// the reason why nothing hangs on seeing it.
var quiet = map[string]string{
	"paper":  "the ground itself",
	"grid":   "helps the eye along; the axis has its numbers",
	"unseen": "the edge of a cell that has a dash in it, which is text",
	"clear":  "keeps a letter clear of a line",
	"faint":  "makes a band's fill fainter, not its edge",
	"cell0":  "a cell's share is text on it",
	"cell1":  "a cell's share is text on it",
	"cell2":  "a cell's share is text on it",
	"cell3":  "a cell's share is text on it",
	"cell4":  "a cell's share is text on it",
	"cell5":  "a cell's share is text on it",
}

// onOther are graphics that stand on something else than paper, or on that too.
var onOther = map[string][]string{
	"on0": {"cell0"}, "on1": {"cell1"}, "on2": {"cell2"}, "on3": {"cell3"}, "on4": {"cell4"}, "on5": {"cell5"},
	"whisker": {"paper", "bar"},
}

// WCAG 2.2, success criterion 1.4.11: 3 to 1 for what has to be told apart from
// the ground. Every class that an element of any sample has is judged, so that
// one that is added is too.
func TestEveryMarkCanBeSeenOnItsGround(t *testing.T) {
	judged := map[string]bool{}
	pictures := map[string][]byte{"spark": Spark([]float64{1, 2}, "x")}
	for name, p := range samples() {
		svg, err := SVG(p)
		if err != nil {
			t.Fatal(err)
		}
		pictures[name] = svg
	}
	for name, svg := range pictures {
		classes, light, dark, paper := styleOf(t, svg)
		for _, n := range parsed(t, svg) {
			if n.name == "text" || n.name == "svg" {
				continue
			}
			for _, class := range strings.Fields(n.attr["class"]) {
				judged[class] = true
				for scheme, vars := range map[string]map[string]string{"light": light, "dark": dark, "print": paper} {
					marksCanBeSeen(t, name+", "+scheme, class, classes, vars)
				}
			}
		}
	}
	for i := range dashes {
		for _, class := range []string{"line", "band"} {
			if c := fmt.Sprint(class, i); !judged[c] {
				t.Errorf("no sample has %s, so it was not judged", c)
			}
		}
	}
	for _, class := range []string{"bar", "whisker", "axis", "middle", "dot0", "on1", "on5", "cell5", "unseen"} {
		if !judged[class] {
			t.Errorf("no sample has %s, so it was not judged", class)
		}
	}
}

func marksCanBeSeen(t *testing.T, where, class string, classes map[string]map[string]string, vars map[string]string) {
	t.Helper()
	if quiet[class] != "" {
		return
	}
	css := classes[class]["stroke"] // where there is an edge it is what is seen
	if css == "" || css == "none" {
		css = classes[class]["fill"]
	}
	if css == "" {
		return // it sets no colour
	}
	for _, on := range choose(onOther[class] != nil, onOther[class], []string{"paper"}) {
		if c := contrast(rgb(t, value(css, vars)), rgb(t, fillOf(classes, on, vars))); c < 3 {
			t.Errorf("%s: %s on %s: contrast %.2f, want 3", where, class, on, c)
		}
	}
}

func choose[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}

// Letters stand on bands at times, and keep their 4.5 there.
func TestLettersCanBeReadOnBands(t *testing.T) {
	svg, err := SVG(severalCurves())
	if err != nil {
		t.Fatal(err)
	}
	classes, light, dark, paper := styleOf(t, svg)
	for scheme, vars := range map[string]map[string]string{"light": light, "dark": dark, "print": paper} {
		ground := rgb(t, vars["--pic-paper"])
		for i := range dashes {
			band := rgb(t, fillOf(classes, fmt.Sprintf("band%d", i), vars))
			opacity, err := strconv.ParseFloat(classes[fmt.Sprintf("band%d", i)]["fill-opacity"], 64)
			if err != nil {
				t.Fatal(err)
			}
			for k := range band {
				band[k] = opacity*band[k] + (1-opacity)*ground[k]
			}
			if c := contrast(rgb(t, fillOf(classes, "ink", vars)), band); c < 4.5 {
				t.Errorf("%s: ink on band %d: contrast %.2f, want 4.5", scheme, i, c)
			}
		}
	}
}

// Paper is white even where the screen was dark, and dark is not light.
func TestPaperHasTheColoursOfLight(t *testing.T) {
	svg, err := SVG(someBars())
	if err != nil {
		t.Fatal(err)
	}
	_, light, dark, paper := styleOf(t, svg)
	for _, c := range colours {
		name := "--pic-" + c.name
		if light[name] != c.light || paper[name] != c.light || dark[name] != c.dark || c.light == c.dark {
			t.Errorf("%s is %s in light, %s in dark, %s on paper", c.name, light[name], dark[name], paper[name])
		}
	}
}

// A program without custom properties takes the colour before it: the light one.
func TestEveryColourHasAFallback(t *testing.T) {
	for _, m := range rules.FindAllStringSubmatch(Stylesheet(), -1) {
		before, after, ok := strings.Cut(m[2], ":var(--pic-")
		if !ok {
			continue
		}
		name, _, _ := strings.Cut(after, ")")
		for _, c := range colours {
			if c.name == name && !strings.Contains(before, ":"+c.light+";") {
				t.Errorf("class %s has no fallback for %s", m[1], name)
			}
		}
	}
}
