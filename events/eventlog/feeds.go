package eventlog

import (
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"sync"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// feedTable is the feeds of the store and how far each goes here, in memory.
// A shop makes a feed or two a bench and day, so it stays small. Only the
// committing goroutine changes it, after the commit.
type feedTable struct {
	mu    sync.RWMutex
	heads []events.Head            // by number
	order []feedNo                 // of the first branches, by name: sorting them at each asking would grow with the years
	byID  map[events.FeedID]feedNo // of the branch that came first
	bases map[feedNo]base          // of the rows that are branches
	split map[events.FeedID][]feedNo
	cuts  map[feedNo]uint64 // how far a feed counts, where not all of it does
	trail trail
}

func (t *feedTable) load(db *pebble.DB) error {
	t.byID = map[events.FeedID]feedNo{}
	err := scan(db, []byte{famFeed}, []byte{famFeed + 1}, func(k, v []byte) (bool, error) {
		if len(k) != 5 {
			return false, fmt.Errorf("feed key of %d bytes: %w", len(k), ErrDamaged)
		}
		n := binary.BigEndian.Uint32(k[1:])
		h, err := readFeedValue(v)
		if err != nil {
			return false, err
		}
		if int(n) != len(t.heads) {
			return false, fmt.Errorf("feed row %d where %d should be: %w", n, len(t.heads), ErrDamaged)
		}
		if _, twice := t.byID[h.Feed]; twice && t.bases[feedNo(n)] == (base{}) {
			return false, fmt.Errorf("feed row %d is a second one of %s: %w", n, h.Feed.Short(), ErrDamaged)
		}
		t.add(feedNo(n), h)
		return true, nil
	})
	for n := range t.bases {
		if err == nil && int(n) >= len(t.heads) {
			err = fmt.Errorf("branch row %d has no feed row: %w", n, ErrDamaged)
		}
	}
	slices.SortFunc(t.order, func(a, b feedNo) int { return t.heads[a].Feed.Compare(t.heads[b].Feed) })
	return err
}

func (t *feedTable) head(n feedNo) (events.Head, bool) {
	t.mu.RLock()
	defer t.mu.RUnlock()
	if int(n) >= len(t.heads) {
		return events.Head{}, false
	}
	return t.heads[n], true
}

func (t *feedTable) find(id events.FeedID) (feedNo, events.Head, bool) {
	t.mu.RLock()
	defer t.mu.RUnlock()
	n, ok := t.byID[id]
	if !ok {
		return feedNo(len(t.heads)), events.Head{Feed: id}, false
	}
	return n, t.heads[n], true
}

// from is the heads of the feeds from a number on.
func (t *feedTable) from(n feedNo) []events.Head {
	t.mu.RLock()
	defer t.mu.RUnlock()
	if int(n) >= len(t.heads) {
		return nil
	}
	return slices.Clone(t.heads[n:])
}

func (t *feedTable) len() int {
	t.mu.RLock()
	defer t.mu.RUnlock()
	return len(t.heads)
}

// set moves heads after a commit, some of them of branches that begin with it.
func (t *feedTable) set(changed map[feedNo]events.Head, split map[feedNo]base) {
	t.mu.Lock()
	defer t.mu.Unlock()
	maps.Copy(t.bases, split)
	numbers := make([]feedNo, 0, len(changed))
	for n := range changed {
		numbers = append(numbers, n)
	}
	slices.Sort(numbers)
	for _, n := range numbers {
		if int(n) == len(t.heads) {
			t.add(n, changed[n])
			t.place(n)
		}
		t.heads[n] = changed[n]
	}
	t.trail.move(numbers, len(t.heads))
}

// place puts a feed that was added last where its name stands in the order.
func (t *feedTable) place(n feedNo) {
	last := len(t.order) - 1
	if last < 0 || t.order[last] != n {
		return // it is a branch
	}
	t.order = t.order[:last]
	at, _ := slices.BinarySearchFunc(t.order, t.heads[n].Feed, func(m feedNo, id events.FeedID) int { return t.heads[m].Feed.Compare(id) })
	t.order = slices.Insert(t.order, at, n)
}

// Heads are the heads of all feeds, in the order of the feeds' names: of a feed
// with branches that of the one which came here first.
func (l *Log) Heads() []events.Head {
	l.feeds.mu.RLock()
	defer l.feeds.mu.RUnlock()
	heads := make([]events.Head, len(l.feeds.order))
	for i, n := range l.feeds.order {
		heads[i] = l.feeds.heads[n]
	}
	return heads
}

// SignedHeads are the heads that this bench can prove: of its own feeds by its
// key, of others as far as a signed head was received. Of a feed with branches
// it is that of the one which came here first.
func (l *Log) SignedHeads() (signed []events.SignedHead, err error) {
	proven, err := l.Proven()
	for _, p := range proven {
		if p.Root == (events.Hash{}) {
			signed = append(signed, p.Head)
		}
	}
	return signed, err
}

// Proof is how far this bench can prove a branch.
type Proof struct {
	Branch
	Base events.Head // as in Reach
	Head events.SignedHead
}

// Proven are how far this bench can prove all branches of all feeds, in the order
// of Branches.
func (l *Log) Proven() (list []Proof, err error) {
	v, err := l.View()
	if err != nil {
		return nil, err
	}
	defer v.Close()
	for _, r := range l.Branches() {
		p := Proof{Branch: r.Branch, Base: r.Base}
		if r.Feed.Bench == l.bench && !l.opt.Key.IsZero() {
			p.Head, err = l.opt.Key.SignHead(l.opt.Shop, r.Head)
		} else {
			n, _ := l.feeds.number(r.Branch)
			var kept standingHead
			kept, err = lastSigned(func(k []byte) ([]byte, error) { return get(v.snap, k) }, n)
			p.Head = kept.SignedHead
		}
		if err != nil {
			return nil, err
		}
		if p.Head.Seq > 0 {
			list = append(list, p)
		}
	}
	return list, nil
}
