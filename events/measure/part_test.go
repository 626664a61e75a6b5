package measure_test

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// Source: checkdata/value_parsing.csv (IEC 60062 paraphrased, trade practice
// where it says so).
func TestMarkingsAgreeWithTheReferenceTable(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/value_parsing.csv") {
		marking := row["marking"]
		p, err := measure.ParsePart(marking, row["kind"])
		if err != nil || len(p.Sections) != 1 {
			t.Errorf("%q: %v, %+v", marking, err, p)
			continue
		}
		want, err := strconv.ParseFloat(row["expected_si"], 64)
		if err != nil {
			t.Fatal(err)
		}
		if got := p.Sections[0].Float(); math.Abs(got-want) > 1e-12*want {
			t.Errorf("%q is %g, the table has %g", marking, got, want)
		}
		if tol := row["tolerance_percent"]; tol != "" {
			agrees(t, marking+" tolerance", float64(p.Tolerance.Plus)/100, tol)
			agrees(t, marking+" tolerance", float64(p.Tolerance.Minus)/100, tol)
		} else if p.Tolerance.Given() {
			t.Errorf("%q has tolerance %v, the table has none", marking, p.Tolerance)
		}
		if warned := len(p.Doubts) > 0; warned != strings.Contains(row["note"], "warn") {
			t.Errorf("%q: doubts %q, the table's note is %q", marking, p.Doubts, row["note"])
		}
		if p.Text != marking {
			t.Errorf("%q came back as %q", marking, p.Text)
		}
	}
}

// show writes a part on one line: sections; volts; watts; tolerance.
func show(p measure.Part) string {
	join := func(values []measure.Value) string {
		var all []string
		for _, v := range values {
			all = append(all, v.Canonical())
		}
		return strings.Join(all, " ")
	}
	watts := ""
	if p.Watts.Unit != "" {
		watts = p.Watts.Canonical()
	}
	return join(p.Sections) + "; " + join(p.Volts) + "; " + watts + "; " + p.Tolerance.String()
}

// The markings are of the kinds an old job book has; what they mean is IEC 60062
// for letters and common practice, no source, for the rest.
func TestAMarkingIsTakenApartIntoSectionsRatingsAndTolerance(t *testing.T) {
	for _, c := range []struct{ class, text, want string }{
		{"C", "50-30-30 MFD", "50 µF 30 µF 30 µF; ; ; "},
		{"C", "50/30/30 mfd 150-150-25V", "50 µF 30 µF 30 µF; 150 V 150 V 25 V; ; "},
		{"C", "40 + 20 MFD @ 450/350 VDC", "40 µF 20 µF; 450 V 350 V; ; "},
		{"C", "20x20 MFD, 450V", "20 µF 20 µF; 450 V; ; "},
		{"C", "20 MFD 450V, 20 MFD 25V", "20 µF 20 µF; 450 V 25 V; ; "},
		{"C", "50MFD-30MFD", "50 µF 30 µF; ; ; "},
		{"C", ".1 MFD 400V", "0.1 µF; 400 V; ; "},
		{"C", "10uF/25V", "10 µF; 25 V; ; "},
		{"C", "104K 630V", "0.1 µF; 630 V; ; ±10 %"},
		{"C", "470J", "47 pF; ; ; ±5 %"},
		{"C", "47 pF J mica", "47 pF; ; ; ±5 %"},
		{"C", "4p7C", "4.7 pF; ; ; ±0.25 pF"},
		{"C", "100D", "10 pF; ; ; ±0.5 %"},
		{"C", "0.01uF +80-20% 500 V", "0.01 µF; 500 V; ; -20 +80 %"},
		{"C", "0.01uF -20/+80% 500 V", "0.01 µF; 500 V; ; -20 +80 %"},
		{"C", "103Z", "0.01 µF; ; ; -20 +80 %"},
		{"C", "10 µF ±2.5 % 63V", "10 µF; 63 V; ; ±2.5 %"},
		{"R", "470K 1/2W 10%", "470 kΩ; ; 0.5 W; ±10 %"},
		{"R", "470-1/2W", "470 Ω; ; 0.5 W; "},
		{"R", "470K-10% 470/2W", "470 kΩ 470 Ω; ; 2 W; ±10 %"},
		{"C", "40×20 MFD – 450V", "40 µF 20 µF; 450 V; ; "},
		{"R", "270 ohms 5 W wirewound", "270 Ω; ; 5 W; "},
		{"R", "10 K pot", "10 kΩ; ; ; "},
		{"R", "yellow-violet-red-silver", "4.7 kΩ; ; ; ±10 %"},
		{"L", "10 mH", "10 mH; ; ; "},
		{"F", "3AG 2A 250V", "2 A; 250 V; ; "},
		{"F", "1/2 A slow", "500 mA; ; ; "},
		{"Y", "10.7 MC", "10.7 MHz; ; ; "},
		{"VR", "5V1", "5.1 V; ; ; "},
	} {
		p, err := measure.ParsePart(c.text, c.class)
		if err != nil || show(p) != c.want {
			t.Errorf("%s %q: got %q, %v; want %q", c.class, c.text, show(p), err, c.want)
		}
		if p.Text != c.text || p.Class != c.class {
			t.Errorf("%s %q came back as %s %q", c.class, c.text, p.Class, p.Text)
		}
	}
}

func TestADescriptionOrAClassWithoutValuesIsNoError(t *testing.T) {
	for _, c := range [][2]string{
		{"potentiometer", "R"}, {"", "C"}, {"electrolytic", "C"}, {"6GH8A", "V"}, {"2N3904", "Q"}, {"#47", "DS"}, {"4.7K", "XYZ"},
	} {
		p, err := measure.ParsePart(c[0], c[1])
		if err != nil || len(p.Sections) != 0 || p.Text != c[0] {
			t.Errorf("%s %q: %+v, %v", c[1], c[0], p, err)
		}
	}
}

func TestAQuestionKeepsWhatElseWasReadOfThePart(t *testing.T) {
	for text, want := range map[string]string{
		"10/25V":        "10 pF|10 µF",
		"10 25V":        "10 pF|10 µF",
		"1,000 uF 16V":  "1000 µF|1 µF",
		"10K 500V":      "10 pF|0.01 µF",
		"25 V - .05":    "0.05 µF",
		"25V 470 J":     "47 pF|470 pF",
		"450V 40-20":    "20 pF|20 µF",
		"+80-20% 10 25": "10 pF|10 µF",
	} {
		p, err := measure.ParsePart(text, "C")
		var ask *measure.Ambiguous
		if !errors.As(err, &ask) {
			t.Errorf("%q: %+v, %v; want a question", text, p, err)
			continue
		}
		var got []string
		for _, v := range ask.Readings {
			got = append(got, v.Canonical())
		}
		if strings.Join(got, "|") != want || p.Text != text {
			t.Errorf("%q asks for %v, want %s; text %q", text, got, want, p.Text)
		}
	}
	if p, _ := measure.ParsePart("10/25V", "C"); len(p.Volts) != 1 || p.Volts[0].Canonical() != "25 V" {
		t.Errorf("the rating beside the question is lost: %+v", p)
	}
}

func TestAPieceThatMeansNothingHereIsADoubtOrAnError(t *testing.T) {
	p, err := measure.ParsePart("10uF 25V 105C X7", "C")
	if err != nil || len(p.Doubts) != 2 || !strings.Contains(p.Doubts[0], `"105C"`) || !strings.Contains(p.Doubts[1], `"X7"`) {
		t.Errorf("%+v, %v", p, err)
	}
	p, err = measure.ParsePart("20,20 MFD", "C")
	if err != nil || len(p.Doubts) != 1 || !strings.Contains(p.Doubts[0], "two sections") {
		t.Errorf("a comma between equal numbers: %+v, %v", p, err)
	}
	for text, want := range map[string]string{
		"6GH8A":                            `read part "6GH8A" of class R: read "6GH8A" as resistance: "GH8A" is not a unit`,
		"25V":                              "no value found",
		"body red end violet dot yellow 1": "body, end and dot",
		strings.Repeat("1 ", 200):          "longer than 300 bytes",
	} {
		p, err := measure.ParsePart(text, "R")
		if err == nil || !strings.Contains(err.Error(), want) || p.Text != text {
			t.Errorf("%q: %+v, %v; want %s", text, p, err, want)
		}
	}
}

// The sums are worked by hand.
func TestValuesOfOneUnitAddExactly(t *testing.T) {
	for want, pair := range map[string][2]string{"80 µF": {"50 uF", "30 uF"}, "1.00047 µF": {"1 uF", "470 pF"}, "0.3 pF": {"0.1 pF", "0.2 pF"}, "5 pF": {"5 pF", "0 uF"}} {
		sum, err := measure.Add(value(t, pair[0], measure.Capacitance), value(t, pair[1], measure.Capacitance))
		if err != nil || sum.Canonical() != want {
			t.Errorf("%v add to %s, %v; want %s", pair, sum.Canonical(), err, want)
		}
	}
	if sum, err := measure.Add(value(t, "1 V", measure.Voltage), value(t, "1 uF", measure.Capacitance)); err == nil {
		t.Errorf("a volt and a microfarad add to %s", sum.Canonical())
	}
	small := measure.Value{Mant: 1, Exp: -30, Unit: measure.Volt}
	if sum, err := measure.Add(value(t, "123 V", measure.Voltage), small); err == nil {
		t.Errorf("more digits than there are: %s", sum.Canonical())
	}
}

func FuzzParsePart(f *testing.F) {
	for _, text := range []string{
		"50-30-30 MFD", "10uF/25V", "20x20 MFD @ 450 VDC", "+80-20% .01", "470-1/2W", "yellow violet red gold", "body red",
		"10/25V", "1x", "x1x1x1", "±", "1-", "-1-1-1%", "Ω\u2126×−–", "0.1000000000000000000000000001%",
	} {
		f.Add(text, "C")
		f.Add(text, "R")
	}
	f.Fuzz(func(t *testing.T, text, class string) {
		p, err := measure.ParsePart(text, class)
		if p.Text != text || p.Class != class {
			t.Fatalf("%q came back as %+v", text, p)
		}
		for _, v := range p.Sections {
			v.Canonical()
		}
		_ = p.Tolerance.String()
		var ask *measure.Ambiguous
		if errors.As(err, &ask) && len(ask.Readings) == 0 {
			t.Fatalf("%q asks without readings", text)
		}
	})
}

func BenchmarkParsePart(b *testing.B) {
	for _, text := range []string{"50-30-30 MFD", ".1 MFD 400V", "10uF/25V", "47 MMF"} {
		b.Run(text, func(b *testing.B) {
			for b.Loop() {
				measure.ParsePart(text, "C")
			}
		})
	}
}
