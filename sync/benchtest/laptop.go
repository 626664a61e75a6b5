package benchtest

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/replicate"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// Laptop is one bench of the shop.
type Laptop struct {
	Name  string
	Key   events.BenchKey
	ID    events.BenchID
	Disk  *vfs.MemFS
	Log   *eventlog.Log
	Bench *replicate.Bench
	Acked map[events.Hash]bool // of its own, that its disk must hold

	shop   events.ShopID
	clock  time.Time     // on the wall
	since  time.Duration // on a clock that nobody sets
	random io.Reader
	online bool
	next   uint64 // the message of the exchange that it reads next
	copies []diskCopy
}

// diskCopy is a disk as it once was, and what it must hold.
type diskCopy struct {
	disk  *vfs.MemFS
	acked map[events.Hash]bool
}

func (l *Laptop) now() int64 { return l.since.Milliseconds() }

// pass lets time pass on the laptop.
func (l *Laptop) pass(d time.Duration) { l.clock, l.since = l.clock.Add(d), l.since+d }

// open starts the program on the laptop's disk.
func (l *Laptop) open() error {
	log, err := eventlog.Open(eventlog.Options{Dir: "log", FS: l.Disk, Shop: l.shop, Key: l.Key, Create: true, Software: "oldhand test",
		Now: func() time.Time { return l.clock }, Random: l.random})
	if err != nil {
		return fmt.Errorf("%s: %w", l.Name, err)
	}
	l.Log, l.online = log, false
	l.Bench, err = replicate.NewBench(replicate.OnLog(log), l.shop, l.Key, l.random)
	return err
}

// act writes events as a person would, one action.
func (l *Laptop) act(drafts ...events.Draft) error {
	before := map[events.FeedID]uint64{}
	for _, h := range l.Log.Heads() {
		before[h.Feed] = h.Seq
	}
	err := l.Log.Append(noEnd, func(tx *eventlog.Tx) error {
		for _, d := range drafts {
			if _, err := tx.Add(d); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	v, err := l.Log.View()
	if err != nil {
		return err
	}
	defer v.Close()
	for _, h := range l.Log.Heads() {
		if h.Feed.Bench != l.ID {
			continue
		}
		err = errors.Join(err, v.Feed(h.Feed, before[h.Feed], func(e events.Event) (bool, error) {
			l.Acked[e.Hash] = true
			return true, nil
		}))
	}
	return err
}

// crash pulls the plug: of what was not synced a share is kept.
func (l *Laptop) crash(rng *rand.Rand, percent int) error {
	disk := l.Disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rng})
	err := l.Log.Close()
	l.Disk = disk
	return errors.Join(err, l.open())
}

// backUp keeps a copy of the disk as a crash would leave it.
func (l *Laptop) backUp() {
	acked := map[events.Hash]bool{}
	for h := range l.Acked {
		acked[h] = true
	}
	l.copies = append(l.copies, diskCopy{l.Disk.CrashClone(vfs.CrashCloneCfg{}), acked})
}

// putBack starts the laptop from an older copy of its disk.
func (l *Laptop) putBack(i int) error {
	err := l.Log.Close()
	c := l.copies[i]
	l.Disk = c.disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: 100, RNG: rand.New(rand.NewPCG(1, 1))})
	l.Acked = map[events.Hash]bool{}
	for h := range c.acked {
		l.Acked[h] = true
	}
	return errors.Join(err, l.open())
}

// holds checks that what was acked is on the disk (P1).
func (l *Laptop) holds() error {
	v, err := l.Log.View()
	if err != nil {
		return err
	}
	defer v.Close()
	missing := len(l.Acked)
	for _, h := range l.Log.Heads() {
		err = errors.Join(err, v.Feed(h.Feed, 0, func(e events.Event) (bool, error) {
			if l.Acked[e.Hash] {
				missing--
			}
			return true, nil
		}))
	}
	if err == nil && missing > 0 {
		err = fmt.Errorf("%s lost %d of %d events that were saved", l.Name, missing, len(l.Acked))
	}
	return err
}

// seeded is randomness of its own for each purpose.
func seeded(seed uint64, n int) io.Reader { return eventstest.Seeded(seed*1000 + uint64(n)) }
