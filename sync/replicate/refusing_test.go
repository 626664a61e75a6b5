package replicate_test

import (
	"encoding/binary"
	"errors"
	"io"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/benchtest"
	"oldhand/sync/replicate"
)

// refusing is an exchange that refuses a few times, for a reason, what it is given or
// asked.
type refusing struct {
	*benchtest.Model
	why   replicate.Failure
	posts int
	asks  int
}

func (x *refusing) Publish(f events.FeedID, expect uint64, payload []byte) (uint64, replicate.Failure) {
	if x.posts--; x.posts >= 0 {
		return 0, x.why
	}
	return x.Model.Publish(f, expect, payload)
}

func (x *refusing) Last(f events.FeedID) (replicate.Message, replicate.Failure) {
	if x.asks--; x.asks >= 0 {
		return replicate.Message{}, x.why
	}
	return x.Model.Last(f)
}

// gives lets a desk do all that it wants to do at an exchange, for some minutes.
func (d *desk) gives(x replicate.Exchange) {
	d.shop.t.Helper()
	for range 20 {
		d.now += 30_000
		d.ok(d.b.Tick(d.now))
		for d.b.Busy() {
			d.ok(d.b.Do(x, func() int64 { return d.now }))
		}
	}
}

// Whatever an exchange refuses is given later, or it is said that it can't be.
func TestWhatAnExchangeRefusesIsGivenLater_P4_P8(t *testing.T) {
	for name, c := range map[string]struct {
		x       refusing
		meeting bool // it must be met again
		stuck   bool
	}{
		"behind":            {refusing{why: replicate.Behind, posts: 2}, false, false},
		"busy":              {refusing{why: replicate.Busy, posts: 2}, false, false},
		"unclear":           {refusing{why: replicate.Unclear, posts: 2}, false, false},
		"unclear, asked":    {refusing{why: replicate.Unclear, posts: 1, asks: 2}, false, false},
		"full":              {refusing{why: replicate.Full, posts: 2}, false, false},
		"unproven":          {refusing{why: replicate.Unproven, posts: 2}, false, false},
		"offline":           {refusing{why: replicate.Offline, posts: 1}, true, false},
		"forked":            {refusing{why: replicate.Forked, posts: 1}, false, false},
		"too large at once": {refusing{why: replicate.TooLarge, posts: 1}, false, true},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, 400, 1)
			d := s.desks[0]
			h := d.note("to give")
			c.x.Model = benchtest.NewModel("A")
			d.meet(c.x.Model)
			d.gives(&c.x)
			if c.x.posts > 0 && name != "unclear, asked" {
				t.Fatalf("it was refused %d times less than wanted", c.x.posts+1)
			}
			if c.meeting {
				if st := d.b.Standing(); st.Level {
					t.Errorf("level though the connection is gone: %+v", st)
				}
				d.meet(c.x.Model)
				d.gives(&c.x)
			}
			st := d.b.Standing()
			if c.stuck {
				if words := st.Stuck[h.Feed]; st.Level || !strings.Contains(words, "too long") || len(st.Owing) == 0 {
					t.Errorf("stands %+v, want it stuck", st)
				}
				return
			}
			if !st.Level || len(st.Owing) > 0 || len(st.Stuck) > 0 || !d.b.Resting() {
				t.Errorf("stands %+v", st)
			}
			fills(t, s, c.x.Model, h)
		})
	}
}

// What could not be done, because the log failed at any of its calls, is still to be
// done.
func TestWhatCouldNotBeDoneIsStillToBeDone_P4(t *testing.T) {
	for n := 0; ; n++ {
		s := newShop(t, 407, 1)
		d := s.desks[0]
		log := &once{Log: replicate.OnLog(d.log), left: -1}
		d.b = must(replicate.NewBench(log, s.id, d.key, d.random))
		x := benchtest.NewModel("A")
		d.meet(x)
		d.now += 30_000
		d.ok(d.b.Tick(d.now))
		log.left = n
		for d.b.Busy() {
			if err := d.b.Do(x, func() int64 { return d.now }); err != nil {
				wantBalk(t, "do", err)
				if !d.b.Busy() {
					t.Errorf("call %d failed, and nothing is left to do", n)
				}
			}
		}
		if d.gives(x); !d.b.Standing().Level {
			t.Errorf("call %d failed, and it stands %+v", n, d.b.Standing())
		}
		if !log.hit {
			if n < 3 {
				t.Errorf("only %d calls", n)
			}
			return
		}
	}
}

// A mark says that an exchange has more than is here, or is no mark: looking finds it.
func TestAMarkThatClaimsTooMuchIsFound_P9(t *testing.T) {
	s := newShop(t, 401, 1)
	d := s.desks[0]
	x := benchtest.NewModel("A")
	h := d.note("given")
	settle(x, d)
	d.ok(d.b.Check())
	key := append(append([]byte("tA\x00"), h.Feed.Bench[:]...), h.Feed.Incarnation[:]...)
	for words, value := range map[string][]byte{
		"is given as far as 99": append(binary.BigEndian.AppendUint64(make([]byte, 8), 99), h.Hash[:]...),
		"mark \"t\"":            []byte("short"),
	} {
		d.ok(replicate.OnLog(d.log).Receive(nil, nil, []replicate.Mark{{Key: key, Value: value}}))
		if err := d.b.Check(); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("looking gives %v, want %q", err, words)
		}
	}
}

// Messages that are nothing of the shop's pass, and count as read.
func TestWhatIsNothingOfTheShopsPasses_P9(t *testing.T) {
	s := newShop(t, 402, 1)
	d := s.desks[0]
	x := benchtest.NewModel("A")
	settle(x, d)
	d.ok(d.b.Parted(d.now))
	state := x.State()
	state.Last += 2
	at, err := d.b.Meet(state, d.now)
	d.ok(err)
	for n := at.Message + 1; n <= state.Last; n++ {
		if d.b.Standing().Level {
			t.Fatalf("level before message %d has passed", n)
		}
		came, err := d.b.Message(replicate.Message{Epoch: x.Epoch, Number: n}, d.now)
		if d.ok(err); came.Took > 0 || came.Aside != 0 {
			t.Errorf("message %d came as %+v", n, came)
		}
	}
	if st := d.b.Standing(); !st.Level {
		t.Errorf("once all have passed it stands %+v", st)
	}
	if d.b.Ahead(nil) != nil {
		t.Error("an opening of nothing was begun")
	}
}

// A message shows that the exchange is another than was met: what is remembered of the
// one that was met stays, and of the other nothing of before.
func TestAMessageOfAnotherExchangeBeginsThat_P9(t *testing.T) {
	s := newShop(t, 403, 2)
	a, b := s.desks[0], s.desks[1]
	first, other := benchtest.NewModel("A"), benchtest.NewModel("B")
	h := a.note("one")
	settle(first, a)
	settle(other, a)
	settle(first, b)
	before := must(b.b.Cursor("A"))
	m, ok := other.From(1)
	if !ok || before.Message == 0 {
		t.Fatal("nothing was given")
	}
	_, err := b.b.Message(m, b.now)
	b.ok(err)
	if now := must(b.b.Cursor("B")); now.Message != m.Number || must(b.b.Cursor("A")) != before {
		t.Errorf("the other was read up to %+v, the first to %+v and before to %+v", now, must(b.b.Cursor("A")), before)
	}
	b.ok(b.b.Check())
	settle(other, b)
	b.wants(h)
}

// dry is a source of randomness that gives nothing while it is on.
type dry struct {
	io.Reader
	on bool
}

func (d *dry) Read(p []byte) (int, error) {
	if d.on {
		return 0, errBalk
	}
	return d.Reader.Read(p)
}

// Without randomness a bench says so, and once there is some it goes on to the same.
func TestABenchWithoutRandomnessGoesOnLater_P4(t *testing.T) {
	s := newShop(t, 404, 2)
	a, b := s.desks[0], s.desks[1]
	x := benchtest.NewModel("A")
	h := a.note("one")
	settle(x, a)
	random := &dry{b.random, true}
	_, err := replicate.NewBench(replicate.OnLog(b.log), s.id, b.key, random)
	wantBalk(t, "a new bench", err)
	random.on = false
	b.b = must(replicate.NewBench(replicate.OnLog(b.log), s.id, b.key, random))
	fails := func(what string, fn func() error) {
		t.Helper()
		random.on = true
		wantBalk(t, what, fn())
		random.on = false
	}
	fails("meet", func() error { _, err := b.b.Meet(x.State(), b.now); return err })
	fails("tick", func() error { return b.b.Tick(b.now) })
	b.meet(x)
	m, _ := x.From(1)
	fails("message", func() error { _, err := b.b.Message(m, b.now); return err })
	own := b.quietly(events.Note{Text: "own"})
	fails("grew", func() error { return b.b.Grew(b.now) })
	b.ok(b.b.Grew(b.now))
	fails("parted", func() error { return b.b.Parted(b.now) })
	settle(x, b)
	b.wants(h)
	fills(t, s, x, own)
	if st := b.b.Standing(); !st.Level {
		t.Errorf("stands %+v", st)
	}
}

func wantBalk(t *testing.T, what string, err error) {
	t.Helper()
	if !errors.Is(err, errBalk) {
		t.Errorf("%s: %v", what, err)
	}
}

// What is held is handed on once enough is, and once it was held for long.
func TestWhatIsHeldIsHandedOnInTime_P1(t *testing.T) {
	s := newShop(t, 405, 2)
	a, b := s.desks[0], s.desks[1]
	f := a.wrote()
	b.takes(a.seal(f, 0), 0) // who belongs to the shop: what changes that is not held
	n := b.has(f).Seq
	a.note("one")
	a.note("two")
	evs := a.run(f)
	half, rest := s.sealed(a.key, evs[n:n+1]), s.sealed(a.key, evs[n+1:])
	take := func(segment []byte, now int64) {
		t.Helper()
		b.ok(b.b.Hold(true, now))
		_, err := b.b.Bundle(segment, now)
		b.ok(err)
	}
	take(half, 1)
	if !b.b.Holds() || b.has(f).Seq != n {
		t.Fatalf("holds %v, and the log has %d", b.b.Holds(), b.has(f).Seq)
	}
	take(rest, 1_001) // a second later
	if b.b.Holds() {
		t.Error("still held after a second")
	}
	b.wants(evs[len(evs)-1].Head())
}

// What was held could not be handed on: from then on every call says so, and a bench
// that begins anew takes it.
func TestAfterWhatWasHeldIsLostTheBenchIsOfNoUse_P2(t *testing.T) {
	for name, c := range map[string]func(b *desk, log *once, theirs []events.Event){
		"the log failed": func(_ *desk, log *once, _ []events.Event) { log.left = 0 },
		"the log has another event there": func(b *desk, _ *once, theirs []events.Event) {
			end := must(b.shop.desks[0].key.SignHead(b.shop.id, theirs[len(theirs)-1].Head()))
			b.ok(replicate.OnLog(b.log).Receive(theirs, []events.SignedHead{end}, nil))
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, 406, 2)
			a, b := s.desks[0], s.desks[1]
			f := a.wrote()
			b.takes(a.seal(f, 0), 0)
			n := b.has(f).Seq
			a.note("one")
			evs := a.run(f)
			whole := s.sealed(a.key, evs[n:])
			theirs := []events.Event{forge(evs[n-1].Head(), "theirs")}
			log := &once{Log: replicate.OnLog(b.log), left: -1}
			b.b = must(replicate.NewBench(log, s.id, b.key, b.random))
			b.ok(b.b.Hold(true, 1))
			_, err := b.b.Bundle(whole, 1)
			b.ok(err)
			c(b, log, theirs)
			lost := b.b.Hold(false, 2)
			var refused *events.Refused
			if lost == nil || !strings.Contains(lost.Error(), "hand on what was held") || errors.As(lost, &refused) {
				t.Fatalf("it says %v", lost)
			}
			h := must(a.key.SignHead(s.id, events.Head{Feed: f, Seq: 77, Hash: events.Hash{7}}))
			_, cursor := b.b.Cursor("A")
			_, meet := b.b.Meet(benchtest.NewModel("A").State(), 3)
			_, bundle := b.b.Bundle(whole, 3)
			_, _, seal := b.b.Seal(eventlog.First(f), 0)
			_, at := b.b.SurveyedAt("A")
			for what, err := range map[string]error{
				"hold": b.b.Hold(true, 3), "cursor": cursor, "meet": meet, "bundle": bundle, "seal": seal, "surveyed at": at,
				"hear": b.b.Inbox.Hear([]events.SignedHead{h}), "check": b.b.Check(),
			} {
				if err == nil || !strings.Contains(err.Error(), "hand on what was held") {
					t.Errorf("%s: %v", what, err)
				}
			}
			b.b = must(replicate.NewBench(replicate.OnLog(b.log), s.id, b.key, b.random))
			b.takes(whole, 0)
			if got := len(endsOf(b)); name == "the log failed" && b.has(f) != evs[len(evs)-1].Head() || name != "the log failed" && got != 2 {
				t.Errorf("%d ends, the feed goes to %d", got, b.has(f).Seq)
			}
			b.ok(b.b.Check())
		})
	}
}
