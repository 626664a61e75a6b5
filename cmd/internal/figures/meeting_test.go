package figures

import (
	"context"
	"crypto/rand"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
	"oldhand/sync/bundle"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"
)

// crew is a shop whose benches meet: who belongs to it, and the shop's key.
type crew struct {
	shop  events.ShopID
	keys  []events.BenchKey
	set   events.ShopKeySet
	facts []events.Body // that a bench is told when it joins
}

// newCrew founds nothing: the shop's founding comes with its events. What a bench
// was told when it joined is all of it that is written down here.
func newCrew(b *testing.B, owner events.BenchKey, founding events.ShopFounded, keys ...events.BenchKey) *crew {
	b.Helper()
	c := &crew{shop: founding.Shop(), keys: keys, facts: []events.Body{founding}}
	for i, k := range keys {
		admitted, err := owner.Admit(c.shop, idOf(b, k), "bench", uint32(i+1))
		check(b, err)
		c.facts = append(c.facts, admitted)
	}
	set, err := owner.SetKey(c.shop, 1, theKey, ids(b, keys)...)
	check(b, err)
	c.set = set
	c.facts = append(c.facts, set)
	return c
}

func check(b *testing.B, err error) {
	b.Helper()
	if err != nil {
		b.Fatal(err)
	}
}

func idOf(b *testing.B, k events.BenchKey) events.BenchID {
	b.Helper()
	id, err := k.Public()
	check(b, err)
	return id
}

func ids(b *testing.B, keys []events.BenchKey) (all []events.BenchID) {
	for _, k := range keys {
		all = append(all, idOf(b, k))
	}
	return all
}

func (c *crew) tag() exchange.Tag { return exchange.Tag(segment.TagOf(c.shop)) }

// options are a bench's log as the program opens it, in a folder.
func (c *crew) options(i int, dir string, bulk bool) eventlog.Options {
	return eventlog.Options{Dir: filepath.Join(dir, "store"), Create: true, Bulk: bulk, Shop: c.shop, Key: c.keys[i], Projector: projections.Engine{},
		Witness: filepath.Join(dir, "witness"), Boot: "bench", Software: "figures", LeastFree: eventlog.DefaultLeastFree}
}

func (c *crew) open(b *testing.B, i int, bulk bool) *eventlog.Log {
	b.Helper()
	l, err := eventlog.Open(c.options(i, b.TempDir(), bulk))
	check(b, err)
	b.Cleanup(func() { _ = l.Close() })
	return l
}

// bench is a log's side of meeting others.
func (c *crew) bench(b *testing.B, l *eventlog.Log, i int) *replicate.Bench {
	b.Helper()
	side, err := replicate.NewBench(replicate.OnLog(l), c.shop, c.keys[i], rand.Reader, c.facts...)
	check(b, err)
	return side
}

// takeSigned has a log take events of other benches as they come: with a head
// that their bench signed each run.
func (c *crew) takeSigned(b *testing.B, l *eventlog.Log, batches iter.Seq[[]events.Event], last []events.SignedHead) {
	b.Helper()
	signs := map[events.BenchID]events.BenchKey{}
	for _, k := range c.keys {
		signs[idOf(b, k)] = k
	}
	take := func(evs []events.Event, heads []events.SignedHead) {
		check(b, l.Append(context.Background(), func(tx *eventlog.Tx) error {
			for _, e := range evs {
				if err := tx.Take(e); err != nil {
					return err
				}
				if e.Seq%events.MaxRun != 0 {
					continue
				}
				s, err := signs[e.Feed.Bench].SignHead(c.shop, e.Head())
				if err == nil {
					err = tx.KeepHead(s)
				}
				if err != nil {
					return err
				}
			}
			for _, h := range heads {
				if err := tx.KeepHead(h); err != nil {
					return err
				}
			}
			return nil
		}))
	}
	for part := range batches {
		take(part, nil)
	}
	take(nil, last)
}

// giveKey writes down the shop's key, which the bench that owns the shop does
// before it meets anybody.
func (c *crew) giveKey(b *testing.B, l *eventlog.Log) {
	b.Helper()
	write(b, l, events.Draft{At: events.OnDay(events.NewDay(2026, 8, 1)), Body: c.set})
}

func write(b *testing.B, l *eventlog.Log, drafts ...events.Draft) {
	b.Helper()
	check(b, l.Append(context.Background(), func(tx *eventlog.Tx) error {
		for _, d := range drafts {
			if _, err := tx.Add(d); err != nil {
				return err
			}
		}
		return nil
	}))
}

// host opens an exchange in this process, on the machine's disk.
func (c *crew) host(b *testing.B) *exchange.Host {
	b.Helper()
	h, err := exchange.OpenHost(exchange.HostOptions{Dir: b.TempDir(), Listen: "127.0.0.1:0"})
	check(b, err)
	b.Cleanup(func() { check(b, h.Close()) })
	check(b, h.SetUsers(c.tag(), ids(b, c.keys), nil))
	return h
}

// near connects the bench that hosts, and far another, over TLS at an address.
func (c *crew) near(b *testing.B, h *exchange.Host, i int) *exchange.Exchange {
	return dial(b, exchange.DialOptions{Host: h, Key: c.keys[i], Tag: c.tag()})
}

func (c *crew) far(b *testing.B, h *exchange.Host, i int, at string) *exchange.Exchange {
	return dial(b, exchange.DialOptions{Addrs: []string{at}, Pins: []exchange.Pin{h.Pin()}, Key: c.keys[i], Tag: c.tag()})
}

func dial(b *testing.B, o exchange.DialOptions) *exchange.Exchange {
	b.Helper()
	x, err := exchange.Dial(context.Background(), o)
	check(b, err)
	b.Cleanup(x.Close)
	return x
}

// meets has a bench meet an exchange until all is exchanged, and demands that
// it is.
func meets(b *testing.B, l *eventlog.Log, side *replicate.Bench, x *exchange.Exchange, told func(meet.Progress)) meet.Progress {
	b.Helper()
	p, err := meet.Exchange(context.Background(), side, x, meet.Options{Once: true, Changed: l.Changed, Told: told})
	check(b, err)
	if !p.Standing.Level || p.Aside > 0 {
		b.Fatalf("not level after a meeting: %d kept aside, %+v", p.Aside, p.Standing)
	}
	return p
}

// mostFollowed is as in package app, whose folders a benchmark has none of.
const mostFollowed = 20_000

// catching has what follows from the events wait once enough came, as package
// app does at a meeting and at a bundle.
type catching struct {
	log   *eventlog.Log
	later bool
}

func (c *catching) took(b *testing.B, n int) {
	if !c.later && n > mostFollowed {
		c.later = true
		check(b, c.log.DeferViews())
	}
}

// end makes what was deferred.
func (c *catching) end(b *testing.B) {
	if c.later {
		check(b, projections.RebuildStore(c.log))
	}
}

// catchUp has a bench with an empty log meet an exchange.
func catchUp(b *testing.B, l *eventlog.Log, side *replicate.Bench, x *exchange.Exchange) {
	b.Helper()
	c := &catching{log: l}
	meets(b, l, side, x, func(p meet.Progress) { c.took(b, p.Took) })
	c.end(b)
}

// readFile has a bench with an empty log read a bundle.
func (c *crew) readFile(b *testing.B, l *eventlog.Log, side *replicate.Bench, path string) {
	b.Helper()
	f, err := os.Open(path)
	check(b, err)
	defer f.Close()
	n, catching := 0, &catching{log: l}
	report, err := bundle.Read(f, c.shop, c.secret, func(sealed []byte) error {
		came, err := side.Bundle(sealed, 0)
		n += came.Took
		catching.took(b, n)
		return err
	})
	check(b, err)
	check(b, report.Err())
	catching.end(b)
}

// writeFile writes messages into a bundle.
func (c *crew) writeFile(b *testing.B, path string, messages [][]byte) {
	b.Helper()
	key, _ := c.secret(1)
	o := bundle.Options{Shop: c.shop, Epoch: 1, Key: key, Random: rand.Reader}
	check(b, bundle.WriteFile(path, o, func(w *bundle.Writer) error {
		for _, m := range messages {
			if err := w.Add(m); err != nil {
				return err
			}
		}
		return nil
	}))
}

// secret is the shop's key.
func (c *crew) secret(uint32) (segment.Key, bool) { return segment.Key(theKey), true }

// theKey is the key of the shops here.
var theKey = events.ShopKey{8}

// heard is a listener of a meeting, as the program has one.
func heard(meet.Progress) {}

// payloads are all messages of an exchange.
func payloads(b *testing.B, x *exchange.Exchange) (all [][]byte) {
	b.Helper()
	last := x.State(context.Background()).LastSeq
	err := x.Follow(context.Background(), exchange.Cursor{}, func(m exchange.Message) error {
		all = append(all, slices.Clone(m.Payload))
		if m.Seq == last {
			return context.Canceled
		}
		return nil
	})
	if err != context.Canceled {
		b.Fatal(err)
	}
	return all
}
