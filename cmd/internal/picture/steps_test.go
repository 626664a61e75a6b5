package picture

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"oldhand/projections"
	"oldhand/projections/stats"

	"pgregory.net/rapid"
)

var across = regexp.MustCompile(`[MH](-?[\d.]+)`)

// farthest is the rightmost place of a path.
func farthest(t *testing.T, d string) (x float64) {
	t.Helper()
	for _, m := range across.FindAllStringSubmatch(d, -1) {
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		x = max(x, v)
	}
	return x
}

func TestNothingIsDrawnPastACurvesEnd(t *testing.T) {
	step := func(x, y float64) projections.CurveStep {
		return projections.CurveStep{x, y, y - 0.1, y + 0.1}
	}
	watched := []projections.PictureWatched{{Day: 10, Left: 9}, {Day: 40, Left: 9}, {Day: 60, Left: 9}, {Day: 100, Left: 9}}
	p := &projections.Picture{Title: "ends", Curves: []projections.PictureCurve{
		{Name: "short", Steps: []projections.CurveStep{step(10, 0.8), step(40, 0.7), step(60, 0.2)}, Watched: watched, End: 50},
		{Name: "long", Steps: []projections.CurveStep{step(10, 0.9), step(100, 0.6)}, Watched: watched, End: 100},
	}}
	want := plotLeft + (plotRight-plotLeft)/2 // 50 of 100
	for _, n := range only(drawn(t, p), "path") {
		if c := n.attr["class"]; strings.HasPrefix(c, "line0") || strings.HasPrefix(c, "band0") {
			if got := farthest(t, n.attr["d"]); math.Abs(got-want) > 0.06 {
				t.Errorf("%s goes to %v, want %v", c, got, want)
			}
		}
	}
	if all := texts(drawn(t, p)); !strings.Contains(all, "9 watched, median not reached") {
		t.Errorf("a step past the end counts for the median:\n%s", all)
	}
}

// The worked example above samples: its heights, put through the scale.
func TestTheWorkedExampleIsDrawnAtItsHeights(t *testing.T) {
	var line string
	for _, n := range only(drawn(t, oneCurve()), "path") {
		if strings.HasPrefix(n.attr["class"], "line0") {
			line = n.attr["d"]
		}
	}
	var heights []float64
	for _, m := range regexp.MustCompile(`[MV][\d. ]+`).FindAllString(line, -1) {
		f := strings.Fields(strings.TrimLeft(m, "MV"))
		v, err := strconv.ParseFloat(f[len(f)-1], 64)
		if err != nil {
			t.Fatal(err)
		}
		heights = append(heights, v)
	}
	want := []float64{1, 0.9091, 0.8182, 0.7159, 0.6136, 0.4909, 0.3682, 0.1841}
	if len(heights) != len(want) {
		t.Fatalf("%d heights in %s, want %d", len(heights), line, len(want))
	}
	for i, s := range want {
		if got := 1 - (heights[i]-heights[0])/plotHeight; math.Abs(got-s) > 0.0005 {
			t.Errorf("height %d is %.4f, want %.4f", i, got, s)
		}
	}
}

func TestTheMedianIsThatOfTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		counts := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) stats.DayCount {
			return stats.DayCount{Day: rapid.IntRange(0, 30).Draw(t, "day"), Events: rapid.IntRange(0, 3).Draw(t, "events"), Censored: rapid.IntRange(1, 2).Draw(t, "censored") - 1}
		}), 1, 8, func(c stats.DayCount) int { return c.Day }).Draw(t, "counts")
		curve, err := stats.KaplanMeier(counts)
		if err != nil || len(curve.Steps()) == 0 {
			return
		}
		want, err := curve.Quantile(0.5, stats.Level{})
		if err != nil {
			t.Fatal(err)
		}
		got, ok := median(curveOf("any", counts))
		if ok != want.Estimate.Reached || ok && got != want.Estimate.Day {
			t.Fatalf("median %v %v, the answer says %+v", got, ok, want.Estimate)
		}
	})
}

// A few that were watched for very long must not press the rest to the edge;
// but where they are a fair share, they are the finding.
func TestALongTailOfAFewIsLeftOutAndSaid(t *testing.T) {
	var counts []stats.DayCount
	for d := 1; d <= 50; d++ {
		counts = append(counts, stats.DayCount{Day: d, Events: 10})
	}
	p := oneCurve()
	p.Curves[0] = curveOf("all", append(counts, stats.DayCount{Day: 900, Events: 1}))
	if all := texts(drawn(t, p)); !hasLine(all, "days since received (the last few go on to 900)") {
		t.Errorf("not said in\n%s", all)
	}
	p.Curves[0] = curveOf("all", append(counts[:50:50], stats.DayCount{Day: 900, Events: 10}))
	if all := texts(drawn(t, p)); !hasLine(all, "days since received") || !hasLine(all, "800") {
		t.Errorf("ten of 510 are left out in\n%s", all)
	}
}

func TestAnAxisThatDoesNotBeginAtZeroSaysSo(t *testing.T) {
	if all := texts(drawn(t, highCurve())); !strings.Contains(all, "(the axis begins at ") {
		t.Errorf("not said in\n%s", all)
	}
	if all := texts(drawn(t, oneCurve())); strings.Contains(all, "axis begins") || !hasLine(all, "0 %") {
		t.Errorf("said of an axis from zero in\n%s", all)
	}
}
