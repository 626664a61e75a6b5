package eventlog

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// A cut says how far a feed counts: what an owner said when its bench was
// retired. Events behind it are kept, checked and passed on as all others are,
// and nothing follows from them: whatever reads events to see what follows does
// not see them. Who counts is for the roster to say; here stand its words.

// Cuts are the branches of which not all counts, and how far they do.
func (l *Log) Cuts() map[Branch]uint64 {
	l.feeds.mu.RLock()
	defer l.feeds.mu.RUnlock()
	cuts := make(map[Branch]uint64, len(l.feeds.cuts))
	for n, seq := range l.feeds.cuts {
		cuts[l.feeds.reach(n).Branch] = seq
	}
	return cuts
}

// SetCuts puts cuts in the place of those there were. Where they differ, the
// views are out of date from then on: Views gives no version until they are made
// anew. A cut of a branch that is not here is left out. Retired says that this
// bench is retired itself, and writes nothing more.
func (l *Log) SetCuts(cuts map[Branch]uint64, retired bool) error {
	if err := l.Err(); err != nil {
		return err
	}
	return l.alone(func() error {
		next := map[feedNo]uint64{}
		for b, seq := range cuts {
			if n, ok := l.feeds.number(b); ok {
				next[n] = seq
			}
		}
		if maps.Equal(next, l.feeds.cuts) && retired == l.retired.Load() {
			return nil
		}
		b := l.db.NewBatch()
		defer b.Close()
		err := errors.Join(writeCuts(b, next), b.Set(metaRetired, []byte{choose(retired)}, nil))
		if err == nil {
			err = b.Commit(pebble.Sync)
		}
		if err != nil {
			return err // of the engine's interface: where the disk fails the guard ends the handle
		}
		l.feeds.mu.Lock()
		l.feeds.cuts = next
		l.feeds.mu.Unlock()
		l.retired.Store(retired)
		l.pub.publish(l, nil)
		return nil
	})
}

func choose(yes bool) byte {
	if yes {
		return 1
	}
	return 0
}

func writeCuts(b *pebble.Batch, cuts map[feedNo]uint64) error {
	err := errors.Join(b.DeleteRange([]byte{famCut}, []byte{famCut + 1}, nil), b.Delete(metaViews, nil))
	for n, seq := range cuts {
		err = errors.Join(err, b.Set(feedKey(famCut, n), binary.BigEndian.AppendUint64(nil, seq), nil))
	}
	return err
}

func (t *feedTable) loadCuts(db *pebble.DB) error {
	t.cuts = map[feedNo]uint64{}
	return scan(db, []byte{famCut}, []byte{famCut + 1}, func(k, v []byte) (bool, error) {
		if len(k) != 5 || len(v) != 8 {
			return false, fmt.Errorf("cut of %d and %d bytes: %w", len(k), len(v), ErrDamaged)
		}
		n := feedNo(binary.BigEndian.Uint32(k[1:]))
		if int(n) >= len(t.heads) {
			return false, fmt.Errorf("cut of feed %d, which has no row: %w", n, ErrDamaged)
		}
		t.cuts[n] = binary.BigEndian.Uint64(v)
		return true, nil
	})
}

// counts reports whether anything follows from an event of a feed.
func (t *feedTable) counts(n feedNo, seq uint64) bool {
	t.mu.RLock()
	defer t.mu.RUnlock()
	cut, ok := t.cuts[n]
	return !ok || seq <= cut
}

// AllEvents is Events with those behind a cut: the statements of owners count
// wherever they stand.
func (v *View) AllEvents(subject [16]byte) ([]events.Event, error) { return v.events(subject, false) }

// CountedHeads are where what counts of all feeds ends, in the order of the
// feeds' names: of a feed with branches each end. It is the same wherever the
// same events count, whichever branch came first. Feeds of which nothing counts
// are left out.
func (v *View) CountedHeads() (heads []events.Head, err error) {
	reaches := v.log.Branches()
	cuts := v.log.Cuts()
	left := map[events.Head]bool{} // events that counted ones of another branch follow
	for i, r := range reaches {
		if cut, ok := cuts[r.Branch]; ok && cut < r.Head.Seq {
			if r.Head.Seq = max(cut, r.Base.Seq); cut > r.Base.Seq {
				r.Head.Hash, err = v.hashOn(r.Branch, cut)
			}
		}
		if err != nil {
			return nil, err
		}
		left[r.Base] = left[r.Base] || r.Own() > 0 && r.Root != (events.Hash{})
		reaches[i] = r
	}
	for _, r := range reaches {
		if r.Own() > 0 && !left[r.Head] {
			heads = append(heads, r.Head)
		}
	}
	slices.SortFunc(heads, func(a, b events.Head) int {
		return cmp.Or(a.Feed.Compare(b.Feed), cmp.Compare(a.Seq, b.Seq), bytes.Compare(a.Hash[:], b.Hash[:]))
	})
	return heads, nil
}

// hashOn is the hash of a branch's own event.
func (v *View) hashOn(b Branch, seq uint64) (h events.Hash, err error) {
	n, _ := v.log.feeds.number(b)
	h, ok, err := v.rows().hash(n, seq)
	if err == nil && !ok {
		err = notHere(b.Feed, seq)
	}
	return h, err
}

// errRetired is why a bench that was retired writes nothing more.
var errRetired = fmt.Errorf("%w, because the owner retired this bench", ErrReadOnly)
