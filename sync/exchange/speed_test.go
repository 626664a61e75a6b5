package exchange_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"
)

// BenchmarkPublish is the rate of acknowledged publishes of 8 KiB, each on
// disk before it is acknowledged, over TLS on loopback and in the process,
// with as many feeds at once, one message of each under way.
func BenchmarkPublish(b *testing.B) {
	for _, feeds := range []int{1, 8} {
		for _, near := range []bool{false, true} {
			b.Run(fmt.Sprintf("feeds=%d/near=%v", feeds, near), func(b *testing.B) {
				h, k, x := oneBench(b, exchange.HostOptions{MaxStore: 16 << 30})
				if near {
					x = dial(b, exchange.DialOptions{Host: h, Key: k, Tag: shop})
				}
				publishAll(b, x, k, feeds)
			})
		}
	}
}

func publishAll(b *testing.B, x *exchange.Exchange, k events.BenchKey, feeds int) {
	payload := make([]byte, 8<<10)
	done := make(chan error, feeds)
	b.ResetTimer()
	for w := range feeds {
		f, n := feedOf(b, k, byte(w)), b.N/feeds
		if w == 0 {
			n += b.N % feeds
		}
		go func() {
			var last uint64
			var err error
			for range n {
				if last, err = x.Publish(b.Context(), f, last, payload); err != nil {
					break
				}
			}
			done <- err
		}()
	}
	for range feeds {
		if err := <-done; err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "acked/s")
}

// BenchmarkSeen is the time from the begin of a publish of 8 KiB until a
// follower on another connection has it, over TLS on loopback, with the sync
// of the disk in it.
func BenchmarkSeen(b *testing.B) {
	h, k, x := oneBench(b, exchange.HostOptions{MaxStore: 16 << 30})
	y := dial(b, to(h, k))
	seen := make(chan time.Time, 1)
	ended := make(chan error, 1)
	go func() {
		ended <- y.Follow(b.Context(), exchange.Cursor{}, func(exchange.Message) error {
			seen <- time.Now()
			return nil
		})
	}()
	payload := make([]byte, 8<<10)
	f := feedOf(b, k, 1)
	var last uint64
	var took []time.Duration
	for b.Loop() {
		start := time.Now()
		var err error
		if last, err = x.Publish(b.Context(), f, last, payload); err != nil {
			b.Fatal(err)
		}
		took = append(took, (<-seen).Sub(start))
	}
	slices.Sort(took)
	b.ReportMetric(float64(took[len(took)/2].Microseconds()), "p50-us")
	b.ReportMetric(float64(took[len(took)*99/100].Microseconds()), "p99-us")
	y.Close()
	<-ended
}
