package projections

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"oldhand/events"
	"oldhand/projections/stats"
)

// YearList is what a year had of one kind, the most frequent first, beside the
// five years before it.
type YearList struct {
	What  string // faults, models, endings or parts
	Years []int  // the year, then those before it that the shop has records of
	Rows  []YearCount
}

// YearCount is how often one of a list was met: in each of its years, and a year
// on average in those before the first, with the limits of that (Garwood, 95 %).
type YearCount struct {
	Name        string
	Maker       string // of a model, and its model; empty for others
	Model       string
	Counts      []int
	Before      *float64 // nil where there was no year before
	Low, High   *float64
	LessOrMore  int // -1 or 1 where the year is unlike those before, by a test that is wrong once in a hundred
	beforeTotal int
}

// FirstYear is the first year that the shop has records of; zero where it has
// none.
func FirstYear(r Reader) (int, error) {
	s, err := spanOf(r)
	if err != nil || !s.any {
		return 0, err
	}
	return s.first.Date().Year(), nil
}

// YearLists are the lists of a year. They come from the tallies that are kept, or
// where those know of later days than asked for, from the histories.
func YearLists(r Reader, year int, asOf events.Day) ([]YearList, error) {
	s, err := spanOf(r)
	if err != nil {
		return nil, err
	}
	years := []int{year}
	for y := year - 1; y > year-6 && s.any && y >= s.first.Date().Year(); y-- {
		years = append(years, y)
	}
	lists := []YearList{{What: "models"}, {What: "faults"}, {What: "parts"}, {What: "endings"}}
	counted := make([]map[string]*YearCount, len(lists))
	for i := range counted {
		counted[i] = map[string]*YearCount{}
	}
	add := func(list, column, n int, name YearCount) {
		key := events.Key(name.Name)
		c := counted[list][key]
		if c == nil {
			name.Counts = make([]int, len(years))
			c = &name
			counted[list][key] = c
		}
		c.Counts[column] += n
	}
	if err := eachInYears(r, years, asOf, add); err != nil {
		return nil, err
	}
	if err := eachPartInYears(r, years, asOf, add); err != nil {
		return nil, err
	}
	lasted := yearsLasted(years, s, asOf)
	for i := range lists {
		lists[i].Years = years
		if lists[i].Rows, err = yearCounts(counted[i], lasted); err != nil {
			return nil, err
		}
	}
	return lists, nil
}

// eachInYears reads the models, faults and endings of years.
func eachInYears(r Reader, years []int, asOf events.Day, add func(list, column, n int, name YearCount)) error {
	q, _ := FindQuestion("year")
	t, err := tallyFor(r, q, Asked{AsOf: asOf})
	if err != nil {
		return err
	}
	for column, year := range years {
		prefix := rowKey{}.num(year)
		err := t.Each(prefix, func(row []byte, n int) (bool, error) {
			if len(row) <= len(prefix) {
				return false, errView
			}
			rr := rowReader{b: row[len(prefix)+1:]}
			switch row[len(prefix)] {
			case yearModel:
				maker, model := rr.text(), rr.text()
				add(0, column, n, YearCount{Name: joinName(maker, model), Maker: maker, Model: model})
			case yearFault:
				add(1, column, n, YearCount{Name: spokenFault(fault{rr.text(), rr.text()})})
			case yearShipped:
				add(3, column, n, YearCount{Name: strings.ReplaceAll(rr.text(), "-", " ")})
			default:
				return true, nil
			}
			return true, rr.err()
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// eachPartInYears reads the parts used in years.
func eachPartInYears(r Reader, years []int, asOf events.Day, add func(list, column, n int, name YearCount)) error {
	q, _ := FindQuestion("parts")
	t, err := tallyFor(r, q, Asked{AsOf: asOf})
	if err != nil {
		return err
	}
	return t.Each(nil, func(row []byte, n int) (bool, error) {
		rr := rowReader{b: row}
		name := strings.TrimSpace(strings.ReplaceAll(rr.text(), "-", " ") + " " + rr.text())
		if column := slices.Index(years, rr.num()); column >= 0 {
			add(2, column, n, YearCount{Name: name})
		}
		return true, rr.err()
	})
}

// yearsLasted is how much of each year the shop has records of: the one it began
// in and the one that runs are shorter than the others.
func yearsLasted(years []int, s span, asOf events.Day) []float64 {
	lasted := make([]float64, len(years))
	for i, y := range years {
		from, to := events.NewDay(y, time.January, 1), events.NewDay(y+1, time.January, 1)
		if s.any {
			from = max(from, s.first)
		}
		to = min(to, asOf+1)
		lasted[i] = max(0, float64(to-from)/daysOfYear)
	}
	return lasted
}

const daysOfYear = 365.25

// yearCounts orders a list and sets each count beside the years before it.
func yearCounts(counted map[string]*YearCount, lasted []float64) ([]YearCount, error) {
	var rows []YearCount
	for c := range maps.Values(counted) {
		if err := c.compare(lasted); err != nil {
			return nil, err
		}
		rows = append(rows, *c)
	}
	slices.SortFunc(rows, func(a, b YearCount) int {
		return cmp.Or(cmp.Compare(b.Counts[0], a.Counts[0]), cmp.Compare(b.beforeTotal, a.beforeTotal), cmp.Compare(a.Name, b.Name))
	})
	return rows, nil
}

// compare says whether a year's count is unlike the years before. The two counts
// are compared given their sum: under one rate the year has of it the share that
// it has of the time, and if that lies outside the exact limits (Clopper and
// Pearson, 99 %) of the share seen, the rates differ. That is the exact test of
// two Poisson rates (Przyborowski and Wilenski 1940; from memory). Many are
// compared, so the limits are wider than elsewhere.
func (c *YearCount) compare(lasted []float64) error {
	before := 0.0
	for i, n := range c.Counts {
		if i > 0 {
			c.beforeTotal += n
			before += lasted[i]
		}
	}
	if before == 0 || lasted[0] == 0 {
		return nil
	}
	limits, err := stats.GarwoodRate(c.beforeTotal, before, stats.Level{})
	if err != nil {
		return err
	}
	rate := float64(c.beforeTotal) / before
	c.Before, c.Low, c.High = &rate, &limits.Lo, &limits.Hi
	if c.Counts[0]+c.beforeTotal == 0 {
		return nil
	}
	sure, err := stats.Confidence(0.99)
	if err != nil {
		return err
	}
	share, err := stats.ClopperPearson(stats.Share{X: c.Counts[0], N: c.Counts[0] + c.beforeTotal}, sure)
	if err != nil {
		return err
	}
	even := lasted[0] / (lasted[0] + before)
	c.LessOrMore = choose(share.Lo > even, 1, choose(share.Hi < even, -1, 0))
	return nil
}
