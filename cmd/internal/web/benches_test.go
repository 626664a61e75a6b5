package web_test

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/web"
	"oldhand/sync/exchange"
	"oldhand/sync/roster/invite"

	"github.com/chromedp/chromedp"
)

// joined is a further bench of the shop that s serves, which hosts, and is served
// itself.
func joined(t testing.TB, s *served, name string) *served {
	t.Helper()
	dir := filepath.Join(t.TempDir(), name)
	code := s.code(s.does("/benches", "invite", nil))
	other := serveFolder(t, dir)
	other.does("/begin", "join", url.Values{"code": {code}, "bench": {name}})
	if other.shop == nil {
		t.Fatal("nobody joined")
	}
	return other
}

// code is the join code that a page shows.
func (s *served) code(html string) string {
	s.t.Helper()
	_, rest, ok := strings.Cut(html, "oldhand join ")
	code, _, end := strings.Cut(rest, " --bench")
	if !ok || !end {
		s.t.Fatalf("there is no join code in %.4000s", html)
	}
	return code
}

func TestTwoServedBenchesSeeEachOthersWorkOnTheirOpenPages(t *testing.T) {
	front := newShop(t)
	front.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	attic := joined(t, front, "attic")
	attic.does("/benches", "watch", nil)
	here, there := openTab(t, front), openTab(t, attic)
	here.goTo("/")
	here.at("/")
	there.goTo("/")
	there.at("/")
	began := time.Now()
	tag := receive(t, front, "E17-17750")
	there.until(`document.body.innerText.includes('` + tag + `')`)
	t.Logf("the host's event was on the other bench's open page after %v", time.Since(began).Round(time.Millisecond))
	began = time.Now()
	tag = receive(t, attic, "B90-55354")
	here.until(`document.body.innerText.includes('` + tag + `')`)
	t.Logf("the other bench's event was on the host's open page after %v", time.Since(began).Round(time.Millisecond))
	for _, s := range []*served{front, attic} {
		wants(t, s.get("/benches"), "front", "attic", "this bench", "Nothing is missing that is known of")
	}
	here.clean("the host's page")
	there.clean("the other's page")
}

func TestABenchHostsAgainAfterAStartUntilThatIsStopped(t *testing.T) {
	s := newShop(t)
	s.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	wants(t, s.get("/benches"), "The other benches meet here, at 127.0.0.1:", "oldhand sync ", "Stop hosting")
	again := servedAgain(t, s)
	again.soon("/benches/place", "The other benches meet here, at 127.0.0.1:")
	again.does("/benches", "unhost", nil)
	wants(t, again.get("/benches"), "This bench knows no place where the benches meet", "Host here")
	if page := servedAgain(t, again).get("/benches"); strings.Contains(page, "Stop hosting") {
		t.Error("it hosts again though that was stopped")
	}
}

// servedAgain serves the folder of s anew, after s ended.
func servedAgain(t testing.TB, s *served) *served {
	t.Helper()
	s.end()
	return serveFolder(t, s.dir)
}

// soon waits until a page says something.
func (s *served) soon(path string, texts ...string) {
	s.t.Helper()
	body := ""
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		body = s.get(path)
		all := true
		for _, text := range texts {
			all = all && strings.Contains(body, text)
		}
		if all {
			return
		}
	}
	s.t.Fatalf("%s never said %q: %.3000s", path, texts, body)
}

func TestWhatGoesWrongWithHostingIsSaidAndEndsNothing(t *testing.T) {
	one, other := newShop(t), newShop(t)
	one.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	_, at, _ := strings.Cut(one.get("/benches"), "meet here, at ")
	at, _, _ = strings.Cut(at, ".</p>")
	status, body := other.tries("/benches", "host", url.Values{"listen": {at}})
	if status != http.StatusUnprocessableEntity {
		t.Errorf("status %d", status)
	}
	wants(t, body, "another program uses this port", `value="`+at+`"`)
	if strings.Contains(other.get("/benches"), "Stop hosting") {
		t.Error("what could not be begun is kept")
	}
	// At a start nobody is there to be told: it is said on the page, and tried again.
	other.end()
	yes := true
	again := serveWith(t, other.dir, web.Options{Wishes: app.Wishes{Host: &yes, Listen: at}})
	again.soon("/benches/place", "told to host at "+at, "another program uses this port")
	wants(t, again.get("/"), "Nothing stands on the benches")
}

func TestAJoinCodeLivesUntilItIsUsedOrGivenUp(t *testing.T) {
	c := &clock{at: asOf}
	s := newShopAt(t, c.now)
	wants(t, s.get("/benches"), "Host here first")
	s.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	code := s.code(s.does("/benches", "invite", nil))
	wants(t, s.get("/benches/code"), "good for another 10 minutes, for one bench", "<svg", code)
	joined(t, s, "attic") // with a code of its own
	wants(t, s.get("/benches/code"), "used: bench attic joined", code)
	c.forward(9*time.Minute + 15*time.Second)
	wants(t, s.get("/benches/code"), "good for less than a minute")
	c.forward(time.Minute)
	body := s.get("/benches/code")
	wants(t, body, "not used in time")
	if strings.Contains(body, code) {
		t.Error("a code that is over is still shown")
	}
	// Somebody tries others: the host gives the open ones up.
	given := s.code(s.does("/benches", "invite", nil))
	guess(t, given, invite.MaxTries)
	s.soon("/benches/code", "given up: somebody tried wrong codes")
	if strings.Contains(s.get("/benches/code"), given) {
		t.Error("a code that was given up is still shown")
	}
	s.soon("/benches/place", "somebody tried 5 wrong join codes")
}

func TestAnOpenPageTellsWhatBecomesOfAJoinCode(t *testing.T) {
	s := newShop(t)
	s.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	b := openTab(t, s)
	b.goTo("/benches")
	b.at("/benches")
	b.do(chromedp.Click("#invite button"))
	b.until(`document.querySelector('#codes .qr svg') && document.body.innerText.includes('good for another 10 minutes')`)
	code := s.code(s.get("/benches"))
	other := serveFolder(t, filepath.Join(t.TempDir(), "attic"))
	other.does("/begin", "join", url.Values{"code": {code}, "bench": {"attic"}})
	b.until(`document.body.innerText.includes('used: bench attic joined') && !document.querySelector('#codes .qr')`)
	b.until(`document.querySelector('#who').innerText.includes('attic')`)
	b.clean("Benches")
}

// guess tries codes that lead to the same place as one does and open nothing.
func guess(t testing.TB, code string, times int) {
	t.Helper()
	c, err := invite.Read(code)
	if err != nil {
		t.Fatal(err)
	}
	for i := range times {
		c.Secret = invite.Secret{byte(i + 1)}
		login, err := c.Login()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := exchange.Ask(context.Background(), exchange.DialOptions{Addrs: c.Addresses, Start: c.Pin[:], Key: login}, nil); !errors.Is(err, exchange.ErrNotAdmitted) {
			t.Fatalf("a guess gives %v", err)
		}
	}
}

func TestABundleIsLookedIntoBeforeAnythingOfItIsTaken(t *testing.T) {
	front := newShop(t)
	front.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	attic := joined(t, front, "attic")
	first := front.download("/benches/bundle", nil)
	tag := receive(t, front, "E17-17750")
	status, head, since := front.sendFile("/benches/bundle", "older.oh", first, nil)
	if status != http.StatusOK || len(since) >= len(front.download("/benches/bundle", nil)) {
		t.Errorf("since an older bundle: status %d, %d bytes", status, len(since))
	}
	if name := head.Get("Content-Disposition"); !strings.Contains(name, "lantern-street-radio-front-2026-11-25.oh") {
		t.Errorf("it is called %s", name)
	}
	before := commits(t, attic.shop)
	page := attic.upload("/benches/bundle/look", `C:\sticks\stick.oh`, since)
	wants(t, attic.get(page), "What is in stick.oh", "Lantern Street Radio", "front", "Nothing of it was taken yet")
	if after := commits(t, attic.shop); after != before {
		t.Errorf("looking wrote %d actions", after-before)
	}
	wants(t, attic.does(page, "take", nil), "stick.oh is read: 1 event taken")
	wants(t, attic.get("/unit/"+tag), "Ostrel R-950")
	status, _ = attic.do(attic.request(http.MethodGet, page, nil))
	if status != http.StatusConflict {
		t.Errorf("a file that was taken in: status %d", status)
	}
	if left, err := filepath.Glob(filepath.Join(attic.dir, "brought", "*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestABundleThatIsNoneOrAnotherShopsOrCutIsSaidToBeSo(t *testing.T) {
	s, other := newShop(t), newShop(t)
	receive(t, s, "E17-17750")
	own, foreign := s.download("/benches/bundle", nil), other.download("/benches/bundle", nil)
	for name, c := range map[string]struct {
		file []byte
		says string
	}{"letter.oh": {[]byte("Dear Ana, the radio hums."), "is no bundle"}, "theirs.oh": {foreign, "is another shop&#39;s bundle"}, "empty.oh": {nil, "is no bundle"}} {
		status, _, body := s.sendFile("/benches/bundle/look", name, c.file, nil)
		if status != http.StatusUnprocessableEntity || !strings.Contains(string(body), c.says) || !strings.Contains(string(body), name) || strings.Contains(string(body), s.dir) {
			t.Errorf("%s: status %d: %.1500s", name, status, body)
		}
	}
	page := s.upload("/benches/bundle/look", "cut.oh", own[:len(own)-40])
	wants(t, s.get(page), "The file is cut off", "All events in it are here already")
}

func TestABenchIsRetiredOnASecondPageOnly(t *testing.T) {
	s := newShop(t)
	s.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	joined(t, s, "attic")
	s.soon("/benches", `href="/benches/retire/2"`)
	if page := s.get("/benches"); strings.Contains(page, `href="/benches/retire/1"`) || strings.Contains(page, `action="/benches/retire"`) {
		t.Error("this bench can be retired here, or without a second page")
	}
	wants(t, s.get("/benches/retire/2"), "Retire bench attic", "What that laptop held, whoever has it can still read", "does not come back")
	body := s.does("/benches/retire/2", "retire", url.Values{"why": {"stolen"}})
	wants(t, body, "Bench attic is retired", `<span class="mark">retired</span>`)
	for path, want := range map[string]int{"/benches/retire/2": 409, "/benches/retire/1": 409, "/benches/retire/7": 409, "/benches/retire/x": 409} {
		if status, _ := s.do(s.request(http.MethodGet, path, nil)); status != want {
			t.Errorf("%s: status %d", path, status)
		}
	}
}

func TestWhatARetiredBenchRecordedIsLookedAtAndThenLetCount(t *testing.T) {
	s := newShop(t)
	s.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	attic := joined(t, s, "attic")
	attic.does("/benches", "meet", nil)
	s.soon("/benches", `href="/benches/retire/2"`)
	s.does("/benches/retire/2", "retire", nil)
	tag := receive(t, attic, "E17-17750") // it has not heard of it
	s.does(s.upload("/benches/bundle/look", "attic.oh", attic.download("/benches/bundle", nil)), "take", nil)
	if status, _ := s.do(s.request(http.MethodGet, "/unit/"+tag, nil)); status != http.StatusNotFound {
		t.Fatalf("what a retired bench recorded counts: status %d", status)
	}
	s.does("/benches", "unhost", nil) // which writes down whom it met
	before := commits(t, s.shop)
	wants(t, s.get("/benches/release/2?upto=2026-11-24"), "There is nothing here to let count up to the end of 2026-11-24")
	wants(t, s.get("/benches/release/2"), "What would count", "Let 2 events count")
	if after := commits(t, s.shop); after != before {
		t.Errorf("looking wrote %d actions", after-before)
	}
	b, source := openTab(t, s), readAxe(t)
	for _, way := range ways {
		t.Run(way.String(), func(t *testing.T) {
			lookAt(t, b, look{page: "release", title: "some", path: "/benches/release/2"}, way, source)
		})
	}
	wants(t, s.does("/benches/release/2", "release", url.Values{"why": {"it was in the van"}}), "2 events of bench attic count. It stays retired.")
	wants(t, s.get("/unit/"+tag), "Ostrel")
	for _, path := range []string{"/benches/release/1", "/benches/release/9"} {
		if status, _ := s.do(s.request(http.MethodGet, path, nil)); status != http.StatusConflict {
			t.Errorf("%s: status %d", path, status)
		}
	}
}

func TestASpareOwnersKeyIsShownOnceAndIsOne(t *testing.T) {
	s := newShop(t)
	s.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	attic := joined(t, s, "attic")
	at, values := formIn(t, s.get("/benches"), "spare")
	values.Set("name", "drawer")
	status, body := s.post(at, values)
	_, key, ok := strings.Cut(body, `<code class="secret">`)
	key, _, _ = strings.Cut(key, "<")
	if status != http.StatusOK || !ok || len(key) < 50 {
		t.Fatalf("status %d: %.2000s", status, body)
	}
	status, body = s.post(at, values)
	if strings.Contains(body, key) || !strings.Contains(body, "shown already") {
		t.Errorf("sent again: status %d: %.2000s", status, body)
	}
	if strings.Contains(s.get("/benches"), key) {
		t.Error("it stands on Benches")
	}
	status, body = attic.tries("/benches", "owner", url.Values{"key": {"SONOKEY"}})
	if status != http.StatusUnprocessableEntity || strings.Contains(body, "SONOKEY") {
		t.Errorf("a wrong key: status %d: %.1500s", status, body)
	}
	// Whose key it is comes with a meeting, once the host has put it into its exchange.
	status = 0
	for end := time.Now().Add(patience); status != http.StatusOK && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		attic.does("/benches", "meet", nil)
		status, body = attic.tries("/benches", "owner", url.Values{"key": {key}})
	}
	wants(t, body, "can do what an owner does")
}

func TestAConflictIsSettledOnBenches(t *testing.T) {
	s := copyOfInvented(t)
	page := s.get("/benches")
	_, rest, ok := strings.Cut(page, `<form id="settle-`)
	if !ok {
		t.Fatal("no conflict is shown")
	}
	id, rest, _ := strings.Cut(rest, `"`)
	options := strings.Split(rest, `name="keep" value="`)
	if len(options) < 3 {
		t.Fatalf("%d versions", len(options)-1)
	}
	keep, _, _ := strings.Cut(options[2], `"`)
	status, body := s.tries("/benches", "settle-"+id, url.Values{"why": {"no choice"}})
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, `value="no choice"`) {
		t.Errorf("without a choice: status %d", status)
	}
	wants(t, s.does("/benches", "settle-"+id, url.Values{"keep": {keep}, "why": {"looked at it again"}}), "the conflict is settled")
	if strings.Contains(s.get("/benches"), "settle-"+id) {
		t.Error("it is still there")
	}
}

// Benches is another page on a new bench, on one that stays with the others, and on
// one that can't.
func TestBenchesIsSoundOnEverySortOfBench(t *testing.T) {
	lonely, front := newShop(t), newShop(t)
	front.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	attic := joined(t, front, "attic")
	attic.does("/benches", "watch", nil)
	attic.soon("/benches", "This bench stays with the others at 127.0.0.1:")
	source := readAxe(t)
	look := func(s *served, name string) {
		b := openTab(t, s)
		for _, way := range []looks{{"light", 1200, 900}, {"dark", 390, 844}} {
			t.Run(name+"-"+way.String(), func(t *testing.T) { lookAt(t, b, look{page: "benches", title: name, path: "/benches"}, way, source) })
		}
	}
	look(lonely, "lonely")
	look(attic, "watching")
	front.end()
	attic.soon("/benches", "does not reach them", "Nobody answers at")
	look(attic, "cutoff")
}

// What is shown once has no page of its own to be looked at, so it is here.
func TestWhatIsShownOnceIsSoundInEveryWayItIsLookedAt(t *testing.T) {
	s := newShop(t)
	s.does("/phones", "on", url.Values{"address": {"127.0.0.1:0"}})
	b, source := openTab(t, s), readAxe(t)
	for i, way := range ways {
		b.as(way)
		b.goTo("/phones")
		b.at("/phones")
		b.do(chromedp.SetValue("#let-name", "phone "+way.String()), chromedp.Click("#let button"))
		b.until(`document.querySelector('.once .qr svg')`)
		b.shot("once-" + way.String())
		if over := eval[float64](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
			t.Errorf("%d: scrolls sideways by %v pixels", i, over)
		}
		for _, v := range b.axe(source) {
			t.Errorf("axe: %s: %s: %.600s", v.ID, v.Help, v.Nodes)
		}
	}
	b.clean("what is shown once")
}

// What is odd is said in words where everybody looks: what is waited for, what was
// kept aside and why, a clock that can't be right.
func TestBenchesSaysWhatIsWaitedForAndWhatIsOdd(t *testing.T) {
	front := newShop(t)
	front.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	attic := joined(t, front, "attic")
	first := attic.download("/benches/bundle", nil)
	receive(t, attic, "E17-17750")
	second := attic.download("/benches/bundle", nil)
	receive(t, attic, "F90-55354")
	_, _, third := attic.sendFile("/benches/bundle", "second.oh", second, nil)
	_, _, both := attic.sendFile("/benches/bundle", "first.oh", first, nil)
	page := front.does(front.upload("/benches/bundle/look", "third.oh", third), "take", nil)
	wants(t, page, "Waiting for 3 events of bench attic", "1 event of bench attic kept aside until the events before them come")
	front.does(front.upload("/benches/bundle/look", "both.oh", both), "take", nil)
	if page = front.get("/benches"); strings.Contains(page, "Waiting for") || strings.Contains(page, "kept aside") {
		t.Errorf("all came and it still waits: %.2500s", page)
	}
	// The attic's battery ran out, and it woke up in another year.
	attic.end()
	ahead := serveWith(t, attic.dir, web.Options{App: app.Options{Now: func() time.Time { return asOf.AddDate(1, 0, 0) }}})
	receive(t, ahead, "G11-00042")
	_, _, late := ahead.sendFile("/benches/bundle", "both.oh", both, nil)
	wants(t, front.does(front.upload("/benches/bundle/look", "late.oh", late), "take", nil), "Its clock is doubtful: it recorded something at 2027-11-25")
}
