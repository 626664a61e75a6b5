package web_test

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// phone is another device's browser.
type phone struct {
	t    testing.TB
	at   string // the page's address on the network
	http *http.Client
	jar  http.CookieJar
}

// onLan turns the local network on, at this machine's loopback address: the rules
// are the same, and no network is needed.
func onLan(t testing.TB, s *served) {
	t.Helper()
	wants(t, s.does("/phones", "on", url.Values{"address": {"127.0.0.1:0"}, "names": {"front.home.arpa"}}), "The page is shown at")
}

// newPhone is a device that trusts the certificate that the folder keeps.
func newPhone(t testing.TB, s *served) *phone {
	t.Helper()
	roots := x509.NewCertPool()
	roots.AddCert(certificate(t, s.dir))
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	tr := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, Time: func() time.Time { return asOf }}}
	t.Cleanup(tr.CloseIdleConnections)
	return &phone{t, "https://" + s.web.Lan().State().Address, &http.Client{Transport: tr, Jar: jar, Timeout: 30 * time.Second,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, jar}
}

func certificate(t testing.TB, dir string) *x509.Certificate {
	t.Helper()
	path := filepath.Join(dir, "keys", "lan.pem")
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%s: %v, %v", path, info.Mode(), err)
	}
	_, rest := pem.Decode(b)
	block, _ := pem.Decode(rest)
	c, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// letIn makes a code on the laptop's page and comes in with it.
func letIn(t testing.TB, s *served, name string, typed url.Values) *phone {
	t.Helper()
	p := newPhone(t, s)
	if status, _ := p.post("/enter", url.Values{"code": {codeOf(t, s, name, typed)}}); status != http.StatusSeeOther {
		t.Fatalf("come in: status %d", status)
	}
	return p
}

func codeOf(t testing.TB, s *served, name string, typed url.Values) string {
	t.Helper()
	if typed == nil {
		typed = url.Values{"rights": {"read"}}
	}
	typed.Set("name", name)
	return codeIn(t, s.does("/phones", "let", typed))
}

func codeIn(t testing.TB, page string) string {
	t.Helper()
	_, address, ok := strings.Cut(page, `<code class="secret">`)
	address, _, _ = strings.Cut(address, "<")
	u, err := url.Parse(html.UnescapeString(address))
	if err != nil || !ok || len(u.Query().Get("code")) < 26 {
		t.Fatalf("there is no code in %.3000s", page)
	}
	return u.Query().Get("code")
}

func (p *phone) request(method, path string, form url.Values) *http.Request {
	p.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequest(method, p.at+path, body)
	if err != nil {
		p.t.Fatal(err)
	}
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return r
}

func (p *phone) do(r *http.Request) (*http.Response, string) {
	p.t.Helper()
	res, err := p.http.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return res, string(b)
}

func (p *phone) get(path string) (int, string) {
	res, body := p.do(p.request(http.MethodGet, path, nil))
	return res.StatusCode, body
}

func (p *phone) post(path string, form url.Values) (int, string) {
	res, body := p.do(p.request(http.MethodPost, path, form))
	return res.StatusCode, body
}

// session is the cookie that the device is known by.
func (p *phone) session() string {
	u, _ := url.Parse(p.at)
	for _, c := range p.jar.Cookies(u) {
		return c.Value
	}
	return ""
}

// path is a room's address with something in the place of its names.
func path(at string) string {
	return strings.NewReplacer("{$}", "", "{unit}", "10019", "{bench}", "2", "{file}", "x", "{as}", "year").Replace(at)
}
