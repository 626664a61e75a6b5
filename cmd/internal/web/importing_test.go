package web_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events/sharedtest"
)

// give sends a file and gives the path of its page.
func (s *served) give(name string, data []byte) string {
	s.t.Helper()
	res, err := s.http.Do(s.giving(name, data))
	if err != nil {
		s.t.Fatal(err)
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK || !strings.HasPrefix(res.Request.URL.Path, "/import/") {
		s.t.Fatalf("giving %s: status %d at %s", name, res.StatusCode, res.Request.URL)
	}
	return res.Request.URL.Path
}

func (s *served) giving(name string, data []byte) *http.Request {
	s.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part := must(form.CreateFormFile("file", name))
	must(part.Write(data))
	if err := form.Close(); err != nil {
		s.t.Fatal(err)
	}
	r := s.request(http.MethodPost, "/import/file", nil)
	r.Body, r.ContentLength = readCloser{&body}, int64(body.Len())
	r.Header.Set("Content-Type", form.FormDataContentType())
	return r
}

type readCloser struct{ *bytes.Buffer }

// Close does nothing.
func (readCloser) Close() error { return nil }

// through waits until a file's page says that nothing is being done.
func (s *served) through(path string) string {
	s.t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if page := s.get(path); !strings.Contains(page, "It is being") {
			return page
		}
	}
	s.t.Fatalf("%s does not come to an end", path)
	return ""
}

func (s *served) presses(path string, form map[string][]string) string {
	s.t.Helper()
	status, body := s.post(path, form)
	if status != http.StatusOK {
		s.t.Fatalf("POST %s: status %d: %.1500s", path, status, body)
	}
	return body
}

// taken gives a file and takes it in.
func (s *served) taken(name, data string) string {
	s.t.Helper()
	at := s.give(name, []byte(data))
	s.presses(at+"/take", nil)
	s.through(at)
	return at
}

func oldBook(t testing.TB) []byte {
	t.Helper()
	return must(os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.csv")))
}

// formOf are the values of a page's form of the mapping, as a browser sends them.
func formOf(page string) map[string][]string {
	form := map[string][]string{}
	start := strings.Index(page, `<form id="map"`)
	part := page[start : start+strings.Index(page[start:], "</form>")]
	for _, m := range regexp.MustCompile(`(?s)<select (?:id="[^"]*" )?name="([^"]*)"[^>]*>(.*?)</select>`).FindAllStringSubmatch(part, -1) {
		form[m[1]] = []string{""}
		if chosen := regexp.MustCompile(`value="([^"]*)" selected`).FindStringSubmatch(m[2]); chosen != nil {
			form[m[1]] = []string{chosen[1]}
		}
	}
	for _, m := range regexp.MustCompile(`<input (?:id="[^"]*" )?name="([^"]*)" value="([^"]*)"`).FindAllStringSubmatch(part, -1) {
		form[m[1]] = []string{strings.NewReplacer("&#34;", `"`, "&amp;", "&", "&#39;", "'").Replace(m[2])}
	}
	return form
}

// The old job book is looked at, read another way, tried, taken, and its likely
// pairs joined one by one. Source of the numbers: shared/jobbook/old-job-book.truth.json.
func TestAnOldBookIsReadInStepByStep(t *testing.T) {
	var truth struct {
		Rows, Units, Visits int
		Spoiled             []struct{ Job int }
		Mistyped            int `json:"visits_with_mistyped_serial"`
	}
	if err := json.Unmarshal(must(os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.truth.json"))), &truth); err != nil {
		t.Fatal(err)
	}
	s := newShop(t)
	at := s.give(`C:\books\old job book.csv`, oldBook(t))
	page := s.get(at)
	wants(t, page, "old job book.csv", "Nora Dunmore", "E17-17750", "AM, mV", `value="received" selected`)

	// Read so that nothing is the serial, then as it was.
	as := formOf(page)
	other := formOf(page)
	for name, is := range other {
		if is[0] == "serial" {
			other[name] = []string{""}
		}
	}
	if page = s.presses(at+"/map", other); strings.Contains(page, "<td>E17-17750</td>") {
		t.Error("a column that is not used is read")
	}
	wants(t, s.presses(at+"/map", as), "<td>E17-17750</td>")

	s.presses(at+"/try", nil)
	words := fmt.Sprintf("%d rows: %d taken as visits of %d units not seen before, 1 here already, %d refused.",
		truth.Rows, truth.Visits, truth.Units+truth.Mistyped, len(truth.Spoiled))
	page = s.through(at)
	wants(t, page, words, "What taking it in would come to", `<span class="unit">`)
	if strings.Contains(page, `name="are"`) || strings.Contains(page, `class="unit" href`) {
		t.Error("trying offers to join units that are not there, or leads to them")
	}
	for _, spoiled := range truth.Spoiled {
		wants(t, page, fmt.Sprintf("<td>%d</td>", spoiled.Job))
	}
	if found, _, err := s.shop.Lookup("E17-17750", 5); err != nil || len(found) > 0 {
		t.Fatalf("trying wrote %v (%v)", found, err)
	}

	s.presses(at+"/take", nil)
	page = s.through(at)
	wants(t, page, words, "Taken in")
	pairs := regexp.MustCompile(`name="a" value="([^"]*)"><input type="hidden" name="b" value="([^"]*)"><input type="hidden" name="are" value="same"`).FindAllStringSubmatch(page, -1)
	if len(pairs) != truth.Mistyped {
		t.Fatalf("%d pairs, want %d", len(pairs), truth.Mistyped)
	}
	for i, p := range pairs {
		are := choose(i == 0, "apart", "same")
		page = s.presses(at+"/pair", map[string][]string{"a": {p[1]}, "b": {p[2]}, "are": {are}})
	}
	if n := strings.Count(page, "joined: one and the same set"); n != truth.Mistyped-1 {
		t.Errorf("%d pairs are joined, want %d", n, truth.Mistyped-1)
	}
	v, err := s.shop.Verify(nil)
	if err != nil || v.Units != truth.Units+1 || v.Visits != truth.Visits {
		t.Errorf("%d units and %d visits, want %d and %d (%v)", v.Units, v.Visits, truth.Units+1, truth.Visits, err)
	}

	// Given once more, nothing is new.
	again := s.give("the same.csv", oldBook(t))
	s.presses(again+"/take", nil)
	wants(t, s.through(again), "0 taken as visits of 0 units not seen before")
}

func TestATableWhoseColumnsCantBeToldIsShownToBeTold(t *testing.T) {
	s := newShop(t)
	at := s.give("odd.csv", []byte("alpha,beta,gamma,delta\n3/4/1988,Ostrel,R-950,E17-1\n3/14/1988,Ostrel,R-950,E17-2\n"))
	page := s.get(at)
	wants(t, page, "notice warn", "alpha", "3/4/1988 · 3/14/1988")
	if strings.Contains(page, "Try it without writing") {
		t.Error("what can't be read can be tried")
	}
	form := formOf(page)
	form["is 0"], form["is 1"], form["is 2"], form["is 3"] = []string{"received"}, []string{"maker"}, []string{"model"}, []string{"serial"}
	page = s.presses(at+"/map", form)
	wants(t, page, "<td>1988-03-04</td>", "Try it without writing")
	form["is 3"] = []string{"maker"}
	status, page := s.post(at+"/map", form)
	if status != http.StatusUnprocessableEntity {
		t.Errorf("two makers: status %d", status)
	}
	wants(t, page, "can&#39;t both be maker")
}

func TestWhatIsNoBookIsRefusedInWords(t *testing.T) {
	s := newShop(t)
	for name, c := range map[string]struct {
		data   []byte
		status int
		words  string
	}{
		"empty":     {nil, http.StatusUnprocessableEntity, "is empty"},
		"a picture": {[]byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"), http.StatusUnprocessableEntity, "the file"},
		"too large": {bytes.Repeat([]byte("a,b,c,d\n"), 9<<20), http.StatusRequestEntityTooLarge, "Too much at once"},
	} {
		t.Run(name, func(t *testing.T) {
			status, body := s.do(s.giving(name+".csv", c.data))
			if status != c.status {
				t.Errorf("status %d, want %d", status, c.status)
			}
			wants(t, body, c.words)
		})
	}
	status, body := s.post("/import/gone/take", nil)
	if status != http.StatusConflict {
		t.Errorf("a file that is not in hand: status %d", status)
	}
	wants(t, body, "not in hand any more")
}

// An export of another bench's folder is taken whole.
func TestAnExportIsTakenIn(t *testing.T) {
	from := copyOfInvented(t)
	to := copyOfInvented(t)
	tag := receive(t, from, "LATER-1")
	var out bytes.Buffer
	if _, err := from.shop.ExportEvents(&out, app.ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	at := to.give("all.jsonl", out.Bytes())
	wants(t, to.get(at), "export of this program")
	to.presses(at+"/take", nil)
	wants(t, to.through(at), "here already")
	if found, _, err := to.shop.Lookup("LATER-1", 1); err != nil || len(found) != 1 || found[0].Tag != tag {
		t.Errorf("found %v (%v)", found, err)
	}
	if left, _ := filepath.Glob(filepath.Join(to.dir, "reading-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}
