package web_test

import (
	"errors"
	"flag"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"oldhand/cmd/internal/web"

	"github.com/chromedp/chromedp"
)

var shots = flag.String("shots", "", "the folder that pictures of the pages are written to; without one none are taken")

// shot keeps a picture of the whole page, if pictures are wanted. To take one is a quarter
// of what a look costs.
func (b *tab) shot(name string) {
	b.t.Helper()
	if *shots == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Fatal(err)
	}
	keepShot(b.t, name+".png", png)
}

// keepShot writes what was printed or drawn into the folder of pictures, if there is one.
func keepShot(t testing.TB, name string, picture []byte) {
	t.Helper()
	if *shots == "" {
		return
	}
	if err := errors.Join(os.MkdirAll(*shots, 0o755), os.WriteFile(filepath.Join(*shots, name), picture, 0o644)); err != nil {
		t.Fatal(err)
	}
}

// look is a page as it is looked at: its name, and where it has something to
// show.
type look struct {
	page, title string // title tells several looks at one page apart
	path        string
	empty       bool       // in a folder without a shop
	wrong       bool       // it shows an error
	do          func(*tab) // before it is looked at
}

// everyLook is each page with something to see. A page without a row fails the
// test below.
func everyLook(t testing.TB, s *served) []look {
	return []look{
		{page: "today", path: "/"},
		{page: "find", title: "customer", path: "/find?q=" + escape("ma")},
		{page: "find", title: "nothing", path: "/find?q=" + escape("nothing-like-it")},
		{page: "find", title: "typed", path: "/", do: func(b *tab) {
			b.do(chromedp.SendKeys(chromedp.CSS("#q"), "660"))
			b.until(`document.querySelectorAll('#looked-up a').length > 2`)
		}},
		{page: "unit", title: "unclear", path: "/unit/10091", wrong: true},
		{page: "unit", path: "/unit/" + tagOf(t, s, "a unit that was here six times")},
		{page: "unit", title: "conflict", path: "/unit/" + tagOf(t, s, "two corrections of one fault that did not see each other: a conflict to settle")},
		{page: "unit", title: "joined", path: "/unit/" + tagOf(t, s, "one unit entered twice under two tags, and joined")},
		{page: "unit", title: "corrected", path: "/unit/" + tagOf(t, s, "a reading mistyped, then corrected")},
		{page: "unit", title: "waiting", path: "/unit/" + tagOf(t, s, "waits for parts")},
		{page: "unit", title: "likely", path: "/unit/" + tagOf(t, s, "a serial mistyped at the second visit, not joined: offered as a likely match")},
		{page: "begin", path: "/begin", empty: true},
		{page: "files", path: s.photographed(tagOf(t, s, "waits for parts"))},
		{page: "files", title: "elsewhere", path: "/unit/" + tagOf(t, s, "a photograph attached") + "/files"},
		{page: "unit", title: "photographed", path: "/unit/" + tagOf(t, s, "waits for parts")},
		{page: "record", path: "/unit/" + tagOf(t, s, "a reading mistyped, then corrected") + "/record"},
		{page: "record", title: "conflict", path: "/unit/" + tagOf(t, s, "two corrections of one fault that did not see each other: a conflict to settle") + "/record?contact=yes"},
		{page: "record", title: "sixth", path: "/unit/" + tagOf(t, s, "a unit that was here six times") + "/record?visit=2&notes=yes"},
		{page: "tags", path: "/tags"},
		{page: "tags", title: "one", path: "/tags?units=" + tagOf(t, s, "a reading mistyped, then corrected")},
		{page: "tags", title: "benches", path: "/tags?benches=yes&size=50x25&paper=letter"},
		{page: "tags", title: "wrong", path: "/tags?units=" + tagOf(t, s, "a reading mistyped, then corrected") + "&size=20x10", wrong: true},
		{page: "receive", path: "/receive"},
		{page: "receive", title: "again", path: "/receive?unit=" + tagOf(t, s, "a unit that was here six times")},
		{page: "bench", path: "/unit/" + tagOf(t, s, "waits for parts") + "/bench"},
		{page: "bench", title: "measure", path: "/unit/" + tagOf(t, s, "waits for parts") + "/bench?do=measure"},
		{page: "bench", title: "identify", path: "/unit/" + tagOf(t, s, "waits for parts") + "/bench?do=identify", do: func(b *tab) {
			b.do(chromedp.SendKeys(chromedp.CSS("#identify-evidence"), "date code"), chromedp.SendKeys(chromedp.CSS("#identify-reads"), "T1 134-6320, LS1 134-6405, C4 134-7812 replaced"))
			b.until(`document.querySelector('#identify-reads-read').textContent.includes('1964-01-23')`)
		}},
		{page: "bench", title: "replace", path: "/unit/" + tagOf(t, s, "waits for parts") + "/bench?do=replace&by=mk"},
		{page: "bench", title: "correct", path: "/unit/" + tagOf(t, s, "waits for parts") + "/bench?do=correct"},
		{page: "bench", title: "closed", path: "/unit/" + tagOf(t, s, "a unit that was here six times") + "/bench?do=ship"},
		{page: "bench", title: "noword", path: "/unit/" + tagOf(t, s, "waits for parts") + "/bench?do=diagnose", wrong: true, do: func(b *tab) {
			must(chromedp.Run(b.ctx, chromedp.Evaluate[string](`document.querySelector('#diagnose-component').value = ''`)))
			b.do(chromedp.SendKeys(chromedp.CSS("#diagnose-component"), "filter capacitr\n"))
			b.until(`document.querySelector('button[name=add-word]')`)
		}},
		{page: "words", path: "/words"},
		{page: "test", path: "/unit/" + tagOf(t, s, "waits for parts") + "/test"},
		{page: "test", title: "found", path: "/unit/" + tagOf(t, s, "waits for parts") + "/test?stage=as+found"},
		{page: "sheets", path: "/sheets"},
		{page: "sheet", path: "/sheet?name=tuner"},
		{page: "sheet", title: "new", path: "/sheet"},
		{page: "fleet", path: "/fleet"},
		{page: "question", title: "rarity", path: "/fleet/rarity"},
		{page: "question", title: "failures", path: "/fleet/failures"},
		{page: "question", title: "failures-model", path: "/fleet/failures?by=model"},
		{page: "question", title: "turnaround", path: "/fleet/turnaround"},
		{page: "question", title: "turnaround-year", path: "/fleet/turnaround?by=year"},
		{page: "question", title: "turnaround-outcome", path: "/fleet/turnaround?by=outcome"},
		{page: "question", title: "comebacks", path: "/fleet/comebacks"},
		{page: "question", title: "parts", path: "/fleet/parts"},
		{page: "question", title: "year", path: "/fleet/year?year=2024"},
		{page: "question", title: "outcomes-kind", path: "/fleet/outcomes?by=kind"},
		{page: "question", title: "norms", path: "/fleet/norms"},
		{page: "question", title: "norms-point", path: "/fleet/norms?by=point"},
		{page: "question", title: "none", path: "/fleet/parts?maker=Nobody"},
		{page: "units", path: "/fleet/parts/units?component=coupling-capacitor&value=" + escape("4.7 µF")},
		{page: "units", title: "fault", path: "/fleet/failures/units?by=decade&component=filter-capacitor&group=1960s&mode=leaky"},
		{page: "units", title: "none", path: "/fleet/parts/units?component=gremlin"},
		{page: "year", path: "/year"},
		{page: "year", title: "past", path: "/year/2024"},
		{page: "model", path: "/model/Pellowick/PK-62%20Stereo"},
		{page: "import", path: "/import"},
		{page: "book", path: s.give("attic book.csv", []byte(smallBook))},
		{page: "book", title: "odd", path: s.give("odd.csv", []byte("alpha,beta,gamma,delta\n3/4/1988,Ostrel,R-950,E17-1\n"))},
		{page: "book", title: "taken", path: s.taken("front book.csv", smallBook)},
		{page: "sums", path: "/sums"},
		{page: "sums", title: "dial", path: "/sums?sum=dial&readings=" + escape("AM 600=600\nAM 1003\nAM 1412=1400\nFM 94.62=94.7\nFM 88") + "&region=americas&year=1962"},
		{page: "sums", title: "codes", path: "/sums?sum=datecode&codes=" + escape("T1 134-6320\nLS1 134-6405\n606-4-21\nC4 134-7812 replaced\n113-6354")},
		{page: "sums", title: "touch", path: "/sums?sum=touch&readings=0.35+V&network=iec60990&amplitude=peak&limit=" + escape("0.7 mA peak"), empty: true},
		{page: "benches", path: "/benches"},
		{page: "retire", path: "/benches/retire/2"},
		{page: "bundle", path: gathered(t, s)},
		{page: "release", path: "/benches/release/3"}, // with something to release: see benches_test.go
		{page: "cluster", path: "/cluster"},
		{page: "phones", path: "/phones"},
		{page: "backups", title: "none", path: "/backups"},
		{page: "doctor", title: "ill", path: "/doctor"},
		{page: "backups", path: "/backups", do: func(b *tab) { backedUp(s, ""); b.goTo("/backups") }},
		{page: "backups", title: "drilled", path: "/backups", do: func(b *tab) { drilled(s); b.goTo("/backups") }},
		{page: "doctor", path: "/doctor", do: func(b *tab) {
			checkedWhole(s)
			b.goTo("/doctor")
			b.do(chromedp.Click(".sound summary"))
		}},
	}
}

// smallBook is an invented book with a row that can't be taken, a finding in words
// of its own and a serial that was mistyped.
const smallBook = `Job,Date in,Date out,Customer,City,Make,Model,Ser#,Yr,Complaint,Found,Parts used,AM mV,FM mV,Charge,Shelf
901,3/14/1988,4/2/1988,Rosa Tilden,Alder Mill,Ostrel,R-950,K71-40213,1961,hums,filter caps leaky,C1 50-30-30 MFD,93,87,$84.00,B2
902,5/20/1989,6/1/1989,Rosa Tilden,Alder Mill,Ostrel,R-950,K71-40231,1961,no sound,output transformer open; mice,T2,80,41,$61.50,B2
903,13/45/1989,,Emil Vance,North Quay,Corvane,MS-40,Q1-1,,one station dead,,,,,,A1
904,9/9/1990,,Emil Vance,North Quay,Corvane,MS-40,Q1-1,,one station dead,selector sw dirty,,,,,A1
`

var ways = []looks{{"light", 1200, 900}, {"dark", 1200, 900}, {"light", 390, 844}, {"dark", 390, 844}}

// mostBytes is how large a page may be, without what it shows besides text.
const mostBytes = 100_000

func TestEveryPageIsSoundInEveryWayItIsLookedAt(t *testing.T) {
	if testing.Short() {
		t.Skip("looks at every page in four ways")
	}
	full, empty := copyOfInvented(t), serveFolder(t, filepath.Join(t.TempDir(), "shop"))
	tabs := map[bool]*tab{false: openTab(t, full), true: openTab(t, empty)}
	source := readAxe(t)
	looked := map[string]bool{}
	for _, l := range everyLook(t, full) {
		looked[l.page] = true
		s := choose(l.empty, empty, full)
		if _, body := s.do(s.request(http.MethodGet, l.path, nil)); len(body) > mostBytes {
			t.Errorf("%s has %d bytes, at most %d", l.path, len(body), mostBytes)
		}
		t.Run(l.page+l.title, func(t *testing.T) {
			b := tabs[l.empty]
			come(t, b, l)
			for _, way := range ways {
				t.Run(way.String(), func(t *testing.T) { lookAt(t, b, l, way, source) })
			}
			b.t = t
			if l.wrong { // Chromium notes the status of an error too
				b.forget()
			}
			b.clean(l.path)
		})
	}
	for _, name := range web.PageNames() {
		if !looked[name] {
			t.Errorf("page %s is looked at by nobody: it needs a row in everyLook", name)
		}
	}
}

// come opens a page as a desk has it, and does there what is to be seen.
func come(t *testing.T, b *tab, l look) {
	b.t = t
	b.as(ways[0])
	b.goTo(l.path)
	b.until(`document.readyState === 'complete'`)
	if l.do != nil {
		l.do(b)
	}
}

// lookAt looks at the page that is there in one way. What is not a matter of light
// and dark is checked in the light.
func lookAt(t *testing.T, b *tab, l look, way looks, axe string) {
	b.t = t
	b.as(way)
	b.drawn()
	b.shot(fmt.Sprintf("%s-%s", l.page+l.title, way))
	if over := eval[float64](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
		t.Errorf("scrolls sideways by %v pixels; past the edge: %v", over, eval[[]string](b,
			`[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1).slice(0, 8).map(e => e.tagName + '.' + e.className + ' ' + e.textContent.slice(0, 40))`))
	}
	var rules []string
	if way.scheme == "dark" {
		rules = []string{"color-contrast"}
	}
	for _, v := range b.axe(axe, rules...) {
		t.Errorf("axe: %s: %s: %.600s", v.ID, v.Help, fmt.Sprint(v.Nodes))
	}
}

func choose[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}

// tagOf is the tag of a unit of the invented shop, by what there is to see of it.
func tagOf(t testing.TB, s *served, title string) string {
	t.Helper()
	for _, sight := range sights() {
		if sight.Title == title {
			found, _, err := s.shop.Lookup(sight.Serial, 1)
			if err != nil || len(found) == 0 {
				t.Fatalf("%s: %v, %v", title, found, err)
			}
			return found[0].Tag
		}
	}
	t.Fatalf("nothing to see is called %q", title)
	return ""
}

func TestAPageWorksWithoutScript(t *testing.T) {
	s := copyOfInvented(t)
	wants(t, s.get("/"), `action="/find"`, `href="/unit/`)
	res, err := s.http.Do(s.request(http.MethodGet, "/find?q="+tagOf(t, s, "waits for parts"), nil))
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusOK || res.Request.URL.Path == "/find" {
		t.Errorf("the box led to %s, status %d", res.Request.URL, res.StatusCode)
	}
}
