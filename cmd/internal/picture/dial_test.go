package picture

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// oddDial has every mark, a line, and two bands.
func oddDial() Dial {
	return Dial{Title: "Dial readings", Desc: "AM: off by other amounts at the two ends: that is tracking.", Panels: []DialPanel{
		{Name: "AM", Unit: "kHz", PerUnit: 1, First: 540, Last: 1600, Readable: 2, Line: &DialTrend{600, 1400, -0.5, 11.5},
			Points: []DialPoint{{600, 0, DialKnown}, {1000, 4, DialGuess}, {1400, 12, DialKnown}, {730, 5, DialHalfway}, {740, -5, DialHalfway}}},
		{Name: "FM", Unit: "MHz", PerUnit: 1000, First: 87900, Last: 107900, Readable: 50,
			Points: []DialPoint{{94700, -80, DialGuess}}},
	}}
}

func dialDrawn(t *testing.T, d Dial) []byte {
	t.Helper()
	svg, err := DialSVG(d)
	if err != nil {
		t.Fatal(err)
	}
	return svg
}

func TestADialIsDrawnAsKept(t *testing.T) { compareKept(t, "dial", dialDrawn(t, oddDial())) }

func TestADialKeepsThePromisesOfEveryPicture(t *testing.T) {
	svg := dialDrawn(t, oddDial())
	nodes := parsed(t, svg)
	if again := dialDrawn(t, oddDial()); string(again) != string(svg) {
		t.Error("other bytes the second time")
	}
	_, height, _ := strings.Cut(strings.TrimPrefix(nodes[0].attr["viewBox"], "0 0 "), " ")
	tall, err := strconv.ParseFloat(height, 64)
	if err != nil {
		t.Fatal(err)
	}
	classes, light, dark, paper := styleOf(t, svg)
	for _, n := range nodes {
		onPicture(t, "dial", n, tall)
		if n.name == "text" || n.name == "svg" {
			continue
		}
		for _, class := range strings.Fields(n.attr["class"]) {
			for scheme, vars := range map[string]map[string]string{"light": light, "dark": dark, "print": paper} {
				marksCanBeSeen(t, scheme, class, classes, vars)
			}
		}
	}
	textsCanBeRead(t, "dial", svg, map[string]bool{})
	said := texts(nodes)
	for _, want := range []string{"Dial readings", "nearest channel, a guess", "the station is known", "halfway between two, either of them", "600", "95", "-10"} {
		if !hasLine(said, want) {
			t.Errorf("no text says %q in\n%s", want, said)
		}
	}
}

// A reading that is 12 kHz high lies three times as far above the middle as one
// that is 4 kHz high, and the station twice as far up the band as far to the right.
func TestAReadingLiesWhereItsNumbersSay(t *testing.T) {
	d := oddDial()
	d.Panels = d.Panels[:1]
	d.Panels[0].Points = []DialPoint{{540, 0, DialKnown}, {1000, 4, DialKnown}, {1460, 12, DialKnown}}
	var x, y []float64
	for _, n := range only(parsed(t, dialDrawn(t, d)), "circle") {
		x, y = append(x, n.at(t, "cx")), append(y, n.at(t, "cy"))
	}
	if len(x) != 4 { // one stands in the legend
		t.Fatalf("%d dots", len(x))
	}
	if y[2] >= y[1] {
		t.Error("what reads high lies low")
	}
	if up := (y[0] - y[2]) / (y[0] - y[1]); math.Abs(up-3) > 0.05 {
		t.Errorf("12 kHz lies %.2f times as high as 4", up)
	}
	if right := (x[2] - x[0]) / (x[1] - x[0]); math.Abs(right-2) > 0.01 {
		t.Errorf("920 kHz further lies %.2f times as far as 460", right)
	}
}

func TestADialThatCannotBeDrawnIsRefused(t *testing.T) {
	for want, change := range map[string]func(*Dial){
		"no numbers to draw": func(d *Dial) { d.Panels = nil },
		"has no readings":    func(d *Dial) { d.Panels[0].Points = nil },
		"beyond the dial":    func(d *Dial) { d.Panels[0].Points[0].Error = math.NaN() },
		"5000 kHz":           func(d *Dial) { d.Panels[0].Points[0].Station = 5000 },
		"its line":           func(d *Dial) { d.Panels[0].Line.AtLow = math.Inf(1) },
		"is none":            func(d *Dial) { d.Panels[1].Last = 0 },
	} {
		d := oddDial()
		change(&d)
		if svg, err := DialSVG(d); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %s: %v, %d bytes", want, err, len(svg))
		}
	}
}
