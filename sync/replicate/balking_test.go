package replicate_test

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/benchtest"
	"oldhand/sync/replicate"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// reader is a bench that goes through a story on a log of which one call fails.
type reader struct {
	t     *testing.T
	d     *desk
	log   *eventlog.Log
	balks *once
	b     *replicate.Bench
	again bool // after an error the same bench goes on, and not a new one
	x     *benchtest.Model
	blind bool // it meets without a look at which messages are lacking
	next  uint64
	now   int64
}

// do does one thing. Where it fails, because of the log, it is done again.
func (r *reader) do(what string, fn func() error) {
	r.t.Helper()
	failed := r.balks.hit
	err := fn()
	if err == nil {
		return
	}
	if failed || !r.balks.hit || !errors.Is(err, errBalk) {
		r.t.Fatalf("%s: %v", what, err)
	}
	if !r.again {
		r.open()
		if r.x != nil {
			r.meet()
		}
	}
	if err := fn(); err != nil {
		r.t.Fatalf("%s, done again: %v", what, err)
	}
}

func (r *reader) open() {
	r.t.Helper()
	var b *replicate.Bench
	begin := func() (err error) {
		b, err = replicate.NewBench(r.balks, r.d.shop.id, r.d.key, r.d.random)
		return err
	}
	if err := begin(); errors.Is(err, errBalk) {
		r.d.ok(begin())
	} else {
		r.d.ok(err)
	}
	r.b = b
}

func (r *reader) takes(segments ...[]byte) {
	r.t.Helper()
	for i, b := range segments {
		r.do(fmt.Sprintf("segment %d", i), func() error { _, err := r.b.BundleAhead(b, r.b.Ahead(b), r.now); return err })
	}
}

func (r *reader) meet() {
	r.t.Helper()
	state := r.x.State()
	count, sum := r.x.Lacking()
	if !r.blind {
		r.do("survey", func() error { return r.b.Surveyed(r.x.Epoch, sum, time.Unix(int64(count), 0)) })
	}
	r.do("cursor", func() error {
		c, err := r.b.Cursor(r.x.Epoch)
		state.Lost = !r.x.Holds(c)
		return err
	})
	r.do("meet", func() error {
		c, err := r.b.Meet(state, r.now)
		r.next = c.Message + 1
		return err
	})
}

// settle meets the exchange and goes on until nothing more happens, with messages that
// are held and handed on together.
func (r *reader) settle(x *benchtest.Model, hold bool) {
	r.t.Helper()
	r.x = x
	r.meet()
	for range 12 {
		r.now += 3000
		r.do("tick", func() error { return r.b.Tick(r.now) })
		for more := true; more; {
			_, ok := r.x.From(r.next)
			if ok {
				r.do("hold", func() error { return r.b.Hold(hold, r.now) })
				r.do("message", func() error {
					m, ok := r.x.From(r.next)
					if !ok {
						return nil // it was read before the failure that is looked at
					}
					_, err := r.b.Message(m, r.now)
					if err == nil {
						r.next = m.Number + 1
					}
					return err
				})
			} else {
				r.b.Last(r.next - 1)
			}
			if more = ok || r.b.Busy(); r.b.Busy() {
				r.do("do", func() error { return r.b.Do(r.x, func() int64 { return r.now }) })
			}
		}
		r.do("hand on", func() error { return r.b.Hold(false, r.now) })
	}
	r.x = nil
}

// balkStories are what a bench goes through: what is there before, at a shop whose
// second desk is the reader's, and what then happens to it.
var balkStories = map[string]func(s *shop) func(r *reader){
	"a gap and its cure": func(s *shop) func(r *reader) {
		w := keeping{s, s.desks[0], s.desks[1], s.desks[0].note("one")}
		last, before := w.last(), w.before()
		return func(r *reader) { r.takes(last, before, last) }
	},
	"branches, backwards": func(s *shop) func(r *reader) {
		common, first, second, tail := branches(s, s.desks[0])
		return func(r *reader) { r.takes(tail, second, first, common, second) }
	},
	"branches, and heads heard of": func(s *shop) func(r *reader) {
		common, first, second, tail := branches(s, s.desks[0])
		f := s.desks[0].has(s.desks[0].wrote())
		heard := []events.SignedHead{must(s.desks[0].key.SignHead(s.id, f)), must(s.desks[0].key.SignHead(s.id, events.Head{Feed: f.Feed, Seq: 90, Hash: events.Hash{9}}))}
		return func(r *reader) {
			r.do("hear", func() error { return r.b.Inbox.Hear(heard) })
			r.takes(common, tail, first, second)
			r.do("look", func() error { _, err := replicate.Look(r.balks, s.id, r.d.key); return err })
		}
	},
	"its own feed, by another writer": func(s *shop) func(r *reader) {
		d := s.desks[1]
		evs := d.run(d.note("ours").Feed)
		at := evs[len(evs)-3].Head()
		theirs := []events.Event{forge(at, "theirs 1"), {}, {}}
		theirs[1] = forge(theirs[0].Head(), "theirs 2")
		theirs[2] = forge(theirs[1].Head(), "theirs 3")
		tail, whole := s.sealed(d.key, theirs[1:]), s.sealed(d.key, theirs)
		return func(r *reader) { r.takes(tail, whole) }
	},
	"somebody is admitted, and what waited for it": func(s *shop) func(r *reader) {
		a, late := s.desks[0], s.bench(9)
		late.say(s.facts...)
		h := late.note("hello")
		f := a.wrote()
		n := a.has(f).Seq
		a.say(must(s.owner.Admit(s.id, late.id, "late", 9)))
		first, admits, hello := s.sealed(a.key, a.run(f)[:n]), s.sealed(a.key, a.run(f)[n:]), s.sealed(late.key, late.run(h.Feed))
		return func(r *reader) { r.takes(hello, first, admits) }
	},
	"an owner's word in what waits": func(s *shop) func(r *reader) {
		a, late := s.desks[0], s.bench(9)
		late.say(s.facts...)
		h := late.note("hello")
		f := a.note("between").Feed
		n := a.has(f).Seq
		a.say(must(s.owner.Admit(s.id, late.id, "late", 9)))
		admits, hello := s.sealed(a.key, a.run(f)[n:]), s.sealed(late.key, late.run(h.Feed))
		return func(r *reader) {
			r.takes(hello, admits)
			r.do("unsaid", func() error {
				said, err := r.b.Inbox.Unsaid()
				if err == nil && len(said) != 1 {
					r.t.Errorf("unsaid are %v", said)
				}
				return err
			})
		}
	},
	"a bench is retired, and released": func(s *shop) func(r *reader) {
		owner, _, sold := s.desks[0], s.desks[1], s.desks[2]
		cut := sold.note("one")
		owner.takes(s.sealed(sold.key, sold.run(cut.Feed)), 0)
		sold.note("two")
		end := sold.note("three")
		owner.retire(sold, cut)
		f := owner.wrote()
		n := len(owner.run(f))
		owner.release(sold, end)
		words, release := s.sealed(owner.key, owner.run(f)[:n]), s.sealed(owner.key, owner.run(f)[n:])
		evs := sold.run(cut.Feed)
		two := forge(cut, "nothing was wrong")
		parts := [][]byte{s.sealed(sold.key, evs[:2]), s.sealed(sold.key, evs[2:cut.Seq]), s.sealed(sold.key, evs[cut.Seq:end.Seq-1]), s.sealed(sold.key, evs[end.Seq-1:]), s.sealed(sold.key, []events.Event{two})}
		return func(r *reader) {
			r.takes(words, parts[3], parts[0], parts[1], parts[2], parts[4])
			r.do("uncounted", func() error { _, err := r.b.Inbox.Uncounted(sold.id); return err })
			r.takes(release)
			r.do("uncounted", func() error { _, err := r.b.Inbox.Uncounted(sold.id); return err })
		}
	},
	"retired after its branches came": func(s *shop) func(r *reader) {
		common, first, second, tail := branches(s, s.desks[2])
		sold := s.desks[2]
		f := sold.wrote()
		return func(r *reader) {
			r.takes(common, first, second, tail)
			r.says(must(s.owner.Retire(s.id, sold.id, []events.Head{sold.has(f)}, "sold")))
			r.do("grew", func() error { return r.b.Grew(r.now) })
			r.do("uncounted", func() error { _, err := r.b.Inbox.Uncounted(sold.id); return err })
		}
	},
	"retired, with more of it in the log": func(s *shop) func(r *reader) {
		owner, sold := s.desks[0], s.desks[2]
		cut := sold.note("one")
		sold.note("two")
		whole := s.sealed(sold.key, sold.run(cut.Feed))
		retired := must(s.owner.Retire(s.id, sold.id, []events.Head{cut}, "sold"))
		return func(r *reader) {
			r.takes(s.sealed(owner.key, owner.run(owner.wrote())), whole)
			r.says(retired)
			r.do("grew", func() error { return r.b.Grew(r.now) })
			r.do("uncounted", func() error { _, err := r.b.Inbox.Uncounted(sold.id); return err })
		}
	},
	"what waits is cured by other means, before a look": curedStory(func(r *reader) error { return r.b.Grew(r.now) }),
	"what waits is cured by other means, before a start": curedStory(func(r *reader) error {
		b, err := replicate.NewBench(r.balks, r.d.shop.id, r.d.key, r.d.random)
		if err == nil {
			r.b = b
		}
		return err
	}),
	"somebody is admitted by other means, and what waited for it": func(s *shop) func(r *reader) {
		late := s.bench(9)
		late.say(s.facts...)
		h := late.note("hello")
		admits, hello := must(s.owner.Admit(s.id, late.id, "late", 9)), s.sealed(late.key, late.run(h.Feed))
		a := s.desks[0]
		evs := a.run(a.note("one").Feed) // a gap that is cured in the same look, before it
		n := len(evs) - 1
		last, end := s.sealed(a.key, evs[n:]), must(a.key.SignHead(s.id, evs[n-1].Head()))
		return func(r *reader) {
			r.takes(hello, last)
			r.d.ok(replicate.OnLog(r.log).Receive(evs[:n], []events.SignedHead{end}, nil))
			r.says(admits)
			r.do("grew", func() error { return r.b.Grew(r.now) })
			if got, _ := r.log.Reach(eventlog.First(h.Feed)); got.Head != h {
				r.t.Errorf("what waited is not here: %v", got)
			}
		}
	},
	"an exchange that was put back, and no survey": func(s *shop) func(r *reader) {
		a, c := s.desks[0], s.desks[2]
		x := benchtest.NewModel("A")
		a.note("of a")
		settle(x, a, c)
		x.Copy()
		c.note("of c")
		settle(x, a, c)
		x.Copy()
		return func(r *reader) {
			r.blind = true
			x.PutBack(1)
			r.settle(x, false)
			x.PutBack(0)
			r.settle(x, false)
			if !r.b.Standing().Level {
				r.t.Errorf("stands %+v", r.b.Standing())
			}
		}
	},
	"an exchange":                     exchangeStory(false),
	"an exchange, with messages held": exchangeStory(true),
}

// curedStory is of events that wait for those before them, which then come past the
// bench, and of what it does next.
func curedStory(next func(r *reader) error) func(s *shop) func(r *reader) {
	return func(s *shop) func(r *reader) {
		a := s.desks[0]
		evs := a.run(a.note("one").Feed)
		n := len(evs) - 1
		last, end := s.sealed(a.key, evs[n:]), must(a.key.SignHead(s.id, evs[n-1].Head()))
		return func(r *reader) {
			r.takes(last)
			r.d.ok(replicate.OnLog(r.log).Receive(evs[:n], []events.SignedHead{end}, nil))
			r.do("next", func() error { return next(r) })
			if got, _ := r.log.Reach(eventlog.First(evs[0].Feed)); got.Head != evs[n].Head() {
				r.t.Errorf("what waited is not here: %v", got)
			}
		}
	}
}

// exchangeStory is of an exchange with messages of others, of which one is lost and one
// can't be read later, and of a key that comes with them; what the reader wrote is given.
func exchangeStory(hold bool) func(s *shop) func(r *reader) {
	return func(s *shop) func(r *reader) {
		a, b, c := s.desks[0], s.desks[1], s.desks[2]
		x := benchtest.NewModel("A")
		a.note("of a")
		settle(x, a, c)
		a.rekey(2)
		c.note("of c")
		settle(x, a, c)
		a.note("later")
		b.note("of b")
		settle(x, a, c)
		x.Copy()
		return func(r *reader) {
			x.PutBack(0)
			r.settle(x, hold)
			x.Spoil(1)
			x.Lose(0)
			r.settle(x, hold)
			if count, _ := x.Lacking(); count != 2 {
				r.t.Errorf("%d messages are lacking", count)
			}
			if !r.b.Standing().Level || !r.b.Resting() {
				r.t.Errorf("stands %+v", r.b.Standing())
			}
		}
	}
}

// wrote is the feed that a desk wrote.
func (d *desk) wrote() events.FeedID {
	i := slices.IndexFunc(d.log.Heads(), func(h events.Head) bool { return h.Feed.Bench == d.id })
	return d.log.Heads()[i].Feed
}

// says writes into the reader's log by other means.
func (r *reader) says(body events.Body) {
	r.t.Helper()
	r.d.ok(r.log.Append(r.t.Context(), func(tx *eventlog.Tx) error { _, err := tx.Add(events.Draft{Body: body}); return err }))
}

// state is all that a bench came to, as text. Of its own feed only how long it is.
func (r *reader) state() string {
	r.t.Helper()
	var lines []string
	for _, b := range r.log.Branches() {
		if b.Feed.Bench == r.d.id {
			b.Head.Hash, b.Head.Feed.Incarnation = events.Hash{}, events.Incarnation{}
		}
		lines = append(lines, fmt.Sprintf("has %s up to %d %s", b.Head.Feed.Short(), b.Head.Seq, b.Head.Hash.Short()))
	}
	for b, n := range r.log.Cuts() {
		lines = append(lines, fmt.Sprintf("cut %v at %d", b, n))
	}
	for _, a := range must(r.b.Inbox.Aside()) {
		lines = append(lines, fmt.Sprintf("aside %x: %s", a.Digest, a.Why))
	}
	for _, h := range r.b.Inbox.Missing() {
		lines = append(lines, fmt.Sprintf("missing %s at %d %s", h.Feed.Short(), h.Seq, h.Hash.Short()))
	}
	for _, b := range r.b.Inbox.Roster().Benches() {
		lines = append(lines, fmt.Sprintf("bench %s, retired %v", b.ID, b.Retired))
	}
	r.d.ok(r.b.Check())
	slices.Sort(lines)
	return strings.Join(lines, "\n")
}

// told goes through a story on a copy of the reader's disk with a log of which the n-th
// call fails, and gives what it came to; came is whether that call was made.
func told(t *testing.T, d *desk, story func(*reader), n int, again bool) (end string, came bool) {
	t.Helper()
	disk := d.disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: 100, RNG: rand.New(rand.NewPCG(1, 1))})
	log := must(eventlog.Open(eventlog.Options{Dir: "log", FS: disk, Shop: d.shop.id, Key: d.key, Random: eventstest.Seeded(77),
		Now: func() time.Time { return eventstest.Morning }}))
	defer log.Close()
	r := &reader{t: t, d: d, log: log, balks: &once{Log: replicate.OnLog(log), left: n}, again: again}
	r.open()
	story(r)
	r.balks.left, came = -1, r.balks.hit
	end = r.state()
	r.open()
	if reopened := r.state(); reopened != end {
		t.Errorf("and opened again:\n%s\nbut before:\n%s", reopened, end)
	}
	return end, came
}

// One call of the log fails, whichever it is, while a bench takes and gives: it says so
// and comes to the same when that is done again, by itself or by a bench that begins
// anew on the log.
func TestWhicheverCallOfTheLogFailsABenchComesToTheSame_P2_P4_P9(t *testing.T) {
	seed := uint64(300)
	for _, name := range slices.Sorted(maps.Keys(balkStories)) {
		begin := balkStories[name]
		seed++
		for _, again := range []bool{false, true} {
			if again && strings.Contains(name, "held") {
				continue // what was held is lost with the bench, which is of no use then
			}
			t.Run(fmt.Sprintf("%s, by the same bench %v", name, again), func(t *testing.T) {
				s := newShop(t, seed, 3)
				story := begin(s)
				want, _ := told(t, s.desks[1], story, -1, again)
				n, step := 0, 1
				if testing.Short() { // between them the two go through all calls, or all of the shorter stories
					step = 2
					if strings.Contains(name, "exchange") {
						step = 12
					}
				}
				if again {
					n = step / 2
				}
				for came := true; came && !t.Failed(); n += step {
					var got string
					got, came = told(t, s.desks[1], story, n, again)
					if got != want {
						t.Errorf("call %d fails, and it comes to\n%s\nwant\n%s", n, got, want)
					}
				}
				t.Logf("%d calls", n)
			})
		}
	}
}
