package web_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/sheet"
	"oldhand/events"
	"oldhand/projections"
)

// askings are questions with filters, as they stand in the address and as the
// command line has them.
func askings(t testing.TB, s *served) map[string]app.Asking {
	often := tagOf(t, s, "a unit that was here six times")
	list := map[string]app.Asking{
		"/fleet/rarity?maker=Pellowick":                            {Question: "rarity", Maker: "Pellowick"},
		"/fleet/rarity?unit=" + often:                              {Question: "rarity", Unit: often},
		"/fleet/failures?by=model&from=2010-01-01&to=2019-12-31":   {Question: "failures", By: "model", From: "2010-01-01", To: "2019-12-31"},
		"/fleet/turnaround?as-of=2015-06-30&by=year":               {Question: "turnaround", By: "year", AsOf: "2015-06-30"},
		"/fleet/turnaround?by=model&group=Yarrowby+512&group=670":  {Question: "turnaround", By: "model", Groups: []string{"Yarrowby 512", "670"}},
		"/fleet/turnaround?days=60&working=us":                     {Question: "turnaround", Days: 60, Working: "us"},
		"/fleet/comebacks?days=365&maker=Ulverdine&model=660":      {Question: "comebacks", Days: 365, Maker: "Ulverdine", Model: "660"},
		"/fleet/comebacks?unit=" + often:                           {Question: "comebacks", Unit: often},
		"/fleet/parts?as-of=2012-12-31&from=2008-01-01":            {Question: "parts", AsOf: "2012-12-31", From: "2008-01-01"},
		"/fleet/year?year=2019":                                    {Question: "year", Year: 2019},
		"/fleet/outcomes?by=model&maker=Vantreith&to=2020-12-31":   {Question: "outcomes", By: "model", Maker: "Vantreith", To: "2020-12-31"},
		"/fleet/turnaround?by=model&group=Yarrowby+512&group=Nope": {Question: "turnaround", By: "model", Groups: []string{"Yarrowby 512", "Nope"}},
	}
	for _, q := range projections.Questions {
		list["/fleet/"+q.Name] = app.Asking{Question: q.Name}
		for _, by := range q.By {
			list["/fleet/"+q.Name+"?by="+by] = app.Asking{Question: q.Name, By: by}
		}
	}
	delete(list, "/fleet/turnaround?by=model&group=Yarrowby+512&group=Nope") // asked for below
	list["/fleet/turnaround?by=model&group=Yarrowby+512&group=Ulverdine+670"] = app.Asking{Question: "turnaround", By: "model", Groups: []string{"Yarrowby 512", "Ulverdine 670"}}
	delete(list, "/fleet/turnaround?by=model&group=Yarrowby+512&group=670")
	return list
}

var (
	rowsOf   = regexp.MustCompile(`(?s)<tbody>(.*?)</tbody>`)
	rowOf    = regexp.MustCompile(`(?s)<tr>(.*?)</tr>`)
	numberOf = regexp.MustCompile(`(?s)<td class="num">(.*?)</td>`)
	tagsOf   = regexp.MustCompile(`<[^>]*>`)
	figureOf = regexp.MustCompile(`-?\d+(?:\.\d+)?(?:e-?\d+)?`)
	partOf   = regexp.MustCompile(`<a href="([^"]*)#rows"`)
)

// shownNumbers are the numbers in the cells of numbers of all of a page's parts,
// by row.
func shownNumbers(s *served, path string) (rows [][]string) {
	pages := []string{s.get(path)}
	for i, m := range partOf.FindAllStringSubmatch(pages[0], -1) {
		if i > 0 {
			pages = append(pages, s.get(html.UnescapeString(m[1])))
		}
	}
	for _, page := range pages {
		for _, body := range rowsOf.FindAllStringSubmatch(page, -1) {
			for _, row := range rowOf.FindAllStringSubmatch(body[1], -1) {
				var numbers []string
				for _, cell := range numberOf.FindAllStringSubmatch(row[1], -1) {
					numbers = append(numbers, figureOf.FindAllString(html.UnescapeString(tagsOf.ReplaceAllString(cell[1], "")), -1)...)
				}
				rows = append(rows, numbers)
			}
		}
	}
	return rows
}

// value is one number of an answer as ask --json has it.
type value struct {
	key string
	v   float64
}

// toldNumbers are the numbers of an answer by row, read from its JSON, limits
// behind what they are of.
func toldNumbers(t *testing.T, res *projections.Result) (rows [][]value) {
	t.Helper()
	b, err := json.Marshal(res)
	if err != nil {
		t.Fatal(err)
	}
	var all struct{ Rows []json.RawMessage }
	if err := json.Unmarshal(b, &all); err != nil {
		t.Fatal(err)
	}
	for _, raw := range all.Rows {
		numbers := flat(t, raw)
		if at := slices.IndexFunc(numbers, func(v value) bool { return v.key == "robust_se" }); at >= 0 {
			se := numbers[at] // the limits follow the mean
			numbers = append(slices.Delete(numbers, at, at+1), se)
		}
		if bytes.Contains(raw, []byte(`"group"`)) {
			numbers = slices.DeleteFunc(numbers, func(v value) bool { return v.key == "year" }) // its group says it
		}
		rows = append(rows, numbers)
	}
	return rows
}

func flat(t *testing.T, object []byte) (numbers []value) {
	dec := json.NewDecoder(bytes.NewReader(object))
	if _, err := dec.Token(); err != nil {
		t.Fatal(err)
	}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			t.Fatal(err)
		}
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			t.Fatal(err)
		}
		var v float64
		switch {
		case raw[0] == '{' && key != "charged":
			numbers = append(numbers, flat(t, raw)...)
		case string(raw) != "null" && json.Unmarshal(raw, &v) == nil:
			numbers = append(numbers, value{fmt.Sprint(key), v})
		}
	}
	return numbers
}

// percents are the keys of shares, which a page shows in percent.
var percents = []string{"share", "low", "high", "shrunk", "come_back_share", "come_back_low", "come_back_high"}

// says reports whether a text is a number, as far as it was rounded.
func (v value) says(text string, inPercent bool) bool {
	want := v.v
	if inPercent {
		want *= 100
	}
	got, err := strconv.ParseFloat(text, 64)
	if err != nil || (want != 0) != (got != 0) {
		return false
	}
	if strings.Contains(text, "e") || math.Abs(want) < 0.01 {
		return math.Abs(got-want) <= 0.051*math.Abs(want) // two figures
	}
	decimals := 0
	if dot := strings.IndexByte(text, '.'); dot >= 0 {
		decimals = len(text) - dot - 1
	}
	return math.Abs(got-want) <= 0.5*math.Pow(10, -float64(decimals))+1e-9
}

// A page shows the very numbers of ask --json, all of them, and gives them as CSV
// and XLSX to the byte.
func TestAPageSaysTheNumbersOfTheAnswer(t *testing.T) {
	s := copyOfInvented(t)
	checked := 0
	for path, in := range askings(t, s) {
		res, err := s.shop.Ask(in)
		if err != nil {
			t.Fatal(path, err)
		}
		shown, told := shownNumbers(s, path), toldNumbers(t, res)
		if len(shown) != len(told) || len(told) == 0 {
			t.Errorf("%s shows %d rows of %d", path, len(shown), len(told))
			continue
		}
		for i, want := range told {
			rates := in.Question == "parts" || in.Question == "norms" || slices.ContainsFunc(want, func(v value) bool { return v.key == "mean_returns" })
			if len(shown[i]) != len(want) {
				t.Errorf("%s, row %d: shows %v of %v", path, i+1, shown[i], want)
				break
			}
			for j, v := range want {
				checked++
				if !v.says(shown[i][j], !rates && slices.Contains(percents, v.key)) {
					t.Errorf("%s, row %d: %s is %v and shown as %s", path, i+1, v.key, v.v, shown[i][j])
				}
			}
		}
		page := html.UnescapeString(s.get(path))
		wants(t, page, res.AsOf, res.Method)
		for _, m := range res.Missing {
			wants(t, page, fmt.Sprintf("%s: %d", m.What, m.Count))
		}
		wants(t, page, res.Notes...)
		sameFiles(t, s, path, res)
	}
	if checked < 5000 {
		t.Errorf("only %d numbers were compared", checked)
	}
}

func sameFiles(t *testing.T, s *served, path string, res *projections.Result) {
	t.Helper()
	name, query, _ := strings.Cut(path, "?")
	var csv, xlsx bytes.Buffer
	if err := sheet.CSV(&csv, res); err != nil {
		t.Fatal(err)
	}
	if err := sheet.XLSX(&xlsx, res); err != nil {
		t.Fatal(err)
	}
	page := html.UnescapeString(s.get(path))
	for ending, want := range map[string]string{"csv": csv.String(), "xlsx": xlsx.String()} {
		link := name + "/" + ending + choose(query == "", "", "?") + query
		wants(t, page, `href="`+link+`"`)
		if got := s.get(link); got != want {
			t.Errorf("%s: %d bytes, want the %d of the command line", link, len(got), len(want))
		}
	}
}

// The filters of the form are what the address has, and nothing else is in it.
func TestFiltersStandInTheAddress(t *testing.T) {
	s := copyOfInvented(t)
	for from, to := range map[string]string{
		"/fleet/parts?maker=&model=&from=&to=&as-of=":                       "/fleet/parts",
		"/fleet/turnaround?by=model&maker=+&group=Yarrowby+512&group=":      "/fleet/turnaround?by=model&group=Yarrowby+512",
		"/fleet/failures?by=maker&colour=red":                               "/fleet/failures?by=maker",
		"/fleet/failures?part=3&by=year":                                    "/fleet/failures?by=year&part=3",
		"/fleet/turnaround?group=Yarrowby+512&group=Ulverdine+670&by=model": "/fleet/turnaround?by=model&group=Yarrowby+512&group=Ulverdine+670",
	} {
		res, err := s.http.Do(s.request(http.MethodGet, from, nil))
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if got := res.Request.URL.RequestURI(); got != to || res.StatusCode != http.StatusOK {
			t.Errorf("%s leads to %s, status %d, want %s", from, got, res.StatusCode, to)
		}
		wants(t, html.UnescapeString(s.get(to)), `href="`+to+`"`)
	}
	page := html.UnescapeString(s.get("/fleet/turnaround?as-of=2020-12-31&by=model&group=Yarrowby+512&group=Ulverdine+670&from=2010-01-01&working=us"))
	wants(t, page, `value="2020-12-31"`, `<option value="model" selected>`, `value="Yarrowby 512"`, `value="Ulverdine 670"`, `value="2010-01-01"`, `<option value="us" selected>`)
}

// What can't be asked is said beside its field, and what was typed stays.
func TestAWrongFilterIsSaidAtItsField(t *testing.T) {
	s := copyOfInvented(t)
	for path, c := range map[string]struct {
		status int
		words  []string
	}{
		"/fleet/turnaround?as-of=yesterday":                    {422, []string{`value="yesterday"`, `id="ask-as-of-about"`, "want a date"}},
		"/fleet/failures?by=colour":                            {422, []string{`id="ask-by-about"`, "is none of: year, decade, maker, model"}},
		"/fleet/rarity?from=2020-01-01&to=2019-01-01":          {422, []string{`id="ask-from-about"`, "is after"}},
		"/fleet/comebacks?days=many":                           {422, []string{`value="many"`, `id="ask-days-about"`, "number of days"}},
		"/fleet/year?year=20":                                  {422, []string{`id="ask-year-about"`, "four figures"}},
		"/fleet/turnaround?by=model&group=Nope":                {422, []string{`id="ask-group1-about"`, "is none of"}},
		"/fleet/turnaround?working=sundays":                    {422, []string{`id="ask-working-about"`, "there are weekdays and us"}},
		"/fleet/rarity?unit=99999":                             {404, []string{`role="alert"`, "99999"}},
		"/fleet/colours":                                       {404, []string{"No such question"}},
		"/fleet/failures/csv?by=colour":                        {422, []string{"is none of"}},
		"/year/20":                                             {422, []string{"four figures"}},
		"/year/2400":                                           {422, []string{"up to 2026"}},
		"/model/Nobody/Nothing":                                {404, []string{"No such model here"}},
		"/fleet/turnaround?by=all&group=Pellowick&from=x":      {422, []string{`id="ask-from-about"`}},
		"/fleet/parts?as-of=2026-11-25T10:00&maker=Ostrel":     {422, []string{`value="Ostrel"`}},
		"/fleet/outcomes?by=kind&from=2020-02-30":              {422, []string{"2020-02-30"}},
		"/fleet/comebacks?days=0":                              {422, []string{"number of days"}},
		"/fleet/comebacks?days=99999999999999999999999999":     {422, []string{"number of days"}},
		"/fleet/turnaround/xlsx?as-of=" + url.QueryEscape("'"): {422, []string{"want a date"}},
	} {
		status, body := s.do(s.request(http.MethodGet, path, nil))
		if status != c.status {
			t.Errorf("%s: status %d, want %d", path, status, c.status)
		}
		for _, w := range c.words {
			if !strings.Contains(html.UnescapeString(body), w) {
				t.Errorf("%s does not say %q", path, w)
			}
		}
	}
}

// A shop without data says what would fill each page.
func TestAnEmptyShopSaysWhatWouldFillThePage(t *testing.T) {
	s := newShop(t)
	seen := map[string]bool{}
	for _, q := range projections.Questions {
		page := s.get("/fleet/" + q.Name)
		wants(t, page, "Nothing to tell yet. This is made from", "oldhand receive")
		_, words, _ := strings.Cut(page, "This is made from")
		words, _, _ = strings.Cut(words, ".")
		if seen[words] {
			t.Errorf("%s is filled by the same as another: %s", q.Name, words)
		}
		seen[words] = true
	}
	wants(t, s.get("/fleet"), "Nothing to tell yet")
	wants(t, s.get("/year"), "Nothing is written down of the year 2026", "oldhand import")
	wants(t, s.get("/fleet/parts?maker=Nobody"), "Nothing here is as it was asked for.")
}

func TestTheOverviewHasEveryQuestionWithItsFinding(t *testing.T) {
	s := copyOfInvented(t)
	page := html.UnescapeString(s.get("/fleet"))
	for _, q := range projections.Questions {
		res, err := s.shop.Ask(app.Asking{Question: q.Name})
		if err != nil {
			t.Fatal(err)
		}
		wants(t, page, `href="/fleet/`+q.Name+`"`, q.Title, res.Picture.Desc)
	}
}

// Rows lead to the units behind them, however a model is spelled.
func TestRowsLeadToWhatIsBehindThem(t *testing.T) {
	s := newShop(t)
	for i, model := range []string{"R-950", "A/B 7", "50% & more", "a+b", "Größe 1", "..", "?x=1#y", "R 950"} {
		res, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: model, Serial: fmt.Sprintf("S-%04d", 1000+i)}})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.shop.Record(res.Tag, app.Who{}, events.FaultFound{Component: "lamp", Mode: "burned-out"}); err != nil {
			t.Fatal(err)
		}
	}
	link := regexp.MustCompile(`<td><a href="(/model/[^"]*)">([^<]*)</a>`)
	for _, path := range []string{"/fleet/rarity", "/fleet/failures?by=model", "/fleet/turnaround?by=model"} {
		links := link.FindAllStringSubmatch(s.get(path), -1)
		if len(links) < 5 {
			t.Errorf("%s has %d links to models", path, len(links))
		}
		for _, m := range links {
			name := strings.TrimPrefix(html.UnescapeString(m[2]), "Ostrel ")
			wants(t, html.UnescapeString(s.get(html.UnescapeString(m[1]))), "<h1>Ostrel "+name+"</h1>", `href="/unit/`)
		}
	}
	wants(t, s.get("/fleet/rarity"), `href="/find?q=Ostrel"`)
	wants(t, s.get("/fleet/year"), `href="/year/2026"`)
	wants(t, s.get("/model/ostrel/r950"), "2 units here in 2 visits", "lamp", "number 1 of")
}

// A part that would come out the same is not sent again.
func TestAnOpenAnswerIsRenewedOnlyWhereItChanged(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	shown := regexp.MustCompile(`name="shown" value="(\w+)"`)
	for _, path := range []string{"/fleet", "/fleet/rarity", "/fleet/rarity?maker=Ostrel", "/year", "/year/2026", "/model/Ostrel/R-950"} {
		print := shown.FindStringSubmatch(s.get(path))
		ask := func(print string) (int, string) {
			r := s.request(http.MethodGet, path+choose(strings.Contains(path, "?"), "&", "?")+"shown="+print, nil)
			r.Header.Set("HX-Request", "true")
			return s.do(r)
		}
		if _, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "looked at"}); err != nil {
			t.Fatal(err)
		}
		if status, body := ask(print[1]); status != http.StatusNoContent || body != "" {
			t.Errorf("%s after a note: status %d, %d bytes", path, status, len(body))
		}
		receive(t, s, fmt.Sprintf("B90-%05d", 10000+len(path)*7))
		status, body := ask(print[1])
		if status != http.StatusOK || strings.Contains(body, "<html") || len(shown.FindStringSubmatch(body)) == 0 {
			t.Errorf("%s after a unit came: status %d, %.200s", path, status, body)
		}
	}
}

// In a browser: what changes is renewed without loading the page, what has the
// focus keeps it, and what does not change is not touched.
func TestAnOpenAnswerChangesUnderTheEyesAndKeepsTheFocus(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	b := openTab(t, s)
	b.goTo("/fleet/rarity")
	b.at("/fleet/rarity")
	b.until(`document.querySelector('#rows1')`)
	eval[any](b, `document.querySelector('#rows1').focus(); window.kept = document.querySelector('#rows1 table'); 1`)
	fetched := `performance.getEntriesByType('resource').filter(e => e.name.includes('shown=')).length`
	if _, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "looked at"}); err != nil {
		t.Fatal(err)
	}
	b.until(fetched + ` === 1`)
	if !eval[bool](b, `window.kept === document.querySelector('#rows1 table') && document.activeElement.id === 'rows1'`) {
		t.Error("an answer that is the same was drawn anew")
	}
	if _, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: "Varnholt", Model: "VH-7", Serial: "B90-55354"}}); err != nil {
		t.Fatal(err)
	}
	b.until(`document.querySelector('#rows1').innerText.includes('VH-7')`)
	if !eval[bool](b, `document.activeElement.id === 'rows1' && Boolean(window.kept)`) {
		t.Errorf("the focus went to %s", eval[string](b, `document.activeElement.outerHTML.slice(0, 200)`))
	}
	b.clean("fleet")
}

// What somebody typed as a maker, a model or a filter is shown and never run.
func TestNamesInAnswersAreShownAndNeverRun(t *testing.T) {
	s := newShop(t)
	texts := []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `' onmouseover='alert(1)`, `javascript:alert(1)`, `</title><svg onload=alert(1)>`}
	paths := []string{"/fleet", "/fleet/rarity", "/fleet/turnaround?by=model", "/fleet/failures?by=maker", "/year", "/fleet/year"}
	for i, text := range texts {
		res, err := s.shop.Receive(app.Intake{Claim: events.Received{Maker: text, Model: text, Serial: fmt.Sprintf("S%04d", i)}})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.shop.Record(res.Tag, app.Who{}, events.FaultFound{Component: "lamp", Mode: "burned-out"}); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, "/model/"+url.PathEscape(text)+"/"+url.PathEscape(text), "/fleet/rarity?maker="+url.QueryEscape(text), "/fleet/parts?as-of="+url.QueryEscape(text))
	}
	for _, path := range paths {
		_, body := s.do(s.request(http.MethodGet, path, nil))
		for _, bad := range []string{"<script>alert", "<img src=x", "<svg onload", `" onmouseover=`, `' onmouseover='`, `href="javascript:`} {
			if strings.Contains(body, bad) {
				t.Errorf("%s has %q in it", path, bad)
			}
		}
	}
	wants(t, s.get("/fleet/rarity"), "&lt;script&gt;")
}
