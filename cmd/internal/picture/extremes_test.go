package picture

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"oldhand/projections"

	"pgregory.net/rapid"
)

func TestNothingToDrawIsAnError(t *testing.T) {
	step := []projections.CurveStep{{1, 0.5, -1, -1}}
	bars := []projections.PictureBar{{Name: "Ostrel 4", Value: 1}}
	grid := func(change func(*projections.PictureHeat)) *projections.Picture {
		p := someGrid()
		change(p.Heat)
		return p
	}
	trends := func(change func(*projections.PictureTrends)) *projections.Picture {
		p := someTrends()
		change(p.Trends)
		return p
	}
	ranges := func(change func(*projections.PictureRange)) *projections.Picture {
		p := someRanges()
		change(&p.Ranges[0])
		return p
	}
	for _, c := range []struct {
		p    *projections.Picture
		want string
	}{
		{nil, "there are no numbers"},
		{&projections.Picture{Title: "Parts"}, `draw "Parts": it has no curves`},
		{&projections.Picture{Title: "Parts", Bars: bars, Curves: []projections.PictureCurve{{Steps: step}}}, "more than one"},
		{&projections.Picture{Curves: []projections.PictureCurve{{Name: "all"}}}, `curve "all": it has no steps`},
		{&projections.Picture{Curves: []projections.PictureCurve{{Steps: []projections.CurveStep{{2, 1, -1, -1}, {1, 1, -1, -1}}, End: 2}}}, "a step at 1 comes after one at 2"},
		{&projections.Picture{Curves: []projections.PictureCurve{{Watched: []projections.PictureWatched{{Day: 2}, {Day: 1}}}}}, "up to day 1 come after those up to day 2"},
		{&projections.Picture{Curves: []projections.PictureCurve{{Steps: []projections.CurveStep{{2, 1.5, -1, -1}}}}}, "height of 1.5"},
		{&projections.Picture{Curves: []projections.PictureCurve{{Steps: []projections.CurveStep{{math.NaN(), 0, -1, -1}}}}}, "no number"},
		{&projections.Picture{Curves: []projections.PictureCurve{{Steps: step, End: 1e9}}}, "too far"},
		{&projections.Picture{Bars: []projections.PictureBar{{Name: "Ostrel 4", Value: math.Inf(1)}}}, `bar "Ostrel 4" is no number`},
		{&projections.Picture{Bars: []projections.PictureBar{{Name: "Ostrel 4", Value: -1}}}, "below zero"},
		{&projections.Picture{Bars: []projections.PictureBar{{Name: "Ostrel 4", Value: 1e9}}}, "too large"},
		{grid(func(h *projections.PictureHeat) { h.Rows = h.Rows[:2] }), "2 rows and cells for 3"},
		{grid(func(h *projections.PictureHeat) { h.Columns = h.Columns[:2] }), `row "filter capacitor leaky" of its grid has 4 cells for 2`},
		{grid(func(h *projections.PictureHeat) { h.Columns, h.Rows = nil, nil }), "0 columns and 0 rows"},
		{grid(func(h *projections.PictureHeat) { h.Cells[1][2].Share = math.NaN() }), `"output transistor shorted", "1955"`},
		{trends(func(t *projections.PictureTrends) { t.Columns = nil }), "no columns or no rows"},
		{trends(func(t *projections.PictureTrends) { t.Columns = t.Columns[:2] }), `trend "received" has 5 values for 2 columns`},
		{trends(func(t *projections.PictureTrends) { t.Rows[0].Values[1] = 1e9 }), `trend "received" is too large`},
		{trends(func(t *projections.PictureTrends) {
			t.Columns = []string{strings.Repeat("x", 300)}
			t.Rows = []projections.PictureTrend{{Name: "received", Values: []float64{1}}}
		}), "is too wide to draw"},
		{ranges(func(r *projections.PictureRange) { r.Most = math.Inf(1) }), `range "Ostrel R-950, AM" is no number`},
		{ranges(func(r *projections.PictureRange) { r.Low = math.NaN() }), `range "Ostrel R-950, AM" is no number`},
		{ranges(func(r *projections.PictureRange) { r.Least = -1e16 }), `range "Ostrel R-950, AM" is too large`},
		{ranges(func(r *projections.PictureRange) { r.High = 60 }), `range "Ostrel R-950, AM" does not rise`},
	} {
		svg, err := SVG(c.p)
		if err == nil || !strings.Contains(err.Error(), c.want) || svg != nil {
			t.Errorf("got error %v, want %q", err, c.want)
		}
	}
}

// awkward are names that would break out of a text, an attribute or a style.
var awkward = []string{`<&">'`, `</text><script>alert(1)</script>`, "]]>", "📻 🔧", "👩🏽‍🔧👩🏽‍🔧👩🏽‍🔧👩🏽‍🔧👩🏽‍🔧👩🏽‍🔧👩🏽‍🔧👩🏽‍🔧👩🏽‍🔧", "真空管収音機真空管収音機真空管", "a\x00b\nc", "", strings.Repeat("x", 300)}

func TestAwkwardNamesStayText(t *testing.T) {
	for _, name := range awkward {
		for kind, p := range samples() {
			p.Title, p.Desc, p.AxisX, p.AxisY = name, name, name, name
			for i := range p.Curves {
				p.Curves[i].Name = name
			}
			for i := range p.Bars {
				p.Bars[i].Name, p.Bars[i].Text = name, name
			}
			if p.Heat != nil {
				p.Heat.Columns[0], p.Heat.Rows[0] = name, name
			}
			for i := range p.Ranges {
				p.Ranges[i].Name, p.Ranges[i].Of, p.Ranges[i].In, p.Ranges[i].Text = name, name, name, name
			}
			nodes := drawn(t, p)
			if len(only(nodes, "script")) > 0 {
				t.Errorf("%s: a name became an element", kind)
			}
			if want := strings.ReplaceAll(name, "\x00", "\ufffd"); only(nodes, "desc")[0].text != want {
				t.Errorf("%s: the finding reads %q, want %q", kind, only(nodes, "desc")[0].text, want)
			}
		}
	}
}

func TestOneValueIsDrawn(t *testing.T) {
	for _, y := range []float64{0, 1} {
		drawn(t, &projections.Picture{Title: "one", Curves: []projections.PictureCurve{{Name: "all", Steps: []projections.CurveStep{{0, y, -1, -1}}, Watched: []projections.PictureWatched{{Left: 1}}}}})
		drawn(t, &projections.Picture{Title: "one", Bars: []projections.PictureBar{{Name: "Ostrel 4", Value: y, Text: "1"}}})
		heat := &projections.PictureHeat{Columns: []string{unknownName}, Rows: []string{"lamp open"}, Cells: [][]projections.PictureCell{{{Share: y, Of: 1}}}}
		drawn(t, &projections.Picture{Title: "one", Heat: heat})
	}
}

func TestTwoHundredBarsEachHaveTheirRow(t *testing.T) {
	p := someBars()
	p.Bars = nil
	for i := range 200 {
		p.Bars = append(p.Bars, projections.PictureBar{Name: fmt.Sprintf("Quillane %03d", i), Value: float64(i), Lo: float64(i) / 2, Hi: float64(i) + 1, Text: "9"})
	}
	at := map[float64]bool{}
	for _, n := range only(drawn(t, p), "text") {
		if strings.HasPrefix(n.text, "Quillane ") {
			at[n.at(t, "y")] = true
		}
	}
	if len(at) != 200 {
		t.Errorf("200 bars have %d rows", len(at))
	}
}

func TestColumnsThatDoNotFitGoOnBelow(t *testing.T) {
	panels := map[float64]int{}
	for _, n := range only(drawn(t, wideGrid(60, "%d")), "text") {
		if len(n.text) == 4 && strings.HasPrefix(n.text, "19") {
			panels[n.at(t, "y")]++
		}
	}
	for y, n := range panels {
		if n > 10 || n < 5 {
			t.Errorf("the panel at %v has %d columns", y, n)
		}
	}
	if len(panels) < 6 {
		t.Errorf("60 columns in %d panels", len(panels))
	}
}

func TestAnyPictureIsWellFormedOrRefused(t *testing.T) {
	name := rapid.OneOf(rapid.String(), rapid.SampledFrom(awkward))
	share := rapid.Float64Range(-0.1, 1.1)
	rapid.Check(t, func(t *rapid.T) {
		p := &projections.Picture{Title: name.Draw(t, "title"), Desc: name.Draw(t, "desc"), AxisX: name.Draw(t, "x"), AxisY: name.Draw(t, "y")}
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			for range rapid.IntRange(1, 30).Draw(t, "curves") {
				c := projections.PictureCurve{Name: name.Draw(t, "name"), End: rapid.Float64Range(-1, 1e5).Draw(t, "end")}
				x := 0.0
				for range rapid.IntRange(0, 6).Draw(t, "steps") {
					x += rapid.Float64Range(0, 1e4).Draw(t, "step")
					y := share.Draw(t, "height")
					step := projections.CurveStep{x, y, -1, -1}
					if rapid.Bool().Draw(t, "band") {
						step[2], step[3] = y/2, y
					}
					c.Steps = append(c.Steps, step)
					c.Watched = append(c.Watched, projections.PictureWatched{Day: int32(x), Left: rapid.Int32Range(0, 9999).Draw(t, "n")})
				}
				p.Curves = append(p.Curves, c)
			}
		case 1:
			for range rapid.IntRange(1, 30).Draw(t, "bars") {
				v := rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 1e7), rapid.Float64Range(0, 1)).Draw(t, "value")
				p.Bars = append(p.Bars, projections.PictureBar{Name: name.Draw(t, "name"), Value: v, Lo: v / 2, Hi: v * 2, Text: name.Draw(t, "count")})
			}
		case 3:
			for range rapid.IntRange(1, 30).Draw(t, "ranges") {
				v := rapid.SliceOfN(rapid.OneOf(rapid.Float64(), rapid.Float64Range(-1e3, 1e3), rapid.Just(5.0)), 5, 5).Draw(t, "values")
				slices.Sort(v)
				p.Ranges = append(p.Ranges, projections.PictureRange{Name: name.Draw(t, "name"), Of: rapid.SampledFrom([]string{"x", "y", ""}).Draw(t, "of"), In: name.Draw(t, "in"),
					Least: v[0], Low: v[1], Middle: v[2], High: v[3], Most: v[4], Usual: rapid.Bool().Draw(t, "usual"), Text: name.Draw(t, "count")})
			}
		case 2:
			p.Heat = &projections.PictureHeat{Columns: rapid.SliceOfN(name, 0, 30).Draw(t, "columns"), Rows: rapid.SliceOfN(name, 0, 5).Draw(t, "rows")}
			for range p.Heat.Rows {
				row := make([]projections.PictureCell, len(p.Heat.Columns))
				for j := range row {
					row[j] = projections.PictureCell{Share: max(0, share.Draw(t, "share")), Of: rapid.IntRange(0, 99).Draw(t, "of"), Flagged: rapid.Bool().Draw(t, "flagged")}
				}
				p.Heat.Cells = append(p.Heat.Cells, row)
			}
		}
		svg, err := SVG(p)
		if err != nil {
			return
		}
		for _, n := range parsed(t, svg) {
			for a, v := range n.attr {
				if a != "class" && strings.Contains(v, "NaN") || strings.Contains(v, "Inf") {
					t.Fatalf("%s of a %s is %q", a, n.name, v)
				}
			}
		}
	})
}

func TestASparkSaysItsValues(t *testing.T) {
	for _, c := range []struct {
		values     []float64
		desc, text string
	}{
		{nil, "no values", "no values\n"},
		{[]float64{math.NaN()}, "no values", "no values\n"},
		{[]float64{7}, "one value: 7", "7\n"},
		{[]float64{0, 0, 0}, "3 values, from first to last: 0, 0, 0", "0\n"},
		{[]float64{3, math.NaN(), 2.25}, "3 values, from first to last: 3, not known, 2.2", "2.2\n"},
		{[]float64{math.Inf(1), 5}, "2 values, from first to last: not known, 5", "5\n"},
	} {
		nodes := parsed(t, Spark(c.values, `hum & <noise>`))
		if got := only(nodes, "desc")[0].text; got != c.desc {
			t.Errorf("%v: desc %q, want %q", c.values, got, c.desc)
		}
		if got := texts(nodes); got != c.text {
			t.Errorf("%v: text %q, want %q", c.values, got, c.text)
		}
		if got := only(nodes, "title")[0].text; got != "hum & <noise>" {
			t.Errorf("title %q", got)
		}
	}
}
