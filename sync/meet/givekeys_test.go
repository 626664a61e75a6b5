package meet_test

import (
	"io"
	"net"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/benchtest"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
)

// aWayOff connects a laptop over a line on which every byte is so long under way.
func (s keyShop) aWayOff(t testing.TB, l *benchtest.Laptop, away time.Duration) *exchange.Exchange {
	t.Helper()
	return s.dialThrough(t, l, func(near, far net.Conn) {
		go carry(far, near, away)
		go carry(near, far, away)
	})
}

// carry hands on what comes, each piece so long after it came.
func carry(to io.WriteCloser, from io.Reader, away time.Duration) {
	type piece struct {
		b   []byte
		due time.Time
	}
	pieces := make(chan piece, 10_000)
	go func() {
		defer close(pieces)
		for {
			b := make([]byte, 32<<10)
			n, err := from.Read(b)
			if n > 0 {
				pieces <- piece{b[:n], time.Now().Add(away)}
			}
			if err != nil {
				return
			}
		}
	}()
	for p := range pieces {
		time.Sleep(time.Until(p.due))
		if _, err := to.Write(p.b); err != nil {
			break
		}
	}
	_ = to.Close()
}

// BenchmarkGivingKeys is how fast a bench gives customers' keys to an exchange that is
// five milliseconds away, beside putting one after the other.
func BenchmarkGivingKeys(b *testing.B) {
	const keys = 500
	s := newKeyShop(b, 240)
	s.listen(b, "127.0.0.1:0")
	giver := s.Laptops[0]
	var ours, alone time.Duration
	number := 0
	for b.Loop() {
		for range keys {
			number++
			e := events.KeyEntry{Person: events.PersonID{0: byte(number), 1: byte(number >> 8), 15: 1}, Key: events.PersonKey{0: byte(number), 1: byte(number >> 8), 31: 0x5a}}
			record(b, giver, e, true)
		}
		s.once(b, giver)
		x := s.aWayOff(b, giver, 5*time.Millisecond)
		k := s.keeper(b, giver)
		began := time.Now()
		m, err := meet.Keys(b.Context(), k, x, nil)
		ours += time.Since(began)
		if err != nil || m.Gave != keys {
			b.Fatalf("%+v, %v", m, err)
		}
		began = time.Now()
		for i := range keys {
			_, err := x.PutKey(b.Context(), events.PersonID{0: byte(i), 1: byte(i >> 8), 2: byte(number), 3: byte(number >> 8), 15: 2}, 0, make([]byte, 200))
			check(b, err)
		}
		alone += time.Since(began)
	}
	n := float64(keys * b.N)
	b.ReportMetric(n/ours.Seconds(), "keys/s")
	b.ReportMetric(n/alone.Seconds(), "one-by-one/s")
	b.ReportMetric(alone.Seconds()/ours.Seconds(), "x-one-by-one")
}
