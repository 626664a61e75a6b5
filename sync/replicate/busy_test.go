package replicate_test

import (
	"fmt"
	"testing"

	"oldhand/events"
	"oldhand/sync/replicate"
)

// busy is a log that grows by other means just before events are taken in.
type busy struct {
	replicate.Log
	grows []func()
}

func (b *busy) Receive(evs []events.Event, heads []events.SignedHead, marks []replicate.Mark) error {
	if len(evs) > 0 && len(b.grows) > 0 {
		grow := b.grows[0]
		b.grows = b.grows[1:]
		grow()
	}
	return b.Log.Receive(evs, heads, marks)
}

// rush is a segment of two events that a desk is about to take into a busy log, and what
// waits there for somebody who is not admitted yet.
type rush struct {
	s     *shop
	a, d  *desk
	log   *busy
	fails *once
	evs   []events.Event // of which two are not at the desk
	hello events.Head
}

func newRush(t *testing.T, seed uint64) *rush {
	t.Helper()
	s := newShop(t, seed, 2)
	r := &rush{s: s, a: s.desks[0], d: s.desks[1]}
	f := r.a.note("common").Feed
	n := r.a.has(f).Seq
	r.a.note("one")
	r.a.note("two")
	r.evs = r.a.run(f)
	r.fails = &once{Log: replicate.OnLog(r.d.log), left: -1}
	r.log = &busy{Log: r.fails}
	r.d.b = must(replicate.NewBench(r.log, s.id, r.d.key, r.d.random))
	r.d.takes(s.sealed(r.a.key, r.evs[:n]), 0)
	late := s.bench(9)
	late.say(s.facts...)
	r.hello = late.note("hello")
	r.d.takes(s.sealed(late.key, late.run(r.hello.Feed)), replicate.WhyUnknown)
	return r
}

// other puts another event in the place of the first that comes, and says that somebody
// is admitted.
func (r *rush) other() {
	r.s.t.Helper()
	e := forge(r.evs[len(r.evs)-3].Head(), "theirs")
	r.d.ok(replicate.OnLog(r.d.log).Receive([]events.Event{e}, []events.SignedHead{must(r.a.key.SignHead(r.s.id, e.Head()))}, nil))
	r.d.quietly(must(r.s.owner.Admit(r.s.id, r.hello.Feed.Bench, "late", 9)))
}

func (r *rush) segment() []byte { return r.s.sealed(r.a.key, r.evs[len(r.evs)-2:]) }

// The log grows while a segment is on its way in, so that it refuses what would have
// fitted: it is looked at again, and what the log grew by is heeded as well.
func TestWhatABusyLogRefusedIsLookedAtAgain_P4_P10(t *testing.T) {
	r := newRush(t, 420)
	r.log.grows = []func(){r.other}
	if came := r.d.takes(r.segment(), 0); came.Took != 2 || !came.Roster {
		t.Errorf("it came as %+v", came)
	}
	r.d.wants(r.hello)
	if ends := endsOf(r.d); len(ends) != 2 || len(must(r.d.b.Inbox.Aside())) > 0 {
		t.Errorf("ends %v, aside %+v", ends, must(r.d.b.Inbox.Aside()))
	}
}

// A log that refuses though it did not grow, because bytes changed in memory, stops
// nothing: the segment is kept aside with the log's word for it, and taken when it comes
// again.
func TestWhatTheLogRefusesThoughItDidNotGrowIsKeptAside_P10(t *testing.T) {
	r := newRush(t, 422)
	why := &events.Refused{Feed: r.evs[0].Feed, Seq: 7, Why: events.ErrLink}
	r.d.b = must(replicate.NewBench(&stubborn{replicate.OnLog(r.d.log), why, 2}, r.s.id, r.d.key, r.d.random))
	if came := r.d.takes(r.segment(), replicate.WhyBad); came.Words != why.Error() || came.Took > 0 {
		t.Errorf("it came as %+v", came)
	}
	if r.d.aside(replicate.WhyBad) != 1 {
		t.Error("it is not aside")
	}
	r.d.takes(r.segment(), 0)
	r.d.wants(r.evs[len(r.evs)-1].Head())
}

// stubborn is a log that refuses events a few times.
type stubborn struct {
	replicate.Log
	why  error
	left int
}

func (s *stubborn) Receive(evs []events.Event, heads []events.SignedHead, marks []replicate.Mark) error {
	if len(evs) > 0 && s.left > 0 {
		s.left--
		return s.why
	}
	return s.Log.Receive(evs, heads, marks)
}

// Whichever call fails while a refused segment is looked at again, the bench says so,
// and comes to the same once it is done again.
func TestWhicheverCallFailsAfterABusyLogRefused_P2_P4(t *testing.T) {
	for n := 0; ; n++ {
		r := newRush(t, 423)
		r.log.grows = []func(){func() { r.other(); r.fails.left = n }}
		_, err := r.d.b.Bundle(r.segment(), 0)
		if !r.fails.hit {
			if r.d.ok(err); n < 4 {
				t.Errorf("only %d calls", n)
			}
			return
		}
		wantBalk(t, fmt.Sprintf("call %d fails", n), err)
		r.d.takes(r.segment(), 0)
		r.d.ok(r.d.b.Grew(0))
		r.d.wants(r.hello)
		if ends := endsOf(r.d); len(ends) != 2 || len(must(r.d.b.Inbox.Aside())) > 0 {
			t.Errorf("call %d failed: ends %v, aside %+v", n, ends, must(r.d.b.Inbox.Aside()))
		}
	}
}
