package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"html"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"time"
)

// answer is a page as it came, after all that it led to.
type answer struct {
	status int
	at     *url.URL
	body   []byte
	took   time.Duration
}

// errDown is returned where no page is up.
var errDown = errors.New("the page is not up")

// ask sends a request to the bench's page, as the browser that was let in.
func (b *bench) ask(ctx context.Context, method, path, kind string, body []byte) (a answer, err error) {
	b.mu.Lock()
	page, client := b.page, b.client
	b.mu.Unlock()
	if client == nil {
		return a, errDown
	}
	r, err := http.NewRequestWithContext(ctx, method, page+strings.TrimPrefix(path, "/"), bytes.NewReader(body))
	if err != nil {
		return a, err
	}
	if kind != "" {
		r.Header.Set("Content-Type", kind)
	}
	began := time.Now()
	res, err := client.Do(r)
	if err != nil {
		return a, err
	}
	defer res.Body.Close()
	a = answer{status: res.StatusCode, at: res.Request.URL}
	a.body, err = io.ReadAll(res.Body)
	a.took = time.Since(began)
	return a, err
}

func (b *bench) get(ctx context.Context, path string) (answer, error) {
	return b.ask(ctx, http.MethodGet, path, "", nil)
}

func (b *bench) send(ctx context.Context, path string, v url.Values) (answer, error) {
	return b.ask(ctx, http.MethodPost, path, "application/x-www-form-urlencoded", []byte(v.Encode()))
}

// upload is a form with one file.
func (b *bench) upload(ctx context.Context, path, field, name string, file []byte, more url.Values) (answer, error) {
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for k := range more {
		if err := w.WriteField(k, more.Get(k)); err != nil {
			return answer{}, err
		}
	}
	f, err := w.CreateFormFile(field, name)
	if err == nil {
		_, err = f.Write(file)
	}
	if err = errors.Join(err, w.Close()); err != nil {
		return answer{}, err
	}
	return b.ask(ctx, http.MethodPost, path, w.FormDataContentType(), body.Bytes())
}

var (
	inputs   = regexp.MustCompile(`<input[^>]*>`)
	areas    = regexp.MustCompile(`(?s)<textarea([^>]*)>(.*?)</textarea>`)
	selects  = regexp.MustCompile(`(?s)<select([^>]*)>(.*?)</select>`)
	chosen   = regexp.MustCompile(`<option value="([^"]*)" selected>`)
	firstOne = regexp.MustCompile(`<option value="([^"]*)"`)
	attrs    = regexp.MustCompile(`([a-z]+)="([^"]*)"`)
)

// formIn finds a form of a page by its id, and what a browser would send of it as it
// stands. It reads our own pages, whose templates write each attribute in one way.
func formIn(page []byte, id string) (action string, v url.Values, err error) {
	_, rest, ok := strings.Cut(string(page), `<form id="`+id+`"`)
	if !ok {
		return "", nil, fmt.Errorf("there is no form %q on the page: %.2000s", id, textOf(page))
	}
	rest, _, _ = strings.Cut(rest, "</form>")
	action = attrsOf(rest[:strings.IndexByte(rest, '>')])["action"]
	v = url.Values{}
	for _, in := range inputs.FindAllString(rest, -1) {
		a := attrsOf(in)
		if (a["type"] == "checkbox" || a["type"] == "radio") && !strings.Contains(in, " checked") {
			continue
		}
		v.Add(a["name"], a["value"])
	}
	for _, in := range areas.FindAllStringSubmatch(rest, -1) {
		v.Add(attrsOf(in[1])["name"], html.UnescapeString(strings.TrimPrefix(in[2], "\n")))
	}
	for _, in := range selects.FindAllStringSubmatch(rest, -1) {
		value := chosen.FindStringSubmatch(in[2])
		if value == nil {
			value = firstOne.FindStringSubmatch(in[2])
		}
		if value != nil {
			v.Add(attrsOf(in[1])["name"], html.UnescapeString(value[1]))
		}
	}
	return action, v, nil
}

func attrsOf(tag string) map[string]string {
	m := map[string]string{}
	for _, a := range attrs.FindAllStringSubmatch(tag, -1) {
		if _, twice := m[a[1]]; !twice {
			m[a[1]] = html.UnescapeString(a[2])
		}
	}
	return m
}

var (
	tagged = regexp.MustCompile(`(?s)<(script|style|nav|head)[ >].*?</(script|style|nav|head)>|<[^>]*>`)
	spaces = regexp.MustCompile(`\s+`)
)

// textOf is what a page says, for a report.
func textOf(page []byte) string {
	return strings.TrimSpace(html.UnescapeString(spaces.ReplaceAllString(tagged.ReplaceAllString(string(page), " "), " ")))
}
