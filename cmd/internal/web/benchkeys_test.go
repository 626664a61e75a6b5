package web_test

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/sharedtest"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// focused waits until the keyboard is in a field.
func (b *tab) focused(id string) {
	b.t.Helper()
	b.until(`document.readyState === 'complete' && document.activeElement.id === '` + id + `'`)
}

// says waits until the page says something.
func (b *tab) says(text string) {
	b.t.Helper()
	b.until(`document.readyState === 'complete' && document.body.innerText.includes(` + quoted(text) + `)`)
}

func quoted(text string) string { return "`" + strings.ReplaceAll(text, "`", "") + "`" }

// usualUnit is a unit that was repaired and shipped, for others of its model to
// begin with what was usual.
func usualUnit(t testing.TB, s *served) {
	t.Helper()
	tag := receive(t, s, "E17-11111")
	record := func(bodies ...events.Body) {
		t.Helper()
		if _, err := s.shop.Record(tag, app.Who{}, bodies...); err != nil {
			t.Fatal(err)
		}
	}
	for _, r := range []events.ReadingTaken{
		{Point: "AM", Text: "92 mV", Stage: events.AsLeft, Instrument: "VTVM", Limits: "80 mV"},
		{Point: "B+", Text: "285 V", Stage: events.AsLeft, Measure: "supply-voltage", Instrument: "DMM"}} {
		read, _, err := app.Reading(r)
		if err != nil {
			t.Fatal(err)
		}
		record(read)
	}
	record(events.PartReplaced{Designator: "C1", Component: "filter-capacitor", Reason: "preventive"})
	if _, err := s.shop.Ship(tag, app.Who{}, events.Shipped{Outcome: "repaired", Charge: 14500, Currency: "USD", WarrantyDays: 90, Carrier: "Quickstile Parcel"}); err != nil {
		t.Fatal(err)
	}
}

// From the counter to the parcel without a mouse.
func TestAVisitGoesFromReceivedToShippedByKeyboardAlone(t *testing.T) {
	s := newShop(t)
	usualUnit(t, s)
	b := openTab(t, s)
	b.goTo("/receive")
	b.focused("receive-serial")
	b.keys("e17-11111")
	b.says("was here before: 1 visit") // while it is typed
	for range len("11111") {
		b.keys(kb.Backspace)
	}
	b.keys("17750" + kb.Tab + "Ostrel" + kb.Tab + "R-950" + kb.Tab + "hums, and smells" + kb.Tab + "Odile Marchbanks")
	for range 3 {
		b.keys(kb.Shift + kb.Tab) // nothing; the shift key alone
	}
	b.keys(kb.Enter)
	b.says("New here; its tag is")
	tag := eval[string](b, `document.querySelector('h1 .tag').innerText`)
	bench := "/unit/" + tag + "/bench"
	b.at(bench)

	b.keys("d")
	b.focused("diagnose-finding")
	b.says("trust the meter, not the bleeder") // where a set is opened
	b.keys("filter caps leaky")
	b.until(`document.querySelector('#diagnose-finding-read').innerText.includes('filter capacitor leaky')`)
	b.keys(kb.Enter)
	b.says("Saved: fault: filter capacitor leaky")
	b.focused("diagnose-finding") // empty, for the next of its kind
	if got := eval[string](b, `document.activeElement.value`); got != "" {
		t.Errorf("the next form has %q in it", got)
	}

	b.keys(kb.Escape + "r")
	b.focused("replace-designator")
	b.keys("C14" + kb.Tab + "47 MMF")
	b.until(`document.querySelector('#replace-in-read').innerText === '= 47 pF'`)
	if got := eval[string](b, `document.querySelector('#replace-reason').value`); got != "preventive" {
		t.Errorf("the reason begins as %q", got)
	}
	b.keys(kb.Enter)
	b.says("Saved: part replaced: C14")
	b.focused("replace-designator")

	// The points of the last unit of its model come one after the other, with how
	// they were read there.
	b.keys(kb.Escape + "m")
	b.focused("measure-point")
	b.says("WITHOUT the isolation transformer")
	if got := eval[string](b, `['point', 'stage', 'instrument', 'limits'].map(n => document.querySelector('#measure-' + n).value).join()`); got != "AM,as left,VTVM,80 mV" {
		t.Errorf("the form begins with %q", got)
	}
	b.keys(kb.Tab + "95 mV")
	b.until(`document.querySelector('#measure-reading-read').innerText.includes('95 mV, Audio level, AM')`)
	b.keys(kb.Enter)
	b.says("Saved: AM 95 mV, as left, limits 80 mV, with VTVM")
	b.focused("measure-point")
	if got := eval[string](b, `document.activeElement.value`); got != "B+" {
		t.Errorf("the next point is %q", got)
	}
	b.keys("ripple" + kb.Tab + "12 mV" + kb.Enter) // what was in the field is typed over
	b.says("Saved: ripple 12 mV, as left")         // and nothing of the other point is left
	b.focused("measure-point")

	b.keys(kb.Escape + "s")
	b.focused("ship-outcome")
	if got := eval[string](b, `['outcome', 'charge', 'warranty', 'carrier'].map(n => document.querySelector('#ship-' + n).value).join()`); got != "repaired,145.00,90,Quickstile Parcel" {
		t.Errorf("the form begins with %q", got)
	}
	b.keys(kb.Enter) // from a list too
	b.says("This visit is closed: shipped 2026-11-25, repaired")
	b.clean("from the counter to the parcel")
	want := []string{"received: “hums, and smells”", "fault: filter capacitor leaky, “filter caps leaky”", "part replaced: C14 capacitor, in 47 MMF, preventive",
		"AM 95 mV, as left, limits 80 mV, with VTVM", "ripple 12 mV, as left", "shipped, repaired, by Quickstile Parcel, charge 145.00 USD, 90 days of warranty"}
	if got := linesOf(t, s, tag); strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("written is\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestTheKeysOfTheBench(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	b := openTab(t, s)
	b.goTo(bench)
	b.at(bench)

	// A scanner's letters, which come at once, open nothing.
	eval[any](b, `[...'rwm-99'].forEach(key => document.body.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true}))), 1`)
	time.Sleep(300 * time.Millisecond) // longer than a letter stands alone
	if got := eval[string](b, `location.search`); got != "" {
		t.Errorf("a scan led to %s", got)
	}
	b.keys("o")
	b.focused("note-text")
	b.keys("one" + kb.Shift) // a letter in a field is a letter
	b.do(chromedp.KeyEvent(kb.Enter, chromedp.KeyModifiers(kb.ModifierShift)))
	b.keys("two" + kb.Enter + kb.Enter) // an impatient hand
	b.says("Saved: note: one")
	b.focused("note-text")
	if got := linesOf(t, s, tag); len(got) != 2 || got[1] != "note: one\ntwo" {
		t.Errorf("written is %q", got)
	}

	// Correct: the entries come to choose from, by the keyboard.
	b.keys(kb.Escape + "c")
	b.until(`document.readyState === 'complete' && document.activeElement.matches('.pick a')`)
	b.keys(kb.Enter)
	b.until(`document.readyState === 'complete' && document.activeElement.id === 'correct-set-text'`)
	b.keys(", three" + kb.Enter) // the keyboard stands behind what is there
	b.says("Saved: ")
	if got := linesOf(t, s, tag); len(got) != 2 || got[1] != "note: one\ntwo, three" {
		t.Errorf("written is %q", got)
	}
	b.clean("keys")
}

func TestWhatIsTypedOutlivesAReloadAndAServerThatStops(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	bench := "/unit/" + tag + "/bench"
	b := openTab(t, s)
	b.goTo(bench + "?do=work")
	b.focused("work-work")
	b.keys("cleaned" + kb.Tab + "swi")
	b.until(`(fetch('` + bench + `?do=work').then(r => r.text()).then(t => window.there = t.includes('value="swi"')), window.there)`)
	b.do(chromedp.Reload())
	b.says("never saved")
	b.until(`document.querySelector('#work-work').value === 'cleaned' && document.querySelector('#work-component').value === 'swi'`)
	b.clean("reload")

	// The program ends; somebody types on and saves; it is started anew.
	address := s.web.Address()
	s.end()
	b.until(`(document.querySelector('#work-component').focus(), document.activeElement.id === 'work-component')`)
	b.keys(kb.End + "tch" + kb.Enter)
	b.says("does not answer")
	if got := eval[string](b, `document.querySelector('#work-component').value`); got != "switch" {
		t.Errorf("the field has %q", got)
	}
	s = serveAt(t, s.dir, strings.TrimSuffix(strings.TrimPrefix(address, "http://"), "/"))
	b.says("does not know this browser")
	start, err := url.Parse(s.web.Start())
	if err != nil {
		t.Fatal(err)
	}
	eval[any](b, `fetch('/start?`+start.RawQuery+`'), 1`) // as another tab of the browser would
	b.says("Saved: cleaned switch")                       // it goes on by itself
	if got := linesOf(t, s, tag); len(got) != 2 || got[1] != "cleaned switch" {
		t.Errorf("written is %q", got)
	}
}

func TestF07_OnAFullDiskThePageSaysSoAndKeepsTheForm(t *testing.T) {
	disk := sharedtest.SmallDisk(t, "size=300m")
	s := foundIn(t, filepath.Join(disk, "shop"))
	tag := receive(t, s, "E17-17750")
	b := openTab(t, s)
	b.goTo("/unit/" + tag + "/bench?do=work")
	b.focused("work-work")
	fill := filepath.Join(disk, "fill")
	fillUp(t, fill)
	b.keys("cleaned")
	b.says("Is the disk full?") // while somebody types
	b.keys(kb.Enter)
	b.says("the disk is full:")
	b.until(`document.querySelector('#work-work').value === 'cleaned'`)
	if err := os.Remove(fill); err != nil {
		t.Fatal(err)
	}
	b.until(`(document.querySelector('#work-work').focus(), document.activeElement.id === 'work-work')`)
	b.keys(kb.Enter)
	b.says("Saved: cleaned")
	if got := linesOf(t, s, tag); len(got) != 2 {
		t.Errorf("written is %q", got)
	}
}
