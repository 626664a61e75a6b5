package web_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"unicode"

	"oldhand/cmd/internal/oddshop"
	"oldhand/cmd/internal/paper/papertest"
	"oldhand/cmd/internal/shown"
	"oldhand/cmd/internal/web"
	"oldhand/cmd/internal/workbook"
	"oldhand/projections"
)

var oddSeeds = flag.Uint64("odd.seeds", 1, "how many shops with an odd bench are looked at")

// mostOdd is how large a page may be: what fills a record is in some entries of a unit,
// and each sign of it can take six to be escaped.
const mostOdd = 3 << 20

// crawl goes through the pages of a shop with an odd bench, from some of them to all that
// they lead to.
type crawl struct {
	*served
	t     *testing.T
	rooms *http.ServeMux  // of every room that is only looked at
	seen  map[string]bool // paths with what is asked
	been  map[string]bool // rooms, as they are matched
	next  []string
}

// What a bench wrote that keeps no rule is on every page as text, whichever page leads
// there, and no page fails on it (P10, F18).
func TestPagesShowWhatABenchWroteThatKeepsNoRule(t *testing.T) {
	if testing.Short() {
		t.Skip("looks at several hundred pages, one after the other")
	}
	for seed := range *oddSeeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			made, err := oddshop.Make(t.TempDir(), seed)
			if err != nil {
				t.Fatal(err)
			}
			c := &crawl{served: serveFolder(t, made.Dir), t: t, rooms: http.NewServeMux(), seen: map[string]bool{}, been: map[string]bool{}}
			for _, r := range web.Rooms() {
				if r.Method == http.MethodGet {
					c.rooms.HandleFunc("GET "+r.At, func(http.ResponseWriter, *http.Request) {})
				}
			}
			c.begin(made)
			for len(c.next) > 0 && len(c.seen) < *mostPages {
				at := c.next[0]
				c.next = c.next[1:]
				c.look(at)
			}
			t.Logf("%d pages were looked at", len(c.seen))
			for _, r := range web.Rooms() {
				if at := "GET " + r.At; r.Method == http.MethodGet && !c.been[at] && notOdd[r.At] == "" {
					t.Errorf("%s was shown no odd shop: add an address to begin with", at)
				}
			}
		})
	}
}

// It bounds a crawl: addresses of answers lead to ever more of them.
var mostPages = flag.Int("odd.pages", 800, "how many pages of a shop with an odd bench are looked at")

// notOdd are rooms that show nothing of what benches wrote, with the reason.
var notOdd = map[string]string{
	"/live":                    "it stays open, and says that something changed",
	"/begin":                   "there is a shop",
	"/import/{book}":           "what is read in is no bench's",
	"/benches/bundle/{file}":   "a file is looked at before it is taken",
	"/benches/release/{bench}": "no bench is retired",
	"/start":                   "it lets a browser in",
}

// begin puts down where the crawl begins: each page as such, and with odd words asked for.
func (c *crawl) begin(made oddshop.Shop) {
	add := func(format string, args ...string) {
		escaped := make([]any, len(args))
		for i, a := range args {
			escaped[i] = strings.ReplaceAll(url.QueryEscape(a), "+", "%20")
		}
		c.next = append(c.next, fmt.Sprintf(format, escaped...))
	}
	for _, at := range strings.Fields("/ /find /receive /sheets /sheet /fleet /year /year/1850 /tags /tags?benches=yes /tags/pdf?benches=yes /benches /benches/place /benches/code /benches/retire/2 /doctor /doctor/going /backups /backups/going /cluster /cluster/keys /phones /running /running/where /import /sums /words") {
		add(at)
	}
	for i, u := range append(made.Odd, made.Honest...) {
		for _, at := range []string{"/unit/%s", "/unit/%s/record?contact=yes&notes=yes", "/unit/%s/record/pdf?contact=yes&notes=yes", "/unit/%s/bench", "/unit/%s/test", "/unit/%s/files", "/receive?unit=%s", "/tags?units=%s", "/tags/pdf?units=%s", "/tags/picture?unit=%s", "/receive/known?unit=%s", "/find?q=%s"} {
			add(at, u)
		}
		if i%4 != 3 { // the forms are of one making, and the last unit has seen most
			continue
		}
		for _, do := range []string{"diagnose", "replace", "measure", "ship", "correct", "identify", "work", "note", "wait", "estimate", "attach"} {
			add("/unit/%s/bench?do="+do, u)
		}
	}
	for _, q := range []string{oddshop.Element, oddshop.Attribute, `"` + oddshop.Attribute, "=1+1", "\x1b[2J", "\x00", "Ostrel", "R-950", "e17", "10019", "W", "a/b?c=d&e#f", "..", "\u202e", "日本", "%d%s", "99", strings.Repeat("W", 3000)} {
		for _, at := range []string{"/find?q=%s", "/find/list?q=%s", "/receive/known?maker=Ostrel&model=R-950&serial=%s", "/model/Ostrel/%s", "/model/%[1]s/%[1]s", "/fleet/parts?maker=%s", "/sheet?name=%s", "/unit/%s", "/tags?units=%s", "/fleet/%s", "/words?table=%s", "/echo/%s?text=%[1]s"} {
			add(at, q)
		}
	}
	for _, sum := range []string{"datecode", "value", "colours", "dial", "level", "leakage", "discharge"} {
		add("/sums/" + sum + "?codes=x")
	}
	for _, q := range projections.Questions {
		for _, by := range append([]string{""}, q.By...) {
			for _, at := range []string{"/fleet/%s?by=%s", "/fleet/%s/csv?by=%s", "/fleet/%s/xlsx?by=%s", "/fleet/%s/units?by=%s"} {
				add(at, q.Name, by)
			}
		}
	}
}

// look fetches a page, checks it and notes where it leads.
func (c *crawl) look(at string) {
	if c.seen[at] {
		return
	}
	c.seen[at] = true
	r := c.request(http.MethodGet, at, nil)
	_, room := c.rooms.Handler(r)
	if room == "GET /live" {
		return
	}
	res, err := c.http.Do(r)
	if err != nil {
		c.t.Errorf("%.300s: %v", at, err)
		return
	}
	body, err := io.ReadAll(res.Body)
	if err = errors.Join(err, res.Body.Close()); err != nil {
		c.t.Errorf("%.300s: %v", at, err)
	}
	c.been[room] = c.been[room] || res.StatusCode == http.StatusOK
	if res.StatusCode >= 500 || res.StatusCode != 200 && res.StatusCode < 400 {
		c.t.Errorf("%.300s: status %d: %.1500s", at, res.StatusCode, words(body))
		return
	}
	if len(body) > mostOdd {
		c.t.Errorf("%.300s: %d bytes, at most %d", at, len(body), mostOdd)
	}
	switch kind, _, _ := strings.Cut(res.Header.Get("Content-Type"), ";"); kind {
	case "text/html":
		c.html(at, body)
	case "image/svg+xml":
		c.markup(at, body, true)
	case "application/pdf":
		if _, err := papertest.Read(body); err != nil {
			c.t.Errorf("%.300s: %v", at, err)
		}
	case "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet":
		if _, err := workbook.Open(body); err != nil {
			c.t.Errorf("%.300s: %v", at, err)
		}
	case "text/css", "text/javascript", "text/csv", "image/png", "image/jpeg", "application/json", "text/plain", "font/woff2", "image/x-icon":
	default:
		c.t.Errorf("%.300s: a page of type %q", at, kind)
	}
}

// words are what is read on a page that fails.
func words(body []byte) string {
	_, main, found := strings.Cut(string(body), "<main")
	if !found {
		main = string(body)
	}
	return main
}

// html checks a page, and notes its links.
func (c *crawl) html(at string, body []byte) {
	if d := oddshop.Debris(string(body)); d != "" {
		c.t.Errorf("%.300s: the page holds %s", at, d)
	}
	base := must(url.Parse("http://page" + strings.SplitN(at, "?", 2)[0]))
	for _, link := range c.markup(at, body, false) {
		u, err := base.Parse(link)
		if err != nil {
			c.t.Errorf("%.300s: leads to %q: %v", at, link, err)
			continue
		}
		switch {
		case u.Scheme == "data" || u.Scheme == "blob":
		case u.Host != "page":
			c.t.Errorf("%.300s: leads to elsewhere: %q", at, link)
		default:
			c.next = append(c.next, u.RequestURI())
		}
	}
}

// markup reads a page's elements: none of them is of a text. It gives what they lead to.
func (c *crawl) markup(at string, body []byte, strict bool) (links []string) {
	if !strict { // a browser shows nothing of these, and goes on; to XML they are no letters
		body = bytes.Map(func(r rune) rune {
			if unicode.IsControl(r) && r != '\n' || r == '\ufffe' {
				return ' '
			}
			return r
		}, body)
	}
	dec := xml.NewDecoder(bytes.NewReader(body))
	dec.Strict, dec.AutoClose, dec.Entity = strict, xml.HTMLAutoClose, xml.HTMLEntity
	field := false
	for {
		token, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return links
		}
		if err != nil {
			line, _ := dec.InputPos()
			c.t.Errorf("%.300s: line %d: %v", at, line, err)
			return links
		}
		if text, ok := token.(xml.CharData); ok && !strict && !field && shown.Turn(text) >= 0 {
			c.t.Errorf("%.300s: %.100q turns what stands behind it", at, text)
		}
		el, ok := token.(xml.StartElement)
		field = ok && el.Name.Local == "textarea"
		if !ok {
			continue
		}
		if strings.HasPrefix(el.Name.Local, "odd") || el.Name.Local == "script" && len(el.Attr) == 0 {
			c.t.Errorf("%.300s: the page has an element %s", at, el.Name.Local)
		}
		for _, a := range el.Attr {
			switch name := a.Name.Local; {
			case strings.HasPrefix(name, "odd"), strings.HasPrefix(name, "on"):
				c.t.Errorf("%.300s: <%s> has an attribute %s", at, el.Name.Local, name)
			case name == "href" || name == "src" || name == "hx-get":
				links = append(links, a.Value)
			}
		}
	}
}
