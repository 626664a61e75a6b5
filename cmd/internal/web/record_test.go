package web_test

import (
	"bytes"
	"html"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/paper/papertest"
	"oldhand/cmd/internal/report"

	"github.com/chromedp/chromedp"
)

// The page, the PDF that it gives and the command's are one record.
func TestTheRecordsPageSaysWhatItsPaperSays(t *testing.T) {
	s := copyOfInvented(t)
	tag := tagOf(t, s, "a unit that was here six times")
	for _, at := range []struct {
		query string
		asked app.Recording
		size  paper.Size
	}{{"", app.Recording{}, paper.A4}, {"visit=2&notes=yes&paper=letter", app.Recording{Visit: 2, Notes: true}, paper.Letter}, {"visit=6&contact=yes", app.Recording{Visit: 6, Contact: true}, paper.A4}} {
		r, err := s.shop.ServiceRecord(tag, at.asked)
		if err != nil {
			t.Fatal(err)
		}
		var want bytes.Buffer
		if _, err := report.PDF(&want, &r, at.size); err != nil {
			t.Fatal(err)
		}
		res, got := s.fetch("/unit/" + tag + "/record/pdf?" + at.query)
		if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != "application/pdf" || !strings.Contains(res.Header.Get("Content-Disposition"), "service-record-"+tag) || !bytes.Equal(got, want.Bytes()) {
			t.Errorf("%s: status %d, %v, and not the same bytes", at.query, res.StatusCode, res.Header)
		}
		page := html.UnescapeString(s.get("/unit/" + tag + "/record?" + at.query))
		for _, f := range r.Facts() {
			wants(t, page, f.Name, f.Value)
		}
		for _, list := range [][]string{r.NotDone, r.Money(), r.Care, r.Cautions, r.About(), {r.Verdict(), r.Complaint}} {
			wants(t, page, list...)
		}
		for _, p := range r.Parts {
			wants(t, page, p.Part, p.OutWords(), p.InWords())
		}
		sheets, err := papertest.Read(got)
		if err != nil || !strings.Contains(papertest.Flow(sheets), r.Title()) {
			t.Errorf("%s: %v", at.query, err)
		}
	}
	wants(t, html.UnescapeString(s.get("/unit/"+tag)), `href="/unit/`+tag+`/record"`, `href="/tags?units=`+tag)
}

// The page prints as the paper does: on two sheets at most, without what is for the
// screen, and white whatever the screen is.
func TestTheRecordsPagePrints(t *testing.T) {
	s := copyOfInvented(t)
	b := openTab(t, s)
	b.as(looks{"dark", 1200, 900})
	sheet := regexp.MustCompile(`/Type\s*/Page\b[^s]`)
	for name, size := range map[string]chromedp.PaperSize{"a4": chromedp.PaperA4, "letter": chromedp.PaperLetter} {
		b.goTo("/unit/" + tagOf(t, s, "a reading mistyped, then corrected") + "/record")
		b.until(`document.readyState === 'complete' && document.querySelectorAll('.record').length === 1`)
		pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPrintBackground()))
		if err != nil {
			t.Fatal(err)
		}
		keepShot(t, "record-"+name+".pdf", pdf)
		if n := len(sheet.FindAll(pdf, -1)); n < 1 || n > report.MostSheets {
			t.Errorf("%d sheets of %s", n, name)
		}
	}
	b.clean("record")
}

func TestARecordThatCannotBeIsSaid(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "E17-17750")
	for at, want := range map[string]int{"/record?visit=2": http.StatusUnprocessableEntity, "/record?visit=x": http.StatusUnprocessableEntity, "/record/pdf?paper=quarto": http.StatusUnprocessableEntity, "/record/pdf?visit=-1": http.StatusUnprocessableEntity} {
		if status, body := s.do(s.request(http.MethodGet, "/unit/"+tag+at, nil)); status != want {
			t.Errorf("%s: status %d: %.500s", at, status, body)
		}
	}
	if status, _ := s.do(s.request(http.MethodGet, "/unit/10091/record", nil)); status != http.StatusNotFound {
		t.Errorf("of no unit: status %d", status)
	}
}
