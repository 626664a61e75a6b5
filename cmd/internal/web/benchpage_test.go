package web_test

import (
	"net/http"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// What is typed is read back as it is understood. The values are worked in the
// tests of package measure; 274-6342 is a code whose parts are 3, 2 and 2 digits.
func TestWhatIsTypedIsReadBack(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	for _, c := range []struct{ at, want string }{
		{"marking?field=in&in=47+MMF&designator=C14", "= 47 pF"},
		{"marking?field=in&in=.047+MFD+400V&designator=C14", "= 0.047 µF, 400 V"},
		{"datecode?field=datecode&datecode=274-6342", "= made about the 42nd week of 1963, maker&#39;s number 274"},
		{"datecode?field=datecode&datecode=606-4-21", "= made about the 21st week of 1954, 1964, 1974 or 1984, maker&#39;s number 606"},
		{"evidence?field=reads&reads=274-6342&evidence=date+code", "the 42nd week of 1963"},
		{"evidence2?field=reads2&reads2=R-950&evidence2=label", ""},
		{"money?field=charge&charge=$120.50&currency=usd", "= 120.50 USD"},
		{"money?field=charge&charge=359,00&currency=USD", "want an amount"},
		{"answer?field=answer&answer=Y", "= yes, go ahead"},
		{"answer?field=answer&answer=n", "= no, declined"},
		{"answer?field=answer&answer=perhaps", "want yes or no"},
		{"finding?field=finding&finding=filter+caps+leaky%3B+vol.+control+scratchy", "= filter capacitor leaky; control noisy"},
		{"reading?field=reading&reading=95+mV&point=AM", "= 95 mV, Audio level, AM"},
		{"reading?field=reading&reading=285&point=B%2B&kind=supply-voltage", "= 285.0 V, Supply voltage"},
		{"reading?field=reading&reading=ok&point=relay&kind=check", "= yes, Check"},
		{"reading?field=reading&reading=12+mV&point=hum&kind=dial-am&habit-kind=dial-am&habit-point=AM", "= text, of no kind"}, // it came with another point
		{"year?field=year&year=1965-67", "= 1965 to 1967"},
		{"marking?field=in&in=yellow+violet+red+gold&designator=R4", "= 4.7 kΩ"},
		{"marking?field=in&in=yellow+violet+red+gold", "= 4.7 kΩ ±5 % on a resistor"},
		{"reading?field=reading&reading=663&point=AM+dial&kind=dial-am&made=1962", "= 663 kHz, Dial reading, AM; &#43;3 kHz against 660 kHz, a poor guess at the station"},
		{"reading?field=reading&reading=663&point=AM+dial&kind=dial-am&conditions=station+650", "&#43;13 kHz against 650 kHz, station known"},
		{"reading?field=reading&reading=94.62&point=FM+dial&kind=dial-fm", "-80 kHz against 94.7 MHz, a poor guess"},
		{"reading?field=reading&reading=0.35+V&point=touch+current&network=iec60990&amplitude=peak", "0.7 mA peak touch current; a number, which declares no set safe"},
		{"reading?field=reading&reading=0.9&point=hot+check&limits=0.75+V", "0.6 mA touch current, above the limit of 0.75 V that you gave, 1.2 times it"},
		{"evidence?field=reads&reads=134-6405&evidence=date+code", "Not built before 1964-01-23"},
		{"evidence?field=reads&reads=T1+134-6320,+LS1+134-6405,+C4+134-7812+replaced&evidence=date+codes", `data-fill="year" data-key="y" accesskey="y" value="1964"`},
		{"evidence?field=reads&reads=134-6405&evidence=date+code&made=1962", "1962 is stated as the year made, and the codes speak against it"},
		{"evidence?field=reads&reads=134-6405&evidence=date+code&year=1966", "1966 is stated as the year made, and stands"},
		{"when?field=at&at=2026-11-20", "= 2026-11-20"},
		{"unit?field=other&other=" + tag, "= " + tag + " Ostrel R-950 E17-17750"},
		{"unit?field=other&other=nothing-like-it", "is no unit"},
	} {
		got := s.get("/echo/" + c.at)
		if !strings.Contains(got, c.want) || c.want == "" && strings.TrimSpace(got) != "" {
			t.Errorf("%s: %q, want %q", c.at, got, c.want)
		}
	}
}

// What other sets of the model read stands beside a reading while it is typed, and
// is said when it is saved. The eight values are of facts.md 4, type 8: 2.166667, 9
// and 18.66667.
func TestWhatIsUsualStandsBesideAReading(t *testing.T) {
	s := newShop(t)
	for i, mv := range []string{"2", "3", "5", "7", "11", "13", "17", "19"} {
		tag := receive(t, s, "E17-1775"+string(rune('0'+i)))
		b, _, err := app.Reading(events.ReadingTaken{Point: "AM", Text: mv + " mV", Stage: events.AsLeft})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.shop.Record(tag, app.Who{}, b); err != nil {
			t.Fatal(err)
		}
	}
	tag := receive(t, s, "B90-55354")
	page := s.get("/unit/" + tag + "/bench?do=measure")
	unit := hidden(t, page, "measure", "unit") // as the form asks
	wants(t, s.get("/echo/reading?field=reading&reading=12+mV&point=am&unit="+unit), "= 12 mV, Audio level, AM; usual 2 to 19 mV in 8 other sets; this lies within")
	wants(t, s.get("/echo/reading?field=reading&reading=20+mV&point=AM&unit="+tag), "; this is above")
	for _, none := range []string{"reading=12+mV&point=FM&unit=" + tag, "reading=12+mV&point=AM", "reading=&point=AM&unit=" + tag} {
		if got := s.get("/echo/reading?field=reading&" + none); strings.Contains(got, "usual") {
			t.Errorf("%s: %s", none, got)
		}
	}
	status, page := s.post("/unit/"+tag+"/bench/measure", vals("point", "AM", "reading", "1 mV", "stage", "as found", "unit", tag, "once", "a"))
	if status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "At this point: usual 2 to 19 mV in 8 other sets; this is below")
}

func TestTheCounterSeesWhatIsKnownWhileTheSerialIsTyped(t *testing.T) {
	s := newShop(t)
	usualUnit(t, s)
	known := func(query string) string { return s.get("/receive/known?" + query) }
	wants(t, known("serial=E17-11111"), "was here before: 1 visit", "warranty still running", "part replaced: C1", "Take it in as this one")
	wants(t, known("serial=E17-11112"), "serial with one slip", "Take it in as this one")
	wants(t, known("serial=7-1111"), "part of the serial")
	wants(t, known("serial=e17+11111&maker=OSTREL&model=r950"), "is taken in as this one")
	wants(t, known("serial=ZZZ-1"), "Nothing, so far")
	wants(t, known(""), "Nothing, so far")

	// Taken in as the one that was here, it is that one, whatever stands on it.
	found, _, err := s.shop.Lookup("E17-11111", 1)
	if err != nil || len(found) != 1 {
		t.Fatal(found, err)
	}
	page := s.get("/receive?unit=" + found[0].Tag)
	wants(t, page, "which was here before", `value="E17-11111"`, `value="Ostrel"`)
	status, page := s.post("/receive", vals("unit", hidden(t, page, "receive", "unit"), "complaint", "hums again", "once", once(t, page, "receive")))
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, page)
	}
	wants(t, page, "a come-back after 0 days", found[0].Tag, "hums again")

	// It stands here: that it can't be received is said, and the form is kept.
	status, page = s.post("/receive", vals("unit", found[0].Tag, "complaint", "hums a third time", "once", "x"))
	if status != http.StatusConflict {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "ship it before it is received again", "hums a third time</textarea>", "which was here before")
	wants(t, s.get("/receive"), "hums a third time</textarea>", "which was here before")
	if page := s.get("/receive?unit=none"); strings.Contains(page, "which was here before") || !strings.Contains(page, "hums a third time") {
		t.Error("it can't be said that it is another one")
	}
}

func TestABenchPageSaysWhenTheVisitIsOverAndWhatStillGoes(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	if _, err := s.shop.Ship(tag, app.Who{}, events.Shipped{Outcome: "declined"}); err != nil {
		t.Fatal(err)
	}
	wants(t, s.get(bench), "This visit is closed: shipped 2026-11-25, declined.", "/receive?unit="+tag)
	status, page := s.post(bench+"/work", vals("work", "cleaned", "once", "a"))
	if status != http.StatusConflict {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "is not on a bench", `value="cleaned"`)
	if status, _ := s.post(bench+"/work", vals("work", "cleaned", "at", "2026-11-25", "once", "b")); status != http.StatusOK {
		t.Errorf("with its day: status %d", status)
	}
	if status, _ := s.post(bench+"/nothing-like-it", vals("once", "c")); status != http.StatusNotFound {
		t.Errorf("no such form: status %d", status)
	}
}

// Where nothing can be read any more, the form that was sent is still there.
func TestAFormOutlivesAFolderThatCanNotBeRead(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	saved, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "as it was"})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.shop.Log.Close(); err != nil {
		t.Fatal(err)
	}
	for do, form := range map[string][]string{
		"note": {"text", "dial string renewed"}, "ship": {"outcome", "declined", "text", "dial string renewed"}, "wait": {"for", "donor", "text", "dial string renewed"},
		"correct": {"entry", saved.Events[0].ID.String(), "set-text", "dial string renewed", "was-text", "as it was"}, "measure": {"point", "AM", "reading", "dial string renewed"}} {
		status, page := s.post("/unit/"+tag+"/bench/"+do, vals(append(form, "once", do)...))
		if status != http.StatusServiceUnavailable {
			t.Errorf("%s: status %d", do, status)
		}
		wants(t, page, "dial string renewed", "What you typed is still here")
		for _, word := range []string{"declined", "donor"} {
			if contains(form, word) && !strings.Contains(page, `value="`+word+`" selected`) {
				t.Errorf("%s: %s is lost", do, word)
			}
		}
	}
	status, page := s.post("/receive", vals("maker", "dial string renewed", "once", "r"))
	if status != http.StatusServiceUnavailable {
		t.Errorf("receive: status %d", status)
	}
	wants(t, page, `value="dial string renewed"`)
}

func contains(list []string, word string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

func TestNoTwoFormsHaveOneKeyAndOpeningFormsHaveTheirCaution(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	page := s.get("/unit/" + tag + "/bench")
	seen := map[string]bool{}
	for _, part := range strings.Split(page, `data-key="`)[1:] {
		key := part[:1]
		if seen[key] || !strings.Contains(page, `accesskey="`+key+`"`) || !strings.Contains(page, "<kbd>"+key+"</kbd>") {
			t.Errorf("key %s is given twice, or not shown", key)
		}
		seen[key] = true
	}
	if len(seen) < 15 {
		t.Errorf("keys %v", seen)
	}
	for do, caution := range map[string]string{"diagnose": "trust the meter", "replace": "trust the meter", "work": "trust the meter", "none": "trust the meter", "measure": "WITHOUT the isolation transformer", "test": "no certificate of safety"} {
		wants(t, s.get("/unit/"+tag+"/bench?do="+do), caution)
	}
	_, page = s.post("/unit/"+tag+"/bench/measure", vals("point", "leakage", "reading", "0.2 mA", "stage", "", "once", "m"))
	if n := strings.Count(page, "WITHOUT the isolation transformer"); n != 2 {
		t.Errorf("a leakage reading has its caution %d times, want beside the form and beside the reading", n)
	}
}

func BenchmarkTheBenchPage(b *testing.B) {
	s := copyOfInvented(b)
	at := "/unit/" + tagOf(b, s, "waits for parts") + "/bench?do=measure"
	for b.Loop() {
		s.get(at)
	}
}
