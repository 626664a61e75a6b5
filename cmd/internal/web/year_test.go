package web_test

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"slices"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/projections"

	"github.com/chromedp/chromedp"
)

// The lists of a year add up to what the answer about years says, and begin with
// the same.
func TestTheListsOfAYearAreThoseOfTheAnswer(t *testing.T) {
	s := copyOfInvented(t)
	for year := 2000; year <= 2026; year++ {
		y, err := s.shop.OfYear(year)
		if err != nil {
			t.Fatal(err)
		}
		lists := map[string]projections.YearList{}
		for _, l := range y.Lists {
			lists[l.What] = l
		}
		for column, r := range y.Years.Rows {
			row := r.(projections.YearRow)
			if column >= len(lists["models"].Years) {
				continue
			}
			for what, want := range map[string]int{"models": row.Received, "parts": row.Parts, "endings": row.Shipped} {
				sum := 0
				for _, c := range lists[what].Rows {
					sum += c.Counts[column]
				}
				if sum != want {
					t.Errorf("%d: %d %s in %d, the answer says %d", year, sum, what, row.Year, want)
				}
			}
		}
		top := y.Years.Rows[0].(projections.YearRow)
		for what, want := range map[string][]string{"models": top.TopModels, "faults": top.TopFaults} {
			for i, text := range want {
				if c := lists[what].Rows[i]; !strings.HasSuffix(text, fmt.Sprintf("(%d)", c.Counts[0])) {
					t.Errorf("%d: %s number %d has %d, the answer says %s", year, what, i+1, c.Counts[0], text)
				}
			}
		}
	}
}

// Rows of the years' table are those of the answer; the sentences have its
// numbers, and the years beside it are a link away.
func TestTheYearSaysWhatTheAnswerSays(t *testing.T) {
	s := copyOfInvented(t)
	res, err := s.shop.Ask(app.Asking{Question: "year", Year: 2019})
	if err != nil {
		t.Fatal(err)
	}
	page := html.UnescapeString(s.get("/year/2019"))
	row := res.Rows[0].(projections.YearRow)
	wants(t, page, `href="/year/2018"`, `href="/year/2020"`, fmt.Sprintf("%d units received, %d of them not here before.", row.Received, row.New),
		fmt.Sprintf("%d units shipped, %d of them repaired.", row.Shipped, row.Repaired), res.Method, row.Charged["USD"]+" USD charged", "from=2019-01-01&to=2019-12-31")
	shown, told := shownNumbers(s, "/year/2019"), toldNumbers(t, res)
	// The endings stand before the years; what is looked at begins with the year itself.
	begins := slices.IndexFunc(shown, func(row []string) bool { return row[0] == "2019" })
	if begins < 0 {
		t.Fatalf("no row begins with the year: %v", shown)
	}
	shown = shown[begins:]
	for i, want := range told {
		for j, v := range want {
			percent := strings.HasPrefix(v.key, "come_back_")
			if !v.says(shown[i][j], percent) {
				t.Errorf("row %d: %s is %v and shown as %s", i+1, v.key, v.v, shown[i][j])
			}
		}
	}
	first := s.get("/year/1997")
	if strings.Contains(first, `href="/year/1996"`) {
		t.Error("a year before the first is offered")
	}
	if now := s.get("/year"); strings.Contains(now, `href="/year/2027"`) {
		t.Error("a year to come is offered")
	}
	wants(t, s.get("/year"), "so far")
}

// The year goes on two sheets, of A4 and of Letter, whichever year it is.
func TestTheYearPrintsOnTwoSheets(t *testing.T) {
	s := copyOfInvented(t)
	b := openTab(t, s)
	b.as(looks{"dark", 1200, 900}) // paper is white all the same
	sheet := regexp.MustCompile(`/Type\s*/Page\b[^s]`)
	for _, path := range []string{"/year/2019", "/year/2000", "/year"} {
		b.goTo(path)
		b.until(`document.readyState === 'complete' && document.querySelectorAll('.sheet').length === 2`)
		for name, size := range map[string]chromedp.PaperSize{"A4": chromedp.PaperA4, "Letter": chromedp.PaperLetter} {
			pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPrintBackground()))
			if err != nil {
				t.Fatal(err)
			}
			if n := len(sheet.FindAll(pdf, -1)); n != 2 || !bytes.HasPrefix(pdf, []byte("%PDF-")) {
				t.Errorf("%s takes %d sheets of %s", path, n, name)
			}
		}
	}
	b.clean("year")
}
