package eventlog_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// before lets fn look at the disk before each operation that changes it.
func before(fs vfs.FS, fn func(op errorfs.Op)) vfs.FS {
	return eventstest.Watched(fs, func(op errorfs.Op) {
		if op.Kind.ReadOrWrite() == errorfs.OpIsWrite {
			fn(op)
		}
	})
}

// crash is the disk as a crash at one operation left it, and what had been
// acked by then.
type crash struct {
	disk    *vfs.MemFS
	acked   []action
	at      int
	percent int
	op      string
}

// sweep runs a script and hands on the disk as a crash before each of its
// operations would leave it, with none to all of what was not synced.
// It gives the number of operations.
func sweep(fs *vfs.MemFS, seed uint64, a *acks, out chan<- crash, script func(vfs.FS) error) (ops int, err error) {
	var mu sync.Mutex
	err = script(before(fs, func(op errorfs.Op) {
		mu.Lock()
		defer mu.Unlock()
		ops++
		for _, percent := range []int{0, 50, 100} {
			acked := a.list() // before the disk is copied: what is acked later may not be on it
			rng := rand.New(rand.NewPCG(seed, uint64(ops<<8+percent)))
			disk := fs.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rng})
			out <- crash{disk, acked, ops, percent, fmt.Sprintf("%v %s", op.Kind, op.Path)}
		}
	}))
	return ops, err
}

// recovers opens the disk of a crash as any start does, checks it, and writes on.
func (c crash) recovers(b *eventstest.Bench) error {
	l, err := eventlog.Open(eventlog.Tiny(b.Options(c.disk, "log")))
	if err != nil {
		return fmt.Errorf("open: %w", err)
	}
	defer l.Close()
	if err := l.Err(); err != nil {
		return fmt.Errorf("opened, but: %w", err)
	}
	if err := sound(l, c.acked); err != nil {
		return err
	}
	more := acks{made: c.acked}
	if err := more.save(l, "after the crash"); err != nil {
		return fmt.Errorf("write on: %w", err)
	}
	return sound(l, more.list())
}

// checkAll checks crashes on as many goroutines as the machine has use for.
func checkAll(t *testing.T, b *eventstest.Bench, run func(out chan<- crash)) {
	t.Helper()
	out := make(chan crash, 64)
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			for c := range out {
				if err := c.recovers(b); err != nil {
					t.Errorf("crash before operation %d (%s) with %d %% of what was not synced, %d actions acked: %v",
						c.at, c.op, c.percent, len(c.acked), err)
				}
			}
		})
	}
	run(out)
	close(out)
	wg.Wait()
}

// work is the script of the sweeps: two sessions with several actions each, of
// which some flush, and a compaction. The second writes every other action as
// tables.
func work(t *testing.T, b *eventstest.Bench, a *acks, actions int) func(vfs.FS) error {
	return func(fs vfs.FS) error {
		for session := range 2 {
			l, err := eventlog.Open(eventlog.Tiny(b.Options(fs, "log")))
			if err != nil {
				return err
			}
			for i := range actions {
				if session == 1 {
					l.WriteTables(i%2 == 0)
				}
				if err := a.save(l, long(fmt.Sprintf("s%d-%d", session, i))); err != nil {
					return err
				}
			}
			if session == 1 {
				if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
					return err
				}
			}
			if err := l.Close(); err != nil {
				return err
			}
		}
		return nil
	}
}

// Every crash point of a script, opening and closing with it: reopening needs
// no repair, what was acked is there, and each action is whole or absent.
func TestF01_CrashAtEveryDiskOperation_P1_P3(t *testing.T) {
	b := eventstest.FoundShop(t, 40).Bench(t, 1)
	actions := 26
	if testing.Short() {
		actions = 3
	}
	checkAll(t, b, func(out chan<- crash) {
		var a acks
		ops, err := sweep(vfs.NewCrashableMem(), 40, &a, out, work(t, b, &a, actions))
		if err != nil {
			t.Fatal(err)
		}
		if ops < 100 || len(a.list()) != 2*actions {
			t.Fatalf("the script made %d operations and saved %d actions: too little to mean anything", ops, len(a.list()))
		}
		t.Logf("%d crash points", ops)
	})
}

// The same while a crash is being recovered from: the log is full of what was
// not flushed when the second crash comes.
func TestF01_CrashWhileOpeningAfterACrash_P1_P3(t *testing.T) {
	b := eventstest.FoundShop(t, 41).Bench(t, 1)
	fs := vfs.NewCrashableMem()
	var a acks
	l := eventstest.Open(t, eventlog.Tiny(b.Options(fs, "log")))
	for i := range 9 {
		if err := a.save(l, long(fmt.Sprintf("a%d", i))); err != nil {
			t.Fatal(err)
		}
	}
	for _, percent := range []int{0, 100} {
		disk := fs.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rand.New(rand.NewPCG(1, 2))})
		checkAll(t, b, func(out chan<- crash) {
			mine := acks{made: a.list()}
			_, err := sweep(disk, 41, &mine, out, func(fs vfs.FS) error {
				l, err := eventlog.Open(eventlog.Tiny(b.Options(fs, "log")))
				if err != nil {
					return err
				}
				return errors.Join(mine.save(l, "after the first crash"), l.Close())
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
}

// Power is lost at a random moment, with a random share of what was not
// synced, again and again on the same disk.
func TestF02_PowerLossAgainAndAgain_P1_P3(t *testing.T) {
	runs := 25
	if testing.Short() {
		runs = 4
	}
	for seed := range uint64(runs) {
		if err := powerLosses(t, seed); err != nil {
			t.Errorf("seed %d: %v", seed, err)
		}
	}
}

func powerLosses(t *testing.T, seed uint64) error {
	rng := rand.New(rand.NewPCG(seed, 2))
	b := eventstest.FoundShop(t, seed).Bench(t, 1)
	fs := vfs.NewCrashableMem()
	var a acks
	for life := range 6 {
		lost := make(chan crash, 1)
		var mu sync.Mutex
		left := rng.IntN(150)
		script := before(fs, func(op errorfs.Op) {
			mu.Lock()
			defer mu.Unlock()
			if left--; left == 0 {
				acked := a.list()
				cfg := vfs.CrashCloneCfg{UnsyncedDataPercent: rng.IntN(101), RNG: rand.New(rand.NewPCG(seed, uint64(life)))}
				lost <- crash{disk: fs.CrashClone(cfg), acked: acked}
			}
		})
		l, err := eventlog.Open(eventlog.Tiny(b.Options(script, "log")))
		if err != nil {
			return fmt.Errorf("life %d: open: %w", life, err)
		}
		if err := sound(l, a.list()); err != nil {
			return fmt.Errorf("life %d: %w", life, err)
		}
		for i := 0; len(lost) == 0 && i < 40; i++ {
			if err := a.save(l, long(fmt.Sprintf("life%d-%d", life, i))); err != nil {
				return err
			}
		}
		if err := l.Close(); err != nil {
			return err
		}
		if len(lost) > 0 {
			c := <-lost
			fs, a.made = c.disk, c.acked
		}
	}
	return crash{disk: fs, acked: a.list()}.recovers(b)
}
