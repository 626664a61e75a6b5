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
	end  func() // stops serving and closes the folder; the test's end does it too
}

// serveFolder serves a folder on a port of its own until the test ends.
func serveFolder(t testing.TB, dir string) *served { return serveWith(t, dir, web.Options{}) }

// serveWith serves a folder with options.
func serveWith(t testing.TB, dir string, o web.Options) *served {
	t.Helper()
	return serveOn(t, dir, "127.0.0.1:0", o)
}

// serveAt serves a folder at an address.
func serveAt(t testing.TB, dir, addr string) *served {
	t.Helper()
	return serveOn(t, dir, addr, web.Options{})
}

func serveOn(t testing.TB, dir, addr string, o web.Options) *served {
	t.Helper()
	s := &served{t: t, dir: dir}
	o.Dir, o.App.State = dir, filepath.Join(t.TempDir(), "state")
	if o.App.Now == nil {
		o.App.Now = func() time.Time { return asOf }
	}
	o.Opened = func(shop *app.Shop) error { s.shop = shop; return nil }
	var err error
	s.web, err = web.New(o)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.web.Listen(addr); err != nil {
		t.Fatal(err)
	}
	if err := s.web.Begin(); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.web.Run(ctx) }()
	s.end = sync.OnceFunc(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if err := s.web.Close(); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(s.end)
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
func newShop(t testing.TB) *served { return newShopAt(t, func() time.Time { return asOf }) }

// clock is a clock that a test moves.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) forward(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// newShopAt is newShop with a clock of the test's own.
func newShopAt(t testing.TB, now func() time.Time) *served {
	t.Helper()
	return foundAt(t, filepath.Join(t.TempDir(), "shop"), now)
}

func foundIn(t testing.TB, dir string) *served {
	t.Helper()
	return foundAt(t, dir, func() time.Time { return asOf })
}

func foundAt(t testing.TB, dir string, now func() time.Time) *served {
	t.Helper()
	s, err := app.Found(dir, "Lantern Street Radio", "front", app.Options{State: filepath.Join(t.TempDir(), "state"), Now: now})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return serveWith(t, dir, web.Options{App: app.Options{Now: now}})
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
