package eventlog

import (
	"fmt"

	"oldhand/events"
)

// Take adds an event of any feed that was linked behind the feed's head here
// and is covered by a signed head that was checked. One that is here already
// is passed over.
func (tx *Tx) Take(e events.Event) error {
	n, head, known := tx.feed(e.Feed)
	if known && e.Seq > 0 && e.Seq <= head.Seq {
		return tx.checkSame(n, e)
	}
	if e.Seq != head.Seq+1 {
		return &events.Refused{Feed: e.Feed, Seq: e.Seq, Why: fmt.Errorf("head here is %d: %w", head.Seq, events.ErrLink)}
	}
	if !e.Follows(head) || events.HashEvent(e.Feed, e.Seq, head.Hash, e.Record) != e.Hash {
		relinked, err := events.Link(head, e.Record)
		if err != nil {
			return err
		}
		if relinked.Hash != e.Hash {
			return &events.Refused{Feed: e.Feed, Seq: e.Seq, Why: fmt.Errorf("hash is %s here, %s there: %w", relinked.Hash.Short(), e.Hash.Short(), events.ErrLink)}
		}
		e = relinked
	}
	if known && n == tx.layer.own && tx.layer.begun {
		tx.layer.begun, tx.layer.doubtful = false, true // it has another writer
	}
	tx.log.clock.See(e.ID.Stamp())
	tx.place(n, e)
	tx.taken = append(tx.taken, e)
	return nil
}

// checkSame refuses a second, different event in a place that is taken.
func (tx *Tx) checkSame(n feedNo, e events.Event) error {
	v, err := tx.raw(eventKey(n, e.Seq))
	if err != nil {
		return err
	}
	kept, _, err := splitEventValue(v)
	if err != nil {
		return err
	}
	if kept != e.Hash {
		if n == tx.layer.own {
			tx.leaveFeed()
		}
		return &events.Refused{Feed: e.Feed, Seq: e.Seq, Why: fmt.Errorf("another event is here (%s, got %s): %w", kept.Short(), e.Hash.Short(), events.ErrLink)}
	}
	return nil
}

// KeepHead keeps a signed head of another bench's feed, so that it can be
// shown to others. It must be the head of the events that are here: one of
// another branch would prove something else.
func (tx *Tx) KeepHead(s events.SignedHead) error {
	n, head, known := tx.feed(s.Feed)
	if !known || s.Seq > head.Seq {
		return &events.Refused{Feed: s.Feed, Seq: s.Seq, Why: fmt.Errorf("head of events that are not here: %w", events.ErrLink)}
	}
	v, err := tx.raw(eventKey(n, s.Seq))
	if err != nil {
		return err
	}
	here, _, err := splitEventValue(v)
	if err != nil {
		return err
	}
	if here != s.Hash {
		return &events.Refused{Feed: s.Feed, Seq: s.Seq, Why: fmt.Errorf("head of another event (%s here, %s signed): %w", here.Short(), s.Hash.Short(), events.ErrLink)}
	}
	return tx.keepSigned(n, s)
}

// leaveFeed ends the feed that this bench writes, because somebody else wrote
// another event under one of its numbers: a copy of this folder is running, or
// this machine's memory was put back. It holds whether or not the action that
// found it is saved.
func (tx *Tx) leaveFeed() {
	l := tx.log
	l.begun, l.doubtful = false, true
	tx.base.begun, tx.base.doubtful = false, true
	tx.layer.begun, tx.layer.doubtful = false, true
	if w, ok, err := l.witness.load(); err == nil && ok {
		l.settleWitness(w, false)
	}
}
