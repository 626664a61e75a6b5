package web_test

import (
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/web"
	"oldhand/events"
)

// The rows of the security table that concern the page, each with a sentence of
// what must not happen.

func TestAForeignHostNameReachesNoPage(t *testing.T) {
	s := newShop(t)
	own := strings.TrimSuffix(strings.TrimPrefix(s.web.Address(), "http://"), "/")
	_, port, err := net.SplitHostPort(own)
	if err != nil {
		t.Fatal(err)
	}
	for host, want := range map[string]int{
		own: 200, "localhost:" + port: 200, "[::1]:" + port: 200, "LOCALHOST:" + port: 200,
		"evil.example": 421, "evil.example:" + port: 421, "127.0.0.1": 421, "127.0.0.1:1": 421, "localhost." + port: 421, "127.0.0.1.nip.example:" + port: 421,
	} {
		for _, path := range []string{"/", "/static/none", "/start"} {
			r := s.request(http.MethodGet, path, nil)
			r.Host = host
			status, _ := s.do(r)
			if (status == http.StatusMisdirectedRequest) != (want == http.StatusMisdirectedRequest) {
				t.Errorf("Host %s, %s: status %d", host, path, status)
			}
		}
	}
}

func TestARequestThatAnotherSiteSendsChangesNothing(t *testing.T) {
	dir := t.TempDir() + "/shop"
	s := serveFolder(t, dir)
	form := url.Values{"shop": {"Lantern Street Radio"}, "bench": {"front"}}
	for name, header := range map[string][2]string{
		"cross-site":     {"Sec-Fetch-Site", "cross-site"},
		"another port":   {"Sec-Fetch-Site", "same-site"},
		"foreign origin": {"Origin", "http://evil.example"},
		"no origin":      {"Origin", "null"},
	} {
		for _, kind := range []string{"application/x-www-form-urlencoded", "text/plain", "multipart/form-data; boundary=x"} {
			r := s.request(http.MethodPost, "/begin/found", form)
			r.Header.Set(header[0], header[1])
			r.Header.Set("Content-Type", kind)
			if status, body := s.do(r); status != http.StatusForbidden {
				t.Errorf("%s, %s: status %d: %.200s", name, kind, status, body)
			}
		}
	}
	if app.HasFolder(dir) {
		t.Fatal("a shop was founded")
	}
	r := s.request(http.MethodPost, "/begin/found", form)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if status, _ := s.do(r); status != http.StatusOK || !app.HasFolder(dir) {
		t.Errorf("the page's own form: status %d", status)
	}
}

func TestNobodyIsLetInWithoutATokenAndATokenLetsInOnce(t *testing.T) {
	s := newShop(t)
	stranger := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	get := func(path string, cookie *http.Cookie) *http.Response {
		r := s.request(http.MethodGet, path, nil)
		if cookie != nil {
			r.AddCookie(cookie)
		}
		res, err := stranger.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		return res
	}
	for _, path := range []string{"/", "/find?q=1", "/unit/10019", "/live", "/begin", "/nowhere", "/start", "/start?token=guess"} {
		for _, c := range []*http.Cookie{nil, {Name: "oldhand", Value: "guess"}, {Name: "oldhand", Value: ""}} {
			if res := get(path, c); res.StatusCode != http.StatusUnauthorized {
				t.Errorf("%s with %v: status %d", path, c, res.StatusCode)
			}
		}
	}
	start := strings.TrimPrefix(s.web.Start(), s.web.Address())
	res := get(start, nil)
	cookies := res.Cookies()
	if res.StatusCode != http.StatusOK || len(cookies) != 1 {
		t.Fatalf("start: status %d, cookies %v", res.StatusCode, cookies)
	}
	c := cookies[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != "/" || len(c.Value) < 26 { // 128 bits in base 32
		t.Errorf("cookie %+v", c)
	}
	if res := get("/", c); res.StatusCode != http.StatusOK {
		t.Errorf("with the cookie: status %d", res.StatusCode)
	}
	if res := get(start, nil); res.StatusCode != http.StatusUnauthorized || len(res.Cookies()) > 0 {
		t.Errorf("the token a second time: status %d, %v", res.StatusCode, res.Cookies())
	}
}

func TestEveryAnswerCarriesTheHeadersThatKeepItIn(t *testing.T) {
	s := newShop(t)
	for _, path := range []string{"/", "/find?q=x", "/nowhere", "/start", "/static/none", "/echo/year?field=y&y=1965"} {
		r := s.request(http.MethodGet, path, nil)
		res, err := s.http.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		policy := res.Header.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'self'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
			if !strings.Contains(policy, want) {
				t.Errorf("%s: policy %q lacks %s", path, policy, want)
			}
		}
		if strings.Contains(policy, "unsafe") {
			t.Errorf("%s: policy %q", path, policy)
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "X-Frame-Options": "DENY", "Cache-Control": "no-store", "Access-Control-Allow-Origin": ""} {
			if got := res.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", path, name, got, want)
			}
		}
	}
}

func TestAGetChangesNothing(t *testing.T) {
	s := newShop(t)
	before := commits(t, s.shop)
	for _, p := range web.Addresses() {
		_, _ = s.do(s.request(http.MethodGet, strings.ReplaceAll(p, "{unit}", "10019")+"?shop=x&bench=y&q=10019&keep=1", nil))
	}
	if after := commits(t, s.shop); after != before {
		t.Errorf("%d actions were written by asking for pages", after-before)
	}
}

func commits(t testing.TB, s *app.Shop) uint64 {
	t.Helper()
	v, err := s.Log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	return v.Commit()
}

func TestTooLargeAFormIsRefusedAndNothingIsDone(t *testing.T) {
	dir := t.TempDir() + "/shop"
	s := serveFolder(t, dir)
	status, body := s.post("/begin/found", url.Values{"shop": {strings.Repeat("x", 2<<20)}, "bench": {"front"}})
	if status != http.StatusRequestEntityTooLarge || app.HasFolder(dir) {
		t.Errorf("status %d, %.300s", status, body)
	}
}

// What somebody typed, or sent along in a name, is shown and never run.
func TestTextIsShownAndNeverRun(t *testing.T) {
	s := newShop(t)
	corpus := []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `' onmouseover='alert(1)`, `javascript:alert(1)`, `</title><svg onload=alert(1)>`, `{{.}}`, "`${1}`"}
	for i, text := range corpus {
		res, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: text, Model: text, Serial: fmt.Sprintf("S%04d%s", i, "<b>"), Complaint: text},
			Customer: events.Personal{Name: text, City: "Holmby"}})
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range []string{"/", "/unit/" + res.Tag, "/find?q=" + url.QueryEscape(text), "/find/list?q=" + url.QueryEscape(text)} {
			_, body := s.do(s.request(http.MethodGet, path, nil))
			for _, bad := range []string{"<script>alert", "<img src=x", "<svg onload", `" onmouseover=`, `' onmouseover='`, `href="javascript:`, "<b>"} {
				if strings.Contains(body, bad) {
					t.Errorf("%s: %s stands in the page for %s", path, bad, text)
				}
			}
		}
	}
}

func TestThePageListensOnThisMachineOnly(t *testing.T) {
	s, err := web.New(web.Options{Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	for _, addr := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.168.1.20:0", "example.org:80", "4750"} {
		if err := s.Listen(addr); err == nil {
			t.Errorf("listens at %s", addr)
		}
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
