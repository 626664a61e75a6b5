package jobbook

import (
	"cmp"
	"maps"
	"slices"
)

// Counts is what a whole reading of a book came to.
type Counts struct {
	Rows    int // taken, without those that repeat an earlier one
	Repeats int
	Refused int

	Findings int // of the rows taken
	Matched  int // findings whose component and failure mode are known
	Partly   int // findings whose component alone is known
	Stayed   []TextCount
	Others   int // findings that stayed text and are not in Stayed

	Charges   map[string]int64 // by currency, in its smallest unit
	Uncharged int              // charges that stayed text
	Warnings  int

	stayed map[string]int
}

// TextCount is a text and how often it stands in the book.
type TextCount struct {
	Text  string
	Count int
}

// mostStayed is the number of different texts that are counted one by one. A
// book in which nothing is understood must not be held in memory whole.
const mostStayed = 1000

func newCounts() *Counts {
	return &Counts{Charges: map[string]int64{}, stayed: map[string]int{}}
}

// Counts tells what the whole book came to: how much was taken, how many
// findings stayed text and which. The charges are summed so that a person can
// compare them with what the shop knows before anything is kept: a decimal
// comma taken for a thousands sign shows there at once.
func (b *Book) Counts() Counts {
	if b.counts == nil {
		for range b.Rows() {
		}
	}
	c := *b.counts
	c.Charges = maps.Clone(c.Charges)
	c.Stayed = make([]TextCount, 0, len(c.stayed))
	for text, n := range c.stayed {
		c.Stayed = append(c.Stayed, TextCount{text, n})
	}
	c.stayed = nil
	slices.SortFunc(c.Stayed, func(a, b TextCount) int {
		return cmp.Or(b.Count-a.Count, cmp.Compare(a.Text, b.Text))
	})
	return c
}

func (c *Counts) add(row *Row, refused *Refused) {
	switch {
	case refused != nil:
		c.Refused++
		return
	case row.Repeats > 0:
		c.Repeats++
		return
	}
	c.Rows++
	c.Warnings += len(row.Warnings)
	for i := range row.Findings {
		f := &row.Findings[i]
		c.Findings++
		switch {
		case f.Matched():
			c.Matched++
		case f.Component != "":
			c.Partly++
		default:
			c.stay(f.Text)
		}
	}
	if row.Charge.Known {
		c.Charges[row.Charge.Currency] += row.Charge.Minor
	} else if row.Charge.Text != "" {
		c.Uncharged++
	}
}

func (c *Counts) stay(text string) {
	if n, ok := c.stayed[text]; ok || len(c.stayed) < mostStayed {
		c.stayed[text] = n + 1
		return
	}
	c.Others++
}
