package web

import (
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"oldhand/cmd/internal/picture"
)

// The page's own colours, text and what has to be told apart, on each ground that
// they stand on. axe looks at what a page happens to show; this looks at all.
var (
	texts = map[string][]string{
		"ink": {"ground", "panel", "tint"}, "soft": {"ground", "panel", "tint"}, "accent": {"ground", "panel", "tint"},
		"on-accent": {"accent"}, "warn": {"warn-ground"}, "bad": {"bad-ground", "ground", "panel"},
	}
	marks = map[string][]string{
		"focus": {"ground", "panel"}, "accent": {"ground", "panel"}, "strong": {"ground", "panel"},
	}
)

// WCAG 2.2, 1.4.3 and 1.4.11: 4.5 to 1 for text, 3 to 1 for the edges of controls,
// the focus and marks; in light, in dark and on paper.
func TestThePagesColoursCanBeReadAndSeen(t *testing.T) {
	css, err := fs.ReadFile(files, "static/page.css")
	if err != nil {
		t.Fatal(err)
	}
	light := properties(t, string(css), `^:root \{`)
	dark, paper := overlaid(light, properties(t, string(css), `@media \(prefers-color-scheme: dark\) \{\s*:root \{`)), overlaid(light, properties(t, string(css), `@media print \{\s*:root \{`))
	if len(light) < 12 || len(properties(t, string(css), `@media \(prefers-color-scheme: dark\) \{\s*:root \{`)) < 12 {
		t.Fatalf("only %d colours were found", len(light))
	}
	for scheme, colours := range map[string]map[string]string{"light": light, "dark": dark, "print": paper} {
		for least, pairs := range map[float64]map[string][]string{4.5: texts, 3: marks} {
			for over, grounds := range pairs {
				for _, ground := range grounds {
					if c := contrastOf(t, colours[over], colours[ground]); c < least {
						t.Errorf("%s: %s on %s: contrast %.2f, want %.1f", scheme, over, ground, c, least)
					}
				}
			}
		}
	}
}

// Pictures bring their colours along: the page's sheet must not reach into them.
func TestThePagesSheetDoesNotColourPictures(t *testing.T) {
	css, err := fs.ReadFile(files, "static/page.css")
	if err != nil {
		t.Fatal(err)
	}
	if bad := regexp.MustCompile(`(?m)(\bsvg\b|\.pic\b|--pic-|\b(fill|stroke)\s*:)`).Find(css); bad != nil {
		t.Errorf("page.css says %q", bad)
	}
	l, err := newLook()
	if err != nil {
		t.Fatal(err)
	}
	if sheet := string(l.files[l.names["page.css"]].body); !strings.HasSuffix(sheet, picture.Stylesheet()) {
		t.Error("the page's sheet does not end with that of the pictures")
	}
}

func overlaid(under, over map[string]string) map[string]string {
	all := map[string]string{}
	for _, m := range []map[string]string{under, over} {
		for k, v := range m {
			all[k] = v
		}
	}
	return all
}

// properties are the colours that a block of the sheet sets.
func properties(t *testing.T, css, begin string) map[string]string {
	t.Helper()
	at := regexp.MustCompile(`(?m)` + begin).FindStringIndex(css)
	if at == nil {
		t.Fatalf("no block begins with %s", begin)
	}
	block, _, _ := strings.Cut(css[at[1]:], "}")
	found := map[string]string{}
	for _, m := range regexp.MustCompile(`--([\w-]+):\s*(#[0-9a-f]{6})`).FindAllStringSubmatch(block, -1) {
		found[m[1]] = m[2]
	}
	return found
}

// contrastOf is the contrast ratio of WCAG 2.2 (its glossary), of sRGB colours.
func contrastOf(t *testing.T, a, b string) float64 {
	t.Helper()
	luminance := func(hex string) (l float64) {
		if len(hex) != 7 {
			t.Fatalf("%q is no colour", hex)
		}
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			n, err := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			v := float64(n) / 255
			if v <= 0.04045 {
				v /= 12.92
			} else {
				v = math.Pow((v+0.055)/1.055, 2.4)
			}
			l += weight * v
		}
		return l
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}
