package web_test

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/chromedp/chromedp"
)

// own are the words that the shop added.
func (s *served) own() (list []string) {
	s.t.Helper()
	for _, w := range must(s.shop.Words()) {
		if w.Added != "" {
			list = append(list, w.Table+" "+w.ID+" "+w.By+" "+w.Bench)
		}
	}
	return list
}

// A word that no table has is refused with those near it; the button beside that adds
// it and saves the entry, in a real browser and with all else that was typed.
func TestAWordThatIsInNoTableIsAddedWhereItWasRefused(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	b := openTab(t, s)
	b.goTo("/unit/" + tag + "/bench?do=diagnose&by=mk")
	b.at("/unit/" + tag + "/bench")
	b.do(chromedp.SendKeys(chromedp.CSS("#diagnose-symptom"), "crackles"), chromedp.SendKeys(chromedp.CSS("#diagnose-component"), "wall box door\n"))
	b.until(`document.querySelector('button[name=add-word]')`)
	b.until(`document.body.innerText.includes('Add “wall box door” to the components and save')`)
	if own := s.own(); len(own) != 0 {
		t.Fatalf("refused, and added: %v", own)
	}
	// Enter does what it always did: it saves nothing and adds nothing.
	must(chromedp.Run(b.ctx, chromedp.Evaluate[bool](`window.before = true`)))
	b.do(chromedp.SendKeys(chromedp.CSS("#diagnose-cause"), "worn\n"))
	b.until(`!window.before && document.querySelector('#diagnose-cause').value === 'worn' && document.querySelector('button[name=add-word]')`)
	if own := s.own(); len(own) != 0 {
		t.Fatalf("Enter added %v", own)
	}
	b.do(chromedp.Click(chromedp.CSS("button[name=add-word]")))
	b.until(`document.body.innerText.includes('Saved: word added to component: wall box door') && document.body.innerText.includes('Saved: fault')`)
	if own := s.own(); len(own) != 1 || own[0] != "component wall-box-door mk front" {
		t.Errorf("added: %v", own)
	}
	page := s.get("/unit/" + tag)
	wants(t, page, "fault: wall box door, cause worn")
	wants(t, s.get("/words"), "wall box door", "wall-box-door", "2026-11-25", "mk", "the shop&#39;s own")

	// The next time it is a word like any other, also for the command line.
	_, err := s.shop.Record(tag, app.Who{}, app.Faults("", fault("wall box door"))...)
	if err != nil {
		t.Error(err)
	}
}

func TestOnlyTheWordThatStandsInTheFormIsAdded(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	at := "/unit/" + tag + "/bench/diagnose"
	send := func(component, mode, add string) (int, string) {
		form := url.Values{"component": {component}, "mode": {mode}, "once": {fmt.Sprint(component, mode, add)}}
		if add != "" {
			form.Set("add-word", add)
		}
		return s.post(at, form)
	}
	status, page := send("filter capacitr", "", "")
	if status != http.StatusUnprocessableEntity {
		t.Errorf("status %d", status)
	}
	wants(t, page, `value="component:filter capacitr"`, "Perhaps filter-capacitor?")
	// The slip is mended and the wrong button pressed: what is right is saved, and no more.
	if status, _ = send("filter capacitor", "", "component:filter capacitr"); status != http.StatusOK {
		t.Errorf("status %d", status)
	}
	if own := s.own(); len(own) != 0 {
		t.Errorf("added: %v (status %d)", own, status)
	}
	// Two new words: one after the other, and the entry once both are there.
	_, page = send("wall box door", "sulks", "")
	wants(t, page, `value="component:wall box door"`)
	_, page = send("wall box door", "sulks", "component:wall box door")
	wants(t, page, `value="failure mode:sulks"`, "is not among the failure modes")
	if status, page = send("wall box door", "sulks", "failure mode:sulks"); status != http.StatusOK {
		t.Errorf("status %d: %.2000s", status, page)
	}
	// A word that a device or a hand makes up is a word; a table is not.
	if status, _ = send("a", "", "table of nobody:a"); status == http.StatusOK || status >= 500 {
		t.Errorf("a table that is none: status %d", status)
	}
	if own := s.own(); !slices.Equal(own, []string{"component wall-box-door  front", "failure mode sulks  front"}) {
		t.Errorf("added: %v", own)
	}
}

func TestAWordIsAddedOnItsOwnPageOnce(t *testing.T) {
	s := newShop(t)
	page := s.get("/words")
	wants(t, page, "None was added so far", "Components", "filter-capacitor", "Kinds of work")
	add := func(name, id string) (int, string) {
		return s.post("/words", url.Values{"table": {"kind of set"}, "name": {name}, "by": {"ro"}, "once": {id}})
	}
	if status, page := add("Wall jukebox", "1"); status != http.StatusOK || !strings.Contains(page, "Saved: word added to kind of set: Wall jukebox") {
		t.Errorf("status %d: %.2000s", status, page)
	}
	for name, words := range map[string]string{"wall  jukebox": "is in the table kind of set already", "???": "needs letters"} {
		status, page := add(name, name)
		if status != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d", name, status)
		}
		wants(t, page, words)
	}
	if own := s.own(); !slices.Equal(own, []string{"kind of set wall-jukebox ro front"}) {
		t.Errorf("added: %v", own)
	}
	// The form that takes a unit in has a word of a table too.
	form := url.Values{"serial": {"W1"}, "maker": {"Ostrel"}, "model": {"WJ"}, "complaint": {"skips"}, "kind": {"hearing lamp"}, "once": {"r1"}}
	_, page = s.post("/receive", form)
	wants(t, page, `value="kind of set:hearing lamp"`)
	form.Set("add-word", "kind of set:hearing lamp")
	if status, page := s.post("/receive", form); status != http.StatusOK || !strings.Contains(page, "hearing lamp") {
		t.Errorf("status %d: %.2000s", status, page)
	}
}

func fault(component string) events.FaultFound { return events.FaultFound{Component: component} }
