package meet

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/keyring"
)

// KeysMet is what exchanging keys came to.
type KeysMet struct {
	Took    int // changes of the keyring here
	Gave    int // keys that the exchange lacked
	Waiting int // what came and can't be used yet
	Refused int // what came and is no good
}

const (
	// keysAtOnce is how many keys are taken in one action: their number bounds
	// what a meeting holds in memory.
	keysAtOnce = 2000

	// mostLooks ends a meeting at which others put keys without an end.
	mostLooks = 8

	// keyPatience is how long an exchange is asked again that does not answer,
	// since something came or was given last.
	keyPatience = 10 * time.Second
)

// Keys takes the keys of customers that an exchange has and this bench lacks, and
// gives it those that it lacks. Events come first: a key is taken only where what
// it opens is here.
// Told is called after each step; it may be nil.
func Keys(ctx context.Context, k *keyring.Keeper, x *exchange.Exchange, told func(KeysMet)) (KeysMet, error) {
	m := &keyMeeting{k: k, x: x, told: told}
	err := m.run(ctx)
	if err != nil {
		return m.met, fmt.Errorf("exchange keys of customers: %w", err)
	}
	return m.met, m.count()
}

// keyMeeting is one run of Keys, on one goroutine.
type keyMeeting struct {
	k     *keyring.Keeper
	x     *exchange.Exchange
	at    keyCursor
	anew  bool // all was read again, because some were lost
	empty uint64
	met   KeysMet
	told  func(KeysMet)
}

func (m *keyMeeting) tell() {
	if m.told != nil {
		m.told(m.met)
	}
}

// run looks until nothing is left to take or to give. A cut, or a host that
// answers to nobody for a moment, is no end: what was done until then is
// remembered, and it looks again.
func (m *keyMeeting) run(ctx context.Context) error {
	begun := time.Now()
	for looks := 0; looks < mostLooks; {
		at, met := m.at.seq, m.met
		more, err := m.round(ctx)
		if m.at.seq != at || m.met != met {
			begun = time.Now() // it got on
		}
		switch {
		case err == nil && !more:
			return nil
		case err == nil:
			looks++
		case !passing(err) || time.Since(begun) > keyPatience:
			return err
		default:
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-time.After(lookAgain):
			}
		}
	}
	return nil
}

func passing(err error) bool {
	return errors.Is(err, exchange.ErrOffline) || errors.Is(err, exchange.ErrUnknown)
}

// round does the next thing that is to be done, and says whether to look again.
// Where nothing changed since the last meeting it costs two questions.
func (m *keyMeeting) round(ctx context.Context) (more bool, err error) {
	s, err := m.look(ctx)
	switch {
	case err != nil:
		return false, err
	case s.LastSeq > max(m.at.seq, m.empty):
		if err := m.read(ctx); err != nil {
			return false, err
		}
		m.empty = s.LastSeq // what of it did not come is not there
		return true, nil
	case s.Persons != m.at.persons:
		return true, m.recount(ctx, s.Persons)
	}
	if err := m.again(ctx); err != nil {
		return false, err
	}
	return m.give(ctx)
}

// recount reads all again where the exchange has something of fewer persons than
// was read of it, or of more: it lost some. Where that was done already, it counts
// in another way.
func (m *keyMeeting) recount(ctx context.Context, persons uint64) error {
	if !m.anew {
		m.anew = true
		return m.forget(ctx)
	}
	m.at.persons = persons
	return m.k.Log.Append(ctx, func(tx *eventlog.Tx) error {
		tx.PutMark(cursorKey(m.at.epoch), m.at.value())
		return nil
	})
}

// look asks how the exchange stands, and whether it still has what was read last:
// one that was put back, emptied or made anew is read from the first.
func (m *keyMeeting) look(ctx context.Context) (s exchange.KeyState, err error) {
	if s, err = m.x.KeyState(ctx); err != nil {
		return s, err
	}
	if s.Epoch != m.at.epoch {
		m.empty = 0
		if err := m.view(func(v *eventlog.View) error {
			val, err := v.Mark(cursorKey(s.Epoch))
			if err == nil {
				m.at, err = readKeyCursor(s.Epoch, val)
			}
			return err
		}); err != nil {
			return s, err
		}
	}
	if m.at.seq == 0 {
		return s, nil
	}
	last, ok, err := m.x.KeyAt(ctx, m.at.seq)
	if err == nil && (!ok || last.Hash != m.at.hash) {
		err = m.forget(ctx)
	}
	return s, err
}

func (m *keyMeeting) view(fn func(*eventlog.View) error) error {
	v, err := m.k.Log.View()
	if err != nil {
		return err
	}
	defer v.Close()
	return fn(v)
}

// forget forgets what was read of the exchange. The cursor goes last, so that one
// that was interrupted is done again.
func (m *keyMeeting) forget(ctx context.Context) error {
	for {
		var some [][]byte
		if err := m.eachThere(func(k []byte, _ events.PersonID, _ there) (bool, error) {
			some = append(some, bytes.Clone(k))
			return len(some) < keysAtOnce, nil
		}); err != nil {
			return err
		}
		err := m.k.Log.Append(ctx, func(tx *eventlog.Tx) error {
			for _, k := range some {
				tx.PutMark(k, nil)
			}
			if len(some) == 0 {
				tx.PutMark(cursorKey(m.at.epoch), nil)
			}
			return nil
		})
		if err != nil || len(some) == 0 {
			m.at, m.empty = keyCursor{epoch: m.at.epoch}, 0
			return err
		}
	}
}

// eachThere calls fn with what the exchange has of each person.
func (m *keyMeeting) eachThere(fn func(k []byte, p events.PersonID, t there) (bool, error)) error {
	lo := personPrefix(m.at.epoch)
	hi := append(lo[:len(lo)-1:len(lo)-1], 1)
	return m.view(func(v *eventlog.View) error {
		return v.Marks(lo, hi, func(k, val []byte) (bool, error) {
			t, err := readThere(val)
			if err == nil && len(k) != len(lo)+len(events.PersonID{}) {
				err = errMark
			}
			if err != nil {
				return false, err
			}
			return fn(k, events.PersonID(k[len(lo):]), t)
		})
	})
}

// came is a message that was opened, as far as it can be.
type came struct {
	msg   exchange.KeyMessage
	entry events.KeyEntry
	said  keyring.Verdict // zero where it opened
	there there
}

func (m *keyMeeting) open(msg exchange.KeyMessage) came {
	c := came{msg: msg, there: there{seq: msg.Seq}}
	if p, err := keyring.ReadPlace(msg.Payload); err == nil {
		c.there.epoch = p.Epoch
		c.there.tried = uint8(min(255, len(m.k.Keys(p.Epoch))))
	}
	c.entry, c.said = m.k.Open(msg.Payload, msg.Person)
	return c
}

// read takes what stands behind the cursor.
func (m *keyMeeting) read(ctx context.Context) error {
	var some []came
	err := m.x.Keys(ctx, m.at.seq, func(msg exchange.KeyMessage) error {
		some = append(some, m.open(msg))
		if len(some) < keysAtOnce {
			return nil
		}
		err := m.take(ctx, some, true)
		some = some[:0]
		return err
	})
	return errors.Join(err, m.take(ctx, some, true))
}

// take keeps what came, in one action with what is known of the exchange by it.
func (m *keyMeeting) take(ctx context.Context, some []came, moves bool) error {
	if len(some) == 0 {
		return nil
	}
	var opened []events.KeyEntry
	for _, c := range some {
		if c.said == 0 {
			opened = append(opened, c.entry)
		}
	}
	at, took := m.at, 0
	_, err := m.k.Take(ctx, opened, func(tx *eventlog.Tx, said []keyring.Verdict) (err error) {
		at, took = m.at, 0
		for _, c := range some {
			if c.said == 0 {
				c.said, said = said[0], said[1:]
				if c.said == keyring.Took {
					took++
				}
				c.there.what = whatOf(c.entry, c.said)
			} else {
				c.there.what = unopenedOr(c.said)
			}
			if at.persons, err = m.put(tx, c, at.persons); err != nil {
				return err
			}
		}
		if moves {
			last := some[len(some)-1].msg
			at.seq, at.hash = last.Seq, last.Hash
		}
		tx.PutMark(cursorKey(at.epoch), at.value())
		return nil
	})
	if err == nil {
		m.at, m.met.Took = at, m.met.Took+took
		m.tell()
	}
	return err
}

// put remembers what the exchange has of a person, and counts the person.
func (m *keyMeeting) put(tx *eventlog.Tx, c came, persons uint64) (uint64, error) {
	if c.msg.Person.IsZero() {
		return persons + 1, nil
	}
	k := personMark(m.at.epoch, c.msg.Person)
	had, err := tx.Mark(k)
	if err == nil && len(had) == 0 {
		persons++
	}
	tx.PutMark(k, c.there.value())
	return persons, err
}

func whatOf(e events.KeyEntry, said keyring.Verdict) what {
	switch {
	case said == keyring.Waits:
		return unproven
	case said == keyring.Refused:
		return refused
	case e.Forgotten():
		return hasOrder
	}
	return hasKey
}

func unopenedOr(said keyring.Verdict) what {
	if said == keyring.Waits {
		return unopened
	}
	return refused
}

// again tries what could not be used before and can be now.
func (m *keyMeeting) again(ctx context.Context) error {
	var ready []events.PersonID
	err := m.view(func(v *eventlog.View) error {
		return m.eachThere(func(_ []byte, p events.PersonID, t there) (bool, error) {
			ok, err := m.ready(v, p, t)
			if ok {
				ready = append(ready, p)
			}
			return len(ready) < keysAtOnce, err
		})
	})
	if err != nil || len(ready) == 0 {
		return err
	}
	var some []came
	for _, p := range ready {
		msg, ok, err := m.x.Key(ctx, p)
		if err != nil {
			return err
		}
		if ok && msg.Person == p && msg.Payload != nil {
			some = append(some, m.open(msg))
		}
	}
	if err := m.take(ctx, some, false); err != nil {
		return err
	}
	if len(some) < keysAtOnce {
		return nil
	}
	return m.again(ctx)
}

// ready reports whether what a message waited for is here.
func (m *keyMeeting) ready(v *eventlog.View, p events.PersonID, t there) (bool, error) {
	switch t.what {
	case unopened:
		return len(m.k.Keys(t.epoch)) > int(t.tried), nil
	case unproven:
		evs, err := v.Events(p)
		return keyring.Recorded(evs), err
	}
	return false, nil
}

// count says what can't be used yet.
func (m *keyMeeting) count() error {
	m.met.Waiting, m.met.Refused = 0, 0
	return m.eachThere(func(_ []byte, _ events.PersonID, t there) (bool, error) {
		switch t.what {
		case unopened, unproven:
			m.met.Waiting++
		case refused:
			m.met.Refused++
		}
		return true, nil
	})
}
