package oracle_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/cmd/internal/jobbook"
	"oldhand/events"
	"oldhand/events/sharedtest"
)

// today is the day on which the job book and the repair data are asked about.
const today = "2026-11-25"

func noon(t testing.TB, day string) time.Time {
	t.Helper()
	d, err := time.Parse(time.DateOnly, day)
	if err != nil {
		t.Fatal(err)
	}
	return d.Add(12 * time.Hour)
}

func options(t testing.TB, dir, day string) app.Options {
	now := noon(t, day)
	return app.Options{State: filepath.Join(dir, "state"), Now: func() time.Time { return now }}
}

func closed(t testing.TB, s *app.Shop) *app.Shop {
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// newShop founds an empty shop.
func newShop(t testing.TB) *app.Shop {
	t.Helper()
	dir := t.TempDir()
	s, err := app.Found(filepath.Join(dir, "shop"), "Quarry Lane Radio", "front", options(t, dir, today))
	if err != nil {
		t.Fatal(err)
	}
	return closed(t, s)
}

// demoShop is the invented shop on the last day of its story.
func demoShop(t testing.TB, units int) (s *app.Shop, asOf string) {
	t.Helper()
	story, err := demo.New(demo.Options{Seed: 1, Units: units})
	if err != nil {
		t.Fatal(err)
	}
	dir, asOf := t.TempDir(), demo.LastDay().String()
	o := options(t, dir, asOf)
	if _, err := app.FromStory(filepath.Join(dir, "shop"), story, o, nil); err != nil {
		t.Fatal(err)
	}
	if s, err = app.Open(filepath.Join(dir, "shop"), o); err != nil {
		t.Fatal(err)
	}
	return closed(t, s), asOf
}

func shared(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(sharedtest.Path(t, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// jobBookShop has the old job book read in.
func jobBookShop(t testing.TB) (*app.Shop, app.Imported) {
	t.Helper()
	s, data := newShop(t), shared(t, "jobbook/old-job-book.csv")
	b, err := jobbook.Open(data, jobbook.Options{AsOf: jobbook.DayOf(noon(t, today))})
	if err != nil {
		t.Fatal(err)
	}
	res, err := s.ImportBook(data, b, app.ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return s, res
}

// repairData is the partner file Repair Connects of the Open Repair Alliance,
// release 2025-07, CC BY-SA 4.0.
const repairData = "checkdata/open-repair/repair-connects-202507.csv"

func repairShop(t testing.TB) *app.Shop {
	t.Helper()
	s, data := newShop(t), shared(t, repairData)
	b, err := jobbook.OpenORDS(data)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.ImportORDS(data, b, app.ImportOptions{}); err != nil {
		t.Fatal(err)
	}
	return s
}

func on(t testing.TB, day string) app.Who {
	t.Helper()
	d, err := events.ParseDay(day)
	if err != nil {
		t.Fatal(err)
	}
	return app.Who{At: events.OnDay(d)}
}
