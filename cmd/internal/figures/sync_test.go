package figures

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"oldhand/cmd/internal/demo"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
)

// crewOf are the benches of the invented shop.
func crewOf(b *testing.B, story *demo.Story, all []events.Event) *crew {
	b.Helper()
	var keys []events.BenchKey
	for _, bench := range story.Benches() {
		keys = append(keys, bench.Key)
	}
	for _, e := range all {
		body, err := e.Body()
		if f, ok := body.(events.ShopFounded); err == nil && ok {
			return newCrew(b, story.Owner(), f, keys...)
		}
	}
	b.Fatal("the invented shop was not founded")
	return nil
}

// full is a bench that has all events of the invented shop, with those that give
// the shop's key.
func full(b *testing.B, c *crew, story *demo.Story, all []events.Event) *eventlog.Log {
	b.Helper()
	l := c.open(b, 0, true)
	last, err := story.Heads()
	check(b, err)
	c.takeSigned(b, l, slices.Chunk(all, perTaking), last)
	c.giveKey(b, l)
	return l
}

func rateOf(n int, d time.Duration) string { return fmt.Sprintf("%.0f/s", float64(n)/d.Seconds()) }

func ratio(a, b time.Duration) float64 { return float64(a) / float64(b) }

func count(l *eventlog.Log) (n int) {
	for _, h := range l.Heads() {
		n += int(h.Seq)
	}
	return n
}

// Giving all to an empty exchange, and catching up from it: what an exchange is
// refilled with after it was lost, and what a bench does that joins. Segments
// come over TLS on loopback, are opened, their chains and signatures checked, and
// synced; histories and tallies are made, and what they take is in the time.
// A bundle is the same segments in a file. Beside it are SQLite with the same facts, and a server
// with nothing around it, which stores messages of the same sizes and has them
// read by an ordered consumer.
func BenchmarkMeeting(b *testing.B) {
	story, all := corpus(b)
	c := crewOf(b, story, all)
	source := full(b, c, story, all)
	n := count(source)
	var gave, stored, took, carried, inserted, read []time.Duration
	var h *exchange.Host
	var messages [][]byte
	for b.Loop() {
		h = c.host(b)
		near := c.near(b, h, 0)
		gave = append(gave, timed(func() { meets(b, source, c.bench(b, source, 0), near, heard) }))
		messages = payloads(b, near)
		n, err := openBare(b.TempDir())
		check(b, err)
		stored = append(stored, timed(func() { check(b, n.publish(messages)) }))
		read = append(read, timed(func() { check(b, n.read(len(messages))) }))
		n.close()
		l := c.open(b, 1, false)
		far := c.far(b, h, 1, h.Addr().String())
		took = append(took, timed(func() { catchUp(b, l, c.bench(b, l, 1), far) }))
		sameHeads(b, source, l)
		file := filepath.Join(b.TempDir(), "bundle")
		c.writeFile(b, file, messages)
		l = c.open(b, 2, false)
		carried = append(carried, timed(func() { c.readFile(b, l, c.bench(b, l, 2), file) }))
		sameHeads(b, source, l)
		p, err := openPeer(b.TempDir())
		check(b, err)
		inserted = append(inserted, timed(func() { fillPeer(b, p, all) }))
	}
	size := 0
	for _, m := range messages {
		size += len(m)
	}
	state := c.near(b, h, 2).State(context.Background())
	row(fmt.Sprintf("exchange refilled, %d events", n), rateOf(n, median(gave)), rateOf(n, median(stored)), ratio(median(gave), median(stored)), "peer: bare publisher")
	row(fmt.Sprintf("catch-up of %d events by an exchange", n), rateOf(n, median(took)), rateOf(n, median(inserted)), ratio(median(inserted), median(took)), ">= 5; peer: SQLite")
	row("the same by a bundle", rateOf(n, median(carried)), rateOf(n, median(inserted)), ratio(median(inserted), median(carried)), "")
	row("by an exchange, beside a bare ordered consumer", rateOf(n, median(took)), rateOf(n, median(read)), ratio(median(took), median(read)), "")
	row("bytes an event in the exchange", fmt.Sprintf("%.1f", float64(state.Bytes)/float64(n)), fmt.Sprintf("%.1f", float64(size)/float64(n)), float64(state.Bytes)/float64(size), "peer: payloads alone")
}

// sameHeads demands that two logs have the same events.
func sameHeads(b *testing.B, one, other *eventlog.Log) {
	b.Helper()
	if !slices.Equal(one.Heads(), other.Heads()) {
		b.Fatal("after a meeting two benches hold different events")
	}
}
