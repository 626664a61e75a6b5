package trade

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// What a bench writes about the parts it used. Common practice, no source.
func TestPartsAreReadWithTheirMarkingAsTyped(t *testing.T) {
	for _, c := range []struct{ text, designator, class, value string }{
		{"C27 47 MMF", "C27", "capacitor", "47 MMF"},
		{"DS1 dial lamp", "DS1", "lamp", ""},
		{"W1 line cord", "W1", "line-cord", ""},
		{"R40 potentiometer", "R40", "control", ""},
		{"C21 50-30-30 MFD", "C21", "capacitor", "50-30-30 MFD"},
		{"Q9 output transistor", "Q9", "output-transistor", ""},
		{"V1 vacuum tube", "V1", "tube", ""},
		{"C32 .1 MFD 400V", "C32", "capacitor", ".1 MFD 400V"},
		{"C14 10uF/25V", "C14", "capacitor", "10uF/25V"},
		{"C21 .047 MFD", "C21", "capacitor", ".047 MFD"},
		{"R5 470k 1W resistor", "R5", "resistor", "470k 1W"},
		{"R12 47Ω 5%", "R12", "resistor", "47Ω 5%"},
		{"R40 potentiometer 500K audio taper", "R40", "control", "500K audio taper"},
		{"100k pot", "", "control", "100k"},
		{"filter cap 40-40-20 MFD 450V", "", "filter-capacitor", "40-40-20 MFD 450V"},
		{"V2 6V6GT", "V2", "tube", "6V6GT"},
		{"12AX7", "", "tube", "12AX7"},
		{"1N4007 diode", "", "diode", "1N4007"},
		{"2N3055", "", "transistor", "2N3055"},
		{"#47 lamp", "", "lamp", "#47"},
		{"dial lamp #47", "", "lamp", "#47"},
		{"2 dial lamps", "", "lamp", ""},
		{"F1 fuse 1.5A", "F1", "fuse", "1.5A"},
		{"C-14 0,1 uF", "C14", "capacitor", "0,1 uF"},
		{"C1/C2 20 MFD", "C1", "capacitor", "20 MFD"},
		{"resistor for Q5", "", "resistor", ""},
		{"idler wheel", "", "idler", ""},
		{"misc. hardware kit", "", "", ""},
		{"", "", "", ""},
	} {
		want := Part{Designator: c.designator, Class: c.class, ValueText: c.value, Text: c.text}
		if got := ReadPart("  " + c.text + " "); got != want {
			t.Errorf("%q: %s", c.text, cmp.Diff(want, got))
		}
	}
}

func TestAListOfPartsIsPartedButNotAtADecimalComma(t *testing.T) {
	got := ReadParts("DS1 dial lamp, C32 0,1 MFD 400V; C1/C2 20 MFD,\n")
	want := []Part{
		{"DS1", "lamp", "", "DS1 dial lamp"},
		{"C32", "capacitor", "0,1 MFD 400V", "C32 0,1 MFD 400V"},
		{"C1", "capacitor", "20 MFD", "C1/C2 20 MFD"},
		{"C2", "capacitor", "20 MFD", "C1/C2 20 MFD"},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestWorkSetsAndOutcomesAreReadByTheirWords(t *testing.T) {
	got := ReadWork("cleaned controls, realigned FM; resoldered joints, recapped, new line cord, wrote to owner")
	want := []Done{{"cleaned", "cleaned controls"}, {"realigned", "realigned FM"}, {"resoldered", "resoldered joints"},
		{"recapped", "recapped"}, {"made-safe", "new line cord"}, {"", "wrote to owner"}}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	for text, id := range map[string]string{
		"AM/FM table radio": "table-radio", "Intercom Master": "intercom-master", "radio-intercom": "intercom-master",
		"FM tuner": "tuner", "stereo receiver": "receiver", "phono amp": "phono-amplifier", "door station": "door-station",
		"portable radio": "portable-radio", "radio": "", "small kitchen item": "", "": "",
	} {
		if got := ReadSet(text); got != id {
			t.Errorf("kind of set %q: got %q, want %q", text, got, id)
		}
	}
	for text, id := range map[string]string{
		"Repaired": "repaired", "not repaired": "returned-unrepaired", "estimate declined": "declined", "parts unit": "kept-for-parts",
		"NFF": "no-fault-found", "unknown": "unknown", "repaired, awaiting pickup": "", "": "",
	} {
		if got := ReadOutcome(text); got != id {
			t.Errorf("outcome %q: got %q, want %q", text, got, id)
		}
	}
}
