package eventlog

import (
	"encoding/binary"
	"fmt"
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
	heads []events.Head // by number
	order []feedNo      // by name: sorting them at each asking would grow with the years
	byID  map[events.FeedID]feedNo
	cuts  map[feedNo]uint64 // how far a feed counts, where not all of it does
}

func (t *feedTable) load(db *pebble.DB) error {
	t.byID = map[events.FeedID]feedNo{}
	err := scan(db, []byte{famFeed}, []byte{famFeed + 1}, func(k, v []byte) (bool, error) {
		n := binary.BigEndian.Uint32(k[1:])
		h, err := readFeedValue(v)
		if err != nil {
			return false, err
		}
		if int(n) != len(t.heads) {
			return false, fmt.Errorf("feed row %d where %d should be: %w", n, len(t.heads), ErrDamaged)
		}
		t.heads = append(t.heads, h)
		t.order = append(t.order, feedNo(n))
		t.byID[h.Feed] = feedNo(n)
		return true, nil
	})
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

// set moves heads after a commit.
func (t *feedTable) set(changed map[feedNo]events.Head) {
	t.mu.Lock()
	defer t.mu.Unlock()
	numbers := make([]feedNo, 0, len(changed))
	for n := range changed {
		numbers = append(numbers, n)
	}
	slices.Sort(numbers)
	for _, n := range numbers {
		if int(n) == len(t.heads) {
			t.heads = append(t.heads, events.Head{})
			t.byID[changed[n].Feed] = n
			at, _ := slices.BinarySearchFunc(t.order, changed[n].Feed, func(m feedNo, id events.FeedID) int { return t.heads[m].Feed.Compare(id) })
			t.order = slices.Insert(t.order, at, n)
		}
		t.heads[n] = changed[n]
	}
}

// Heads are the heads of all feeds, in the order of the feeds' names.
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
// key, of others as far as a signed head was received.
func (l *Log) SignedHeads() ([]events.SignedHead, error) {
	v, err := l.View()
	if err != nil {
		return nil, err
	}
	defer v.Close()
	var signed []events.SignedHead
	for _, h := range l.Heads() {
		if h.Feed.Bench == l.bench && !l.opt.Key.IsZero() {
			s, err := l.opt.Key.SignHead(l.opt.Shop, h)
			if err != nil {
				return nil, err
			}
			signed = append(signed, s)
			continue
		}
		n, _, _ := l.feeds.find(h.Feed)
		kept, err := lastSigned(func(k []byte) ([]byte, error) { return get(v.snap, k) }, n)
		if err != nil {
			return nil, err
		}
		if kept.Seq > 0 {
			signed = append(signed, kept.SignedHead)
		}
	}
	return signed, nil
}
