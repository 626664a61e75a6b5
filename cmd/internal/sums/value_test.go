package sums_test

import (
	"strings"
	"testing"

	"oldhand/cmd/internal/sums"
)

// Source: IEC 60062 and 60063 and old US practice, as in the tests of package
// measure; 500 ohm and 470, -6 %, is the worked figure of the reference facts.
func TestMarkingsAreReadSeveralAtOnce(t *testing.T) {
	v, err := sums.ReadValues(sums.ValuesTyped{Markings: []string{"50-30-30 MFD 450V", "4K7J", "yellow violet red gold", "500 ohm 1/2W", "100K", "2.2 M ohm", "nonsense"}})
	said := told(t, v, err)
	wants(t, said,
		"50-30-30 MFD 450V | capacitor | 50 µF + 30 µF + 30 µF | 450 V | ",
		"4K7J | resistor | 4.7 kΩ |  | ±5 % | 4.7 kΩ (E24)",
		"yellow violet red gold | resistor | 4.7 kΩ |  | ±5 % | 4.7 kΩ (E24)",
		"500 ohm 1/2W | resistor | 500 Ω | 0.5 W |  | 470 Ω (E12, -6.0 %)",
		"100K: which part it is on is not said. Is it 10 pF on a capacitor or 100 kΩ on a resistor?",
		"2.2 M ohm: M is read as megohm; on some old diagrams it is a thousand.")
	if got := v.Told().Unread; len(got) != 1 || !strings.Contains(got[0], `"nonsense"`) {
		t.Errorf("unread: %q", got)
	}
	wants(t, asJSON(t, v), `"text":"50 µF","mant":5,"exp":-5,"unit":"F"`)
}

func TestAQuestionIsAskedAndNotSettled(t *testing.T) {
	v, err := sums.ReadValues(sums.ValuesTyped{Markings: []string{"250", "10K 500V"}, Class: "c"})
	wants(t, told(t, v, err), "250: no unit is given. Is it 250 pF or 250 µF?", "10K 500V: K is a tolerance or part of the value. Is it 10 pF or 0.01 µF?")
}

func TestASeriesThatWasAskedForIsTaken(t *testing.T) {
	v, err := sums.ReadValues(sums.ValuesTyped{Markings: []string{"500 ohm"}, Series: "e96"})
	wants(t, told(t, v, err), "499 Ω (E96, -0.2 %)")
	if v, err := sums.ReadValues(sums.ValuesTyped{Markings: []string{"500 ohm"}, Series: "E7"}); err == nil {
		t.Errorf("E7 gives %+v", v)
	}
}

func TestColoursAreReadAndRefusedByPlace(t *testing.T) {
	v, err := sums.ReadColours([]string{"brown green black brown brown", "brown black green", "red red brown gold brown", "body red end violet"}, "")
	wants(t, told(t, v, err), "1.5 kΩ |  | ±1 % | 1.5 kΩ (E96)", "1 MΩ |  | ±20 % | 1 MΩ (E6)", "red red brown gold brown: the fifth band is a tolerance or a reliability. Is it 22.1 Ω or 220 Ω?")
	if got := v.Told().Unread; len(got) != 1 || !strings.Contains(got[0], "body, end and dot") {
		t.Errorf("unread: %q", got)
	}
	for _, none := range [][]string{nil, {"mauve"}} {
		if v, err := sums.ReadColours(none, ""); err == nil {
			t.Errorf("%v gives %+v", none, v)
		}
	}
	if v, err := sums.ReadValues(sums.ValuesTyped{}); err == nil {
		t.Errorf("nothing gives %+v", v)
	}
}
