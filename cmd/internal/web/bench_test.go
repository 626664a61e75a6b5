package web_test

import (
	"flag"
	"net/http"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/events"
)

var benchUnits = flag.Int("units", 2000, "how many units the shop of the benchmarks has seen; about 14.7 events each")

var benchShop = flag.String("shop", "", "the folder of a shop for the benchmarks, as oldhand demo makes one, which they write notes into; without it one is made")

// readers is how many windows ask at once, while one hand writes.
const readers = 8

// largeShop is the shop of the benchmarks, made once.
var largeShop = sync.OnceValues(func() (string, error) {
	if *benchShop != "" {
		return *benchShop, nil
	}
	dir := filepath.Join(inventedIn, "large")
	story, err := demo.New(demo.Options{Seed: 1, Units: *benchUnits})
	if err != nil {
		return "", err
	}
	_, err = app.FromStory(filepath.Join(dir, "shop"), story, app.Options{State: filepath.Join(dir, "state"), Bulk: true}, nil)
	return filepath.Join(dir, "shop"), err
})

// BenchmarkPages asks for pages as browsers do, over the network of this machine,
// eight at once, while a note is written again and again and synced each time. It
// says within how many milliseconds half of the answers came, and 99 of 100; then
// the same of one reader who asks alone while that note is written.
func BenchmarkPages(b *testing.B) {
	dir, err := largeShop()
	if err != nil {
		b.Fatal(err)
	}
	s := serveFolder(b, dir)
	sight := demo.Sights[0]
	found, _, err := s.shop.Lookup(sight.Serial, 1)
	if err != nil || len(found) == 0 {
		b.Fatal(err)
	}
	slip := "Z" + sight.Serial[1:]
	for _, page := range []struct{ name, path string }{
		{"today", "/"},
		{"unit", "/unit/" + found[0].Tag},
		{"lookup tag", "/find/list?q=" + found[0].Tag},
		{"lookup serial", "/find/list?q=" + sight.Serial},
		{"lookup slip", "/find/list?q=" + slip},
		{"lookup piece", "/find/list?q=" + sight.Serial[len(sight.Serial)-5:]},
		{"lookup model", "/find/list?q=" + escape(sight.Model)},
		{"lookup customer", "/find/list?q=marrowick"},
		{"fleet", "/fleet"},
		{"rarity", "/fleet/rarity"},
		{"failures", "/fleet/failures"},
		{"turnaround by model", "/fleet/turnaround?by=model"},
		{"comebacks", "/fleet/comebacks"},
		{"parts", "/fleet/parts"},
		{"outcomes by kind", "/fleet/outcomes?by=kind"},
		{"parts of a maker", "/fleet/parts?maker=Pellowick"}, // goes through all histories
		{"year", "/year"},
		{"model", "/model/Pellowick/PK-47"},
	} {
		b.Run(page.name, func(b *testing.B) { ask(b, s, page.path) })
	}
}

func ask(b *testing.B, s *served, path string) {
	today, err := s.shop.Today()
	if err != nil || len(today.Units) == 0 {
		b.Fatal(err)
	}
	var stop atomic.Bool
	var writer sync.WaitGroup
	writer.Go(func() {
		for n := 0; !stop.Load(); n++ {
			tag := today.Units[n%len(today.Units)].Tag
			if _, err := s.shop.Record(tag, app.Who{At: events.OnDay(events.DayOf(asOf)), By: "bench"}, events.Note{Text: "looked at"}); err != nil {
				b.Error(err)
				return
			}
			time.Sleep(20 * time.Millisecond) // a busy hand still takes its time
		}
	})
	b.ResetTimer()
	crowd := askedBy(b, s, path, readers)
	b.StopTimer()
	alone := askedBy(b, s, path, 1)
	stop.Store(true)
	writer.Wait()
	for _, m := range []struct {
		of    string
		times []time.Duration
	}{{"", crowd}, {"alone-", alone}} {
		b.ReportMetric(float64(m.times[len(m.times)/2].Microseconds())/1000, m.of+"p50-ms")
		b.ReportMetric(float64(m.times[len(m.times)*99/100].Microseconds())/1000, m.of+"p99-ms")
	}
}

// askedBy is how long each of b.N answers took, the quickest first, shared among
// readers who ask without a pause.
func askedBy(b *testing.B, s *served, path string, readers int) []time.Duration {
	took := make([][]time.Duration, readers)
	var asked sync.WaitGroup
	for i := range readers {
		asked.Go(func() {
			for range max(1, b.N/readers) {
				begun := time.Now()
				if status, _ := s.do(s.request(http.MethodGet, path, nil)); status != http.StatusOK {
					b.Errorf("%s: status %d", path, status)
				}
				took[i] = append(took[i], time.Since(begun))
			}
		})
	}
	asked.Wait()
	times := slices.Concat(took...)
	slices.Sort(times)
	return times
}
