package projections_test

import (
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

var (
	shopFolder = flag.String("shop", "", "the `folder` of a shop, for BenchmarkAnswers; a copy of its store is asked")
	askedMaker = flag.String("maker", "", "the `maker` whose units BenchmarkAnswers asks about; empty for all")
)

// BenchmarkAnswers asks every question as one is asked for the first time, of a shop
// that lies in a folder; it says how many keys were read for it, and how long it took
// at the least, which on a machine that does other things too is nearer to what it
// costs than the mean.
func BenchmarkAnswers(b *testing.B) {
	if *shopFolder == "" {
		b.Skip("no shop was named with -shop")
	}
	l := copyOfShop(b, *shopFolder)
	defer l.Close()
	v, err := l.View()
	if err != nil {
		b.Fatal(err)
	}
	defer v.Close()
	asked := projections.Asked{AsOf: events.DayOf(time.Now()), Maker: *askedMaker}
	for _, q := range projections.Questions {
		b.Run(q.Name, func(b *testing.B) {
			counted := &countedView{View: v}
			if _, err := projections.Ask(counted, q, asked); err != nil {
				b.Fatal(err)
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
			b.ReportMetric(float64(counted.keys), "keys")
		})
	}
}

// copyOfShop opens a copy of a shop's store, with its views made anew.
func copyOfShop(b *testing.B, folder string) *eventlog.Log {
	var card struct{ Shop string }
	text, err := os.ReadFile(filepath.Join(folder, "shop.json"))
	if err == nil {
		err = json.Unmarshal(text, &card)
	}
	shop, wrong := events.ParseShopID(card.Shop)
	dir := filepath.Join(b.TempDir(), "store")
	if err := errors.Join(err, wrong, os.CopyFS(dir, os.DirFS(filepath.Join(folder, "store")))); err != nil {
		b.Fatal(err)
	}
	l, err := eventlog.Open(eventlog.Options{Dir: dir, Shop: shop, Projector: projections.Engine{}})
	if err != nil {
		b.Fatal(err)
	}
	if err := projections.RebuildStore(l); err != nil {
		b.Fatal(err)
	}
	return l
}

// countedView counts the keys that are read in stretches.
type countedView struct {
	*eventlog.View
	keys int
}

func (c *countedView) Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	return c.View.Scan(lo, hi, func(k, v []byte) (bool, error) {
		c.keys++
		return fn(k, v)
	})
}
