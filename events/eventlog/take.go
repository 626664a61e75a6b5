package eventlog

import (
	"fmt"

	"oldhand/events"
)

// Take adds an event of any feed that was linked behind the end of the feed, or
// of a branch of it, here, and is covered by a signed head that was checked. One
// that is here already is passed over, and another than stands in its place is
// refused.
func (tx *Tx) Take(e events.Event) error { return tx.take(e, false) }

// TakeBranch is Take that also begins a branch, with an event that follows any
// event here.
func (tx *Tx) TakeBranch(e events.Event) error { return tx.take(e, true) }

func (tx *Tx) take(e events.Event, branch bool) error {
	n, head, known := tx.feed(e.Feed)
	ok, e, err := fit(head, e)
	if err == nil && !ok && known {
		_, here, lost := tx.find(e.Head())
		if lost != nil || here {
			return lost
		}
		n, e, ok, err = tx.behind(e)
	}
	if err == nil && !ok && branch {
		n, ok, err = tx.beginBranch(e)
	}
	if err != nil {
		return err
	}
	if !ok {
		return tx.refuse(e)
	}
	if tx.layer.split[n].root == e.Hash {
		tx.otherWriter(e.Feed)
	}
	if own, known := tx.headOf(tx.layer.own); known && own.Feed == e.Feed && tx.layer.begun {
		tx.layer.begun, tx.layer.doubtful = false, true // it has another writer
	}
	tx.log.clock.See(e.ID.Stamp())
	tx.place(n, e)
	tx.took(n, e)
	return nil
}

// took notes what was taken on a row.
func (tx *Tx) took(n feedNo, evs ...events.Event) {
	if tx.log.Follows() {
		tx.taken = append(tx.taken, evs...)
	}
	if tx.grown == nil {
		tx.grown = map[feedNo]uint64{}
	}
	tx.grown[n] = evs[len(evs)-1].Seq
}

// TakeRun is Take of events that follow one another. Nearly always they go on where
// the first branch of their feed ends: that is then looked at once. Their memory is
// kept.
func (tx *Tx) TakeRun(evs []events.Event) error {
	if len(evs) == 0 {
		return nil
	}
	n, head, _ := tx.feed(evs[0].Feed)
	own, writes := tx.headOf(tx.layer.own)
	if writes && own.Feed == head.Feed || !goOn(head, evs) {
		for _, e := range evs {
			if err := tx.Take(e); err != nil {
				return err
			}
		}
		return nil
	}
	for _, e := range evs {
		tx.log.clock.See(e.ID.Stamp())
	}
	tx.placeRun(n, evs)
	tx.took(n, evs...)
	return nil
}

// goOn reports whether events follow a head and one another. Bytes can have
// changed since they were linked.
func goOn(head events.Head, evs []events.Event) bool {
	for _, e := range evs {
		if e.Seq != head.Seq+1 || !e.Follows(head) || events.HashEvent(e.Feed, e.Seq, head.Hash, e.Record) != e.Hash {
			return false
		}
		head = e.Head()
	}
	return true
}

// behind is the row whose end an event follows, and the event as it is linked
// there.
func (tx *Tx) behind(e events.Event) (feedNo, events.Event, bool, error) {
	for _, n := range tx.rows(e.Feed) {
		head, _ := tx.headOf(n)
		if fits, linked, err := fit(head, e); fits || err != nil {
			return n, linked, fits, err
		}
	}
	return 0, e, false, nil
}

// fit reports whether an event follows a head, and gives it linked there. Bytes
// can have changed since it was linked.
func fit(head events.Head, e events.Event) (bool, events.Event, error) {
	if e.Seq != head.Seq+1 {
		return false, e, nil
	}
	if e.Follows(head) && events.HashEvent(e.Feed, e.Seq, head.Hash, e.Record) == e.Hash {
		return true, e, nil
	}
	relinked, err := events.Link(head, e.Record)
	if err != nil || relinked.Hash != e.Hash {
		return false, e, err
	}
	return true, relinked, nil
}

// refuse says why an event can't be taken. One in a place that is taken shows
// that the feed has another writer.
func (tx *Tx) refuse(e events.Event) error {
	n, head, known := tx.feed(e.Feed)
	why := fmt.Errorf("head here is %d: %w", head.Seq, events.ErrLink)
	switch {
	case known && e.Seq > 0 && e.Seq <= head.Seq:
		tx.otherWriter(e.Feed)
		kept, ok, err := tx.hash(n, e.Seq)
		if err != nil {
			return err
		}
		if !ok {
			return notHere(e.Feed, e.Seq)
		}
		why = fmt.Errorf("another event is here (%s, got %s): %w", kept.Short(), e.Hash.Short(), events.ErrLink)
	case e.Seq == head.Seq+1:
		tx.otherWriter(e.Feed) // another event stands where the head is
		relinked, err := events.Link(head, e.Record)
		if err != nil {
			return err
		}
		why = fmt.Errorf("hash is %s here, %s there: %w", relinked.Hash.Short(), e.Hash.Short(), events.ErrLink)
	}
	return &events.Refused{Feed: e.Feed, Seq: e.Seq, Why: why}
}

// otherWriter leaves the feed that this bench writes where it is this one.
func (tx *Tx) otherWriter(f events.FeedID) {
	if own, ok := tx.headOf(tx.layer.own); ok && own.Feed == f && f.Bench == tx.log.bench {
		tx.leaveFeed()
	}
}

// KeepHead keeps a signed head of another bench's feed, so that it can be
// shown to others. It must be the head of events that are here: one of others
// would prove something else.
func (tx *Tx) KeepHead(s events.SignedHead) error {
	n, ok, err := tx.find(s.Head)
	if err != nil {
		return err
	}
	if !ok {
		return tx.noHead(s)
	}
	if tx.grown[n] <= s.Seq {
		delete(tx.grown, n)
	}
	return tx.keepSigned(n, s)
}

// noHead says why a signed head can't be kept.
func (tx *Tx) noHead(s events.SignedHead) error {
	n, head, known := tx.feed(s.Feed)
	why := fmt.Errorf("head of events that are not here: %w", events.ErrLink)
	if known && s.Seq <= head.Seq && s.Seq > 0 {
		here, ok, err := tx.hash(n, s.Seq)
		if err != nil {
			return err
		}
		if !ok {
			return notHere(s.Feed, s.Seq)
		}
		why = fmt.Errorf("head of another event (%s here, %s signed): %w", here.Short(), s.Hash.Short(), events.ErrLink)
	}
	return &events.Refused{Feed: s.Feed, Seq: s.Seq, Why: why}
}

// uncovered refuses events of branches that no signed head was kept of: numbers
// alone don't say which branch a head is of.
func (tx *Tx) uncovered() error {
	for n, seq := range tx.grown {
		h, _ := tx.headOf(n)
		return &events.Refused{Feed: h.Feed, Seq: seq, Why: fmt.Errorf("no signed head covers it: %w", events.ErrSignature)}
	}
	return nil
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
