package projections

import (
	"cmp"
	"errors"
	"runtime"
	"sync/atomic"

	"golang.org/x/sync/errgroup"
)

// eachStored calls fn with stored histories, until fn fails. Each is good until fn
// returns.
type eachStored func(fn func(stored []byte) error) error

// perPile is how many bytes of histories are handed over together, at least: enough that
// handing over costs nothing.
const perPile = 64 << 10

// counting is stored histories on their way, a pile at a time, from those who read them to
// those who take their rows.
type counting struct {
	full, empty chan *rowList
	failed      atomic.Bool
}

// countRows counts the rows that histories give. Each reader goes through its own on a
// goroutine, which is more than half of the work where the store unpacks them, and as many
// as there are processors take their rows, a pile at a time. No more piles are made than
// all of those have in hand.
func countRows(readers []eachStored, rows func(*History, *rowList)) (map[string]int, error) {
	parts := make([]rowCounts, runtime.GOMAXPROCS(0))
	piles := len(parts) + len(readers)
	c := &counting{full: make(chan *rowList, piles), empty: make(chan *rowList, piles)}
	for range piles {
		c.empty <- new(rowList)
	}
	var reading, taking errgroup.Group
	for _, each := range readers {
		reading.Go(func() error { return c.read(each) })
	}
	for i := range parts {
		parts[i] = rowCounts{}
		taking.Go(func() error { return c.take(parts[i], rows) })
	}
	err := reading.Wait()
	close(c.full)
	if err := cmp.Or(taking.Wait(), err); err != nil {
		return nil, err
	}
	return together(parts), nil
}

// read puts what a reader goes through on piles, until it or anybody else fails.
func (c *counting) read(each eachStored) error {
	p := <-c.empty
	err := each(func(stored []byte) error {
		if p.add(stored); len(p.b) < perPile {
			return nil
		}
		c.full <- p
		p = <-c.empty
		if c.failed.Load() {
			return errStopped
		}
		return nil
	})
	c.full <- p
	if errors.Is(err, errStopped) {
		return nil // whoever failed says why
	}
	c.failed.CompareAndSwap(false, err != nil)
	return err
}

// take counts the rows of the histories on piles. Once it failed it hands piles back as
// they are, so that nobody waits for one.
func (c *counting) take(counts rowCounts, rows func(*History, *rowList)) (err error) {
	var list rowList
	for p := range c.full {
		p.each(func(stored []byte) {
			if err == nil {
				err = counts.take(stored, rows, &list)
			}
		})
		c.failed.CompareAndSwap(false, err != nil)
		p.clear()
		c.empty <- p
	}
	return err
}

// rowCounts is how often there is each row. A count is reached through a pointer, since a
// key is made of bytes then only when it is new.
type rowCounts map[string]*int

// take counts the rows of one stored history, which are made in list.
func (c rowCounts) take(stored []byte, rows func(*History, *rowList), list *rowList) error {
	h, err := readHistory(stored)
	if err != nil {
		return err
	}
	list.clear()
	rows(h, list)
	list.each(func(row []byte) {
		n := c[string(row)]
		if n == nil {
			n = new(int)
			c[string(row)] = n
		}
		*n++
	})
	return nil
}

// together adds counts up.
func together(parts []rowCounts) map[string]int {
	sum := make(map[string]int, len(parts[0]))
	for _, part := range parts {
		for row, n := range part {
			sum[row] += *n
		}
	}
	return sum
}
