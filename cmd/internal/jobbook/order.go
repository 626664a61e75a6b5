package jobbook

import (
	"bytes"
	"fmt"
)

// Evidence is what the dates of a file say about the order of month and day.
// Only dates of three numbers count; 1997-01-30 and 9 Feb 1997 need no proof.
type Evidence struct {
	MonthFirst, DayFirst int // dates that can only be read this way
	Either               int // dates that can be read both ways, as 1/2/97
	FirstMonth, FirstDay Proof

	early, late int // dates with their year first, up to the twelfth of a month and after it
}

// Proof is the first date that proves an order.
type Proof struct {
	Row  int
	Text string
}

// Order is what the evidence proves: an order for which something speaks and
// against which nothing does.
func (e Evidence) Order() Order {
	switch {
	case e.MonthFirst > 0 && e.DayFirst == 0:
		return MonthFirst
	case e.DayFirst > 0 && e.MonthFirst == 0:
		return DayFirst
	}
	return OrderUnknown
}

// String tells the evidence in a sentence.
func (e Evidence) String() string {
	switch {
	case e.MonthFirst > 0 && e.DayFirst > 0:
		return fmt.Sprintf("the dates contradict each other: %d prove month first (row %d: %s), %d prove day first (row %d: %s)",
			e.MonthFirst, e.FirstMonth.Row, e.FirstMonth.Text, e.DayFirst, e.FirstDay.Row, e.FirstDay.Text)
	case e.MonthFirst > 0:
		return fmt.Sprintf("%d dates prove month first (row %d: %s)", e.MonthFirst, e.FirstMonth.Row, e.FirstMonth.Text)
	case e.DayFirst > 0:
		return fmt.Sprintf("%d dates prove day first (row %d: %s)", e.DayFirst, e.FirstDay.Row, e.FirstDay.Text)
	case e.Either > 0:
		return fmt.Sprintf("none of %d dates tells whether its month or its day comes first", e.Either)
	}
	return "no date leaves the order of month and day open"
}

// weigh takes one cell as evidence.
func (e *Evidence) weigh(cell []byte, row int, asOf Day) {
	cell = bytes.TrimSpace(cell)
	if bytes.IndexByte(cell, ':') >= 0 {
		cell = []byte(withoutTime(string(cell)))
	}
	n, ok := numbersOf(cell)
	if ok && n.yearFirst && n.c <= 12 {
		e.early++
	} else if ok && n.yearFirst {
		e.late++
	}
	if !ok || n.yearFirst {
		return
	}
	m, d := n.either(asOf)
	switch {
	case m == d: // the same either way, or no date either way
	case d.IsZero():
		if e.MonthFirst++; e.MonthFirst == 1 {
			e.FirstMonth = Proof{row, string(cell)}
		}
	case m.IsZero():
		if e.DayFirst++; e.DayFirst == 1 {
			e.FirstDay = Proof{row, string(cell)}
		}
	default:
		e.Either++
	}
}
