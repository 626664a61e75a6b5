package projections_test

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

var shopFolder = flag.String("shop", "", "the folder of a shop, of which a copy is asked; for BenchmarkAnswers")

// Every question as it is first asked of a shop that lies in a folder, with how many
// rows were read for it.
func BenchmarkAnswers(b *testing.B) {
	if *shopFolder == "" {
		b.Skip("no shop was named with -shop")
	}
	dir := filepath.Join(b.TempDir(), "store")
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(*shopFolder, "store"))); err != nil {
		b.Fatal(err)
	}
	var card struct{ Shop string }
	text, err := os.ReadFile(filepath.Join(*shopFolder, "shop.json"))
	if err == nil {
		err = json.Unmarshal(text, &card)
	}
	if err != nil {
		b.Fatal(err)
	}
	shop, err := events.ParseShopID(card.Shop)
	if err != nil {
		b.Fatal(err)
	}
	l, err := eventlog.Open(eventlog.Options{Dir: dir, Shop: shop, Projector: projections.Engine{}})
	if err != nil {
		b.Fatal(err)
	}
	defer l.Close()
	if os.Getenv("REBUILD") == "" {
	} else if err := projections.RebuildStore(l); err != nil {
		b.Fatal(err)
	}
	v, err := l.View()
	if err != nil {
		b.Fatal(err)
	}
	defer v.Close()
	asked := projections.Asked{AsOf: events.NewDay(2026, 12, 1)}
	for _, q := range projections.Questions {
		b.Run(q.Name, func(b *testing.B) {
			counted := &counting{View: v}
			res, err := projections.Ask(counted, q, asked)
			if err != nil {
				b.Fatal(err)
			}
			if d := os.Getenv("DUMP"); d != "" {
				j, _ := json.MarshalIndent(res, "", " ")
				os.WriteFile(d+"."+q.Name+".json", j, 0o644)
			}
			least := time.Hour
			for b.Loop() {
				begun := time.Now()
				if _, err := projections.Ask(v, q, asked); err != nil {
					b.Fatal(err)
				}
				least = min(least, time.Since(begun))
			}
			b.ReportMetric(float64(least.Microseconds()), "least-us")
			b.ReportMetric(float64(counted.rows), "rows")
		})
	}
}

type counting struct {
	*eventlog.View
	rows int
}

func (c *counting) Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	return c.View.Scan(lo, hi, func(k, v []byte) (bool, error) { c.rows++; return fn(k, v) })
}
