package web_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"testing"
	"time"

	"oldhand/events/sharedtest"

	"github.com/xuri/excelize/v2"
)

// twoSheets is a workbook with the old job book in one sheet, its dates as the
// spreadsheet keeps them, a short book in another, and a hidden one.
func twoSheets(t testing.TB) []byte {
	t.Helper()
	cells := must(csv.NewReader(bytes.NewReader(oldBook(t))).ReadAll())
	f := excelize.NewFile()
	defer f.Close()
	for _, name := range []string{"Jobs", "Shelf"} {
		must(f.NewSheet(name))
	}
	put := func(sheet string, n int, row []any) {
		if err := f.SetSheetRow(sheet, fmt.Sprintf("A%d", n), &row); err != nil {
			t.Fatal(err)
		}
	}
	put("Sheet1", 1, []any{"Date in", "Make", "Model", "Serial"})
	put("Sheet1", 2, []any{time.Date(1988, 3, 4, 0, 0, 0, 0, time.UTC), "Tessaly", "Trio", "B25-99999"})
	for n, line := range cells {
		row := make([]any, len(line))
		for i, cell := range line {
			row[i] = cell
			for _, layout := range []string{"1/2/06", "01/02/2006", "2006-01-02"} {
				if d, err := time.Parse(layout, cell); err == nil && (i == 1 || i == 2) {
					row[i] = d
				}
			}
		}
		put("Jobs", n+1, row)
	}
	if err := f.SetSheetVisible("Shelf", false); err != nil {
		t.Fatal(err)
	}
	return must(f.WriteToBuffer()).Bytes()
}

// A workbook is read in on the page: of two sheets that are books the first is shown,
// the other is chosen, tried and taken, and comes to what really happened. Source of
// the numbers: shared/jobbook/old-job-book.truth.json.
func TestASheetOfAWorkbookIsChosenAndTakenIn(t *testing.T) {
	var truth struct {
		Rows, Units, Visits int
		Spoiled             []struct{ Job int }
		Mistyped            int `json:"visits_with_mistyped_serial"`
	}
	if err := json.Unmarshal(must(os.ReadFile(sharedtest.Path(t, "jobbook/old-job-book.truth.json"))), &truth); err != nil {
		t.Fatal(err)
	}
	s, book := newShop(t), twoSheets(t)
	at := s.give("jobs.xlsx", book)
	page := s.get(at)
	wants(t, page, "The workbook has 3 sheets", `value="Sheet1" selected`, "Shelf (hidden)", "<td>1988-03-04</td>")
	form := formOf(page)
	form["set sheet"] = []string{"Jobs"}
	page = s.presses(at+"/map", form)
	wants(t, page, `value="Jobs" selected`, "<td>E17-17750</td>", "<td>1997-01-07</td>", "AM, mV")
	s.presses(at+"/try", nil)
	words := fmt.Sprintf("%d rows: %d taken as visits of %d units not seen before, 1 here already, %d refused.",
		truth.Rows, truth.Visits, truth.Units+truth.Mistyped, len(truth.Spoiled))
	wants(t, s.through(at), words)
	s.presses(at+"/take", nil)
	page = s.through(at)
	wants(t, page, words, "Taken in")
	for _, spoiled := range truth.Spoiled {
		wants(t, page, fmt.Sprintf("<td>%d</td>", spoiled.Job))
	}
	v, err := s.shop.Verify(nil)
	if err != nil || v.Units != truth.Units+truth.Mistyped || v.Visits != truth.Visits {
		t.Errorf("%d units and %d visits, want %d and %d (%v)", v.Units, v.Visits, truth.Units+truth.Mistyped, truth.Visits, err)
	}

	again := s.give("jobs.xlsx", book)
	s.presses(again+"/map", form)
	s.presses(again+"/take", nil)
	wants(t, s.through(again), "0 taken as visits of 0 units not seen before")
}

// A book taken in as CSV is known again in a workbook; where its dates are written
// another way, each job is known by its number and day.
func TestABookTakenInAsTextIsKnownInAWorkbook(t *testing.T) {
	s := newShop(t)
	at := s.give("old.csv", oldBook(t))
	s.presses(at+"/take", nil)
	s.through(at)
	before := must(s.shop.Verify(nil))
	again := s.give("jobs.xlsx", twoSheets(t))
	form := formOf(s.get(again))
	form["set sheet"] = []string{"Jobs"}
	s.presses(again+"/map", form)
	s.presses(again+"/take", nil)
	wants(t, s.through(again), "0 taken as visits of 0 units not seen before", "is here already with other cells")
	if after := must(s.shop.Verify(nil)); after.Digest != before.Digest {
		t.Error("the shop is another than before")
	}
}

func TestAWorkbookThatCantBeReadIsRefusedByName(t *testing.T) {
	s := newShop(t)
	locked := must(excelize.Encrypt(twoSheets(t), &excelize.Options{Password: "lantern"}))
	for name, c := range map[string]struct {
		data  []byte
		words string
	}{
		"locked.xlsx": {locked, "locked with a password"},
		"old.xls":     {append([]byte("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"), make([]byte, 4096)...), "workbook of the old kind (.xls)"},
		"cut.xlsx":    {twoSheets(t)[:5000], "is the file whole?"},
	} {
		status, body := s.do(s.giving(name, c.data))
		if status != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d", name, status)
		}
		wants(t, body, c.words)
	}
}
