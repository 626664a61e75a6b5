package replicate

import (
	"encoding/binary"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"

	"pgregory.net/rapid"
)

// The core alone, beside a plain model of a log and of one exchange. Events have
// no content here: an event's hash is made of its feed and number.

func plainFeed(bench, run byte) events.FeedID {
	return events.FeedID{Bench: events.BenchID{bench}, Incarnation: events.Incarnation{run}}
}

func plainHead(b eventlog.Branch, seq uint64) events.Head {
	h := events.Head{Feed: b.Feed, Seq: seq}
	if seq > 0 {
		h.Hash[0], h.Hash[1], h.Hash[2] = b.Feed.Bench[0], b.Feed.Incarnation[0], b.Root[0]
		binary.BigEndian.PutUint64(h.Hash[8:], seq)
	}
	return h
}

// forkedAt is the event that every other branch of a feed leaves the first behind.
const forkedAt = 2

// plainReach is how far a branch goes.
func plainReach(b eventlog.Branch, seq uint64) eventlog.Reach {
	r := eventlog.Reach{Branch: b, Head: plainHead(b, seq)}
	if b.Root != (events.Hash{}) {
		r.Base = plainHead(eventlog.First(b.Feed), forkedAt)
	}
	return r
}

// sentMessage is a message of the model's exchange; one without a last is litter.
type sentMessage struct {
	number uint64
	eventlog.Branch
	first, last uint64
}

// coreModel is a bench with a log, as far as a core can tell, and an exchange.
type coreModel struct {
	core, twin *Core // the twin gets the same and must do the same
	log        map[eventlog.Branch]uint64
	unclear    map[events.FeedID]bool // of which nobody knows whether a message was stored
	sent       []sentMessage
	last       uint64
	epoch      int
	met        bool
	read       uint64 // the last message that passed
	metAt      uint64 // the last there was when it was met, of those not lost
	marks      map[eventlog.Branch]Spot
	marksOf    int // the epoch of the marks
	todo       []Effect
	wake, now  int64
}

func newCoreModel() *coreModel {
	own := events.BenchID{1}
	return &coreModel{core: NewCore(own), twin: NewCore(own), log: map[eventlog.Branch]uint64{}, unclear: map[events.FeedID]bool{}, marks: map[eventlog.Branch]Spot{}}
}

func (m *coreModel) step(t *rapid.T, in Input) {
	random := rapid.Uint64().Draw(t, "random")
	switch in := in.(type) {
	case Met:
		clear(m.unclear)
	case Passed:
		if in.Message <= m.core.read {
			clear(m.unclear) // all that was known is forgotten
		}
	case Found:
		delete(m.unclear, in.Feed)
	case Failed:
		m.unclear[in.Feed] = m.unclear[in.Feed] || in.Why == Unclear
	}
	effects := m.core.Step(in, m.now, random)
	m.twin.hear(in, m.now, random)
	planned(t, m.twin, m.now, effects)
	if again := m.twin.plan(m.now); !reflect.DeepEqual(effects, again) {
		t.Fatalf("%#v gives %v and then %v", in, effects, again)
	}
	for _, e := range effects {
		if w, ok := e.(Wake); ok {
			m.wake = w.At
			continue
		}
		if p, ok := e.(Post); ok && m.unclear[p.Feed] {
			t.Fatalf("posts feed %s, and does not know what became of the message before", p.Feed.Short())
		}
		m.todo = append(m.todo, e)
	}
	m.oneOfEach(t)
}

// oneOfEach checks that of each feed one thing is on its way at most.
func (m *coreModel) oneOfEach(t *rapid.T) {
	seen := map[events.FeedID]bool{}
	for _, e := range m.todo {
		f := feedOf(e)
		if seen[f] {
			t.Fatalf("two things of feed %s are on their way: %v", f.Short(), m.todo)
		}
		seen[f] = true
	}
	if len(seen) > mostInFlight {
		t.Fatalf("%d feeds are on their way, at most %d", len(seen), mostInFlight)
	}
}

func feedOf(e Effect) events.FeedID {
	switch e := e.(type) {
	case Post:
		return e.Feed
	case Ask:
		return e.Feed
	}
	panic("another effect")
}

func (m *coreModel) lastOf(f events.FeedID) (last sentMessage) {
	for _, s := range m.sent {
		if s.Feed == f {
			last = s
		}
	}
	return last
}

// covered is how far a branch's messages up to a number lead without a hole.
func (m *coreModel) covered(b eventlog.Branch, upTo uint64) (at uint64) {
	at = plainReach(b, 0).Base.Seq
	for moved := true; moved; {
		moved = false
		for _, s := range m.sent {
			if s.Branch == b && s.number <= upTo && s.first <= at+1 && s.last > at {
				at, moved = s.last, true
			}
		}
	}
	return at
}

func (m *coreModel) store(b eventlog.Branch, first, last uint64) uint64 {
	m.last++
	m.sent = append(m.sent, sentMessage{m.last, b, first, last})
	return m.last
}

// holds is a head as a bench tells it to its core: nothing for what is not in
// the log.
func (m *coreModel) holds(s sentMessage) []eventlog.Stretch {
	if s.last == 0 || s.last > m.log[s.Branch] {
		return nil
	}
	return []eventlog.Stretch{{Reach: plainReach(s.Branch, s.last), From: s.first}}
}

func (m *coreModel) grow(t *rapid.T, b eventlog.Branch, to uint64) {
	m.log[b] = to
	m.step(t, Grew{[]eventlog.Reach{plainReach(b, to)}})
}

func (m *coreModel) meet(t *rapid.T) {
	if m.marksOf != m.epoch || m.read > m.last {
		m.forget()
	}
	m.met, m.metAt, m.todo = true, 0, nil
	if n := len(m.sent); n > 0 {
		m.metAt = m.sent[n-1].number
	}
	spots := map[eventlog.Branch]Spot{}
	for f, s := range m.marks {
		spots[f] = s
	}
	m.step(t, Met{Epoch: fmt.Sprint(m.epoch), Read: m.read, Spots: spots})
	m.level(t)
}

// forget is what a bench does where an exchange is not what was read.
func (m *coreModel) forget() {
	m.read, m.marks, m.marksOf = 0, map[eventlog.Branch]Spot{}, m.epoch
}

func (m *coreModel) part(t *rapid.T) {
	if m.met {
		m.met, m.todo = false, nil
		m.step(t, Parted{})
	}
}

func (m *coreModel) level(t *rapid.T) {
	if m.read >= m.metAt && !m.core.level {
		m.step(t, Level{})
	}
}

// pass reads the next message: what leads on is taken into the log.
func (m *coreModel) pass(t *rapid.T) bool {
	i := slices.IndexFunc(m.sent, func(s sentMessage) bool { return s.number > m.read })
	if !m.met || i < 0 {
		return false
	}
	s := m.sent[i]
	at := max(m.log[s.Branch], plainReach(s.Branch, 0).Base.Seq)
	grew := s.first > 0 && s.first <= at+1 && s.last > at
	if grew {
		m.log[s.Branch] = s.last
	}
	in := Passed{Epoch: fmt.Sprint(m.epoch), Message: s.number, Feed: s.Feed}
	in.Along = m.holds(s)
	for _, spot := range m.core.spotsAfter(in) {
		m.marks[spot.Branch] = spot.Spot
	}
	m.read = s.number
	m.step(t, in)
	if grew {
		m.step(t, Grew{[]eventlog.Reach{plainReach(s.Branch, s.last)}})
	}
	m.level(t)
	return true
}

// do does the next thing that the core wants done, with a failure or none.
func (m *coreModel) do(t *rapid.T, why Failure) bool {
	if !m.met || len(m.todo) == 0 {
		return false
	}
	e := m.todo[0]
	m.todo = m.todo[1:]
	switch e := e.(type) {
	case Ask:
		m.ask(t, e.Branch, why)
	case Post:
		m.post(t, e, why)
	}
	return true
}

func (m *coreModel) ask(t *rapid.T, b eventlog.Branch, why Failure) {
	if why == Unclear || why == Offline {
		m.step(t, Failed{b, why})
		return
	}
	s := m.lastOf(b.Feed)
	m.step(t, Found{Feed: b.Feed, Message: s.number, Along: m.holds(s)})
}

func (m *coreModel) post(t *rapid.T, p Post, why Failure) {
	prev := plainHead(p.Branch, p.After)
	if base := plainReach(p.Branch, 0).Base; p.After <= base.Seq {
		prev = base
	}
	if p.Prev != prev.Hash || p.After != prev.Seq || p.After >= m.log[p.Branch] {
		t.Fatalf("posts feed %s behind %d, and the log has %d", p.Feed.Short(), p.After, m.log[p.Branch])
	}
	behind := m.lastOf(p.Feed).number != p.Expect
	if !behind && m.covered(p.Branch, p.Expect) < p.After {
		t.Fatalf("posts feed %s behind %d as the message after %d, and those lead to %d", p.Feed.Short(), p.After, p.Expect, m.covered(p.Branch, p.Expect))
	}
	stored := !behind && (why == 0 || why == Unclear && rapid.Bool().Draw(t, "stored"))
	end := min(m.log[p.Branch], p.After+3) // runs are short, so that a feed takes several
	number := uint64(0)
	if stored {
		number = m.store(p.Branch, p.After+1, end)
	}
	switch {
	case why == Unclear || why == Busy || why == Full || why == Unproven || why == Offline:
		m.step(t, Failed{p.Branch, why})
	case behind:
		m.step(t, Failed{p.Branch, Behind})
	default:
		m.step(t, Posted{p.Branch, number, p.After + 1, plainHead(p.Branch, end)})
	}
}

// rest lets all go well until nothing more happens.
func (m *coreModel) rest(t *rapid.T) {
	m.part(t)
	m.meet(t)
	for range 2000 {
		if m.pass(t) || m.do(t, 0) {
			continue
		}
		if m.wake == 0 {
			break
		}
		m.now, m.wake = max(m.now, m.wake), 0
		m.step(t, Tick{})
	}
	for b, n := range m.log {
		if got := m.covered(b, m.last); got < n {
			t.Fatalf("at rest the exchange leads to %d of %d of feed %s: %+v", got, n, b.Feed.Short(), m.core)
		}
	}
	if !m.core.IsLevel() {
		t.Fatalf("at rest and not level: %+v", m.core)
	}
}

// kept is a copy of the exchange.
type kept struct {
	sent  []sentMessage
	last  uint64
	epoch int
}

// aBranch is one of a few feeds, two of them the bench's own, or another branch of
// one of them.
var aBranch = rapid.SampledFrom([]eventlog.Branch{
	eventlog.First(plainFeed(1, 1)), eventlog.First(plainFeed(1, 2)), eventlog.First(plainFeed(2, 1)), eventlog.First(plainFeed(3, 1)),
	{Feed: plainFeed(1, 1), Root: events.Hash{7}}, {Feed: plainFeed(2, 1), Root: events.Hash{7}}, {Feed: plainFeed(2, 1), Root: events.Hash{9}},
})

// bench are the things that the bench does.
func (m *coreModel) bench() map[string]func(*rapid.T) {
	return map[string]func(*rapid.T){
		"grow": func(t *rapid.T) {
			b := aBranch.Draw(t, "branch")
			m.grow(t, b, max(m.log[b], plainReach(b, 0).Base.Seq)+uint64(rapid.IntRange(1, 5).Draw(t, "n")))
		},
		"meet": func(t *rapid.T) { m.meet(t) },
		"part": func(t *rapid.T) { m.part(t) },
		"pass": func(t *rapid.T) { m.pass(t) },
		"do": func(t *rapid.T) {
			m.do(t, rapid.SampledFrom([]Failure{0, 0, 0, Unclear, Busy, Full, Unproven, Offline}).Draw(t, "why"))
		},
		"tick": func(t *rapid.T) {
			m.now += int64(rapid.IntRange(0, 8000).Draw(t, "ms"))
			m.step(t, Tick{})
		},
	}
}

// exchange are the things that happen to the exchange.
func (m *coreModel) exchange() map[string]func(*rapid.T) {
	var copies []kept
	return map[string]func(*rapid.T){
		"another bench sends": func(t *rapid.T) {
			b := aBranch.Draw(t, "branch")
			at := m.covered(b, m.last)
			m.store(b, at+1, at+uint64(rapid.IntRange(1, 4).Draw(t, "n")))
		},
		"litter": func(t *rapid.T) { m.store(aBranch.Draw(t, "branch"), 0, 0) },
		"a message is lost": func(t *rapid.T) {
			if len(m.sent) == 0 {
				return
			}
			i := rapid.IntRange(0, len(m.sent)-1).Draw(t, "which")
			m.part(t)
			m.sent = slices.Delete(slices.Clone(m.sent), i, i+1)
			m.forget()
		},
		"made anew": func(t *rapid.T) {
			m.part(t)
			m.sent, m.last = nil, 0
			m.epoch++
		},
		"copied": func(*rapid.T) { copies = append(copies, kept{slices.Clone(m.sent), m.last, m.epoch}) },
		"put back": func(t *rapid.T) {
			if len(copies) == 0 || copies[len(copies)-1].epoch != m.epoch {
				return
			}
			m.part(t)
			c := copies[len(copies)-1]
			lost := slices.ContainsFunc(m.sent, func(s sentMessage) bool { return s.number == m.read && s.number > c.last })
			m.sent, m.last = slices.Clone(c.sent), c.last
			if lost || m.read > m.last {
				m.forget() // the message at the cursor is another or none
			}
		},
	}
}

// A core beside the model: whatever happens, it never sends two messages of one
// feed at once nor one behind a hole, does the same for the same inputs, and
// comes to rest level once all goes well.
func TestACoreComesToRestLevelWhateverHappened_P8_P9_P16_F15_F16_F19_F20_F21(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := newCoreModel()
		actions := m.bench()
		maps.Copy(actions, m.exchange())
		t.Repeat(actions)
		m.rest(t)
	})
}
