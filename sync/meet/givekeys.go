package meet

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"slices"
	"sync"
	"sync/atomic"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
)

// given is a key that the exchange lacks, and what it said when it stored it.
type given struct {
	person  events.PersonID
	there   there // as it was before, then as it is
	fresh   bool  // the exchange had nothing of the person
	payload []byte
	stored  bool
	others  bool  // somebody else put one: it is read in the next look
	err     error // why it was not put; nil also where that was not tried
}

// onTheWay is how many keys are put at once, so that a line that answers late is not
// waited for once for each.
const onTheWay = 16

// give puts what the exchange lacks, and says whether the exchange moved, by this
// bench or by another.
func (m *keyMeeting) give(ctx context.Context) (moved bool, err error) {
	if _, _, ok := m.k.Sealing(); !ok {
		return false, nil
	}
	var some []given
	put := func() error {
		did, err := m.putAll(ctx, some)
		moved, some = moved || did, some[:0]
		return err
	}
	err = m.view(func(v *eventlog.View) error {
		return v.Persons(func(e events.KeyEntry) (bool, error) {
			g, ok, err := m.lacked(v, e)
			if ok {
				some = append(some, g)
			}
			if err == nil && len(some) == keysAtOnce {
				err = put()
			}
			return err == nil, err
		})
	})
	if err != nil {
		return moved, err
	}
	return moved, put()
}

// lacked seals what is here of a person, if the exchange lacks it.
func (m *keyMeeting) lacked(v *eventlog.View, e events.KeyEntry) (g given, ok bool, err error) {
	val, err := v.Mark(personMark(m.at.epoch, e.Person))
	if err != nil {
		return g, false, err
	}
	t, err := readThere(val)
	if err != nil || !lacks(t.what, e) {
		return g, false, err
	}
	g = given{person: e.Person, there: there{what: hasKey, seq: t.seq}, fresh: t.what == 0}
	if e.Forgotten() {
		g.there.what = hasOrder
	}
	g.payload, err = m.k.Seal(e)
	return g, err == nil, err
}

// putAll puts keys, and remembers those that were stored also where others were not.
func (m *keyMeeting) putAll(ctx context.Context, some []given) (moved bool, err error) {
	var next, failed atomic.Int64
	var all sync.WaitGroup
	for range min(onTheWay, len(some)) {
		all.Go(func() {
			for failed.Load() == 0 {
				i := next.Add(1) - 1
				if i >= int64(len(some)) {
					return
				}
				g := &some[i]
				g.putBy(ctx, m.x)
				if g.err != nil {
					failed.Add(1)
				}
			}
		})
	}
	all.Wait()
	stored := some[:0]
	for _, g := range some {
		if g.stored {
			stored = append(stored, g)
		}
		moved = moved || g.stored || g.others
		err = cmp.Or(err, g.err)
	}
	m.met.Gave += len(stored)
	return moved, errors.Join(err, m.gave(ctx, stored))
}

func (g *given) putBy(ctx context.Context, x *exchange.Exchange) {
	seq, err := x.PutKey(ctx, g.person, g.there.seq, g.payload)
	switch {
	case err == nil:
		g.there.seq, g.stored = seq, true
	case errors.Is(err, exchange.ErrBehind), errors.Is(err, exchange.ErrBusy):
		g.others = true
	default:
		g.err = err
	}
}

// lacks reports whether an entry belongs in place of what the exchange has: of
// nothing, and of what is no good, and an order in place of whatever else is
// there. What can't be read yet may be good, so a key does not take its place.
func lacks(t what, e events.KeyEntry) bool {
	if e.Forgotten() {
		return t != hasOrder
	}
	return t == 0 || t == refused
}

// gave remembers what the exchange has by it. Where nobody else wrote in between,
// it need not be read back.
func (m *keyMeeting) gave(ctx context.Context, some []given) error {
	if len(some) == 0 {
		return nil
	}
	slices.SortFunc(some, func(a, b given) int { return cmp.Compare(a.there.seq, b.there.seq) })
	at := m.at
	for _, g := range some {
		if g.fresh {
			at.persons++
		}
		if g.there.seq == at.seq+1 {
			at.seq, at.hash = g.there.seq, sha256.Sum256(g.payload)
		}
	}
	err := m.k.Log.Append(context.WithoutCancel(ctx), func(tx *eventlog.Tx) error {
		for _, g := range some {
			tx.PutMark(personMark(at.epoch, g.person), g.there.value())
		}
		tx.PutMark(cursorKey(at.epoch), at.value())
		return nil
	})
	if err == nil {
		m.at = at
		m.tell()
	}
	return err
}
