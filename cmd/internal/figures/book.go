package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"os"
	"strconv"

	"oldhand/events"
	"oldhand/projections"
)

// The headings of a job book as shops write them.
var bookHeadings = []string{"Job", "Date in", "Date out", "Customer", "City", "Make", "Model", "Ser#", "Yr", "Complaint", "Found", "Notes"}

// book is a job book with a row for each visit of the front's units.
func (t *turn) book() string {
	return t.inStock(bookFile, func(t *turn, place string) {
		f, err := os.Create(place)
		t.check(err)
		buffered := bufio.NewWriter(f)
		w := csv.NewWriter(buffered)
		t.check(w.Write(bookHeadings))
		job := 0
		t.check(projections.EachHistory(t.viewOf(t.front()), func(h *projections.History) (bool, error) {
			for i := range h.Visits {
				if h.Maker == "" || h.Visits[i].Received.Precision == events.Unknown {
					continue
				}
				job++
				if err := w.Write(bookRow(job, h, &h.Visits[i])); err != nil {
					return false, err
				}
			}
			return true, nil
		}))
		w.Flush()
		t.check(errors.Join(w.Error(), buffered.Flush(), f.Close()))
	})
}

func bookRow(job int, h *projections.History, v *projections.Visit) []string {
	row := []string{strconv.Itoa(job), v.Received.Day.String(), "", "Customer " + strconv.Itoa(job%5000), "Holmby", h.Maker, h.Model, h.Serial, "", "", "", ""}
	if v.End == projections.Ended && v.Shipped.Precision != events.Unknown {
		row[2] = v.Shipped.Day.String()
	}
	if h.YearFrom > 0 {
		row[8] = strconv.Itoa(h.YearFrom)
	}
	for _, e := range v.Entries {
		switch b := e.Decode().(type) {
		case events.Received:
			row[9] = b.Complaint
		case events.FaultFound:
			row[10] = b.Text
		case events.Note:
			row[11] = b.Text
		}
	}
	return row
}

// bookRows is how many rows the book has, without its headings.
func (t *turn) bookRows() (n int) {
	f, err := os.Open(t.book())
	t.check(err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	t.check(err)
	return len(rows) - 1
}
