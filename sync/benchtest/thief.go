package benchtest

import (
	"io"
	"slices"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/hlc"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

// thief has what was on a laptop when it was stolen: its bench's key, its log,
// and the shop's key of the time. He also has keys of his own, and can send to
// every exchange and hand out sticks (F25).
type thief struct {
	key    events.BenchKey
	id     events.BenchID
	feeds  [][]events.Event // of the laptop's own
	epoch  uint32
	secret segment.Key
	own    events.BenchKey
	ownID  events.BenchID
	random io.Reader
}

// steal takes a laptop, or lets who took one do something.
func (w *World) steal() error {
	if w.thief == nil {
		return w.take(w.anyLaptop())
	}
	payload, on, err := w.forge()
	if payload == nil || err != nil {
		return err
	}
	if len(w.Exchanges) > 0 && w.rng.IntN(3) > 0 {
		x := w.anyExchange()
		if len(x.Messages) > 0 && w.rng.IntN(3) == 0 {
			on = x.Messages[w.rng.IntN(len(x.Messages))].Feed // under another's subject
		}
		last, _ := x.Last(on)
		w.tell("the thief sends to exchange %s on %s", x.Epoch, on.Short())
		x.Publish(on, last.Number, payload)
		return nil
	}
	l := w.anyLaptop()
	came, err := l.Bench.Bundle(payload, l.now())
	w.tell("the thief has %s read a stick: took %d, aside %d", l.Name, came.Took, came.Aside)
	if err != nil {
		return err
	}
	return w.inspect(l)
}

// take copies what is on a laptop; the laptop is found again and goes on.
func (w *World) take(l *Laptop) error {
	key, ok := l.Bench.Inbox.Ring().Sealing()
	if !ok || l.ID == w.Laptops[0].ID {
		return nil
	}
	w.tell("a thief copies %s", l.Name)
	w.book.fork(l.ID)
	t := &thief{key: l.Key, id: l.ID, epoch: key.Epoch, secret: segment.Key(key.Secret), random: seeded(w.seed, 300)}
	for _, h := range l.Log.Heads() {
		if h.Feed.Bench != l.ID {
			continue
		}
		var evs []events.Event
		if err := l.each(eventlog.First(h.Feed), 0, func(e events.Event) { evs = append(evs, e) }); err != nil {
			return err
		}
		t.feeds = append(t.feeds, evs)
	}
	var err error
	t.own, t.ownID, err = w.newKey(301)
	w.thief = t
	return err
}

// forge makes one of the things that a thief can seal, and the subject that it
// seems to belong on.
func (w *World) forge() ([]byte, events.FeedID, error) {
	t := w.thief
	switch w.rng.IntN(5) {
	case 0:
		w.tell("the thief writes under a name of his own")
		return t.fresh(w, t.own, t.ownID, 0)
	case 1:
		w.tell("the thief writes a feed of the laptop's that begins far on")
		return t.fresh(w, t.key, t.id, 1<<40)
	case 2:
		w.tell("the thief begins a feed of the laptop's")
		return t.fresh(w, t.key, t.id, 0)
	case 3:
		w.tell("the thief seals what is no segment")
		return t.garbage(w)
	}
	w.tell("the thief signs another branch")
	return t.branch(w)
}

// notes are events of the thief's, with ids of another day.
func (t *thief) notes(w *World, head events.Head, n int) ([]events.Event, error) {
	body, err := events.EncodeBody(events.Note{Text: "nothing was wrong with it"})
	if err != nil {
		return nil, err
	}
	evs, err := chain(head, w.shop.id, morning.AddDate(w.rng.IntN(40)-20, 0, 0), t.random, n, func(int) (events.Envelope, events.RawBody) {
		return events.Envelope{Kind: events.KindNote, About: unit}, body
	})
	for _, e := range evs {
		if err := w.book.write(e, false); err != nil {
			return nil, err
		}
	}
	return evs, err
}

// send seals events as the key's own.
func (t *thief) send(w *World, key events.BenchKey, evs []events.Event) ([]byte, events.FeedID, error) {
	end, err := key.SignHead(w.shop.id, evs[len(evs)-1].Head())
	if err != nil {
		return nil, end.Feed, err
	}
	b, err := segment.Seal(w.shop.id, t.epoch, t.secret, evs, end, t.random)
	return b, end.Feed, err
}

func (t *thief) fresh(w *World, key events.BenchKey, id events.BenchID, after uint64) ([]byte, events.FeedID, error) {
	head := events.Head{Feed: events.FeedID{Bench: id}, Seq: after}
	if _, err := io.ReadFull(t.random, head.Feed.Incarnation[:]); err != nil {
		return nil, head.Feed, err
	}
	if after > 0 {
		head.Hash[0] = 1
	}
	evs, err := t.notes(w, head, 1+w.rng.IntN(5))
	if err != nil {
		return nil, head.Feed, err
	}
	return t.send(w, key, evs)
}

// branch goes on otherwise from some event of the laptop's feeds, alone or with
// what was before it.
func (t *thief) branch(w *World) ([]byte, events.FeedID, error) {
	if len(t.feeds) == 0 {
		return nil, events.FeedID{}, nil
	}
	evs := t.feeds[w.rng.IntN(len(t.feeds))]
	evs = slices.Clone(evs[:1+w.rng.IntN(min(len(evs), 1000))])
	f := evs[0].Feed
	more, err := t.notes(w, evs[len(evs)-1].Head(), 1+w.rng.IntN(6))
	if err != nil {
		return nil, f, err
	}
	if w.rng.IntN(2) == 0 {
		return t.send(w, t.key, more)
	}
	return t.send(w, t.key, append(evs, more...))
}

// clearSize is how much of a segment is in clear before its seal.
const clearSize = 92

// garbage seals bytes behind the clear part of a segment as it should be.
func (t *thief) garbage(w *World) ([]byte, events.FeedID, error) {
	genuine, f, err := t.fresh(w, t.key, t.id, 0)
	if err != nil {
		return nil, f, err
	}
	junk := make([]byte, 200+w.rng.IntN(2000))
	if _, err := io.ReadFull(t.random, junk); err != nil {
		return nil, f, err
	}
	b, err := seal.Seal(t.secret, genuine[:clearSize], w.shop.id[:], junk, t.random)
	return b, f, err
}

// chain makes n events behind a head, the first of a feed among them.
func chain(head events.Head, shop events.ShopID, at time.Time, random io.Reader, n int, next func(int) (events.Envelope, events.RawBody)) (evs []events.Event, err error) {
	for i := range n {
		env, body := next(i)
		if head.Seq == 0 {
			env = events.Envelope{Kind: events.KindFeedBegun}
			if body, err = events.EncodeBody(events.FeedBegun{Shop: shop}); err != nil {
				return nil, err
			}
		}
		var b [8]byte
		if _, err := io.ReadFull(random, b[:]); err != nil {
			return nil, err
		}
		env.ID = events.NewEventID(hlc.Join(uint64(at.UnixMilli()), uint16(i)), b)
		record, err := events.EncodeRecord(env, body)
		if err != nil {
			return nil, err
		}
		e, err := events.Link(head, record)
		if err != nil {
			return nil, err
		}
		evs, head = append(evs, e), e.Head()
	}
	return evs, nil
}
