package meet

import (
	"context"
	"crypto/sha256"
	"errors"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
)

// given is a key that the exchange said it stored.
type given struct {
	person events.PersonID
	there  there
	fresh  bool // the exchange had nothing of the person
	hash   [sha256.Size]byte
}

// give puts what the exchange lacks, and says whether the exchange moved, by this
// bench or by another.
func (m *keyMeeting) give(ctx context.Context) (moved bool, err error) {
	if _, _, ok := m.k.Sealing(); !ok {
		return false, nil
	}
	var some []given
	err = m.view(func(v *eventlog.View) error {
		return v.Persons(func(e events.KeyEntry) (bool, error) {
			g, ok, err := m.giveOne(ctx, v, e)
			if errors.Is(err, exchange.ErrBehind) || errors.Is(err, exchange.ErrBusy) {
				moved, err = true, nil // somebody else put it: it is read in the next look
			}
			if ok {
				some, moved = append(some, g), true
			}
			if err == nil && len(some) == keysAtOnce {
				err = m.gave(ctx, some)
				some = some[:0]
			}
			return err == nil, err
		})
	})
	return moved, errors.Join(err, m.gave(ctx, some))
}

// giveOne puts what is here of a person, if the exchange lacks it.
func (m *keyMeeting) giveOne(ctx context.Context, v *eventlog.View, e events.KeyEntry) (g given, ok bool, err error) {
	val, err := v.Mark(personMark(m.at.epoch, e.Person))
	if err != nil {
		return g, false, err
	}
	t, err := readThere(val)
	if err != nil || !lacks(t.what, e) {
		return g, false, err
	}
	payload, err := m.k.Seal(e)
	if err != nil {
		return g, false, err
	}
	seq, err := m.x.PutKey(ctx, e.Person, t.seq, payload)
	if err != nil {
		return g, false, err
	}
	m.met.Gave++
	g = given{e.Person, there{what: hasKey, seq: seq}, t.what == 0, sha256.Sum256(payload)}
	if e.Forgotten() {
		g.there.what = hasOrder
	}
	return g, true, nil
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
	at := m.at
	for _, g := range some {
		if g.fresh {
			at.persons++
		}
		if g.there.seq == at.seq+1 {
			at.seq, at.hash = g.there.seq, g.hash
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
