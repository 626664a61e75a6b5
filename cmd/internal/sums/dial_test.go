package sums_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"oldhand/cmd/internal/picture"
	"oldhand/cmd/internal/sums"
	"oldhand/events/sharedtest"
)

// Source: the examples of the reference facts, section on broadcast channels.
func TestADialIsHeldAgainstItsStations(t *testing.T) {
	d, err := sums.ReadDial(sums.DialTyped{Readings: []string{"AM 663", "AM 1004", "FM 94.62", "104.27=104.3", "AM 735"}, Region: "americas", Year: 1962})
	said := told(t, d, err)
	wants(t, said, "AM | 663 kHz | 660 kHz |  | +3 kHz | +0.45 % | a poor guess", "AM | 1004 kHz | 1000 kHz |  | +4 kHz",
		"FM | 94.62 MHz | 94.7 MHz | 234 | -80 kHz", "FM | 104.27 MHz | 104.3 MHz | 282 | -30 kHz | -0.03 % | station known",
		"735 kHz | 730 kHz |  | +5 kHz | +0.68 % | halfway: either", "735 kHz | 740 kHz |  | -5 kHz",
		"AM is held against the channels of AM, 540 to 1600 kHz.", "AM: one offset and tracking can't be told apart yet.")
	if n := d.Bands[0].Count; n != 2 {
		t.Errorf("the line goes through %d readings of AM; the one halfway belongs to no station", n)
	}
	d, err = sums.ReadDial(sums.DialTyped{Readings: []string{"603=600", "1004=1000", "1403=1400"}, Year: 1962})
	wants(t, told(t, d, err), "AM: off by the same everywhere, +3.3 kHz on average: the pointer or the oscillator is off")
	d, err = sums.ReadDial(sums.DialTyped{Readings: []string{"600=600", "1412=1400"}, Year: 1962})
	wants(t, told(t, d, err), "AM: off by other amounts at the two ends, 0 kHz at 600 kHz and +12 kHz at 1400 kHz: that is tracking")
	d, err = sums.ReadDial(sums.DialTyped{Readings: []string{"600=600", "1401=1400"}, Year: 1962})
	wants(t, told(t, d, err), "the dial is right within what can be read on it (2 kHz)")
	d, err = sums.ReadDial(sums.DialTyped{Readings: []string{"600=600", "1020=1000", "1400=1400"}})
	wants(t, told(t, d, err), "do not lie on a line, by up to 13 kHz", "540 to 1700")
	d, err = sums.ReadDial(sums.DialTyped{Readings: []string{"603=603", "1412=1404"}, Region: "europe", Readable: 9})
	wants(t, told(t, d, err), "531 to 1602", "the dial is right within what can be read on it (9 kHz)")
}

func TestADialsPictureHasWhatItsAnswerHas(t *testing.T) {
	d, err := sums.ReadDial(sums.DialTyped{Readings: []string{"600=600", "1412=1400", "1003", "FM 88"}, Year: 1962})
	if err != nil || !d.HasPicture() {
		t.Fatal(err)
	}
	p := d.Drawn()
	if len(p.Panels) != 2 || p.Panels[0].Line == nil || p.Panels[1].Line != nil || p.Panels[1].Unit != "MHz" {
		t.Fatalf("%+v", p)
	}
	want := []picture.DialPoint{{Station: 600, Mark: picture.DialKnown}, {Station: 1400, Error: 12, Mark: picture.DialKnown}, {Station: 1000, Error: 3, Mark: picture.DialGuess}}
	if !slices.Equal(p.Panels[0].Points, want) {
		t.Errorf("%+v", p.Panels[0].Points)
	}
	want = []picture.DialPoint{{Station: 87900, Error: 100, Mark: picture.DialHalfway}, {Station: 88100, Error: -100, Mark: picture.DialHalfway}}
	if !slices.Equal(p.Panels[1].Points, want) {
		t.Errorf("%+v", p.Panels[1].Points)
	}
	if svg, err := picture.DialSVG(p); err != nil || !strings.Contains(string(svg), "that is tracking") {
		t.Errorf("%v", err)
	}
}

// Source: checkdata/tuner_checks.csv (47 CFR 73.14, 73.201, 73.501).
func TestEveryRowOfTheTunerTableIsInTheAnswer(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/tuner_checks.csv") {
		text := row["band"] + " " + row["dial_khz"] + " kHz"
		d, err := sums.ReadDial(sums.DialTyped{Readings: []string{text}, Region: "americas"})
		if err != nil {
			t.Error(err)
			continue
		}
		var stations, errs, percent []string
		for _, a := range d.Readings[0].Against {
			stations, errs, percent = append(stations, fmt.Sprint(a.StationKHz)), append(errs, fmt.Sprint(a.ErrorKHz)), append(percent, fmt.Sprintf("%.6f", a.Percent))
		}
		if got, want := strings.Join(stations, "|")+" "+strings.Join(errs, "|")+" "+strings.Join(percent, "|"), row["nearest_khz"]+" "+row["error_khz"]+" "+row["error_percent"]; got != want {
			t.Errorf("%s: %s, the table has %s", text, got, want)
		}
	}
}

func TestADialThatCannotBeReadSaysWhy(t *testing.T) {
	for _, in := range []sums.DialTyped{{}, {Readings: []string{"stuck"}}, {Readings: []string{"AM 663"}, Region: "moon"}, {Readings: []string{"AM 663=655"}}} {
		if d, err := sums.ReadDial(in); err == nil {
			t.Errorf("%+v gives %+v", in, d)
		}
	}
	d, err := sums.ReadDial(sums.DialTyped{Readings: []string{"AM 660", "455 kHz"}})
	if got := d.Told().Unread; err != nil || len(got) != 1 || !strings.Contains(got[0], `"455 kHz"`) {
		t.Errorf("%q, %v", got, err)
	}
}
