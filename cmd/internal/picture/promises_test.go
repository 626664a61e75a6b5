package picture

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"oldhand/projections"
)

func drawn(t *testing.T, p *projections.Picture) []node {
	t.Helper()
	svg, err := SVG(p)
	if err != nil {
		t.Fatal(err)
	}
	return parsed(t, svg)
}

// SVG 2 and WAI-ARIA 1.2: an image is named by the elements whose ids
// aria-labelledby lists.
func TestAPictureIsNamedByItsTitleAndItsFinding(t *testing.T) {
	for name, p := range samples() {
		nodes := drawn(t, p)
		root := nodes[0]
		if root.name != "svg" || root.attr["role"] != "img" || !strings.HasPrefix(root.attr["viewBox"], "0 0 420.0 ") {
			t.Errorf("%s: the root is %v", name, root)
		}
		ids := map[string]node{}
		for _, n := range nodes {
			if id := n.attr["id"]; id != "" {
				ids[id] = n
			}
		}
		by := strings.Fields(root.attr["aria-labelledby"])
		if len(by) != 2 || ids[by[0]].name != "title" || ids[by[0]].text != p.Title || ids[by[1]].name != "desc" || ids[by[1]].text != p.Desc {
			t.Errorf("%s is labelled by %q, which are %v", name, by, ids)
		}
		if said := strings.Join(strings.Fields(texts(nodes)), " "); !strings.Contains(said, p.Desc) {
			t.Errorf("%s does not show its finding", name)
		}
	}
}

// Two pictures on one page must not name each other's titles.
func TestOtherNumbersHaveOtherIds(t *testing.T) {
	seen := map[string]string{}
	for name, p := range samples() {
		id := drawn(t, p)[0].attr["aria-labelledby"]
		if before, ok := seen[id]; ok {
			t.Errorf("%s and %s have the same ids", name, before)
		}
		seen[id] = name
	}
}

func TestAPictureAsksForNothingAndRunsNothing(t *testing.T) {
	known := map[string]bool{"svg": true, "title": true, "desc": true, "style": true, "text": true, "rect": true, "line": true, "path": true, "g": true, "circle": true}
	for name, p := range samples() {
		for _, n := range drawn(t, p) {
			if !known[n.name] {
				t.Errorf("%s has an element %s", name, n.name)
			}
			for a, v := range n.attr {
				if a == "style" || a == "fill" || a == "stroke" || a == "href" || strings.HasPrefix(a, "on") {
					t.Errorf("%s: a %s has an attribute %s=%q", name, n.name, a, v)
				}
			}
		}
	}
	if css := Stylesheet(); strings.Contains(css, "url(") || strings.Contains(css, "@import") || strings.Contains(css, "<") {
		t.Error("the style asks for a file, or can't stand in XML")
	}
}

var number = regexp.MustCompile(`-?\d+(\.\d+)?`)

func TestPlacesHaveOneDecimalAndLieOnThePicture(t *testing.T) {
	for name, p := range samples() {
		nodes := drawn(t, p)
		_, height, _ := strings.Cut(strings.TrimPrefix(nodes[0].attr["viewBox"], "0 0 "), " ")
		tall, err := strconv.ParseFloat(height, 64)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range nodes {
			for _, a := range []string{"x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "width", "height", "d", "transform"} {
				for _, v := range number.FindAllString(n.attr[a], -1) {
					if a != "transform" && !strings.Contains(v, ".") || strings.HasPrefix(v, "-0.0") || len(v)-strings.IndexByte(v, '.') > 2 && strings.Contains(v, ".") {
						t.Errorf("%s: %s of a %s is %q", name, a, n.name, v)
					}
				}
			}
			onPicture(t, name, n, tall)
		}
	}
}

func onPicture(t *testing.T, name string, n node, tall float64) {
	t.Helper()
	switch n.name {
	case "text":
		x, y, w := n.at(t, "x"), n.at(t, "y"), widthOf(n.text, smallLetters)
		left := map[string]float64{"start": x, "middle": x - w/2, "end": x - w}[n.attr["text-anchor"]]
		right := left + w
		if n.attr["transform"] != "" {
			right = left + w/2 // slanting, by 60 degrees
		}
		if left < 0 || right > wide+0.05 || y < smallLetters/2 || y > tall {
			t.Errorf("%s: the text %q at %v, %v leaves the picture", name, n.text, x, y)
		}
	case "rect":
		if n.at(t, "x") < 0 || n.at(t, "x")+n.at(t, "width") > wide || n.at(t, "y")+n.at(t, "height") > tall || n.at(t, "width") < 0 {
			t.Errorf("%s: the rectangle %v leaves the picture", name, n.attr)
		}
	}
}

// Texts that stand on one line must not touch; slanting ones are checked by
// their distance.
func TestTextsOnOneLineDoNotTouch(t *testing.T) {
	for name, p := range samples() {
		type span struct {
			from, to float64
			text     string
		}
		lines := map[string][]span{}
		for _, n := range only(drawn(t, p), "text") {
			if strings.Contains(n.attr["class"], "clear") {
				continue // letters of curves are moved apart up and down
			}
			x, w := n.at(t, "x"), widthOf(n.text, letters)
			if strings.Contains(n.attr["class"], "small") {
				w = widthOf(n.text, smallLetters)
			}
			if n.attr["transform"] != "" {
				w = 10 // what is left of it on its line
			}
			from := map[string]float64{"start": x, "middle": x - w/2, "end": x - w}[n.attr["text-anchor"]]
			lines[n.attr["y"]] = append(lines[n.attr["y"]], span{from, from + w, n.text})
		}
		for _, line := range lines {
			for i, a := range line {
				for _, b := range line[:i] {
					if a.from < b.to+1 && b.from < a.to+1 {
						t.Errorf("%s: %q (%.1f-%.1f) touches %q (%.1f-%.1f)", name, a.text, a.from, a.to, b.text, b.from, b.to)
					}
				}
			}
		}
	}
}

func TestEveryNumberOfABarIsText(t *testing.T) {
	all := texts(drawn(t, someBars()))
	for _, want := range []string{"11.8", "10.6–13.2", "344", "4.5", "3.9–5.1", "129", "0.17", "0.056–0.40", "5", "0", "0–0.13", "2", "none", "58"} {
		if !hasLine(all, want) {
			t.Errorf("no text says %q in\n%s", want, all)
		}
	}
}

func TestEveryNumberOfARangeIsText(t *testing.T) {
	all := texts(drawn(t, someRanges()))
	for _, want := range []string{"75", "62–88", "14", "92.5", "none", "-0.050", "-1.1 to 0.80", "344", "1.2e+06–4.7e+06", "Audio level, AM, mV", "Channel balance, dB",
		"a kind of a later table", rangeLegend} {
		if !hasLine(all, want) {
			t.Errorf("no text says %q in\n%s", want, all)
		}
	}
}

// A box lies where its scale has it, and a stroke in the middle of it; a row
// without a usual part has no box.
func TestARangeLiesOnTheScaleOfItsKind(t *testing.T) {
	p := someRanges()
	p.Ranges = []projections.PictureRange{
		{Name: "a", Of: "x", Least: 0, Low: 25, Middle: 50, High: 75, Most: 100, Usual: true},
		{Name: "b", Of: "x", Least: 50, Middle: 50, Most: 50},
		{Name: "c", Of: "y", Least: 1000, Low: 1000, Middle: 1100, High: 1100, Most: 1200, Usual: true},
	}
	nodes := drawn(t, p)
	var boxes []node
	for _, n := range only(nodes, "rect") {
		if n.attr["class"] == "bar" {
			boxes = append(boxes, n)
		}
	}
	if len(boxes) != 2 {
		t.Fatalf("%d boxes for two rows that have a usual part", len(boxes))
	}
	full := boxes[0].at(t, "width") * 2
	if from, to := boxes[1].at(t, "x"), boxes[0].at(t, "x")-full/4; math.Abs(from-to) > 0.11 || math.Abs(boxes[1].at(t, "width")-full/2) > 0.11 {
		t.Errorf("the box of another kind begins at %v and is %v wide, want %v and %v", from, boxes[1].at(t, "width"), to, full/2)
	}
	strokes := only(nodes, "path")
	if middle := "M" + num(boxes[0].at(t, "x")+full/4) + " "; !strings.Contains(strokes[0].attr["d"], middle) || !strings.Contains(strokes[1].attr["d"], middle) {
		t.Errorf("the middles are not at %s: %v", middle, strokes)
	}
}

func TestEveryNumberOfATrendIsText(t *testing.T) {
	all := texts(drawn(t, someTrends()))
	for _, row := range someTrends().Trends.Rows {
		for _, v := range row.Values {
			if want := trendFigure(v); !hasLine(all, want) {
				t.Errorf("no text says %q of %q in\n%s", want, row.Name, all)
			}
		}
	}
	for _, want := range []string{"2021", "2025", "2.1", "0.050", "–", "123456"} {
		if !hasLine(all, want) {
			t.Errorf("no text says %q in\n%s", want, all)
		}
	}
}

// Where six years of a large shop's numbers leave nothing for the lines, the first
// years have no numbers, and the lines go through all of them still.
func TestALineIsDrawnBesideLongNumbers(t *testing.T) {
	p := someTrends()
	p.Trends.Columns = nil
	p.Trends.Rows = []projections.PictureTrend{{Name: "days, 90 % done"}}
	for i := range 6 {
		p.Trends.Columns = append(p.Trends.Columns, strconv.Itoa(2021+i))
		p.Trends.Rows[0].Values = append(p.Trends.Rows[0].Values, float64(123451+i))
	}
	nodes := drawn(t, p)
	all := texts(nodes)
	if !hasLine(all, "2026") || !hasLine(all, trendFigure(123456)) {
		t.Errorf("the last year has no number in\n%s", all)
	}
	if hasLine(all, "2021") || hasLine(all, trendFigure(123451)) {
		t.Errorf("the first year has a number in\n%s", all)
	}
	if lines := only(nodes, "path"); len(lines) != 1 || strings.Count(lines[0].attr["d"], "L") != 5 {
		t.Errorf("the lines are %v, want one through six years", lines)
	}
}

// A value that is not known is a gap: nothing joins its neighbours.
func TestALineHasAGapWhereNothingIsKnown(t *testing.T) {
	p := someTrends()
	p.Trends.Rows = p.Trends.Rows[1:2]
	lines := only(drawn(t, p), "path")
	if len(lines) != 1 || strings.Count(lines[0].attr["d"], "M") != 2 {
		t.Errorf("the lines are %v, want one in two pieces", lines)
	}
}

func TestEveryNumberOfAGridIsText(t *testing.T) {
	p := wideGrid(60, "%d")
	nodes := drawn(t, p)
	got := map[string]int{}
	for _, n := range only(nodes, "text") {
		if strings.HasPrefix(n.attr["class"], "on") {
			got[n.text]++
		}
	}
	want := map[string]int{}
	for _, row := range p.Heat.Cells {
		for _, c := range row {
			want[fmt.Sprintf("%.0f", c.Share*100)]++
		}
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("cells say %v, want %v", got, want)
	}
	all := texts(nodes)
	for j, name := range p.Heat.Columns {
		if name != unknownName && (!hasLine(all, name) || !hasLine(all, strconv.Itoa(10+j))) {
			t.Errorf("column %s of %d units is not named or not counted", name, 10+j)
		}
	}
	if !strings.Contains(all, "\nnot\nknown\n") {
		t.Error("the column of units whose year is not known is not named")
	}
}

func TestEveryCurveSaysItsCountAndItsMedian(t *testing.T) {
	all := texts(drawn(t, severalCurves()))
	for _, want := range []string{"11 watched, median 31", "4 watched, median 25", "10 watched, median not reached", "1 watched, median 20"} {
		if !hasLine(all, want) {
			t.Errorf("no text says %q in\n%s", want, all)
		}
	}
}

// A finding must not hang on seeing a colour: a cell that stands out has a
// shape, a curve dashes and a letter.
func TestNothingIsToldByColourAlone(t *testing.T) {
	marks, cells := 0, 0
	for _, n := range drawn(t, someGrid()) {
		if n.in == "g" && n.name == "path" {
			marks++
		}
		if c := n.attr["class"]; n.name == "path" && (strings.HasPrefix(c, "cell") || c == "unseen") {
			cells += len(n.places(t))
		}
	}
	if marks != 2 || cells != 12 {
		t.Errorf("%d marks on %d cells, want 2 on 12", marks, cells)
	}
	dashed := map[string]bool{}
	for _, n := range only(drawn(t, severalCurves()), "path") {
		if c := n.attr["class"]; strings.HasPrefix(c, "line") {
			dashed[strings.Fields(c)[1]] = true
		}
	}
	if len(dashed) != 4 {
		t.Errorf("four curves are drawn with %d kinds of dashes", len(dashed))
	}
	all := texts(drawn(t, severalCurves()))
	for _, l := range []string{"A", "B", "C", "D"} {
		if strings.Count("\n"+all, "\n"+l+"\n") != 3 {
			t.Errorf("letter %s does not stand in the legend, at its curve and at its counts", l)
		}
	}
}

func TestTheColumnOfWhatIsNotKnownStandsLastAndApart(t *testing.T) {
	at := map[string]float64{}
	for _, n := range only(drawn(t, someGrid()), "text") {
		at[n.text] = n.at(t, "x")
	}
	step := at["1955"] - at["1954"]
	if apart := at["known"] - at["1956"]; apart < step+unknownGap || math.Abs(at["1956"]-at["1955"]-step) > 0.11 {
		t.Errorf("columns stand %.1f apart, the one not known %.1f", step, apart)
	}
}

func TestALongNameIsCutAndKeptWhole(t *testing.T) {
	nodes := drawn(t, someBars())
	whole := "Ostrel-Varnholt-Quillane-Tessaly"
	for i, n := range nodes {
		if n.name == "title" && n.in == "text" && n.text == whole {
			if cut := nodes[i-1].text; !strings.HasSuffix(cut, ellipsis) || !strings.HasPrefix(whole, strings.TrimSuffix(cut, ellipsis)) || len(cut) < 10 {
				t.Errorf("it is cut to %q", cut)
			}
			return
		}
	}
	t.Error("the whole name is nowhere")
}
