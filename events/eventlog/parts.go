package eventlog

import (
	"fmt"
	"sync/atomic"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// All events are gone through in parts, each on a goroutine of its own: to unpack and
// to hash them is most of what reading them all costs.

// leastPart is about how many events make a part of their own.
var leastPart = uint64(20_000)

// rowsOf are all rows of the store, whole.
func rowsOf(r reader, feeds *feedTable) (list []run, err error) {
	for n := feedNo(0); ; n++ {
		row, ok, err := rowIn(r, n)
		if err != nil || !ok {
			return list, err
		}
		u := run{n: n, base: feeds.base(n), row: row, upTo: row.Seq}
		u.from = u.base.head.Seq + 1
		list = append(list, u)
	}
}

// events is how many are in a run.
func (u run) events() uint64 { return u.upTo + 1 - u.from }

// inParts divides rows into so many parts at most, of about as many events each. A row is
// divided only between two groups.
func (s spacing) inParts(rows []run, most int) [][]run {
	all := uint64(0)
	for _, u := range rows {
		all += u.events()
	}
	count := min(uint64(max(1, most)), 1+all/leastPart)
	parts, i, gone := make([][]run, count), uint64(0), uint64(0)
	for _, u := range rows {
		for ; i < count-1 && gone+u.events() > all*(i+1)/count; i++ {
			head := u
			if head.upTo = s.before(u.from + all*(i+1)/count - gone); head.upTo < u.from {
				continue // the part ends in the row's first group, which goes to the next
			}
			parts[i] = append(parts[i], head)
			gone += head.events()
			u.from = head.upTo + 1
		}
		parts[i] = append(parts[i], u)
		gone += u.events()
	}
	return parts
}

// eachGroup calls fn with every group of the store in parts, at most so many: those of a
// part row by row and from one goroutine. Each is good until fn returns. After an error no
// part goes on. Rows of events that belong to none are damage.
func (s spacing) eachGroup(r reader, feeds *feedTable, most int, fn func(part int, n feedNo, g *group) error) error {
	rows, err := rowsOf(r, feeds)
	if err != nil {
		return err
	}
	var stop atomic.Bool
	parts := s.inParts(rows, most)
	return inShares(len(parts), 1, func(from, to int) (err error) {
		defer func() { stop.Store(stop.Load() || err != nil) }()
		for i := from; i < to; i++ {
			err := s.eachGroupOf(r, parts[i], func(n feedNo, g *group) (bool, error) { return !stop.Load(), fn(i, n, g) })
			if err == nil && i == len(parts)-1 {
				err = nothingBehind(r, feedNo(len(rows)))
			}
			if err != nil || stop.Load() {
				return err
			}
		}
		return nil
	})
}

// eachGroupOf calls fn with every group of some runs, until it gives false.
func (s spacing) eachGroupOf(r reader, runs []run, fn func(feedNo, *group) (bool, error)) error {
	return between(r, []byte{famEvent}, []byte{famEvent + 1}, func(it *pebble.Iterator) error {
		var g group
		for more, i := true, 0; more && i < len(runs); i++ {
			if err := s.groups(it, runs[i], &g, func() (_ bool, err error) {
				more, err = fn(runs[i].n, &g)
				return more, err
			}); err != nil {
				return err
			}
		}
		return nil
	})
}

// nothingBehind finds events of a row that is not there, as it and all later ones are not.
func nothingBehind(r reader, n feedNo) error {
	return scan(r, eventKey(n, 0), []byte{famEvent + 1}, func(k, _ []byte) (bool, error) {
		n, _, err := readEventKey(k)
		if err == nil {
			err = fmt.Errorf("event of feed %d, which has no row: %w", n, ErrDamaged)
		}
		return false, err
	})
}

// eachRecord calls fn with every event that counts, each after its group was checked, in
// parts as eachGroup has them.
func (s spacing) eachRecord(r reader, feeds *feedTable, most int, fn func(part int, f events.FeedID, seq uint64, h events.Hash, record []byte) error) error {
	return s.eachGroup(r, feeds, most, func(part int, n feedNo, g *group) error {
		for seq := g.begin.Seq + 1; seq <= g.head().Seq; seq++ {
			if !feeds.counts(n, seq) {
				continue
			}
			if err := fn(part, g.begin.Feed, seq, g.hash(seq), g.record(seq)); err != nil {
				return err
			}
		}
		return nil
	})
}
