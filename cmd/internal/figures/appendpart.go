package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"
)

// warm is how many appends go before the first that counts: the first begins a
// feed.
const warm = 20

// A durable append: one fact, its unit's history, the tallies and the words it is
// found by, in one synced batch. What is written down is about units that stand on
// the benches. Beside it are four kibibytes that are written to a raw file and
// synced, and SQLite with the same event; each of them once after each of ours.
func appendPart(t *turn) {
	s := t.openCopy(t.front())
	raw := t.rawFile()
	p := t.facts()
	units := t.onTheBenches(s)
	half, worst := &figure{name: "durable append, p50", unit: seconds, peer: "raw 4 KiB sync", goal: ratioAtMost(1.2)}, &figure{name: "durable append, p99", unit: seconds, peer: "raw 4 KiB sync"}
	lite := &figure{name: "durable append, p50", unit: seconds, peer: "SQLite"}
	whole := &figure{name: "the same as a command saves it, p50", unit: seconds, peer: "raw 4 KiB sync"}
	for i := range warm {
		t.appendTo(s, units[i%len(units)].id)
	}
	t.rounds(func() {
		var ours, synced, theirs, commands []float64
		for i := range t.each {
			u := units[i*7919%len(units)]
			synced = append(synced, t.timed(raw))
			ours = append(ours, t.timed(func() error { return appendTo(s, u.id) }))
			theirs = append(theirs, t.timed(p.appendOne))
			commands = append(commands, t.timed(func() error {
				_, err := s.Record(u.tag, app.Who{By: "bench"}, found)
				return err
			}))
		}
		half.beside(percentile(ours, 50), percentile(synced, 50))
		worst.beside(percentile(ours, 99), percentile(synced, 99))
		lite.beside(percentile(ours, 50), percentile(theirs, 50))
		whole.beside(percentile(commands, 50), percentile(synced, 50))
	})
	t.check(p.dropAppended())
	lite.name += ", beside SQLite"
	t.tell(half, worst, lite, whole)
}

// found is the fact that is appended.
var found = events.FaultFound{Component: "filter-capacitor", Mode: "leaky", Text: "filter caps leaky"}

func (t *turn) appendTo(s *app.Shop, unit events.UnitID) { t.check(appendTo(s, unit)) }

func appendTo(s *app.Shop, unit events.UnitID) error {
	return s.Log.Append(context.Background(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{About: unit, At: events.AtTime(time.Now()), Body: found})
		return err
	})
}

// rawFile gives a function that adds four kibibytes to a file and syncs it.
func (t *turn) rawFile() func() error {
	f, err := os.Create(filepath.Join(t.TempDir(), "raw"))
	t.check(err)
	t.Cleanup(func() { t.late = errors.Join(t.late, f.Close()) })
	page := make([]byte, 4096)
	return func() error {
		if _, err := f.Write(page); err != nil {
			return err
		}
		return datasync(f)
	}
}

// standing is a unit that stands on a bench.
type standing struct {
	tag string
	id  events.UnitID
}

// onTheBenches are the units that stand there, as a page shows them.
func (t *turn) onTheBenches(s *app.Shop) (list []standing) {
	today, err := s.Today()
	t.check(err)
	v, err := s.Log.View()
	t.check(err)
	defer v.Close()
	for _, u := range today.Units {
		if u.Tag == "" {
			continue
		}
		h, err := app.Resolve(v, u.Tag)
		t.check(err)
		list = append(list, standing{u.Tag, h.Root})
	}
	if len(list) == 0 {
		t.Fatalf("no unit with a tag stands on the benches")
	}
	return list
}
