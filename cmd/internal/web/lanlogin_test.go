package web_test

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/web"

	"github.com/chromedp/chromedp"
)

func TestWhoTriesWrongCodesIsNotHeardForAWhile(t *testing.T) {
	c := &clock{at: asOf}
	s := newShopAt(t, c.now)
	onLan(t, s)
	known, stranger := letIn(t, s, "tablet", nil), newPhone(t, s)
	code := codeOf(t, s, "Ana's phone", nil)
	for range web.MostWrong {
		if status, _ := stranger.post("/enter", url.Values{"code": {"WRONGWRONGWRONGWRONGWRONG"}}); status != http.StatusUnauthorized {
			t.Errorf("a wrong code: status %d", status)
		}
	}
	for _, r := range []*http.Request{stranger.request(http.MethodPost, "/enter", url.Values{"code": {code}}), stranger.request(http.MethodGet, "/enter?code="+code, nil)} {
		if res, _ := stranger.do(r); res.StatusCode != http.StatusTooManyRequests || res.Header.Get("Retry-After") == "" {
			t.Errorf("after many: status %d", res.StatusCode)
		}
	}
	guess := stranger.request(http.MethodGet, "/", nil)
	guess.AddCookie(&http.Cookie{Name: "__Host-oldhand-device", Value: "guess"})
	if res, _ := stranger.do(guess); res.StatusCode != http.StatusTooManyRequests {
		t.Errorf("a guessed cookie: status %d", res.StatusCode)
	}
	if status, _ := known.get("/"); status != http.StatusOK {
		t.Errorf("a device that is known, at the same address: status %d", status)
	}
	c.forward(61 * time.Second)
	if status, _ := stranger.post("/enter", url.Values{"code": {code}}); status != http.StatusSeeOther {
		t.Errorf("a minute later: status %d", status)
	}
}

func TestACodeLetsOneBrowserInOnceWithinAnHour(t *testing.T) {
	c := &clock{at: asOf}
	s := newShopAt(t, c.now)
	onLan(t, s)
	code := codeOf(t, s, "Ana's phone", nil)
	p := newPhone(t, s)
	for range 3 { // a scanner that looks ahead takes nothing
		if status, body := p.get("/enter?code=" + code); status != http.StatusOK || !strings.Contains(body, "Ana&#39;s phone") || p.session() != "" {
			t.Fatalf("status %d: %.500s", status, body)
		}
	}
	if status, _ := p.post("/enter", url.Values{"code": {code}}); status != http.StatusSeeOther {
		t.Fatal(status)
	}
	other := newPhone(t, s)
	if status, _ := other.post("/enter", url.Values{"code": {code}}); status != http.StatusUnauthorized || other.session() != "" {
		t.Errorf("a second time: status %d", status)
	}
	late := codeOf(t, s, "tablet", nil)
	c.forward(time.Hour + time.Second)
	if status, _ := other.post("/enter", url.Values{"code": {late}}); status != http.StatusUnauthorized {
		t.Errorf("after an hour: status %d", status)
	}
	wants(t, s.get("/phones"), "not come in; its code is over", "last seen 2026-11-25")
	if _, body := s.tries("/phones", "let", url.Values{"name": {"ana's PHONE"}}); !strings.Contains(body, "there is a device of this name") {
		t.Errorf("a name twice: %.500s", body)
	}
	// Nothing that opens a door lies in the folder.
	b, err := os.ReadFile(filepath.Join(s.dir, "lan.json"))
	if err != nil || strings.Contains(string(b), code) || strings.Contains(string(b), late) || strings.Contains(string(b), p.session()) {
		t.Errorf("%s, %v", b, err)
	}
}

// Whoever slips a device a session of their own choosing does not know the one
// that it is known by afterwards.
func TestASessionIsNeverOneThatWasBroughtAlong(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	p := newPhone(t, s)
	r := p.request(http.MethodPost, "/enter", url.Values{"code": {codeOf(t, s, "Ana's phone", nil)}})
	r.AddCookie(&http.Cookie{Name: "__Host-oldhand-device", Value: "CHOSENBYSOMEBODYELSE"})
	res, _ := p.do(r)
	if res.StatusCode != http.StatusSeeOther || len(res.Cookies()) != 1 {
		t.Fatalf("status %d, cookies %v", res.StatusCode, res.Cookies())
	}
	c := res.Cookies()[0]
	if c.Value == "CHOSENBYSOMEBODYELSE" || len(c.Value) < 26 || !c.HttpOnly || !c.Secure || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || c.Domain != "" {
		t.Errorf("cookie %+v", c)
	}
	first := p.session()
	id := s.web.Lan().State().Devices[0].ID
	fresh := codeIn(t, s.does("/phones", "again-"+id, nil))
	if status, _ := p.post("/enter", url.Values{"code": {fresh}}); status != http.StatusSeeOther || p.session() == first || p.session() == "" {
		t.Errorf("status %d; the session is %s as before", status, p.session())
	}
	old := newPhone(t, s)
	g := old.request(http.MethodGet, "/", nil)
	g.AddCookie(&http.Cookie{Name: c.Name, Value: first})
	if res, _ := old.do(g); res.StatusCode != http.StatusUnauthorized {
		t.Errorf("the session before: status %d", res.StatusCode)
	}
	// The laptop's own page as well.
	laptop := s.request(http.MethodGet, "/start?"+must(url.Parse(s.web.Start())).RawQuery, nil)
	laptop.AddCookie(&http.Cookie{Name: "oldhand", Value: "CHOSENBYSOMEBODYELSE"})
	plain := &http.Client{}
	got, err := plain.Do(laptop)
	if err != nil {
		t.Fatal(err)
	}
	got.Body.Close()
	if got.StatusCode != http.StatusOK || len(got.Cookies()) != 1 || got.Cookies()[0].Value == "CHOSENBYSOMEBODYELSE" {
		t.Errorf("the laptop's: status %d, %v", got.StatusCode, got.Cookies())
	}
}

// What a device is called is shown and never run.
func TestADevicesNameIsShownAndNeverRun(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	name := `<script>alert(1)</script>"><img src=x>`
	p := newPhone(t, s)
	code := codeOf(t, s, name, nil)
	_, enter := p.get("/enter?code=" + code)
	p.post("/enter", url.Values{"code": {code}})
	_, home := p.get("/")
	_, refused := p.post("/benches/settle", url.Values{})
	for where, page := range map[string]string{"phones": s.get("/phones"), "enter": enter, "today": home, "refused": refused} {
		if strings.Contains(page, "<script>alert") || strings.Contains(page, "<img src=x") || !strings.Contains(page, "&lt;script&gt;") {
			t.Errorf("%s: %.2000s", where, page)
		}
	}
}

// A real browser comes in as a telephone does.
func TestAPhoneComesInAndSeesWhatHappens(t *testing.T) {
	s := newShop(t)
	onLan(t, s)
	tag := receive(t, s, "E17-17750")
	code := codeOf(t, s, "Ana's phone", nil)
	pin := sha256.Sum256(certificate(t, s.dir).RawSubjectPublicKeyInfo)
	at := "https://" + s.web.Lan().State().Address + "/"
	b := newTab(t, at, chromedp.Flag("ignore-certificate-errors-spki-list", base64.StdEncoding.EncodeToString(pin[:])))
	source := readAxe(t)
	check := func(name string) {
		b.shot(name)
		if over := eval[float64](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); over > 0 {
			t.Errorf("%s scrolls sideways by %v pixels", name, over)
		}
		for _, v := range b.axe(source) {
			t.Errorf("%s: axe: %s: %s: %.600s", name, v.ID, v.Help, v.Nodes)
		}
	}
	b.as(looks{"light", 390, 844})
	b.goTo("/enter?code=" + code)
	b.at("/enter")
	check("phone-enter")
	b.do(chromedp.Click("form button"))
	b.at("/")
	b.until(`document.body.innerText.includes('` + tag + `')`)
	check("phone-today")
	other := receive(t, s, "B90-55354")
	b.until(`document.body.innerText.includes('` + other + `')`)
	b.goTo("/benches")
	b.at("/benches")
	check("phone-benches")
	b.clean("the phone")
	s.does("/phones", "end-"+s.web.Lan().State().Devices[0].ID, nil)
	b.goTo("/")
	b.until(`document.body.innerText.includes('Not let in')`)
}
