package demo

import (
	"oldhand/events"
	"oldhand/events/hlc"
)

// bench is one laptop as the story goes on: its clock and the feed it writes.
type bench struct {
	Bench
	people [2]string // who works there, in the first half of the story and in the second
	public events.BenchID

	clock *hlc.Clock
	now   moment // what its clock stands on
	ahead moment // by how much the clock is wrong

	head   events.Head // of the feed being written
	parent events.Head // of the next feed
	begin  bool        // the next event begins a feed
	until  moment      // when the feed has lasted long enough
	tags   uint32      // given so far
	heads  []events.Head
}

// A shop at work begins a feed or two a day. A story of 29 years would have
// ten thousand of them, so here a feed lasts some years of its bench, and the
// story has fewer than forty however many units there are.
const (
	feedDaysLeast = 900
	feedDaysMost  = 1100
)

func newBench(key events.BenchKey, name string, number uint32, people [2]string) (*bench, error) {
	public, err := key.Public()
	if err != nil {
		return nil, err
	}
	b := &bench{Bench: Bench{key, name, number}, people: people, public: public, begin: true}
	b.clock = hlc.New(func() int64 { return int64(b.now + b.ahead) }, 0)
	return b, nil
}

// turnOver has the next event begin a feed behind a head of this bench.
func (b *bench) turnOver(parent events.Head) { b.parent, b.begin = parent, true }

// write puts a draft at the end of the bench's feed.
func (b *bench) write(t *teller, at moment, d events.Draft) (events.Event, error) {
	if err := b.wake(t, at, d.At); err != nil {
		return events.Event{}, err
	}
	return b.append(t, d)
}

// wake sets the bench's clock and begins a feed where that is due.
func (b *bench) wake(t *teller, at moment, when events.When) error {
	b.now = at
	if !b.begin && at >= b.until {
		b.turnOver(b.head)
	}
	if b.begin {
		return b.beginFeed(t, at, when)
	}
	return nil
}

func (b *bench) beginFeed(t *teller, at moment, when events.When) error {
	if b.head.Seq > 0 {
		b.heads = append(b.heads, b.head)
	}
	id := events.FeedID{Bench: b.public}
	t.dice.fill(id.Incarnation[:])
	b.head, b.begin = events.Head{Feed: id}, false
	b.until = at + moment(t.dice.between(feedDaysLeast, feedDaysMost))*dayMs
	e, err := b.append(t, events.Draft{At: when, Body: events.FeedBegun{Shop: t.story.shop, Parent: b.parent, Software: "oldhand demo"}})
	t.action.Events = append(t.action.Events, e)
	return err
}

// append gives a draft its id and its place. The rules of Draft.Validate are
// not asked here, where they would take as long as all the rest: the tests ask
// them of every event of a story.
func (b *bench) append(t *teller, d events.Draft) (events.Event, error) {
	id, err := b.nextID(t.dice)
	if err != nil {
		return events.Event{}, err
	}
	body, err := events.EncodeBody(d.Body)
	if err != nil {
		return events.Event{}, err
	}
	if k := d.Body.Kind(); d.About == [16]byte{} && (k == events.KindReceived || k == events.KindIdentified) {
		d.About = id
	}
	return b.link(events.Envelope{ID: id, Kind: d.Body.Kind(), Version: 1, About: d.About, Visit: d.Visit, At: d.At, By: d.By}, body)
}

func (b *bench) nextID(d dice) (events.EventID, error) {
	stamp, err := b.clock.Next()
	if err != nil {
		return events.EventID{}, err
	}
	var random [8]byte
	d.fill(random[:])
	return events.NewEventID(stamp, random), nil
}

func (b *bench) link(env events.Envelope, body events.RawBody) (events.Event, error) {
	record, err := events.EncodeRecord(env, body)
	if err != nil {
		return events.Event{}, err
	}
	e, err := events.Link(b.head, record)
	if err != nil {
		return e, err
	}
	b.head = e.Head()
	return e, nil
}
