package jobbook

import (
	"fmt"

	"oldhand/events/trade"
)

// Row is one visit as the book tells it. Text is as typed, without outer space.
type Row struct {
	Number int // record in the file, its first being 1, so that it is a spreadsheet's row number
	Line   int // physical line on which the record begins

	Job      string
	Received Day
	Shipped  Day // zero where the book names none

	Customer, Address, City, Region, Postcode, Country string
	Phone, Email                                       string

	Maker, Model, Serial string
	YearText             string
	YearFrom, YearTo     int // the same year twice where one is meant, 0 where none is known
	Kind                 string
	KindID               string // trade's id for Kind, empty where it has none

	Complaint string
	FoundText string
	Findings  []trade.Finding
	Work      string
	Done      []trade.Done
	PartsText string
	Parts     []trade.Part
	Readings  []Reading

	Charge     Charge
	Notes      string
	Technician string
	Outcome    string
	OutcomeID  string // trade's id for Outcome, empty where it has none
	Tag        string

	Key      [16]byte // equal for equal rows, however the file was saved
	Repeats  int      // number of the earlier row with the same Key, 0 where there is none
	Warnings []string // what stayed text
}

// Reading is one cell of a column of readings.
type Reading struct {
	Point    string
	Quantity string // the column's heading
	Text     string // as typed
	Unit     string // as the heading has it
	Stage    string // AsFound, AsLeft or empty
}

// Refused is a record of which nothing was taken.
type Refused struct {
	Row  int // record in the file, from 1
	Line int
	Job  string // where it could be read
	Why  string
}

// String names the row and the reason.
func (r Refused) String() string {
	job := ""
	if r.Job != "" {
		job = fmt.Sprintf(" (job %s)", r.Job)
	}
	return fmt.Sprintf("row %d%s: %s", r.Row, job, r.Why)
}
