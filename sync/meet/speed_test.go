package meet_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// notes are as long as people write them.
func notes(n, from int) (all []events.Body) {
	for i := range n {
		all = append(all, events.Note{Text: fmt.Sprintf("%d: hum at full volume is gone after the second filter capacitor, recheck at handover", from+i)})
	}
	return all
}

// BenchmarkCatchUp is how fast a bench with an empty log takes in a full exchange,
// over TLS on loopback, into a log on the disk that syncs, without projections;
// beside reading the same messages and doing nothing with them.
func BenchmarkCatchUp(b *testing.B) {
	for _, c := range []struct{ events, each int }{{100_000, 500}, {5_000, 1}} {
		b.Run(fmt.Sprintf("events=%d/each=%d", c.events, c.each), func(b *testing.B) {
			f := newDuo(b)
			f.fill(b, c.events, c.each)
			x := f.far(b, 1)
			var bare time.Duration
			for b.Loop() {
				b.StopTimer()
				bare += readAll(b, x)
				log, bench := f.bench(b, 1)
				b.StartTimer()
				p, err := meet.Exchange(b.Context(), bench, x, meet.Options{Once: true, Changed: log.Changed})
				check(b, err)
				if p.Took < c.events || !p.Standing.Level {
					b.Fatalf("took %d events: %+v", p.Took, p)
				}
			}
			n := float64(c.events * b.N)
			b.ReportMetric(n/b.Elapsed().Seconds(), "events/s")
			b.ReportMetric(n/bare.Seconds(), "bare-events/s")
			b.ReportMetric(b.Elapsed().Seconds()/bare.Seconds(), "x-bare")
		})
	}
}

// fill writes events and gives them to the exchange in segments of one size.
func (f *duo) fill(b *testing.B, n, each int) {
	b.Helper()
	log, _ := f.bench(b, 0, f.facts...)
	for i := 0; i < n; i += 500 {
		write(b, log, notes(min(500, n-i), i)...)
	}
	x := f.near(b, 0)
	feed, last, after := log.Heads()[0].Feed, uint64(0), uint64(0)
	for {
		evs, end, err := replicate.OnLog(log).Run(eventlog.First(feed), after)
		check(b, err)
		if len(evs) == 0 {
			return
		}
		for part := range slices.Chunk(evs, each) {
			if end, err = f.keys[0].SignHead(f.shop, part[len(part)-1].Head()); err != nil {
				b.Fatal(err)
			}
			payload, err := segment.Seal(f.shop, 1, segment.Key(f.secret), part, end, rand.Reader)
			check(b, err)
			last, err = x.Publish(b.Context(), feed, last, payload)
			check(b, err)
		}
		after = end.Seq
	}
}

// readAll reads every message and says how long that took.
func readAll(b *testing.B, x *exchange.Exchange) time.Duration {
	b.Helper()
	begun, last := time.Now(), x.State(b.Context()).LastSeq
	err := x.Follow(b.Context(), exchange.Cursor{}, func(m exchange.Message) error {
		if m.Seq == last {
			return context.Canceled
		}
		return nil
	})
	if err != context.Canceled {
		b.Fatal(err)
	}
	return time.Since(begun)
}

// BenchmarkVisible is the time from when one bench's commit is on its disk until
// the other bench has it on its own and can be asked, both meeting all the while:
// the writer at a host in its own process or over TLS, the other over TLS. Beside
// it, turn by turn, is a bare server of the same settings without TLS: from the
// beginning of a publish of as many bytes until another connection has them.
func BenchmarkVisible(b *testing.B) {
	for _, near := range []bool{true, false} {
		b.Run(fmt.Sprintf("near=%v", near), func(b *testing.B) {
			f := newDuo(b)
			a, other := f.live(b, 0, near, f.facts...), f.live(b, 1, false)
			write(b, a, notes(1, 0)...)
			seen(b, other, a.Heads())
			bare := newBare(b)
			var ours, theirs []time.Duration
			for i := 0; b.Loop(); i++ {
				write(b, a, notes(1, i)...)
				committed := time.Now()
				seen(b, other, a.Heads())
				ours = append(ours, time.Since(committed))
				theirs = append(theirs, bare.deliver(b, oneEvent))
			}
			report(b, "", ours)
			report(b, "bare-", theirs)
			b.ReportMetric(float64(at(ours, 50))/float64(at(theirs, 50)), "x-bare-p50")
		})
	}
}

// oneEvent is the size of a segment of one event, padded as it is.
const oneEvent = 1024

func at(all []time.Duration, percent int) time.Duration { return all[(len(all)-1)*percent/100] }

func report(b *testing.B, who string, all []time.Duration) {
	slices.Sort(all)
	b.ReportMetric(float64(at(all, 50).Microseconds()), who+"p50-us")
	b.ReportMetric(float64(at(all, 99).Microseconds()), who+"p99-us")
}

// bare is a server with one writer and one reader.
type bare struct {
	js  jetstream.JetStream
	got chan time.Time
}

func newBare(b *testing.B) *bare {
	b.Helper()
	srv, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: -1, JetStream: true, StoreDir: b.TempDir(), SyncAlways: true, NoSigs: true, NoLog: true})
	check(b, err)
	srv.Start()
	b.Cleanup(func() { srv.Shutdown(); srv.WaitForShutdown() })
	if !srv.ReadyForConnections(10 * time.Second) {
		b.Fatal("the bare server is not ready")
	}
	var js [2]jetstream.JetStream
	for i := range js {
		conn, err := nats.Connect(srv.ClientURL())
		check(b, err)
		b.Cleanup(conn.Close)
		js[i], err = jetstream.New(conn)
		check(b, err)
	}
	_, err = js[0].CreateStream(b.Context(), jetstream.StreamConfig{Name: "bare", Subjects: []string{"bare.>"}, Storage: jetstream.FileStorage})
	check(b, err)
	r := &bare{js[0], make(chan time.Time, 1)}
	c, err := js[1].OrderedConsumer(b.Context(), "bare", jetstream.OrderedConsumerConfig{})
	check(b, err)
	reading, err := c.Consume(func(jetstream.Msg) { r.got <- time.Now() })
	check(b, err)
	b.Cleanup(reading.Stop)
	return r
}

func (r *bare) deliver(b *testing.B, size int) time.Duration {
	begun := time.Now()
	_, err := r.js.Publish(b.Context(), "bare.a", make([]byte, size))
	check(b, err)
	return (<-r.got).Sub(begun)
}
