package eventlog

import (
	"cmp"
	"slices"
)

// trail is in which order the rows of the table of feeds moved since the log was
// opened: who looks at each commit what it moved would otherwise go through all
// feeds of all years.
type trail struct {
	nth   uint64   // how many commits moved any
	last  []uint64 // by row: in which of them it moved last; 0 for none
	steps []moving // in the order of the commits; of a row only its last still says anything
}

type moving struct {
	nth uint64
	row feedNo
}

// worn is how many steps at most there are for each row, before those that say
// nothing any more are taken out.
const worn = 2

// move notes the rows that a commit moved, of a table of so many. The caller
// holds the lock.
func (t *trail) move(rows []feedNo, of int) {
	if len(rows) == 0 {
		return
	}
	t.nth++
	t.last = append(t.last, make([]uint64, of-len(t.last))...)
	for _, n := range rows {
		t.last[n] = t.nth
		t.steps = append(t.steps, moving{t.nth, n})
	}
	if len(t.steps) > worn*of {
		t.steps = slices.DeleteFunc(t.steps, t.stale)
	}
}

func (t *trail) stale(m moving) bool { return t.last[m.row] != m.nth }

// from are the rows that moved in a commit or since. The caller holds the lock.
func (t *trail) from(nth uint64) (rows []feedNo) {
	at, _ := slices.BinarySearchFunc(t.steps, nth, func(m moving, nth uint64) int { return cmp.Compare(m.nth, nth) })
	for _, m := range t.steps[at:] {
		if !t.stale(m) {
			rows = append(rows, m.row)
		}
	}
	return rows
}

// Moved are the branches of feeds that moved since a mark, in the order of
// Branches, and the mark to ask with the next time. With mark zero all moved. A
// mark is good while the log is open. Whoever asks Changed first misses none.
func (l *Log) Moved(since uint64) (list []Reach, mark uint64) {
	t := &l.feeds
	t.mu.RLock()
	mark = t.trail.nth + 1
	if since == 0 {
		list = make([]Reach, 0, len(t.heads))
		for n := range t.heads {
			list = append(list, t.reach(feedNo(n)))
		}
	} else {
		for _, n := range t.trail.from(since) {
			list = append(list, t.reach(n))
		}
	}
	t.mu.RUnlock()
	slices.SortFunc(list, Reach.Compare)
	return list, mark
}
