package web_test

import (
	"fmt"
	"html"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/chromedp/chromedp/kb"
)

var (
	unitsLink  = regexp.MustCompile(`<td class="num"><a href="(/fleet/[a-z]+/units\?[^"]*)">(\d+)</a>`)
	listedUnit = regexp.MustCompile(`(?s)<li><a class="unit" href="/unit/([^"]*)">.*?</li>`)
	timesOf    = regexp.MustCompile(`class="mark times">(\d+) times<`)
	olderUnits = regexp.MustCompile(`<a href="([^"]*)" rel="next">`)
)

// listedBehind follows a list of units through all its parts, and counts how often
// each is counted.
func listedBehind(t *testing.T, s *served, path string) map[string]int {
	t.Helper()
	times := map[string]int{}
	for path != "" {
		page := s.get(path)
		for _, li := range listedUnit.FindAllStringSubmatch(page, -1) {
			if times[li[1]] > 0 {
				t.Errorf("%s lists %s twice", path, li[1])
			}
			times[li[1]] = 1
			if m := timesOf.FindStringSubmatch(li[0]); m != nil {
				times[li[1]], _ = strconv.Atoi(m[1])
			}
		}
		next := olderUnits.FindStringSubmatch(page)
		if path = ""; next != nil {
			path = html.UnescapeString(next[1])
		}
	}
	return times
}

// Every number that leads to units leads to just as many of them.
func TestANumberLeadsToTheUnitsItCounts(t *testing.T) {
	s := copyOfInvented(t)
	seen, followed, kinds := 0, 0, map[string]int{}
	paths := []string{"/model/Pellowick/PK-47", "/model/Yarrowby/538"}
	for path := range askings(t, s) {
		paths = append(paths, path)
	}
	slices.Sort(paths)
	for _, path := range paths {
		for _, m := range unitsLink.FindAllStringSubmatch(s.get(path), -1) {
			if seen++; seen%9 != 0 && kinds[path] > 3 {
				continue // of thousands some, and the first of each page
			}
			followed++
			kinds[path]++
			sum, link := 0, html.UnescapeString(m[1])
			for _, n := range listedBehind(t, s, link) {
				sum += n
			}
			if fmt.Sprint(sum) != m[2] {
				t.Errorf("%s: %s leads to %s, which counts %d", path, m[2], link, sum)
			}
		}
	}
	for _, question := range []string{"rarity", "failures", "turnaround", "comebacks", "parts", "outcomes"} {
		if !slices.ContainsFunc(paths, func(p string) bool { return strings.HasPrefix(p, "/fleet/"+question) && kinds[p] > 0 }) {
			t.Errorf("no number of %s leads to units", question)
		}
	}
	if followed < 150 {
		t.Errorf("only %d numbers of %d were followed", followed, seen)
	}
}

// A list that is longer than a page goes on, names each unit once, and is found
// also while others come in.
func TestALongListOfUnitsGoesOn(t *testing.T) {
	s := newShop(t)
	for i := range 130 {
		res, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: fmt.Sprintf("S-%04d", 1000+i)}})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.shop.Record(res.Tag, app.Who{}, events.FaultFound{Component: "lamp", Mode: "burned-out"}); err != nil {
			t.Fatal(err)
		}
	}
	for _, path := range []string{"/fleet/failures/units?by=year&group=&component=lamp&mode=burned-out", "/fleet/rarity/units?maker=ostrel&model=r950", "/fleet/rarity/units?maker=OSTREL"} {
		if n := len(listedBehind(t, s, path)); n != 130 {
			t.Errorf("%s lists %d units, want 130", path, n)
		}
	}
	first := s.get("/fleet/rarity/units?maker=ostrel&model=r950")
	next := html.UnescapeString(olderUnits.FindStringSubmatch(first)[1])
	before := listedUnit.FindStringSubmatch(s.get(next))[1]
	receive(t, s, "Z99-00001")
	if after := listedUnit.FindStringSubmatch(s.get(next))[1]; after != before {
		t.Errorf("the second part began with %s and, after a unit came, with %s", before, after)
	}
}

func TestAListOfUnitsThatCannotBeSaysSo(t *testing.T) {
	s := newShop(t)
	for path, c := range map[string]struct {
		status int
		words  string
	}{
		"/fleet/parts/units?component=lamp&value=":         {200, "No unit is behind this."},
		"/fleet/year/units":                                {404, "not counts of units"},
		"/fleet/colours/units":                             {404, "No such question"},
		"/fleet/parts/units?component=lamp&after=99999":    {404, "99999"},
		"/fleet/parts/units?component=lamp&from=yesterday": {422, "want a date"},
		"/fleet/comebacks/units?fault=any&days=many":       {422, "number of days"},
	} {
		status, body := s.do(s.request(http.MethodGet, path, nil))
		if status != c.status || !strings.Contains(html.UnescapeString(body), c.words) {
			t.Errorf("%s: status %d, want %d and %q", path, status, c.status, c.words)
		}
	}
}

// From an answer to a unit without a mouse: the broad grid takes the focus and is
// moved, a count is reached and followed, and so is a unit.
func TestFromAnAnswerToAUnitByKeyboardAlone(t *testing.T) {
	s := copyOfInvented(t)
	b := openTab(t, s)
	b.goTo("/fleet/failures")
	b.at("/fleet/failures")
	b.as(looks{"light", 390, 844})
	eval[any](b, `document.querySelector('.filters summary').focus(); 1`)
	b.keys(kb.Tab)
	b.until(`document.activeElement.id === 'picture'`)
	b.keys(kb.ArrowRight + kb.ArrowRight + kb.ArrowRight)
	b.until(`document.querySelector('#picture').scrollLeft > 20`)
	if still := eval[float64](b, `document.querySelector('#picture > :first-child').getBoundingClientRect().left`); still < 0 || still > 20 {
		t.Errorf("the names of the rows went along, to %v", still)
	}
	b.keys(kb.Tab)
	b.until(`document.activeElement.id === 'rows1'`)
	b.keys(kb.Tab)
	b.until(`document.activeElement.matches('#rows1 a[href*="/failures/units?"]')`)
	b.keys(kb.Enter)
	b.at("/fleet/failures/units")
	b.until(`document.querySelector('a.unit')`)
	for range 20 {
		if eval[bool](b, `document.activeElement.matches('main a.unit')`) {
			break
		}
		b.keys(kb.Tab)
	}
	b.keys(kb.Enter)
	b.until(`location.pathname.startsWith('/unit/')`)
	b.clean("units")
}
