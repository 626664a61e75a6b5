package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
)

// A gauge is well formed, says in words what it shows, and has each sign where the
// number lies: 120 wide, of which 8 to 114 are the scale.
func TestAGaugeShowsEachReadingInItsPlace(t *testing.T) {
	svg := DrawGauge(Gauge{Found: 0.25, Left: 0.5, From: 0.4, To: 0.75, Zero: true}, "AM <x>", GaugeDesc("12 mV", "95 mV", "80 to 120 mV"))
	dec := xml.NewDecoder(bytes.NewReader(svg))
	circles, rects := map[string]string{}, ""
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		attr := map[string]string{}
		for _, a := range e.Attr {
			attr[a.Name.Local] = a.Value
		}
		switch e.Name.Local {
		case "circle":
			circles[attr["class"]] = attr["cx"]
		case "rect":
			rects = attr["x"] + " " + attr["width"]
		}
	}
	// 8 + 106 * 0.25 = 34.5; 8 + 106 * 0.5 = 61; the band from 50.4, 37.1 wide.
	if circles["whisker"] != "34.5" || circles["ink"] != "61.0" || rects != "50.4 37.1" {
		t.Errorf("ring and dot at %v, band %s", circles, rects)
	}
	if !strings.Contains(string(svg), "as found 12 mV, as left 95 mV, limits 80 to 120 mV") || strings.Contains(string(svg), "<x>") {
		t.Errorf("%s", svg)
	}
}

func TestAGaugeOfNothingHasNoSigns(t *testing.T) {
	none := math.NaN()
	if svg := string(DrawGauge(Gauge{none, none, none, none, false}, "AM", "")); strings.Contains(svg, "<circle") || strings.Contains(svg, "NaN") || strings.Contains(svg, "cell1\"") {
		t.Errorf("%s", svg)
	}
}
