package figures

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"

	"github.com/klauspost/compress/zstd"
)

// Bytes on the wire an event, TLS and questions and answers in them: a bench that
// catches up, and one event that goes from one bench to another by itself: at the
// bench that wrote it, which gives it and reads it back with all others, and at
// one that takes it. Beside it are the same events as JSON Lines,
// packed as one file and each line for itself, with nothing around them: no
// chain, no signature, no seal.
func BenchmarkWire(b *testing.B) {
	story, all := corpus(b)
	c := crewOf(b, story, all)
	source := full(b, c, story, all)
	n := count(source)
	for b.Loop() {
		h := c.host(b)
		meets(b, source, c.bench(b, source, 0), c.near(b, h, 0), heard)
		far, way := c.counted(b, h, 1)
		l := c.open(b, 1, false)
		meets(b, l, c.bench(b, l, 1), far, heard)
		each := float64(way.bytes()) / float64(n)
		zip, zst := packed(b, all)
		row("bytes on the wire an event, catch-up", fmt.Sprintf("%.1f", each), fmt.Sprintf("%.1f", zip), each/zip, "peer: JSON Lines, gzip")
		row("the same beside zstd", fmt.Sprintf("%.1f", each), fmt.Sprintf("%.1f", zst), each/zst, "peer: JSON Lines, zstd")
		up, down := c.singly(b, h, source)
		zip = packedSingly(b, all[len(all)-singles:])
		row("bytes on the wire an event, alone, at its writer", fmt.Sprintf("%.0f", up), fmt.Sprintf("%.0f", zip), up/zip, "peer: a line, gzip")
		row("and at each other bench", fmt.Sprintf("%.0f", down), fmt.Sprintf("%.0f", zip), down/zip, "")
	}
}

// counted connects a bench over a line that counts.
func (c *crew) counted(b *testing.B, h *exchange.Host, i int) (*exchange.Exchange, *wire) {
	b.Helper()
	way, err := openWire(h.Addr().String())
	check(b, err)
	b.Cleanup(func() { check(b, way.close()) })
	return c.far(b, h, i, way.addr()), way // the connection ends before the line
}

// singles is how many events are sent one at a time.
const singles = 200

// singly has one bench write event after event while two meet, each over a line
// of its own, and gives the bytes an event on either.
func (c *crew) singly(b *testing.B, h *exchange.Host, writer *eventlog.Log) (up, down float64) {
	b.Helper()
	reader := c.open(b, 2, false)
	x, out := c.counted(b, h, 0)
	y, in := c.counted(b, h, 2)
	meets(b, reader, c.bench(b, reader, 2), y, heard)
	stop := c.live(b, writer, 0, x)
	defer stop()
	defer c.live(b, reader, 2, y)()
	c.oneByOne(b, writer, reader, 10) // until both are at rest
	begun := [2]int64{out.bytes(), in.bytes()}
	c.oneByOne(b, writer, reader, singles)
	return float64(out.bytes()-begun[0]) / singles, float64(in.bytes()-begun[1]) / singles
}

// live has a bench meet until stop.
func (c *crew) live(b *testing.B, l *eventlog.Log, i int, x *exchange.Exchange) (stop func()) {
	b.Helper()
	side := c.bench(b, l, i)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		_, err := meet.Exchange(ctx, side, x, meet.Options{Changed: l.Changed, Told: heard})
		done <- err
	}()
	return func() {
		cancel()
		if err := <-done; err != context.Canceled {
			b.Error(err)
		}
	}
}

// oneByOne writes events on one bench, each after the other bench has the last,
// and gives how long each took from its commit until it was seen.
func (c *crew) oneByOne(b *testing.B, writer, reader *eventlog.Log, n int) (took []time.Duration) {
	b.Helper()
	for i := range n {
		write(b, writer, note(events.UnitID{1}, fmt.Sprintf("%d: hum at full volume is gone after the second filter capacitor, recheck at handover", i)))
		committed := time.Now()
		waitFor(b, reader, count(writer))
		took = append(took, time.Since(committed))
	}
	return took
}

func note(u events.UnitID, text string) events.Draft {
	return events.Draft{About: u, At: events.OnDay(events.NewDay(2026, 9, 1)), Body: events.Note{Text: text}}
}

// waitFor waits until a log has so many events.
func waitFor(b *testing.B, l *eventlog.Log, n int) {
	b.Helper()
	late := time.After(30 * time.Second)
	for {
		changed := l.Changed()
		if count(l) >= n {
			return
		}
		select {
		case <-changed:
		case <-late:
			b.Fatalf("after half a minute %d of %d events are here", count(l), n)
		}
	}
}

// asLine is an event as a line of JSON for a program that knows nothing of
// chains.
func asLine(b *testing.B, e events.Event) []byte {
	b.Helper()
	body, err := e.Body()
	data := any(body)
	if err != nil {
		data = e.Record // of a kind that is not known here
	}
	line, err := json.Marshal(struct {
		Feed, ID, Kind, Unit, At, By string
		Seq                          uint64
		Data                         any
	}{e.Feed.Short(), e.ID.String(), e.Kind.String(), e.Unit().String(), e.At.String(), e.By, e.Seq, data})
	check(b, err)
	return append(line, '\n')
}

// packed is the bytes an event of all lines packed as one file.
func packed(b *testing.B, all []events.Event) (zip, zst float64) {
	b.Helper()
	var zips, zsts bytes.Buffer
	g := gzip.NewWriter(&zips)
	z, err := zstd.NewWriter(&zsts)
	check(b, err)
	for _, e := range all {
		line := asLine(b, e)
		_, err := g.Write(line)
		check(b, err)
		_, err = z.Write(line)
		check(b, err)
	}
	check(b, g.Close())
	check(b, z.Close())
	return float64(zips.Len()) / float64(len(all)), float64(zsts.Len()) / float64(len(all))
}

// packedSingly is the bytes an event of lines packed one by one.
func packedSingly(b *testing.B, all []events.Event) float64 {
	b.Helper()
	sum := 0
	for _, e := range all {
		var zip bytes.Buffer
		g := gzip.NewWriter(&zip)
		_, err := g.Write(asLine(b, e))
		check(b, err)
		check(b, g.Close())
		sum += zip.Len()
	}
	return float64(sum) / float64(len(all))
}
