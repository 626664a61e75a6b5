package app

import (
	"slices"
	"strings"
	"testing"

	"oldhand/events"
)

func read(t *testing.T, b events.ReadingTaken) events.ReadingTaken {
	t.Helper()
	b, _, err := Reading(b)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Source: rows of checkdata/levels.csv and the dial examples of the reference facts.
func TestReadingsOfOneStageAreHeldBesideEachOtherAndNoOthers(t *testing.T) {
	var visit []events.ReadingTaken
	for _, b := range []events.ReadingTaken{
		{Point: "AM", Text: "310 mV", Stage: events.AsFound}, {Point: "FM", Text: "155 mV", Stage: events.AsFound},
		{Point: "AM", Text: "95 mV", Stage: events.AsLeft},
		{Point: "R", Measure: "audio-level", Text: "0.690 V", Stage: events.AsLeft}, {Point: "L", Measure: "audio-level", Text: "0.775 V", Stage: events.AsLeft},
		{Point: "amp left", Measure: "audio-level", Text: "1 V"}, {Point: "amp Right", Measure: "audio-level", Text: "0"},
		{Point: "low", Measure: "dial-am", Text: "603", Conditions: "at night, station 600"}, {Point: "high", Measure: "dial-am", Text: "1.403 MHz", Conditions: "Station 1400 kHz"},
		{Point: "hum", Text: "some"},
	} {
		visit = append(visit, read(t, b))
	}
	got := VisitSums(visit, 1962)
	for i, want := range []string{"As found: FM is 6.0 dB below AM. At 6.0 dB", "As left: Right is 1.0 dB below left.", "AM: off by the same everywhere, +3 kHz on average"} {
		if i >= len(got) || !strings.HasPrefix(got[i], want) {
			t.Errorf("%d: %q, want %s", i, got, want)
		}
	}
	if len(got) != 3 {
		t.Errorf("%d are said: %q", len(got), got)
	}
	if none := VisitSums(slices.Clip(visit[2:3]), 0); len(none) != 0 {
		t.Errorf("one reading says %q", none)
	}
}

func TestANetworkChoosesTheKindOfItsReading(t *testing.T) {
	for _, c := range []struct{ network, text, kind string }{
		{"hot-check", "0.3", "hot-check-voltage"}, {"iec60990", "0.35 V", "touch-voltage"}, {"iec60990", "0.31 mA", "touch-current"}, {"hot-check", "200 uA", "touch-current"},
	} {
		b := read(t, events.ReadingTaken{Point: "volume shaft", Text: c.text, Network: c.network})
		if b.Measure != c.kind || b.Value.Unit == "" || CautionOf(b) != MeterCaution {
			t.Errorf("%s over %s: %+v", c.text, c.network, b)
		}
	}
	if got := readingText(read(t, events.ReadingTaken{Point: "x", Text: "0.3", Network: "hot-check", Amplitude: events.RMS})); got != "0.300 V rms over hot-check" {
		t.Errorf("it is shown as %q", got)
	}
	if b, _, err := Reading(events.ReadingTaken{Point: "x", Text: "1 V", Network: "finger"}); err == nil {
		t.Errorf("%+v", b)
	}
	if CautionOf(events.ReadingTaken{Point: "AM", Text: "95 mV"}) != "" {
		t.Error("a level has a caution")
	}
}
