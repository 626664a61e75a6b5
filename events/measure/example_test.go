package measure_test

import (
	"errors"
	"fmt"

	"oldhand/events/measure"
)

func ExampleParsePart() {
	for _, text := range []string{"50-30-30 MFD 450V", "104K", "47 MMF", "2.2 M ohm", "1,000 uF"} {
		class := "C"
		if text == "2.2 M ohm" {
			class = "R"
		}
		p, err := measure.ParsePart(text, class)
		var ask *measure.Ambiguous
		if errors.As(err, &ask) {
			fmt.Println(ask)
			continue
		}
		fmt.Print(p.Text, " =")
		for _, v := range append(p.Sections, p.Volts...) {
			fmt.Print(" ", v.Canonical())
		}
		fmt.Println("", p.Tolerance, p.Doubts)
	}
	// Output:
	// 50-30-30 MFD 450V = 50 µF 30 µF 30 µF 450 V  []
	// 104K = 0.1 µF ±10 % []
	// 47 MMF = 47 pF  []
	// 2.2 M ohm = 2.2 MΩ  [M is read as megohm; on some old diagrams it is a thousand]
	// read "1,000 uF": the comma is a thousands mark or a decimal comma: is it 1000 µF or 1 µF?
}

func ExampleKind_Read() {
	k, _ := measure.Find("audio-level-am")
	for _, text := range []string{"93", "0.093 V", "93 V"} {
		v, warnings, err := k.Read(text)
		fmt.Println(k.Format(v), warnings, err)
	}
	// Output:
	// 93 mV [] <nil>
	// 93 mV [] <nil>
	// 93000 mV [93 V is outside 0 V to 5 V for Audio level, AM (common practice, no source)] <nil>
}
