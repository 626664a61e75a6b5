package web_test

import (
	"net/http"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/chromedp/chromedp/kb"
)

// testSheet has a check of each sort.
var testSheet = events.TestSheetDefined{Name: "small", KindOfSet: "table-radio", Checks: []events.Check{
	{Label: "plays", Measure: "check"},
	{Label: "level on AM", Point: "AM", Measure: "audio-level-am"},
	{Label: "FM as loud as AM", Point: "FM", Measure: "audio-level-fm", Low: "-3 dB", High: "3 dB", Beside: "AM", OnlyWhere: "FM"},
	{Label: "hot check", Point: "metal", Measure: "hot-check-voltage", High: "0.75 V"},
}}

// withSheet is a table radio on the bench of a shop that has a sheet for it.
func withSheet(t *testing.T) (*served, string) {
	t.Helper()
	s := newShop(t)
	got, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", KindOfSet: "table-radio", Complaint: "hums"}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.shop.DefineSheet(testSheet, app.Who{}); err != nil {
		t.Fatal(err)
	}
	return s, got.Tag
}

// -7.51 dB is 20 log(40/95), IEC 60027-3; 0.75 V is the limit of many makers'
// service manuals.
func TestATestSheetIsWalkedByKeyboardAlone(t *testing.T) {
	s, tag := withSheet(t)
	b := openTab(t, s)
	b.goTo("/unit/" + tag + "/bench")
	b.at("/unit/" + tag + "/bench")
	b.keys("l")
	b.focused("test-r1")
	b.says("4 checks, as left")
	b.keys("y") // one key, and on
	b.focused("test-r2")
	b.until(`document.querySelector('#j-1').innerText === 'within'`)
	b.keys("95 mV" + kb.Enter)
	b.focused("test-r3")
	b.keys("40 mV")
	b.until(`document.querySelector('#j-3').innerText.includes('-7.51 dB is below -3 dB of AM')`)
	b.keys(kb.Tab + "a weak station" + kb.Enter)
	b.focused("test-r4")
	b.keys("0.9 V")
	b.until(`document.querySelector('#j-4').innerText.toLowerCase().includes('off: 900 mv is above 0.75 v')`)
	b.until(`document.querySelector('#sum').innerText.includes('4 of 4 checks made, 2 off')`)

	// What is typed is kept, and the terminal goes on with it.
	b.until(`(fetch('/unit/` + tag + `/test').then(r => r.text()).then(t => window.there = t.includes('value="0.9 V"')), window.there)`)
	found, _, err := s.shop.Lookup(tag, 1)
	if err != nil {
		t.Fatal(err)
	}
	kept, _, ok, err := s.shop.KeptTest(found[0].Unit)
	if err != nil || !ok || kept.Checks[3] != (app.CheckTyped{Reading: "40 mV", Words: "a weak station"}) {
		t.Errorf("kept is %+v, %v, %v", kept, ok, err)
	}

	// Passed it has not: nothing is saved, the row says why, and the keyboard is there.
	b.until(`(document.querySelector('#test-verdict').focus(), document.activeElement.id === 'test-verdict')`)
	b.keys("p" + kb.Enter)
	b.says("It has not passed")
	b.focused("test-r4")
	b.says("No words help here")
	if got := linesOf(t, s, tag); len(got) != 1 {
		t.Errorf("written is %q", got)
	}
	for range len("0.9 V") {
		b.keys(kb.End + kb.Backspace)
	}
	b.keys("0.2 V")
	b.until(`document.querySelector('#j-4').innerText === 'within'`)
	b.until(`(document.querySelector('#test-verdict').focus(), document.activeElement.id === 'test-verdict')`)
	b.keys(kb.Enter)
	b.says("Saved: final test passed")
	b.forget() // Chromium notes the status of a refused form too
	want := []string{"received: “hums”", "plays yes, as left", "AM 95 mV, as left", "FM 40 mV, as left, limits within 3 dB of AM",
		"metal 0.2 V, as left, limits at most 0.75 V", "final test passed, despite check 3: a weak station"}
	if got := linesOf(t, s, tag); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("written is\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	wants(t, s.get("/unit/"+tag), "Final test by the sheet small: passed", "4 of 4 checks made, 3 within", "passed despite: a weak station")
}

func TestATestSheetGoesWithoutScriptAndSavesOnce(t *testing.T) {
	s, tag := withSheet(t)
	at := "/unit/" + tag + "/test"
	page := s.get(at)
	form := func(pairs ...string) (int, string) {
		return s.post(at, vals(append([]string{"once", once(t, page, "test"), "was-sheet", hidden(t, page, "test", "was-sheet"), "was-stage", "as left"}, pairs...)...))
	}
	// The enter key in a field sends the form, and no verdict was chosen: all is judged.
	status, drawn := form("r1", "n", "r2", "95 mV", "r3", "none", "verdict", "")
	if status != http.StatusUnprocessableEntity {
		t.Errorf("status %d", status)
	}
	wants(t, drawn, "choose one, or none yet", "<strong>off:</strong> it is no, and should be yes", `value="95 mV"`, "left out")
	wants(t, s.get(at), `value="95 mV"`, "never saved")

	status, drawn = form("r1", "n", "r2", "95 mV", "r3", "none", "r4", "0.2 V", "verdict", "passed")
	if status != http.StatusUnprocessableEntity {
		t.Errorf("status %d", status)
	}
	wants(t, drawn, "check 1, plays: it is no", "say why the set passes all the same")
	for range 2 { // an impatient hand
		if status, drawn = form("r1", "n", "r2", "95 mV", "r3", "none", "r4", "0.2 V", "verdict", "failed", "by", "jo"); status != http.StatusOK {
			t.Fatalf("status %d: %s", status, drawn)
		}
	}
	want := []string{"received: “hums”", "plays no, as left", "AM 95 mV, as left", "metal 0.2 V, as left, limits at most 0.75 V", "final test failed, left out check 3: there is none: FM"}
	if got := linesOf(t, s, tag); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("written is\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	wants(t, s.get(at), `placeholder="95 mV, read already"`)
}

func TestSheetsAreTakenChangedAndRefusedOnThePage(t *testing.T) {
	s := newShop(t)
	got, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "T-1", Serial: "E17-17751", KindOfSet: "tuner", Complaint: "deaf"}})
	if err != nil {
		t.Fatal(err)
	}
	at := "/unit/" + got.Tag + "/test"
	wants(t, s.get(at), "The shop has no test sheet for it", "tuner, 12 checks")
	status, page := s.post("/sheets/take", vals("name", "tuner", "back", at))
	if status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "12 checks, as left", "test sheet tuner with 12 checks")

	sheet := s.get("/sheet?name=tuner")
	wants(t, sheet, "89.9 to 90.3 MHz", "47 CFR 73.201", "limits = &#34;at least 20 dB&#34;")
	define := func(text string) (int, string) {
		return s.post("/sheet", vals("was-name", "tuner", "once", once(t, s.get("/sheet?name=tuner"), "sheet"), "text", text))
	}
	status, page = define("name = \"tuner\"\r\nkind = \"tuner\"\r\n[[check]]\r\nlabel = \"FM\"\r\nlimit = \"1\"\r\n")
	if status != http.StatusUnprocessableEntity {
		t.Errorf("status %d", status)
	}
	wants(t, page, "check.limit", "means nothing here", "limit = &#34;1&#34;</textarea>")
	status, page = define("name = \"tuner\"\r\nkind = \"tuner\"\r\n[[check]]\r\nlabel = \"plays\"\r\nmeasure = \"check\"\r\n")
	if status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	wants(t, page, "test sheet tuner with 1 check", "in the place of 1 earlier one")
	wants(t, s.get(at), "1 check, as left")
	wants(t, s.get("/unit/"+receive(t, s, "E99-1")+"/test"), "It has no test sheet")
}
