package app_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// atTest is a shop with a table radio on the bench and the program's sheet for it.
func atTest(t *testing.T) (*app.Shop, string) {
	t.Helper()
	s := newShop(t)
	got, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", KindOfSet: "table-radio", Complaint: "hums"}, Who: on("2026-01-05")})
	if err != nil {
		t.Fatal(err)
	}
	saved, err := s.DefineSheet(smallSheet("table-radio", "0.75 V"), app.Who{})
	must(t, saved, err)
	return s, got.Tag
}

// smallSheet has a check of each sort.
func smallSheet(kind, hot string) events.TestSheetDefined {
	return events.TestSheetDefined{Name: "small", KindOfSet: kind, Checks: []events.Check{
		{Label: "plays", Measure: "check"},
		{Label: "level on AM", Point: "AM", Measure: "audio-level-am"},
		{Label: "FM as loud as AM", Point: "FM", Measure: "audio-level-fm", Low: "-3 dB", High: "3 dB", Beside: "AM", OnlyWhere: "FM"},
		{Label: "hot check", Point: "metal", Measure: "hot-check-voltage", High: hot},
	}}
}

func typedTest(verdict string, pairs ...string) app.TestTyped {
	t := app.TestTyped{Verdict: verdict, Checks: map[int]app.CheckTyped{}}
	for i := 0; i < len(pairs); i += 3 {
		t.Checks[int(pairs[i][0]-'0')] = app.CheckTyped{Reading: pairs[i+1], Words: pairs[i+2]}
	}
	return t
}

func linesOf(t *testing.T, s *app.Shop, tag string) (list []string) {
	t.Helper()
	p, err := s.Past(tag, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range p.Matches[0].Visits[0].Lines[1:] {
		list = append(list, l.Line)
	}
	return list
}

func TestATestBySheetIsOneBatchOfReadingsAndAVerdict(t *testing.T) {
	s, tag := atTest(t)
	saved, err := s.SaveTest(tag, app.Who{}, typedTest("passed", "1", "y", "", "2", "95 mV", "", "3", "none", "", "4", "0.2 V", ""))
	must(t, saved, err)
	want := []string{"plays yes, as left", "AM 95 mV, as left", "metal 0.2 V, as left, limits at most 0.75 V", "final test passed, left out check 3: there is none: FM"}
	if got := linesOf(t, s, tag); !slices.Equal(got, want) {
		t.Errorf("written is %q", got)
	}
	p, err := s.Past(tag, 1)
	if err != nil {
		t.Fatal(err)
	}
	test := p.Matches[0].Visits[0].Tests[0]
	equal(t, "sheet", test.Sheet, "small")
	equal(t, "made", test.Made, 3)
	equal(t, "within", test.Within, 3)
	var said []string
	for _, c := range test.Checks {
		said = append(said, c.Label+": "+c.Reading+" "+c.Said())
	}
	if want := []string{"plays: yes within", "level on AM: 95 mV no limits", "FM as loud as AM:  left out, there is none: FM", "hot check: 0.2 V within"}; !slices.Equal(said, want) {
		t.Errorf("told is %q", said)
	}
}

// The limit of 0.75 V is that of many makers' service manuals.
func TestOverItsLimitNoSetIsSaidToHavePassedByAnyWay(t *testing.T) {
	s, tag := atTest(t)
	all := func(hot string) app.TestTyped {
		return typedTest("passed", "1", "y", "", "2", "95 mV", "", "3", "90 mV", "", "4", hot, "the owner wants it so")
	}
	refused := func(what string, err error) {
		t.Helper()
		var not *app.NotPassed
		if !errors.As(err, &not) || len(not.Over) != 1 || !strings.Contains(err.Error(), "metal: 900 mV is above 0.75 V") {
			t.Errorf("%s: %v", what, err)
		}
	}
	_, err := s.SaveTest(tag, app.Who{}, all("0.9 V"))
	refused("by the sheet, with words", err)
	if got := linesOf(t, s, tag); len(got) != 0 {
		t.Errorf("written is %q", got)
	}
	saved, err := s.SaveTest(tag, app.Who{}, func() app.TestTyped { x := all("0.9 V"); x.Verdict = "failed"; return x }())
	must(t, saved, err)
	_, err = s.Record(tag, app.Who{}, events.FinalTest{Verdict: "passed", Text: "fine"})
	refused("by hand", err)
	entry := saved.Events[len(saved.Events)-1].ID.String()
	_, err = s.Correct(tag, entry, []string{"verdict=passed"}, "", app.Who{})
	refused("by a correction", err)

	// A later reading with a limit that somebody made up does not lift it, nor one
	// that is written down late for an earlier day.
	hot := func(text, limits string) events.ReadingTaken {
		b, _, err := app.Reading(events.ReadingTaken{Point: "metal", Measure: "hot-check-voltage", Text: text, Limits: limits, Stage: events.AsLeft})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	saved, err = s.Record(tag, app.Who{}, hot("0.9 V", "5 V"))
	must(t, saved, err)
	saved, err = s.Record(tag, on("2026-01-06"), hot("0.1 V", "0.75 V"))
	must(t, saved, err)
	_, err = s.Record(tag, app.Who{}, events.FinalTest{Verdict: "passed"})
	refused("by hand, beside a laxer limit", err)
	saved, err = s.Record(tag, app.Who{}, hot("0.75 V", ""))
	must(t, saved, err)
	saved, err = s.Record(tag, app.Who{}, events.FinalTest{Verdict: "passed"})
	must(t, saved, err)

	// What was withdrawn does not stand again past the rule.
	id := saved.Events[0].ID.String()
	saved, err = s.Withdraw(tag, id, "", app.Who{})
	must(t, saved, err)
	saved, err = s.Record(tag, app.Who{}, hot("0.9 V", ""))
	must(t, saved, err)
	_, err = s.Restore(tag, id, "", app.Who{})
	refused("by bringing it back", err)
	p, err := s.Past(tag, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range p.Matches[0].Visits[0].Tests {
		if len(test.Over) != 1 || !strings.Contains(test.Over[0], "metal") {
			t.Errorf("the past does not say that it stands over its limit: %+v", test)
		}
	}
}

func TestASetThatLacksACheckHasNotPassedAndNothingIsSaved(t *testing.T) {
	s, tag := atTest(t)
	for _, c := range []struct {
		typed app.TestTyped
		want  string
	}{
		{typedTest("passed", "1", "y", "", "2", "95 mV", "", "4", "0.2 V", ""), "check 3, FM as loud as AM: not made"},
		{typedTest("passed", "1", "n", "", "2", "95 mV", "", "3", "none", "", "4", "0.2 V", ""), "check 1, plays: it is no"},
		{typedTest("passed", "1", "y", "", "2", "95 mV", "", "3", "40 mV", "", "4", "0.2 V", ""), "check 3, FM as loud as AM: -7.51 dB is below -3 dB of AM"}, // 20 log(40/95), IEC 60027-3
		{typedTest("passed", "1", "-", "", "2", "95 mV", "", "3", "none", "", "4", "0.2 V", ""), "check 1, plays: not made"},
	} {
		_, err := s.SaveTest(tag, app.Who{}, c.typed)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
	if got := linesOf(t, s, tag); len(got) != 0 {
		t.Errorf("written is %q", got)
	}
	saved, err := s.SaveTest(tag, app.Who{}, typedTest("passed", "1", "-", "no loudspeaker here", "2", "95 mV", "", "3", "40 mV", "a weak station", "4", "0.2 V", "read twice"))
	must(t, saved, err)
	got := linesOf(t, s, tag)
	if want := "final test passed, hot check: read twice, left out check 1: no loudspeaker here, despite check 3: a weak station"; got[len(got)-1] != want {
		t.Errorf("written is %q", got)
	}
}

func TestAUnitGetsTheSheetOfItsModelBeforeThatOfItsKind(t *testing.T) {
	s, tag := atTest(t)
	want := func(name, day string) {
		t.Helper()
		o, err := s.SheetFor(tag)
		if err != nil || o == nil {
			t.Fatal(o, err)
		}
		equal(t, "sheet", o.Sheet.Name+" "+o.Sheet.Checks[3].High, name+" "+day)
	}
	want("small", "0.75 V")
	saved, err := s.DefineSheet(smallSheet("table-radio", "0.5 V"), app.Who{}) // the later stands
	must(t, saved, err)
	want("small", "0.5 V")
	if _, err := s.DefineSheet(smallSheet("table-radio", "0.5 V"), app.Who{}); !errors.As(err, new(*app.NotHere)) {
		t.Errorf("what stands already was taken: %v", err)
	}
	b := smallSheet("", "0.6 V")
	b.Name, b.Maker, b.Model = "R-950", "OSTREL", "r950"
	saved, err = s.DefineSheet(b, app.Who{})
	must(t, saved, err)
	want("R-950", "0.6 V")
	list, err := s.Sheets()
	if err != nil {
		t.Fatal(err)
	}
	own := 0
	for _, o := range list {
		if o.Own {
			own++
		}
	}
	equal(t, "own sheets", own, 2)
	equal(t, "stands in the place of", list[slices.IndexFunc(list, func(o app.Sheet) bool { return o.Sheet.Name == "small" })].Before, 1)
	if _, err := s.DefineSheet(events.TestSheetDefined{Name: "x", KindOfSet: "tabel-radio", Checks: b.Checks}, app.Who{}); err == nil || !strings.Contains(err.Error(), "table-radio") {
		t.Errorf("a kind of set that is none: %v", err)
	}
	if _, err := s.TakeSheet("no such", app.Who{}); err == nil {
		t.Error("a sheet that does not come with the program was taken")
	}
}

// A test goes on saying what was checked when it was made.
func TestATestKeepsTheSheetThatItFollowed(t *testing.T) {
	s, tag := atTest(t)
	saved, err := s.SaveTest(tag, app.Who{}, typedTest("passed", "1", "y", "", "2", "95 mV", "", "3", "none", "", "4", "0.7 V", ""))
	must(t, saved, err)
	saved, err = s.DefineSheet(smallSheet("table-radio", "0.15 V"), app.Who{})
	must(t, saved, err)
	p, err := s.Past(tag, 1)
	if err != nil {
		t.Fatal(err)
	}
	test := p.Matches[0].Visits[0].Tests[0]
	if c := test.Checks[3]; c.Limits != "at most 0.75 V" || c.Result != "within" || len(test.Over) != 0 {
		t.Errorf("told is %+v", test)
	}
}

func TestWhatWasReadBeforeCountsAndWhatIsTypedIsKeptAndComesBack(t *testing.T) {
	s, tag := atTest(t)
	b, _, err := app.Reading(events.ReadingTaken{Point: "am", Text: "95 mV", Stage: events.AsLeft})
	if err != nil {
		t.Fatal(err)
	}
	saved, err := s.Record(tag, app.Who{}, b)
	must(t, saved, err)
	typed := typedTest("", "3", "40 mV", "")
	w, err := s.SheetTest(tag, typed)
	if err != nil {
		t.Fatal(err)
	}
	if r := w.Rows[1]; r.Before != "95 mV" || r.Reading != "95 mV" || r.Needs {
		t.Errorf("AM: %+v", r)
	}
	if r := w.Rows[2]; !r.Off || !r.Needs || r.Why != "-7.51 dB is below -3 dB of AM" {
		t.Errorf("FM: %+v", r)
	}
	typed.Sheet, typed.LeftOut = w.Sheet.ID.String(), "phono"
	if err := s.KeepUnsent(app.Unsent{Form: app.TestForm, About: w.Unit, Once: "a", Values: typed.Values()}); err != nil {
		t.Fatal(err)
	}
	back, once, ok, err := s.KeptTest(w.Unit)
	if err != nil || !ok || once != "a" || back.Checks[3] != typed.Checks[3] || back.Sheet != typed.Sheet || back.LeftOut != "phono" {
		t.Errorf("came back as %+v, %q, %v, %v", back, once, ok, err)
	}
}
