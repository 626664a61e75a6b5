package web_test

import (
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/events"
)

var (
	speedUnits = flag.Int("speed.units", 300, "how many units the shop of the benchmark has; about 14.7 events each, so 68000 are a million")
	speedShop  = flag.String("speed.shop", "", "the folder that shop is kept in, made if it is not there; a temporary one if it is not said")
	speedPause = flag.Duration("speed.pause", 100*time.Millisecond, "how long the writer rests between two facts")
)

// readers ask at once, while one hand writes.
const readers = 8

// BenchmarkPages asks for every page under eight readers and a writer, and gives
// the time to the whole answer that half and 99 of 100 stayed under. Server,
// readers and writer share the machine's cores: on two of them a reader waits for
// seven others.
//
//	go test ./cmd/internal/web -run - -bench Pages -benchtime 2000x -speed.units 68000 -speed.shop /tmp/million
func BenchmarkPages(b *testing.B) {
	s := serveFolder(b, speedFolder(b))
	tag := everyLook(b, s)[3].path
	var lines []string
	for _, l := range everyLook(b, s) {
		if l.empty {
			continue
		}
		b.Run(l.page+l.title, func(b *testing.B) {
			stop := write(b, s, strings.TrimPrefix(tag, "/unit/"))
			times := readAll(b, s, l.path)
			wrote := stop()
			slices.Sort(times)
			p50, p99 := times[len(times)/2], times[len(times)*99/100]
			b.ReportMetric(ms(p50), "p50-ms")
			b.ReportMetric(ms(p99), "p99-ms")
			if b.N > 1 {
				lines = append(lines, fmt.Sprintf("%-28s %8.1f %8.1f %8d %8d", l.page+" "+l.title, ms(p50), ms(p99), len(times), wrote))
			}
		})
	}
	b.Logf("%d units, %d readers\n%-28s %8s %8s %8s %8s\n%s", *speedUnits, readers, "page", "p50 ms", "p99 ms", "asked", "written", strings.Join(lines, "\n"))
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// speedFolder is a shop of the size that was asked for.
func speedFolder(b *testing.B) string {
	dir := *speedShop
	if dir == "" {
		dir = filepath.Join(b.TempDir(), "shop")
	}
	if _, err := os.Stat(dir); err == nil {
		return dir
	}
	story, err := demo.New(demo.Options{Seed: 1, Units: *speedUnits})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := app.FromStory(dir, story, app.Options{State: filepath.Join(b.TempDir(), "state"), Bulk: true}, nil); err != nil {
		b.Fatal(err)
	}
	return dir
}

// write writes facts of a unit until it is stopped, which tells how many.
func write(b *testing.B, s *served, tag string) (stop func() int) {
	done, ended := make(chan struct{}), make(chan int)
	go func() {
		n := 0
		for {
			select {
			case <-done:
				ended <- n
				return
			case <-time.After(*speedPause):
			}
			if _, err := s.shop.Record(tag, app.Who{}, events.Note{Text: "written meanwhile"}); err != nil {
				b.Error(err)
			}
			n++
		}
	}()
	return func() int { close(done); return <-ended }
}

// readAll asks for a page as often as the benchmark says, with all readers.
func readAll(b *testing.B, s *served, path string) []time.Duration {
	client := &http.Client{Jar: s.http.Jar, Transport: &http.Transport{MaxIdleConnsPerHost: readers}}
	defer client.CloseIdleConnections()
	var left atomic.Int64
	left.Store(int64(b.N))
	all := make([][]time.Duration, readers)
	var wg sync.WaitGroup
	b.ResetTimer()
	for i := range readers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for left.Add(-1) >= 0 {
				began := time.Now()
				res, err := client.Get(s.web.Address() + strings.TrimPrefix(path, "/"))
				if err != nil {
					b.Error(err)
					return
				}
				_, err = io.Copy(io.Discard, res.Body)
				res.Body.Close()
				if err != nil || res.StatusCode != http.StatusOK {
					b.Errorf("%s: status %d, %v", path, res.StatusCode, err)
					return
				}
				all[i] = append(all[i], time.Since(began))
			}
		}()
	}
	wg.Wait()
	b.StopTimer()
	return slices.Concat(all...)
}
