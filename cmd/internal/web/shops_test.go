package web_test

import (
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/cmd/internal/web"
)

// asOf is the day on which these tests happen.
var asOf = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

// served is a folder that is served, and a browser's memory that was let in.
type served struct {
	t    testing.TB
	dir  string
	web  *web.Server
	shop *app.Shop // nil until there is one
	http *http.Client
	stop func() // ends the serving
}

// serveFolder serves a folder on a port of its own until the test ends.
func serveFolder(t testing.TB, dir string) *served {
	t.Helper()
	s := &served{t: t, dir: dir}
	opt := app.Options{State: filepath.Join(t.TempDir(), "state"), Now: func() time.Time { return asOf }}
	var err error
	s.web, err = web.New(web.Options{Dir: dir, App: opt, Opened: func(shop *app.Shop) error { s.shop = shop; return nil }})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.web.Listen("127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	if err := s.web.Begin(); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	s.stop = stop
	ended := make(chan error, 1)
	go func() { ended <- s.web.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if err := s.web.Close(); err != nil {
			t.Error(err)
		}
	})
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	s.http = &http.Client{Jar: jar, Timeout: 30 * time.Second}
	s.get("start?" + must(url.Parse(s.web.Start())).RawQuery)
	return s
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err) // the tests' own constants
	}
	return v
}

// newShop serves a shop that was founded a moment ago.
func newShop(t testing.TB) *served {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "shop")
	s, err := app.Found(dir, "Lantern Street Radio", "front", app.Options{State: filepath.Join(t.TempDir(), "state"), Now: func() time.Time { return asOf }})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return serveFolder(t, dir)
}

// invented is the folder of the invented shop, made once for all tests that only
// read.
var invented = sync.OnceValues(func() (string, error) {
	story, err := demo.New(demo.Options{Seed: 1, Units: 300})
	if err != nil {
		return "", err
	}
	_, err = app.FromStory(filepath.Join(inventedIn, "shop"), story, app.Options{State: filepath.Join(inventedIn, "state"), Bulk: true}, nil)
	return filepath.Join(inventedIn, "shop"), err
})

// copyOfInvented serves a copy of the invented shop.
func copyOfInvented(t testing.TB) *served {
	t.Helper()
	from, err := invented()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "shop")
	copyFolder(t, from, dir)
	return serveFolder(t, dir)
}

// get fetches a page and wants it to be there.
func (s *served) get(path string) string {
	s.t.Helper()
	status, body := s.do(s.request(http.MethodGet, path, nil))
	if status != http.StatusOK {
		s.t.Fatalf("GET %s: status %d: %s", path, status, body)
	}
	return body
}

// request makes a request of this page's own.
func (s *served) request(method, path string, form url.Values) *http.Request {
	s.t.Helper()
	var body io.Reader
	if form != nil {
		body = strings.NewReader(form.Encode())
	}
	r, err := http.NewRequest(method, s.web.Address()+strings.TrimPrefix(path, "/"), body)
	if err != nil {
		s.t.Fatal(err)
	}
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return r
}

func (s *served) do(r *http.Request) (status int, body string) {
	s.t.Helper()
	res, err := s.http.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return res.StatusCode, string(b)
}

// post sends a form.
func (s *served) post(path string, form url.Values) (status int, body string) {
	s.t.Helper()
	return s.do(s.request(http.MethodPost, path, form))
}

// wants fails the test where a text is not in a page.
func wants(t testing.TB, page string, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(page, text) {
			t.Errorf("%q is not in the page:\n%.3000s", text, page)
		}
	}
}

// sights is what there is to see in the invented shop.
func sights() []demo.Sight { return demo.Sights }
