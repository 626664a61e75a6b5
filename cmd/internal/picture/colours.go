package picture

import (
	"fmt"
	"strings"
)

// colour is one colour in light and in dark. That every text can be read on
// what it stands on, in both, is a test's business.
type colour struct{ name, light, dark string }

var colours = []colour{
	{"paper", "#ffffff", "#14171a"},
	{"ink", "#1b2026", "#e9ecef"},
	{"soft", "#535b65", "#adb5bd"},
	{"grid", "#dde1e6", "#343b42"},
	{"bar", "#4f8fc6", "#35709f"},
	// Lines of curves.
	{"line0", "#0b5fa5", "#6cb6f5"},
	{"line1", "#b3430a", "#f59a5c"},
	{"line2", "#1f7a3d", "#6fcf8e"},
	{"line3", "#7a3aa8", "#c99bee"},
	{"line4", "#806000", "#dcb44a"},
	{"line5", "#a3195b", "#f286b7"},
	// Cells of a grid, from nothing to much, and the text on each.
	{"cell0", "#f3f5f7", "#1d2227"},
	{"cell1", "#dceaf7", "#1c344b"},
	{"cell2", "#b4d3ee", "#21496e"},
	{"cell3", "#7fb2df", "#2b6499"},
	{"cell4", "#2a6cab", "#82b9ea"},
	{"cell5", "#113b69", "#cbe3fa"},
	{"on0", "#535b65", "#adb5bd"},
	{"on1", "#14283c", "#eaf2fa"},
	{"on2", "#14283c", "#f2f7fc"},
	{"on3", "#0d1d2e", "#ffffff"},
	{"on4", "#ffffff", "#0b1a29"},
	{"on5", "#ffffff", "#0b1a29"},
}

// dashes tell curves apart where colour does not: on paper, and for one man in
// twelve. The first is drawn through.
var dashes = []string{"none", "7 3", "2 2.5", "10 3 2 3", "5 2 1.5 2 1.5 2", "15 4"}

// Stylesheet is the style of every picture. SVG puts it inside; a page that
// allows no style but its own has to carry it itself.
func Stylesheet() string {
	var b strings.Builder
	light, dark := variables(func(c colour) string { return c.light }), variables(func(c colour) string { return c.dark })
	b.WriteString("svg.pic{color-scheme:light dark;display:block;font:12px system-ui,\"Segoe UI\",Roboto,\"Helvetica Neue\",Arial,sans-serif;" + light + "}\n")
	b.WriteString("@media (prefers-color-scheme: dark){svg.pic{" + dark + "}}\n")
	b.WriteString("svg.pic:not(.part){width:100%;max-width:608px;height:auto}\nsvg.pic.part{flex:none}\n")
	b.WriteString("svg.pic.spark{max-width:120px}\n")
	// Paper is white, whatever the screen was. It comes last to win.
	b.WriteString("@media print{svg.pic{color-scheme:light;print-color-adjust:exact;break-inside:avoid;" + light + "}}\n")
	b.WriteString(".pic .big{font-size:15px;font-weight:600}\n.pic .small{font-size:10.5px}\n.pic .strong{font-weight:600}\n")
	for _, c := range colours {
		switch {
		case strings.HasPrefix(c.name, "line"):
			lineRules(&b, c)
		case c.name == "grid":
			rule(&b, ".grid", "stroke", c, "stroke-width:1")
		default:
			rule(&b, "."+c.name, "fill", c, "")
		}
	}
	ruled(&b)
	return b.String()
}

func variables(of func(colour) string) string {
	var list []string
	for _, c := range colours {
		list = append(list, "--pic-"+c.name+":"+of(c))
	}
	return strings.Join(list, ";")
}

// rule sets a colour twice: programs that draw SVG but know no custom
// properties skip the second and show the light picture.
func rule(b *strings.Builder, class, property string, c colour, more string) {
	fmt.Fprintf(b, ".pic %s{%s:%s;%s:var(--pic-%s)", class, property, c.light, property, c.name)
	if more != "" {
		b.WriteString(";" + more)
	}
	b.WriteString("}\n")
}

// lineRules are a curve's line and its band.
func lineRules(b *strings.Builder, c colour) {
	rule(b, "."+c.name, "stroke", c, "fill:none;stroke-width:2;stroke-linejoin:round")
	rule(b, ".dot"+strings.TrimPrefix(c.name, "line"), "fill", c, "")
	// A band is faint, so that what lies on it can be read; its edge is not.
	fmt.Fprintf(b, ".pic .band%[1]s{fill:%[2]s;fill:var(--pic-%[3]s);fill-opacity:.13;stroke:%[2]s;stroke:var(--pic-%[3]s);stroke-width:.7}\n",
		strings.TrimPrefix(c.name, "line"), c.light, c.name)
}

// ruled are the lines that are neither curve nor grid: axes, whiskers, medians,
// the edge of an empty cell, and the edge that keeps a letter clear of a line.
func ruled(b *strings.Builder) {
	by := map[string]colour{}
	for _, c := range colours {
		by[c.name] = c
	}
	rule(b, ".axis", "stroke", by["soft"], "stroke-width:1;fill:none")
	rule(b, ".whisker", "stroke", by["ink"], "stroke-width:1.4;fill:none")
	rule(b, ".middle", "stroke", by["ink"], "stroke-width:1;stroke-dasharray:1.5 2.5;fill:none")
	rule(b, ".unseen", "stroke", by["grid"], "stroke-width:1;stroke-dasharray:2 2;fill:none")
	rule(b, ".clear", "stroke", by["paper"], "stroke-width:4;stroke-linejoin:round;paint-order:stroke")
	b.WriteString(".pic .faint{fill-opacity:.07}\n")
	for i, d := range dashes {
		fmt.Fprintf(b, ".pic .dash%d{stroke-dasharray:%s}\n", i, d)
	}
}
