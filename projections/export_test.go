package projections

import (
	"bytes"
	"maps"
	"slices"
	"sync"
)

// AskAnew answers a question from all histories, one by one, with no tally that is kept.
func AskAnew(r Reader, q Question, a Asked) (*Result, error) {
	rows, counts := q.rows, map[string]int{}
	if q.rowsBy != nil {
		rows = func(h *History, to *rowList) { q.rowsBy(h, a, to) }
	}
	err := EachHistory(r, func(h *History) (bool, error) {
		if h = h.asked(a); h != nil {
			var list rowList
			rows(h, &list)
			list.each(func(row []byte) { counts[string(row)]++ })
		}
		return true, nil
	})
	if err != nil {
		return nil, err
	}
	res, err := q.answer(&madeTally{r, slices.Sorted(maps.Keys(counts)), counts}, a)
	if err == nil {
		res.Question, res.AsOf = q.Name, a.AsOf.String()
		res.fill()
	}
	return res, err
}

// CountStored counts the rows that stored histories give to a question.
func CountStored(question string, readers ...func(fn func(stored []byte) error) error) (map[string]int, error) {
	q, _ := FindQuestion(question)
	var each []eachStored
	for _, r := range readers {
		each = append(each, r)
	}
	return countRows(each, q.rows)
}

// PerPile is about how many bytes of histories are handed over together.
const PerPile = perPile

// ErrView is what a view that does not read gives.
var ErrView = errView

// TallyOf is a question's tally as it is kept, row by row, and whether its rows came
// in order.
func TallyOf(r Reader, question string) (rows map[string]int, inOrder bool) {
	q, _ := FindQuestion(question)
	rows, inOrder = map[string]int{}, true
	last := ""
	_ = q.kept(r).Each(nil, func(row []byte, n int) (bool, error) { // a store in memory gives no error
		inOrder = inOrder && (len(rows) == 0 || last < string(row))
		last = string(row)
		rows[last] = n
		return true, nil
	})
	return rows, inOrder
}

// RowsOf counts the rows that all histories give to a question.
func RowsOf(r Reader, question string) map[string]int {
	q, _ := FindQuestion(question)
	rows := map[string]int{}
	_ = EachHistory(r, func(h *History) (bool, error) { // nor one whose histories were just written
		var list rowList
		q.rows(h, &list)
		list.each(func(row []byte) { rows[string(row)]++ })
		return true, nil
	})
	return rows
}

// Held is whom Customers has in memory, by person; nil where nobody looked yet.
func (c *Customers) Held() (names []Named) {
	if c.list == nil {
		return nil
	}
	names = []Named{}
	for _, shelf := range c.list.shelves {
		for _, n := range shelf.all {
			names = append(names, n.Named)
		}
	}
	if c.list.text != nil && !slices.Equal(names, c.list.text.all) {
		panic("the text that names are looked for in is of other names") // only Find makes it
	}
	return names
}

// Sorter sorts pairs with so many bytes of them in memory.
type Sorter struct{ s *sorter }

// NewSorter makes one.
func NewSorter(bytes int) Sorter {
	return Sorter{newSorter(TempScratch, bytes)}
}

// Add takes a pair.
func (s Sorter) Add(key, value []byte) error { return s.s.add(key, value) }

// Each calls fn with all pairs in order.
func (s Sorter) Each(fn func(key, value []byte) error) error { return s.s.each(fn) }

// Aside is how many runs were put aside.
func (s Sorter) Aside() int { return len(s.s.aside) }

// Close takes them away.
func (s Sorter) Close() error { return s.s.close() }

// Counted is what a rebuild's map of tallies writes of keys that two goroutines
// count.
func Counted(keys [][]byte) (written [][2][]byte) {
	t := newTallyMap()
	var wg sync.WaitGroup
	for part := range 2 {
		wg.Go(func() {
			for i := part; i < len(keys); i += 2 {
				t.add(slices.Concat([]byte{'t', 0}, keys[i]), 1) // of a question that has no blocks
			}
		})
	}
	wg.Wait()
	none := func(func(k, _ []byte) error) error { return nil }
	_ = t.write(none, func(k, v []byte) error { // the sink gives no error
		written = append(written, [2][]byte{bytes.Clone(k[2:]), bytes.Clone(v)})
		return nil
	})
	return written
}

// RebuildInRuns is Rebuild with so many bytes of events in memory.
func RebuildInRuns(bytes int, src Source, sink Sink) error {
	return rebuildInRuns(bytes, src, TempScratch, sink)
}

// RebuildWith is Rebuild with so many bytes of events in memory, and files that may
// not be made. Nothing takes the views.
func RebuildWith(bytes int, src Source, scratch Scratch) error {
	return rebuildInRuns(bytes, src, scratch, func(_, _ []byte) error { return nil })
}

// LeapByScans is Leap made of scans: what it is to give, for the stores of tests.
func LeapByScans(r interface {
	Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error
}, lo, hi []byte, fn func(k, v []byte) (to []byte, err error)) error {
	for lo != nil {
		from := lo
		lo = nil
		err := r.Scan(from, hi, func(k, v []byte) (bool, error) {
			to, err := fn(k, v)
			if err == nil && bytes.Compare(to, k) > 0 {
				lo = bytes.Clone(to)
			}
			return to != nil && lo == nil, err
		})
		if err != nil {
			return err
		}
	}
	return nil
}
