package sheets_test

import (
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/events/sheets"
	"oldhand/events/trade"
)

// read is a reading as left, as the bench writes it down.
func read(t *testing.T, point, kind, text string) events.ReadingTaken {
	t.Helper()
	b := events.ReadingTaken{Point: point, Measure: kind, Text: text, Stage: events.AsLeft}
	if k, ok := measure.Find(kind); ok {
		if v, _, err := k.Read(text); err == nil {
			n := v.Normal()
			b.Value = events.Quantity{Mant: n.Mant, Exp: n.Exp, Unit: string(n.Unit)}
		}
	}
	return b
}

func limited(r events.ReadingTaken, limits string) events.ReadingTaken { r.Limits = limits; return r }
func staged(r events.ReadingTaken, stage string) events.ReadingTaken   { r.Stage = stage; return r }

var small = []events.Check{
	{Label: "plays", Measure: "check"},
	{Label: "level on AM", Point: "AM", Measure: "audio-level-am"},
	{Label: "FM as loud as AM", Point: "FM", Measure: "audio-level-fm", Low: "-3 dB", High: "3 dB", Beside: "AM"},
	{Label: "hot check", Point: "metal to earth", Measure: "hot-check-voltage", High: "0.75 V"},
}

// -3.1 dB is 0.6998 of a voltage, -2.9 dB 0.7161 (20 log, IEC 60027-3, from memory).
func TestChecksTakeTheLastReadingOfTheirPointStageAndKind(t *testing.T) {
	rows := sheets.Hold(small, []events.ReadingTaken{
		staged(read(t, "plays", "check", "no"), events.AsFound),
		read(t, "Plays", "check", "yes"),
		read(t, "AM", "audio-level-am", "80 mV"),
		read(t, "AM", "audio-level-am", "100 mV"),
		read(t, "AM", "dial-am", "1003 kHz"), // of the same point, and another kind
		read(t, "FM", "audio-level-fm", "69 mV"),
	}, []events.CheckNote{{Number: 4, LeftOut: "no network here"}}, "")
	for i, want := range []string{"yes within ", "100 mV not judged there are no limits", "69 mV below -3.22 dB is below -3 dB of AM"} {
		if got := rows[i].Reading.Text + " " + rows[i].Judged.Result.String() + " " + rows[i].Judged.Why; got != want {
			t.Errorf("check %d: %q, want %q", i+1, got, want)
		}
	}
	if r := rows[3]; r.Made() || r.LeftOut != "no network here" || r.Good() {
		t.Errorf("check 4: %+v", r)
	}
}

func TestASetPassesWhenEveryCheckIsMadeAndWithinOrHasItsWords(t *testing.T) {
	good := []events.ReadingTaken{read(t, "plays", "check", "yes"), read(t, "AM", "audio-level-am", "100 mV"), read(t, "FM", "audio-level-fm", "95 mV"), read(t, "metal to earth", "hot-check-voltage", "0.2 V")}
	for _, c := range []struct {
		what  string
		read  []events.ReadingTaken
		notes []events.CheckNote
		want  string
	}{
		{"all made and within", good, nil, ""},
		{"one not made", good[1:], nil, "1 plays: not made; say why it is left out"},
		{"one left out with words", good[1:], []events.CheckNote{{Number: 1, LeftOut: "no record at hand"}}, ""},
		{"words of another check", good[1:], []events.CheckNote{{Number: 2, LeftOut: "no record at hand"}}, "1 plays: not made; say why it is left out"},
		{"words to pass despite do not make a check", good[1:], []events.CheckNote{{Number: 1, Despite: "it is fine"}}, "1 plays: not made; say why it is left out"},
		{"one off", append(good[:2:2], read(t, "FM", "audio-level-fm", "50 mV"), good[3]), nil, "3 FM as loud as AM: -6.02 dB is below -3 dB of AM; say why the set passes all the same"},
		{"one off with words", append(good[:2:2], read(t, "FM", "audio-level-fm", "50 mV"), good[3]), []events.CheckNote{{Number: 3, Despite: "weak station here"}}, ""},
		{"words for leaving out do not help one that is off", append(good[:2:2], read(t, "FM", "audio-level-fm", "50 mV"), good[3]), []events.CheckNote{{Number: 3, LeftOut: "x"}}, "3 FM as loud as AM: -6.02 dB is below -3 dB of AM; say why the set passes all the same"},
		{"one unreadable", append(good[:2:2], read(t, "FM", "audio-level-fm", "loud"), good[3]), nil, `3 FM as loud as AM: not judged, Audio level, FM: read "loud" as voltage: no number found; say why the set passes all the same`},
		{"the other one unreadable", append([]events.ReadingTaken{good[0], read(t, "AM", "audio-level-am", "loud")}, good[2:]...), nil, "3 FM as loud as AM: not judged, AM was not read; say why the set passes all the same"},
		{"a no", append([]events.ReadingTaken{read(t, "plays", "check", "no")}, good[1:]...), nil, "1 plays: it is no, and should be yes; say why the set passes all the same"},
	} {
		var got []string
		for _, l := range sheets.Lacks(sheets.Hold(small, c.read, c.notes, events.AsLeft)) {
			got = append(got, string(rune('0'+l.Number))+" "+l.Label+": "+l.What)
		}
		if s := strings.Join(got, "; "); s != c.want {
			t.Errorf("%s: %q, want %q", c.what, s, c.want)
		}
	}
}

// The hot check's limit is that of makers' service manuals, 0.75 V and by the
// shortcut 0.5 mA.
func TestOnlyALaterReadingWithinEveryLimitLiftsWhatWasOver(t *testing.T) {
	hot := func(text, limits string) events.ReadingTaken {
		return limited(read(t, "metal", "hot-check-voltage", text), limits)
	}
	for _, c := range []struct {
		what   string
		read   []events.ReadingTaken
		checks []events.Check
		want   string
	}{
		{"within", []events.ReadingTaken{hot("0.75 V", "0.75 V")}, nil, ""},
		{"over", []events.ReadingTaken{hot("0.8 V", "0.75 V")}, nil, "metal 0.8 V"},
		{"over, then within", []events.ReadingTaken{hot("0.8 V", "0.75 V"), hot("0.2 V", "0.75 V")}, nil, ""},
		{"over, then within without limits", []events.ReadingTaken{hot("0.8 V", "0.75 V"), hot("0.2 V", "")}, nil, ""},
		{"over, then over without limits", []events.ReadingTaken{hot("0.8 V", "0.75 V"), hot("0.79 V", "")}, nil, "metal 0.79 V"},
		{"over, then beside a laxer limit", []events.ReadingTaken{hot("0.8 V", "0.75 V"), hot("0.8 V", "5 V")}, nil, "metal 0.8 V"},
		{"over, then unreadable", []events.ReadingTaken{hot("0.8 V", "0.75 V"), hot("fine", "0.75 V")}, nil, "metal fine"},
		{"within, then over", []events.ReadingTaken{hot("0.2 V", "0.75 V"), hot("0.8 V", "")}, nil, "metal 0.8 V"},
		{"over at one point, within at another", []events.ReadingTaken{hot("0.8 V", "0.75 V"), limited(read(t, "shaft", "hot-check-voltage", "0.1 V"), "0.75 V")}, nil, "metal 0.8 V"},
		{"over before the work only", []events.ReadingTaken{staged(hot("0.8 V", "0.75 V"), events.AsFound)}, nil, ""},
		{"over, and nobody said when", []events.ReadingTaken{staged(hot("0.8 V", "0.75 V"), "")}, nil, "metal 0.8 V"},
		{"over before, then within as left", []events.ReadingTaken{hot("0.2 V", "0.75 V"), staged(hot("9 V", ""), events.AsFound)}, nil, ""},
		{"no limits at all", []events.ReadingTaken{hot("0.8 V", "")}, nil, ""},
		{"the sheet's limit", []events.ReadingTaken{hot("0.8 V", "")}, small, "metal 0.8 V"},
		{"another limit of the same point", []events.ReadingTaken{limited(read(t, "case", "touch-current", "0.6 mA"), "at most 0.5 mA")}, nil, "case 0.6 mA"},
		{"what is no touch current", []events.ReadingTaken{limited(read(t, "B+", "supply-voltage", "300 V"), "at most 280 V")}, nil, ""},
	} {
		var got []string
		for _, o := range sheets.StillOver(c.read, c.checks) {
			got = append(got, o.Point+" "+o.Reading)
			if o.Why == "" {
				t.Errorf("%s: no reason", c.what)
			}
		}
		if s := strings.Join(got, "; "); s != c.want {
			t.Errorf("%s: %q, want %q", c.what, s, c.want)
		}
	}
}

// That each limit has a source or says that it has none is the table's own rule;
// which checks there are is what the trade's final test has to prove.
func TestGoodSheetsCanBeTakenAndEveryLimitNamesItsSource(t *testing.T) {
	kinds := map[string]bool{}
	for _, s := range sheets.Good {
		if err := s.Validate(); err != nil {
			t.Error(err)
		}
		if _, ok := trade.SetOf(s.KindOfSet); !ok || kinds[s.KindOfSet] {
			t.Errorf("%s is for %s", s.Name, s.KindOfSet)
		}
		kinds[s.KindOfSet] = true
		points := map[string]bool{}
		for _, c := range s.Checks {
			if points[strings.ToLower(sheets.Point(c))] {
				t.Errorf("%s: two checks are read at %s", s.Name, sheets.Point(c))
			}
			points[strings.ToLower(sheets.Point(c))] = true
			if _, ok := measure.Find(c.Measure); !ok {
				t.Errorf("%s, %s: no kind of measurement %q", s.Name, c.Label, c.Measure)
			}
			l, err := sheets.LimitsOf(c)
			if err != nil || l.Beside != "" && !points[strings.ToLower(l.Beside)] {
				t.Errorf("%s, %s: limits %v, %v", s.Name, c.Label, l, err)
			}
			if (c.Low != "" || c.High != "") != (c.Source != "") {
				t.Errorf("%s, %s: limits and their source go together", s.Name, c.Label)
			}
			onChannel(t, c)
			if c.Measure == "hot-check-voltage" && (c.High != "0.75 V" || !strings.Contains(c.Conditions, "no isolation transformer")) {
				t.Errorf("%s: the hot check is %+v", s.Name, c)
			}
		}
	}
	for k := range strings.FieldsSeq("intercom-master room-station door-station table-radio receiver tuner phono-amplifier") {
		if _, ok := sheets.GoodFor(k); !ok {
			t.Errorf("no sheet for %s", k)
		}
	}
	if _, ok := sheets.GoodNamed(" Intercom master"); !ok {
		t.Error("a sheet is not found by its name")
	}
}

// onChannel wants a dial's limits around a channel: 47 CFR 73.14 and 73.201.
func onChannel(t *testing.T, c events.Check) {
	t.Helper()
	raster, most := measure.AMRegion2Before1990, 10
	switch c.Measure {
	case "dial-am":
	case "dial-fm":
		raster, most = measure.FMUnitedStates, 200
	default:
		return
	}
	ends := [2]int{}
	for i, text := range []string{c.Low, c.High} {
		v, err := measure.Parse(text, measure.Frequency)
		if err != nil {
			t.Fatal(err)
		}
		if ends[i], err = measure.WholeKHz(v); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := raster.Against(ends[0], (ends[0]+ends[1])/2); err != nil || ends[1]-ends[0] != 2*most {
		t.Errorf("%s: %s to %s, %v", c.Label, c.Low, c.High, err)
	}
}
