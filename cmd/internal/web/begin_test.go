package web_test

import (
	"html"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
)

// once is the id of a form in a page, by the form's id.
func once(t testing.TB, page, form string) string {
	t.Helper()
	_, after, ok := strings.Cut(page, `<form id="`+form+`"`)
	found := regexp.MustCompile(`name="once" value="([^"]+)"`).FindStringSubmatch(after)
	if !ok || found == nil {
		t.Fatalf("no form %s in %.2000s", form, page)
	}
	return html.UnescapeString(found[1])
}

func TestAnEmptyFolderSaysHowToBeginAndAShopIsFounded(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "shop")
	s := serveFolder(t, dir)
	page := s.get("/") // leads to where one begins
	wants(t, page, "There is no shop in this folder yet", "Found a shop", "Join a shop")

	// What is wrong with a form is said beside it, and nothing typed is lost.
	status, page := s.post("/begin/found", url.Values{"shop": {"Lantern Street Radio"}, "bench": {strings.Repeat("x", 2000)}, "once": {once(t, page, "found")}})
	if status != http.StatusUnprocessableEntity || app.HasFolder(dir) {
		t.Fatalf("status %d", status)
	}
	wants(t, page, `value="Lantern Street Radio"`)

	status, page = s.post("/begin/found", url.Values{"shop": {"Lantern Street Radio"}, "bench": {"front"}, "once": {once(t, page, "found")}})
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, page)
	}
	wants(t, page, "Lantern Street Radio", "Keep a copy of", "Nothing stands on the benches")
	if s.shop == nil || s.shop.Card.Bench != "front" {
		t.Error("the shop is not open")
	}
}

func TestAFormSentTwiceActsOnce(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "shop")
	s := serveFolder(t, dir)
	form := url.Values{"shop": {"Lantern Street Radio"}, "bench": {"front"}, "once": {once(t, s.get("/begin"), "found")}}
	for range 2 {
		if status, page := s.post("/begin/found", form); status != http.StatusOK {
			t.Fatalf("status %d: %s", status, page)
		}
	}
	// Without the form's id it is another action, which there is no room for.
	form.Del("once")
	if status, _ := s.post("/begin/found", form); status != http.StatusConflict {
		t.Errorf("a second founding: status %d", status)
	}
}

func TestAShopThatACommandFoundedMeanwhileIsShown(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "shop")
	s := serveFolder(t, dir)
	shop, err := app.Found(dir, "Quarry Lane Radio", "front", app.Options{State: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	if err := shop.Close(); err != nil {
		t.Fatal(err)
	}
	wants(t, s.get("/"), "Quarry Lane Radio")
}
