package replicate

import (
	"bytes"
	"errors"
	"math"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// Came is what became of a segment.
type Came struct {
	Place  segment.Place
	Head   events.Head // that it ends at, where it could be opened
	Took   int         // events taken
	Had    bool        // all of it was here
	Roster bool        // who belongs to the shop may be another than before
	Aside  Why         // zero where it was taken or was here
	Words  string

	proves bool               // what is kept aside of the feed leads to what counts of a retired bench
	reach  eventlog.Reach     // of the branch that events were taken on
	along  []eventlog.Stretch // what of it is here, by branch
}

// cures reports whether what is kept aside may be taken since it came.
func (c Came) cures() bool { return c.Took > 0 || c.Roster || c.proves }

// Take deals with a segment and writes marks with it. An error is this bench's
// own: its disk, not the segment; nothing was taken, and nothing is remembered.
func (in *Inbox) Take(b []byte, message uint64, marks func(Came) []Mark) (came Came, err error) {
	if marks == nil {
		marks = func(Came) []Mark { return nil }
	}
	digest := digestOf(b)
	defer func() {
		if err != nil {
			in.owe(came)
		}
	}()
	came, opened, err := in.try(b, func(c Came) []Mark { return append(marks(c), in.aside.gone(digest)...) })
	if err != nil {
		return came, err
	}
	if came.Aside == 0 {
		in.aside.drop(digest)
		return came, in.cutIf(in.moves(came))
	}
	a := Aside{Digest: digest, Why: came.Aside, Words: came.Words, Place: came.Place, Bytes: bytes.Clone(b), Message: message}
	said, err := in.keep(a, opened, marks(came))
	came.Roster = came.Roster || said
	came.proves = came.Aside.waits() && in.reachesCounted(came.Place.Feed)
	return came, errors.Join(err, in.cutIf(in.moves(came)))
}

// Again tries what is kept aside and may be taken since something came: of a
// feed what waited for events before it, and after a change of the roster what
// waited for that. It gives what it took. What an error left untried is tried the
// next time.
func (in *Inbox) Again(since Came) (took []Came, err error) {
	todo := append(in.untried, since)
	for in.untried = nil; len(todo) > 0 && !planted.Bug("nothing is tried again"); todo = todo[1:] {
		for _, a := range in.aside.curedBy(todo[0]) {
			came, err := in.again(a)
			if err != nil {
				in.untried = todo
				in.owe(came)
				return took, err
			}
			if came.Took > 0 {
				took = append(took, came)
			}
			if came.cures() {
				todo = append(todo, came)
			}
		}
	}
	return took, nil
}

// owe remembers that what waited for something that came was not tried, because the
// log failed: a segment that comes a second time is here already, and cures nothing.
func (in *Inbox) owe(came Came) {
	if came.cures() {
		in.untried = append(in.untried, came)
	}
}

// owes reports whether there is something of that.
func (in *Inbox) owes() bool { return len(in.untried) > 0 }

// again tries one segment that is kept aside.
func (in *Inbox) again(a Aside) (came Came, err error) {
	b, err := in.bytesOf(a)
	if err != nil {
		return came, err
	}
	if b == nil {
		return came, in.setReread(true)
	}
	gone := []Mark{{a.key(), nil}}
	came, opened, err := in.try(b, func(Came) []Mark { return gone })
	switch {
	case err != nil:
		return came, err
	case came.Aside == 0:
		in.aside.drop(a.Digest)
	case came.Aside != a.Why:
		a.Why, a.Words, a.Bytes = came.Aside, came.Words, b
		said, kept := in.keep(a, opened, nil)
		came.Roster, err = came.Roster || said, kept
		came.proves = came.Aside.waits() && in.reachesCounted(came.Place.Feed)
	default:
		came.Aside = 0 // nothing came of it
	}
	return came, errors.Join(err, in.cutIf(in.moves(came)))
}

func (in *Inbox) bytesOf(a Aside) (b []byte, err error) {
	err = in.log.Marks(a.key(), func(k, v []byte) error {
		kept, err := readAside(k, v)
		b = kept.Bytes
		return err
	})
	return b, err
}

// try takes a segment in, or says why it can't be taken. The log may have grown
// by other means since its heads were read, and then refuse what would have
// fitted before: that is looked at again, once.
func (in *Inbox) try(b []byte, marks func(Came) []Mark) (came Came, o segment.Opened, err error) {
	changed := false // the roster, by what was added to the log
	for range 2 {
		came, o, err = in.once(b, marks)
		came.Roster = came.Roster || changed
		var refused *events.Refused
		if !errors.As(err, &refused) || planted.Bug("a busy log stops reading") {
			return came, o, err
		}
		_, roster, local := in.refresh()
		if local != nil {
			return came, o, local
		}
		changed = changed || roster
	}
	came.Took, came.Aside, came.Words, came.Roster, came.along = 0, WhyBad, err.Error(), changed, nil
	return came, o, nil
}

func (in *Inbox) once(b []byte, marks func(Came) []Mark) (came Came, o segment.Opened, err error) {
	came.Place, _ = segment.ReadPlace(b)
	o, err = in.open(b)
	if err != nil {
		came.Aside, came.Words = whyNot(err), err.Error()
		return came, o, nil
	}
	came.Place, came.Head = o.Place, o.Head.Head
	w, err := in.wayOf(o, in.led(o))
	if errors.Is(err, errLed) {
		if counts, err := in.judged(o, w.evs, &came); err != nil || !counts {
			return came, o, err
		}
		w, err = in.wayOf(o, math.MaxInt)
	}
	if err != nil {
		var local *localError
		if errors.As(err, &local) {
			return came, o, local.error
		}
		came.Aside, came.Words = whyNot(err), err.Error()
		return came, o, in.leave(o)
	}
	if len(w.evs) == 0 {
		came.Had, came.along = true, w.along
		return came, o, in.log.Receive(nil, nil, marks(came))
	}
	if w.begins && planted.Bug("the second branch is kept aside") {
		came.Aside, came.Words = WhyFork, "another event stands in its place here"
		return came, o, in.leave(o)
	}
	if counts, err := in.judged(o, w.evs, &came); err != nil || !counts {
		return came, o, err
	}
	came.Took, came.reach, came.along = len(w.evs), w.reach, w.along
	return came, o, in.receive(o, w, marks(came))
}

// judged reports whether a segment counts, by what is known and what events say that it
// holds or that lead to it. One that does not is to be kept aside.
func (in *Inbox) judged(o segment.Opened, evs []events.Event, came *Came) (counts bool, err error) {
	came.Roster = in.learn(evs) || came.Roster
	v, err := in.judge(o)
	if err == nil && !v.Counts() {
		came.Aside, came.Words = WhyUnknown, v.Words
	}
	return v.Counts(), err
}

// localError is one of this bench, not of a segment.
type localError struct{ error }

// eventsOf are the events of a segment that was opened, which links behind what it says
// it follows; none of one that was not.
func eventsOf(o segment.Opened) []events.Event {
	evs, _ := o.Link(events.Head{Feed: o.Feed, Seq: o.First - 1, Hash: o.Prev})
	return evs
}

// open opens a segment with whichever key of its epoch opens it.
func (in *Inbox) open(b []byte) (o segment.Opened, err error) {
	if a := in.ahead; a != nil && a.ring == in.keys.Load() && len(a.bytes) == len(b) && &a.bytes[0] == &b[0] {
		<-a.done
		return a.opened, a.err
	}
	return open(b, in.shop, in.ring)
}

func open(b []byte, shop events.ShopID, ring roster.Ring) (o segment.Opened, err error) {
	place, err := segment.ReadPlace(b)
	if err != nil {
		return o, err
	}
	keys := ring.Of(place.Epoch)
	if len(keys) == 0 {
		return segment.Open(b, shop, func(uint32) (segment.Key, bool) { return segment.Key{}, false })
	}
	for _, k := range keys {
		o, err = segment.Open(b, shop, func(uint32) (segment.Key, bool) { return segment.Key(k.Secret), true })
		if !errors.Is(err, segment.ErrSeal) {
			break
		}
	}
	return o, err
}

// leave ends this bench's own feed where a segment shows that it has another
// writer, and what leads to that is not here yet: the log refuses it and goes on
// under a new name (F12). Where it can be taken the log leaves by itself.
func (in *Inbox) leave(o segment.Opened) error {
	if own, err := in.own.Public(); err != nil || o.Feed.Bench != own || !in.conflicts(o) {
		return err
	}
	err := in.log.Receive(eventsOf(o), []events.SignedHead{o.Head}, nil)
	var refused *events.Refused
	if errors.As(err, &refused) {
		return nil
	}
	return err
}

// judge says whether a segment's events count, by what the shop's owners said in
// the log, in what is kept aside, and in the events themselves.
func (in *Inbox) judge(o segment.Opened) (roster.Verdict, error) {
	r := in.book.Roster()
	v := r.Counts(o.Head.Head)
	if v.Standing == roster.NotAdmitted && planted.Bug("who is admitted is not looked at") ||
		v.Standing == roster.Beyond && planted.Bug("what a retired bench wrote beyond the cut is taken") {
		return roster.Verdict{Standing: roster.Counted}, nil
	}
	if !v.Counts() {
		return v, nil
	}
	leads, err := in.leads(r, o)
	if err == nil && !leads {
		v = roster.Verdict{Standing: roster.Beyond, Words: v.Words + "; these wait until it is seen that they lead there"}
	}
	return v, err
}

// receive puts events that count into the log.
func (in *Inbox) receive(o segment.Opened, w way, marks []Mark) error {
	if planted.Bug("marks go before the events") {
		if err := in.log.Receive(nil, nil, marks); err != nil {
			return err
		}
	}
	known, done := in.reached(o)
	put := in.log.Receive
	if w.begins {
		put = in.log.ReceiveBranch
	}
	if err := put(w.evs, []events.SignedHead{o.Head}, append(marks, known...)); err != nil {
		return err
	}
	done()
	in.here[w.reach.Branch] = w.reach
	return nil
}
