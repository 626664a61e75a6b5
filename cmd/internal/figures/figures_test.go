package figures

import (
	"context"
	"flag"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"oldhand/cmd/internal/demo"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

var units = flag.Int("units", 20000, "units of the invented shop that is measured on")

func storyOf(b *testing.B) *demo.Story {
	b.Helper()
	story, err := demo.New(demo.Options{Seed: 1, Units: *units})
	if err != nil {
		b.Fatal(err)
	}
	return story
}

// corpus is the invented shop's events in memory.
func corpus(b *testing.B) (*demo.Story, []events.Event) {
	b.Helper()
	story := storyOf(b)
	var all []events.Event
	for a, err := range story.Actions() {
		if err != nil {
			b.Fatal(err)
		}
		all = append(all, a.Events...)
	}
	return story, all
}

func open(b *testing.B, story *demo.Story, key events.BenchKey) (*eventlog.Log, string) {
	b.Helper()
	dir := b.TempDir()
	l, err := eventlog.Open(eventlog.Options{Dir: filepath.Join(dir, "store"), Create: true, Bulk: true, Shop: story.Shop(), Key: key, Projector: projections.Engine{},
		Witness: filepath.Join(dir, "witness"), Boot: "bench"})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = l.Close() })
	return l, filepath.Join(dir, "store")
}

// perBatch is how many events share a commit of a catch-up, on both sides.
const perBatch = 4000

// perTaking is how many events share a commit where filling the log is not what
// is measured.
const perTaking = 32000

// told is the invented shop's events a batch at a time, for shops that are too
// large for memory.
func told(b *testing.B, story *demo.Story) iter.Seq[[]events.Event] {
	return func(yield func([]events.Event) bool) {
		batch := make([]events.Event, 0, perTaking)
		for a, err := range story.Actions() {
			if err != nil {
				b.Fatal(err)
			}
			for _, e := range a.Events {
				if batch = append(batch, e); len(batch) < perTaking {
					continue
				}
				if !yield(batch) {
					return
				}
				batch = batch[:0]
			}
		}
		if len(batch) > 0 {
			yield(batch)
		}
	}
}

func fill(b *testing.B, l *eventlog.Log, all []events.Event) {
	b.Helper()
	take(b, l, slices.Chunk(all, perBatch))
}

// take has the log take events in, batch by batch, and counts them.
func take(b *testing.B, l *eventlog.Log, batches iter.Seq[[]events.Event]) (n int) {
	b.Helper()
	for part := range batches {
		err := l.Append(context.Background(), func(tx *eventlog.Tx) error {
			for _, e := range part {
				if err := tx.Take(e); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		n += len(part)
	}
	return n
}

func fillPeer(b *testing.B, p *peer, all []events.Event) {
	b.Helper()
	feeds := map[events.FeedID]int{}
	for part := range slices.Chunk(all, perBatch) {
		a, err := p.begin(feeds)
		if err != nil {
			b.Fatal(err)
		}
		for _, e := range part {
			if err := a.add(e); err != nil {
				b.Fatal(err)
			}
		}
		if err := a.commit(); err != nil {
			b.Fatal(err)
		}
	}
}

// both are the two sides with all events in.
func both(b *testing.B, story *demo.Story, all []events.Event) (*eventlog.Log, *peer) {
	b.Helper()
	l, _ := open(b, story, events.BenchKey{})
	fill(b, l, all)
	p, err := openPeer(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	fillPeer(b, p, all)
	return l, p
}

func timed(fn func()) time.Duration {
	start := time.Now()
	fn()
	return time.Since(start)
}

func median(ds []time.Duration) time.Duration {
	slices.Sort(ds)
	return ds[len(ds)/2]
}

func at99(ds []time.Duration) time.Duration {
	slices.Sort(ds)
	return ds[len(ds)*99/100]
}

// row prints one line of the table of figures.
func row(what string, ours, theirs any, ratio float64, goal string) {
	fmt.Printf("%-46s %16v %16v %8.2f  %s\n", what, ours, theirs, ratio, goal)
}

func TestMain(m *testing.M) {
	flag.Parse()
	fmt.Printf("%-46s %16s %16s %8s  %s\n", "figure", "ours", "peer", "ratio", "goal")
	os.Exit(m.Run())
}

// onTheBenches is how many units a shop of some benches has in work at once.
const onTheBenches = 60

// A durable append: one fact, its unit's history, the tallies and lookups, in
// one synced batch.
func BenchmarkAppend(b *testing.B) {
	story, all := corpus(b)
	bench := story.Benches()[0]
	l, _ := open(b, story, bench.Key)
	fill(b, l, all)
	p, err := openPeer(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	fillPeer(b, p, all)
	raw, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	if err != nil {
		b.Fatal(err)
	}
	defer raw.Close()
	ids := unitsOf(all)
	ids = ids[len(ids)-onTheBenches:] // what is written down is about units that stand on the benches
	page := make([]byte, 4096)
	var rawTimes, ours, theirs []time.Duration
	const rounds = 2000
	for b.Loop() {
		for i := range rounds {
			unit := ids[i*7919%len(ids)]
			rawTimes = append(rawTimes, timed(func() {
				if _, err := raw.Write(page); err != nil {
					b.Fatal(err)
				}
				if err := datasync(raw); err != nil {
					b.Fatal(err)
				}
			}))
			draft := events.Draft{About: unit, At: events.AtTime(time.Now()), Body: events.FaultFound{Component: "filter-capacitor", Mode: "leaky", Text: "filter caps leaky"}}
			ours = append(ours, timed(func() {
				err := l.Append(context.Background(), func(tx *eventlog.Tx) error {
					_, err := tx.Add(draft)
					return err
				})
				if err != nil {
					b.Fatal(err)
				}
			}))
			theirs = append(theirs, timed(func() { appendPeer(b, p, all[len(all)-1], i) }))
		}
	}
	row("durable append, p50, beside a raw 4 KiB sync", median(ours), median(rawTimes), float64(median(ours))/float64(median(rawTimes)), "<= 1.2")
	row("durable append, p50, beside SQLite", median(ours), median(theirs), float64(median(ours))/float64(median(theirs)), "")
	row("durable append, p99, beside a raw 4 KiB sync", at99(ours), at99(rawTimes), float64(at99(ours))/float64(at99(rawTimes)), "")
}

// appendPeer adds one event to the peer in a transaction of its own.
func appendPeer(b *testing.B, p *peer, like events.Event, i int) {
	a, err := p.begin(map[events.FeedID]int{like.Feed: 1 << 20})
	if err != nil {
		b.Fatal(err)
	}
	like.Seq, like.Kind = uint64(1<<30+i+time.Now().Nanosecond()*4096), events.KindNote
	if err := a.add(like); err != nil {
		b.Fatal(err)
	}
	if err := a.commit(); err != nil {
		b.Fatal(err)
	}
}

func unitsOf(all []events.Event) (ids []events.UnitID) {
	for _, e := range all {
		if e.Kind == events.KindReceived && e.About == [16]byte(e.ID) {
			ids = append(ids, e.Unit())
		}
	}
	return ids
}

// Catching up: a whole shop into an empty bench, linked, projected, durable.
func BenchmarkCatchUp(b *testing.B) {
	story, all := corpus(b)
	var ours, theirs []time.Duration
	for b.Loop() {
		l, dir := open(b, story, events.BenchKey{})
		ours = append(ours, timed(func() { fill(b, l, all) }))
		peerDir := b.TempDir()
		p, err := openPeer(peerDir)
		if err != nil {
			b.Fatal(err)
		}
		theirs = append(theirs, timed(func() { fillPeer(b, p, all) }))
		if err := l.Close(); err != nil {
			b.Fatal(err)
		}
		row("bytes on disk an event, as left", size(b, dir)/len(all), size(b, peerDir)/len(all), float64(size(b, dir))/float64(size(b, peerDir)), "<= 160 bytes")
	}
	rate := func(d time.Duration) string { return fmt.Sprintf("%.0f/s", float64(len(all))/d.Seconds()) }
	row(fmt.Sprintf("catch-up of %d events", len(all)), rate(median(ours)), rate(median(theirs)), float64(median(theirs))/float64(median(ours)), ">= 5")
}

func size(b *testing.B, dir string) (n int) {
	err := filepath.Walk(dir, func(_ string, i os.FileInfo, err error) error {
		if err == nil && !i.IsDir() {
			n += int(i.Size())
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return n
}

// Making all projections anew; beside it, the peer's indexes and counts made
// anew from its events.
func BenchmarkRebuild(b *testing.B) {
	story, all := corpus(b)
	l, p := both(b, story, all)
	var ours, theirs []time.Duration
	for b.Loop() {
		ours = append(ours, timed(func() {
			if err := projections.RebuildStore(l); err != nil {
				b.Fatal(err)
			}
		}))
		theirs = append(theirs, timed(func() {
			for _, text := range []string{"REINDEX", "DELETE FROM models", "INSERT INTO models SELECT maker, model, COUNT(*) FROM unit GROUP BY maker, model"} {
				if _, err := p.db.Exec(text); err != nil {
					b.Fatal(err)
				}
			}
		}))
	}
	rate := func(d time.Duration) string { return fmt.Sprintf("%.0f/s", float64(len(all))/d.Seconds()) }
	row("rebuild of all projections", rate(median(ours)), rate(median(theirs)), float64(median(theirs))/float64(median(ours)), ">= 1M/s")
}

// A unit's whole past by its id.
func BenchmarkPast(b *testing.B) {
	story, all := corpus(b)
	l, p := both(b, story, all)
	v, err := l.View()
	if err != nil {
		b.Fatal(err)
	}
	defer v.Close()
	ids := unitsOf(all)
	query, err := p.db.Prepare("SELECT id, kind, day, record FROM event WHERE unit = ? ORDER BY day, id")
	if err != nil {
		b.Fatal(err)
	}
	var ours, theirs []time.Duration
	for b.Loop() {
		for i := range 5000 {
			unit := ids[i*7919%len(ids)]
			ours = append(ours, timed(func() {
				if h, err := projections.Load(v, unit); err != nil || h == nil {
					b.Fatalf("unit %s: %v %v", unit, h, err)
				}
			}))
			theirs = append(theirs, timed(func() {
				rows, err := query.Query(unit[:])
				if err != nil {
					b.Fatal(err)
				}
				var id, record []byte
				var kind, day int
				for rows.Next() {
					if err := rows.Scan(&id, &kind, &day, &record); err != nil {
						b.Fatal(err)
					}
				}
				if err := rows.Close(); err != nil {
					b.Fatal(err)
				}
			}))
		}
	}
	row("a unit's past, p50", median(ours), median(theirs), float64(median(ours))/float64(median(theirs)), "<= 10 µs")
}
