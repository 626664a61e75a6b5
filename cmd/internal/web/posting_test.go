package web_test

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// gathered has the served bench host, wait for a further one, and be shown to
// devices, and brings a bundle: all that Benches and its pages show. It gives the
// bundle's page.
func gathered(t testing.TB, s *served) string {
	t.Helper()
	s.does("/benches", "host", url.Values{"listen": {"127.0.0.1:0"}})
	s.does("/benches", "invite", nil)
	s.does("/phones", "on", url.Values{"address": {"127.0.0.1:0"}, "names": {"front.home.arpa"}})
	for name, rights := range map[string]string{"Ana's phone": "read", "tablet at the counter": "write"} {
		s.does("/phones", "let", url.Values{"name": {name}, "rights": {rights}})
	}
	s.does("/benches/retire/3", "retire", url.Values{"why": {"given up"}})
	bundle := s.download("/benches/bundle", nil)
	return s.upload("/benches/bundle/look", "stick.oh", bundle)
}

// does sends one of a page's forms, by its id, with what is typed into it and all
// that stands in it hidden.
func (s *served) does(page, form string, typed url.Values) string {
	s.t.Helper()
	status, body := s.tries(page, form, typed)
	if status != http.StatusOK {
		s.t.Fatalf("form %s of %s: status %d: %.1500s", form, page, status, body)
	}
	return body
}

func (s *served) tries(page, form string, typed url.Values) (status int, body string) {
	s.t.Helper()
	html := s.get(page)
	at, values := formIn(s.t, html, form)
	for k, v := range typed {
		values[k] = v
	}
	return s.post(at, values)
}

// formIn finds a form, and what is hidden in it.
func formIn(t testing.TB, html, id string) (action string, values url.Values) {
	t.Helper()
	_, rest, ok := strings.Cut(html, `<form id="`+id+`"`)
	if !ok {
		t.Fatalf("there is no form %s in %.3000s", id, html)
	}
	rest, _, _ = strings.Cut(rest, "</form>")
	_, action, _ = strings.Cut(rest, `action="`)
	action, _, _ = strings.Cut(action, `"`)
	values = url.Values{}
	for _, input := range strings.Split(rest, `<input type="hidden" name="`)[1:] {
		name, input, _ := strings.Cut(input, `"`)
		_, value, _ := strings.Cut(input, `value="`)
		value, _, _ = strings.Cut(value, `"`)
		values.Set(name, value)
	}
	return action, values
}

// download posts a form with files and gives the file that comes back.
func (s *served) download(path string, fields map[string]string) []byte {
	s.t.Helper()
	status, head, body := s.sendFile(path, "", nil, fields)
	if status != http.StatusOK || !strings.HasPrefix(head.Get("Content-Disposition"), "attachment") {
		s.t.Fatalf("%s: status %d, %v: %.500s", path, status, head, body)
	}
	return body
}

// upload brings a file and gives the path of the page that it leads to.
func (s *served) upload(path, name string, file []byte) string {
	s.t.Helper()
	client := *s.http
	client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	was := s.http
	s.http = &client
	defer func() { s.http = was }()
	status, head, body := s.sendFile(path, name, file, nil)
	if status != http.StatusSeeOther {
		s.t.Fatalf("%s: status %d: %.1000s", path, status, body)
	}
	return head.Get("Location")
}

func (s *served) sendFile(path, name string, file []byte, fields map[string]string) (int, http.Header, []byte) {
	s.t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for k, v := range fields {
		if err := w.WriteField(k, v); err != nil {
			s.t.Fatal(err)
		}
	}
	if name != "" {
		f, err := w.CreateFormFile(choose(strings.HasSuffix(path, "/look"), "file", "since"), name)
		if err == nil {
			_, err = f.Write(file)
		}
		if err != nil {
			s.t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		s.t.Fatal(err)
	}
	r := s.request(http.MethodPost, path, nil)
	r.Body, r.ContentLength = io.NopCloser(&b), int64(b.Len())
	r.Header.Set("Content-Type", w.FormDataContentType())
	res, err := s.http.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return res.StatusCode, res.Header, body
}
