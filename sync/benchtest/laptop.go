package benchtest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/replicate"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/roster"

	"github.com/cockroachdb/pebble/v2/vfs"
)

var noEnd = context.Background()

// Laptop is one bench of the shop, or a copy of one.
type Laptop struct {
	Name  string
	Key   events.BenchKey
	ID    events.BenchID
	Disk  *vfs.MemFS
	Log   *eventlog.Log
	Bench *replicate.Bench
	Acked map[events.Hash]bool // of its own, that its disk must hold

	shop    events.ShopID
	most    int           // events held at most; zero is more than there are
	clock   time.Time     // on the wall
	since   time.Duration // on a clock that nobody sets
	random  io.Reader
	witness string // file of the witness; empty for none
	boot    int    // starts of the machine
	newer   bool   // it runs a newer program, which writes what this one can't read
	copies  []diskCopy
	trap    *trap

	at      *Model                     // the exchange it is connected to; nil for none
	next    uint64                     // the message of it that it reads next
	away    int                        // offline until this step
	unclear map[events.FeedID]bool     // of which it does not know whether a message was stored
	retired bool                       // an owner ended it
	seen    map[eventlog.Branch]uint64 // how far its log was looked at
	roster  roster.Roster              // and what its roster was then
}

// diskCopy is a disk as it once was, and what it must hold.
type diskCopy struct {
	disk    *vfs.MemFS
	acked   map[events.Hash]bool
	witness []byte
	boot    int
}

func (l *Laptop) now() int64 {
	if planted.Bug("pauses by the clock on the wall") {
		return l.clock.UnixMilli()
	}
	return l.since.Milliseconds()
}

func (l *Laptop) online() bool { return l.at != nil }

// pass lets time pass on the laptop.
func (l *Laptop) pass(d time.Duration) { l.clock, l.since = l.clock.Add(d), l.since+d }

// open starts the program on the laptop's disk.
func (l *Laptop) open() error {
	l.trap.sprung() // how often opening syncs is the store's affair
	o := eventlog.Options{Dir: "log", FS: l.trap.watched(l.Disk), Shop: l.shop, Key: l.Key, Create: true, Software: "oldhand test",
		Now: func() time.Time { return l.clock }, Random: l.random}
	if l.witness != "" {
		o.Witness, o.Boot = l.witness, fmt.Sprint("boot ", l.boot)
	}
	log, err := eventlog.Open(o)
	if err != nil {
		return fmt.Errorf("%s: %w", l.Name, err)
	}
	l.Log, l.at, l.seen = log, nil, map[eventlog.Branch]uint64{}
	if l.Bench, err = replicate.NewBench(replicate.OnLog(log), l.shop, l.Key, l.random); err == nil {
		l.Bench.HoldMost(l.most)
	}
	return err
}

// act writes events as a person would, one action, and gives them.
func (l *Laptop) act(drafts ...events.Draft) (evs []events.Event, err error) {
	before := l.branches()
	err = l.Log.Append(noEnd, func(tx *eventlog.Tx) error {
		for _, d := range drafts {
			if _, err := tx.Add(d); err != nil {
				return err
			}
		}
		return nil
	})
	if errors.Is(err, eventlog.ErrReadOnly) {
		return nil, nil // it heard that it was retired, and says so to who works there
	}
	if err != nil {
		return nil, err
	}
	for b, r := range l.branches() {
		if b.Feed.Bench != l.ID || r == before[b] {
			continue
		}
		err = errors.Join(err, l.each(b, before[b].Head.Seq, func(e events.Event) {
			l.Acked[e.Hash] = true
			evs = append(evs, e)
		}))
	}
	return evs, err
}

// branches are how far each branch of each feed goes in the log.
func (l *Laptop) branches() map[eventlog.Branch]eventlog.Reach {
	have := map[eventlog.Branch]eventlog.Reach{}
	for _, r := range l.Log.Branches() {
		have[r.Branch] = r
	}
	return have
}

// has reports whether an event is in the log.
func (l *Laptop) has(h events.Head) bool {
	_, ok, err := replicate.OnLog(l.Log).Find(h)
	return ok && err == nil
}

// each calls fn with a branch's own events behind a number.
func (l *Laptop) each(b eventlog.Branch, after uint64, fn func(events.Event)) error {
	v, err := l.Log.View()
	if err != nil {
		return err
	}
	defer v.Close()
	return v.BranchEvents(b, after, func(e events.Event) (bool, error) {
		fn(e)
		return true, nil
	})
}

// crash pulls the plug: of what was not synced a share is kept. The machine is
// started anew.
func (l *Laptop) crash(rng *rand.Rand, percent int) error {
	disk := l.Disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rng})
	err := l.Log.Close()
	l.Disk = disk
	l.boot++
	return errors.Join(err, l.open())
}

// cut lets a power cut have come while the laptop did something, if the trap was
// sprung.
func (l *Laptop) cut() (bool, error) {
	disk := l.trap.sprung()
	if disk == nil {
		return false, nil
	}
	err := l.Log.Close()
	l.Disk, l.Acked = disk, l.trap.acked
	l.boot++
	return true, errors.Join(err, l.open())
}

// restart ends the program and starts it again, on a machine that goes on.
func (l *Laptop) restart() error { return errors.Join(l.Log.Close(), l.open()) }

// backUp keeps a copy of the disk as a crash would leave it.
func (l *Laptop) backUp() {
	c := diskCopy{disk: l.Disk.CrashClone(vfs.CrashCloneCfg{}), acked: maps.Clone(l.Acked), boot: l.boot}
	if l.witness != "" {
		c.witness, _ = os.ReadFile(l.witness) // there is none before the first event
	}
	l.copies = append(l.copies, c)
}

// putBack starts the laptop from an older copy of its disk. With its memory, as
// a machine that is put back while it runs, it believes that nothing happened.
func (l *Laptop) putBack(i int, memory bool) error {
	err := l.Log.Close()
	c := l.copies[i]
	l.Disk = c.disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: 100, RNG: rand.New(rand.NewPCG(1, 1))})
	l.Acked = maps.Clone(c.acked)
	l.boot++
	if (memory || planted.Bug("a feed is gone on with after a restore")) && c.witness != nil {
		l.boot = c.boot
		err = errors.Join(err, os.WriteFile(l.witness, c.witness, 0o600))
	}
	return errors.Join(err, l.open())
}

// holds checks that what was acked is on the disk (P1).
func (l *Laptop) holds() error {
	missing, err := len(l.Acked), error(nil)
	for b := range l.branches() {
		err = errors.Join(err, l.each(b, 0, func(e events.Event) {
			if l.Acked[e.Hash] {
				missing--
			}
		}))
	}
	if err == nil && missing > 0 {
		err = fmt.Errorf("%s lost %d of %d events that were saved", l.Name, missing, len(l.Acked))
	}
	return err
}

// clone is another machine with a copy of the laptop's disk and its key. With the
// laptop's memory it believes to be that.
func (l *Laptop) clone(name, folder string, random io.Reader, memory bool) (*Laptop, error) {
	c := *l
	c.trap = &trap{}
	c.Name, c.random, c.copies, c.Acked = name, random, nil, maps.Clone(l.Acked)
	c.Disk = l.Disk.CrashClone(vfs.CrashCloneCfg{})
	c.boot = 1000
	if l.witness != "" {
		c.witness = filepath.Join(folder, name)
	}
	if seen, err := os.ReadFile(l.witness); memory && err == nil {
		c.boot = l.boot
		if err := os.WriteFile(c.witness, seen, 0o600); err != nil {
			return nil, err
		}
	}
	return &c, c.open()
}

// seeded is randomness of its own for each purpose.
func seeded(seed uint64, n int) io.Reader { return eventstest.Seeded(seed*1000 + uint64(n)) }
