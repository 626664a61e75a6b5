package web_test

import (
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

func TestTheLookupGoesByKeyboardAlone(t *testing.T) {
	s := newShop(t)
	tag, other := receive(t, s, "E17-17750"), receive(t, s, "E17-88123")
	b := openTab(t, s)
	b.keys("/")
	b.until(`document.activeElement.id === 'q'`)
	b.keys("e17")
	b.until(`document.querySelectorAll('#looked-up a').length === 2`)
	b.keys(kb.ArrowDown + kb.ArrowDown)
	b.until(`document.activeElement.matches('#looked-up li:nth-child(2) a')`)
	b.keys(kb.ArrowUp)
	b.until(`document.activeElement.matches('#looked-up li:nth-child(1) a')`)
	b.keys(kb.Enter)
	b.at("/unit/" + other) // the one that came last is first

	b.keys("/")
	b.keys("17750")
	b.until(`document.querySelectorAll('#looked-up a').length === 1`)
	b.keys(kb.Escape)
	b.until(`document.activeElement.id === 'q' && document.querySelectorAll('#looked-up a').length === 0`)
	b.keys(tag + kb.Enter) // Escape left the words chosen: typing replaces them
	b.at("/unit/" + tag)

	// A scanner types wherever the page is, fast, and ends with Enter.
	b.scans(other)
	b.at("/unit/" + other)
	b.clean("lookup")
}

// scans types as a scanner does, faster than keys can be sent one by one to a browser on
// a busy machine.
func (b *tab) scans(text string) {
	b.t.Helper()
	eval[bool](b, `[...'`+text+`', 'Enter'].every((key) => document.body.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true})) || key === 'Enter')`)
}

func TestAnOpenPageShowsWithinAMomentWhatAnotherHandWrites(t *testing.T) {
	s := newShop(t)
	b := openTab(t, s)
	b.until(`document.body.innerText.includes('Nothing stands on the benches')`)
	tag := receive(t, s, "E17-17750")
	b.until(`document.querySelector('#benches .tag')?.innerText === '` + tag + `'`)
	if _, err := s.shop.Wait(tag, app.Who{}, events.WaitingBegun{For: "parts"}); err != nil {
		t.Fatal(err)
	}
	b.until(`document.querySelector('#benches .waits')?.innerText === 'parts'`)

	// Two windows hear of it, and one that was hidden looks anew.
	b.goTo("/unit/" + tag)
	if _, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "dial string renewed"}); err != nil {
		t.Fatal(err)
	}
	b.until(`document.body.innerText.includes('dial string renewed')`)
	b.clean("live")
}

func TestTheKeyboardSeesWhereItIs(t *testing.T) {
	s := newShop(t)
	receive(t, s, "E17-17750")
	b := openTab(t, s)
	b.keys(kb.Tab)
	if got := eval[string](b, `document.activeElement.innerText`); got != "Skip to the page's content" {
		t.Errorf("the first stop is %q", got)
	}
	for range 8 {
		b.keys(kb.Tab)
		if got := eval[string](b, `(() => { const s = getComputedStyle(document.activeElement); return document.activeElement === document.body ? 'seen' : s.outlineStyle === 'none' ? document.activeElement.outerHTML : 'seen' })()`); got != "seen" {
			t.Errorf("focus is not seen on %s", got)
		}
	}
}

func TestWhatIsTypedAndNotSentStaysWhenSomethingElseIsWritten(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	receive(t, s, "E17-17570") // perhaps the same: there is a form
	b := openTab(t, s)
	b.goTo("/unit/" + tag)
	b.do(chromedp.SendKeys(chromedp.CSS(`[id^=likely] input[name=why]`), "its label"), chromedp.Focus(chromedp.CSS("#q")))
	if _, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "meanwhile"}); err != nil {
		t.Fatal(err)
	}
	b.until(`!document.getElementById('news').hidden`)
	if got := eval[string](b, `document.querySelector('[id^=likely] input[name=why]').value`); got != "its label" {
		t.Errorf("typed: %q", got)
	}
	b.clean("typing")
}

func TestAPageWhoseProgramEndedSaysSo(t *testing.T) {
	s := newShop(t)
	b := openTab(t, s)
	b.until(`document.getElementById('gone').hidden`)
	s.end()
	b.until(`!document.getElementById('gone').hidden`)
}
