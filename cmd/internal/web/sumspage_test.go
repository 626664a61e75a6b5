package web_test

import (
	"html"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/chromedp/chromedp"
)

// The figures are those of package sums' tests, with their sources there.
func TestEachSumIsAnsweredByItsAddressAndAloneAsItIsTyped(t *testing.T) {
	s := newShop(t)
	for _, c := range []struct{ query, want string }{
		{"sum=datecode&codes=" + url.QueryEscape("T1 134-6320\nLS1 134-6405\nC4 134-7812 replaced"), "Not built before 1964-01-23, by LS1 (134-6405)"},
		{"sum=datecode&codes=134-6405&made=1962", "1962 is stated as the year made"},
		{"sum=datecode&codes=606-4-21&years=1960-69", "Proposed year made: 1964."},
		{"sum=datecode&codes=134-6320;113-6354", "Not read: read date code \"113-6354\": week 54"},
		{"sum=datecode&codes=x&made=soon", "want a year like 1967"},
		{"sum=value&markings=" + url.QueryEscape("50-30-30 MFD 450V; 4K7J"), "50 µF + 30 µF + 30 µF"},
		{"sum=value&markings=500+ohm&series=E96", "499 Ω (E96, -0.2 %)"},
		{"sum=value&markings=250&class=C", "Is it 250 pF or 250 µF?"},
		{"sum=colours&bands=yellow+violet+red+gold", "4.7 kΩ (E24)"},
		{"sum=dial&readings=" + url.QueryEscape("AM 600=600\nAM 1412=1400") + "&region=americas&year=1962", "that is tracking"},
		{"sum=dial&readings=663&region=americas", `role="img"`},
		{"sum=dial&readings=663&year=old", "want a whole number"},
		{"sum=level&am=95+mV&fm=47+mV&fmbelow=6", "FM is 6.1 dB below AM. At 6.0 dB"},
		{"sum=level&am=95+mV&fm=47+mV&fmbelow=10", "About equal is usual; 10.0 dB"},
		{"sum=level&am=95&fm=47&fmbelow=-1", "want a number of dB above 0"},
		{"sum=level&others=" + url.QueryEscape("60 dB; 66 dB; 72 dB"), "Their mean in power is 68.4 dB"},
		{"sum=touch&readings=0.35+V&network=iec60990&amplitude=peak&hz=60", "0.7 mA peak is 0.495 mA rms if it is sinusoidal."},
		{"sum=touch&readings=0.35+V", "WITHOUT the isolation transformer"},
		{"sum=discharge&capacitor=40+MFD&resistor=220K&start=350", "17.1 s"},
		{"sum=discharge&capacitor=40+MFD&resistor=220K&start=350", "use a licensed electrician if in doubt"},
		{"sum=discharge&capacitor=40+MFD", "no number found"},
	} {
		v, err := url.ParseQuery(strings.ReplaceAll(c.query, ";", "%3B"))
		if err != nil {
			t.Fatal(err)
		}
		wants(t, html.UnescapeString(s.get("/sums?"+v.Encode())), c.want)
		wants(t, html.UnescapeString(s.get("/sums/"+v.Get("sum")+"?"+v.Encode())), c.want)
	}
	if got := strings.TrimSpace(s.get("/sums/level?fmbelow=6&good=1&fault=3")); got != "" {
		t.Errorf("nothing asked is answered %q", got)
	}
	if status, _ := s.do(s.request(http.MethodGet, "/sums/tea-leaves", nil)); status != http.StatusNotFound {
		t.Errorf("a sum that is none gives %d", status)
	}
}

func TestSumsNeedNoShop(t *testing.T) {
	s := serveFolder(t, filepath.Join(t.TempDir(), "shop"))
	wants(t, s.get("/sums?sum=colours&bands=brown+black+green"), "1 MΩ")
	if _, err := os.Stat(filepath.Join(s.dir, "keys")); err == nil {
		t.Error("a sum made a shop")
	}
}

// reads writes readings of a unit down.
func reads(t testing.TB, s *served, tag string, readings ...events.ReadingTaken) {
	t.Helper()
	for _, r := range readings {
		b, _, err := app.Reading(r)
		if err == nil {
			_, err = s.shop.Record(tag, app.Who{}, b)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func TestReadingsOfAVisitAreHeldBesideEachOther(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	reads(t, s, tag, events.ReadingTaken{Point: "AM", Text: "310 mV", Stage: events.AsFound}, events.ReadingTaken{Point: "tuner out L", Measure: "audio-level", Text: "0.775 V", Stage: events.AsLeft},
		events.ReadingTaken{Point: "AM low", Measure: "dial-am", Text: "600", Conditions: "station 600"})
	unit := url.QueryEscape(tag)
	for query, want := range map[string]string{
		"reading=155+mV&point=FM&stage=as+found":                                     "As found: FM is 6.0 dB below AM. At 6.0 dB below or more",
		"reading=0.690+V&point=tuner+out+R&kind=audio-level&stage=as+left":           "As left: tuner out: Right is 1.0 dB below left.",
		"reading=1412&point=AM+high&kind=dial-am&stage=&conditions=station+1400+kHz": "AM: off by other amounts at the two ends, 0 kHz at 600 kHz and +12 kHz at 1400 kHz: that is tracking",
	} {
		wants(t, html.UnescapeString(s.get("/echo/reading?field=reading&unit="+unit+"&"+query)), want)
	}
	if got := s.get("/echo/reading?field=reading&unit=" + unit + "&reading=155+mV&point=FM&stage=as+left"); strings.Contains(got, "below AM") {
		t.Errorf("FM as left is held beside AM as found: %s", got)
	}
	reads(t, s, tag, events.ReadingTaken{Point: "FM", Text: "155 mV", Stage: events.AsFound})
	wants(t, s.get("/unit/"+tag+"/bench"), "As found: FM is 6.0 dB below AM.")
}

func TestAYearFromCodesIsTakenOverWithOneKeyOrClick(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	b := openTab(t, s)
	for name, take := range map[string]func(){
		"the key": func() {
			eval[bool](b, `document.activeElement.blur(), true`)
			b.do(chromedp.KeyEvent("y"))
		},
		"a click": func() { b.do(chromedp.Click(chromedp.CSS("button[data-fill]"))) },
	} {
		b.goTo("/unit/" + tag + "/bench?do=identify")
		b.do(chromedp.SendKeys(chromedp.CSS("#identify-evidence"), "date code"), chromedp.SendKeys(chromedp.CSS("#identify-reads"), "T1 134-6320, LS1 134-6405"))
		b.until(`document.querySelector('button[data-fill]')`)
		take()
		b.until(`document.querySelector('#identify-year').value === '1964'`)
		if at := eval[string](b, `location.pathname`); !strings.HasSuffix(at, "/bench") || eval[bool](b, `!!document.querySelector('[data-fill]')`) {
			t.Errorf("%s: the page is %s, and the offer still stands", name, at)
		}
		time.Sleep(400 * time.Millisecond) // until it is kept
		if status, _ := s.post("/unsent/drop", vals("kept-form", "identify", "kept-about", unitOf(t, s, tag), "back", "/unit/"+tag+"/bench?do=identify")); status != http.StatusOK {
			t.Fatalf("status %d", status)
		}
	}
}

func unitOf(t testing.TB, s *served, tag string) string {
	t.Helper()
	u, err := s.shop.AtBench(tag)
	if err != nil {
		t.Fatal(err)
	}
	return u.Unit
}

// Without script the form reads back and takes over by its own buttons, and saves
// nothing by it.
func TestAYearIsTakenOverWithoutScript(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	at := "/unit/" + tag + "/bench?"
	typed := vals("do", "identify", "maker", "Ostrel", "evidence", "date code", "reads", "134-6405", "reread", "yes")
	wants(t, s.get(at+typed.Encode()), `name="take" value="1964"`, "Not built before 1964-01-23", `value="134-6405"`)
	typed.Del("reread")
	typed.Set("take", "1964")
	wants(t, s.get(at+typed.Encode()), `id="identify-year" name="year" type="text" value="1964"`)
	typed.Set("year", "1962")
	wants(t, s.get(at+typed.Encode()), `name="year" type="text" value="1962"`)
	if past := s.get("/unit/" + tag); strings.Contains(past, "1964") {
		t.Error("reading back wrote something down")
	}
}
