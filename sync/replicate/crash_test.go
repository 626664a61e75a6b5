package replicate_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/benchtest"
	"oldhand/sync/replicate"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// scripts are what a bench reads of an exchange while its machine may stop at
// any operation of its disk. Numbers are parts of a feed; others say what else
// is there.
var scripts = map[string][]string{
	"in order":                 {"1", "2", "3"},
	"a gap that is filled":     {"1", "3", "2", "4"},
	"the beginning comes last": {"4", "3", "2", "1"},
	"litter between":           {"1", "litter", "2", "litter"},
	"another branch":           {"1", "2", "branch", "3"},
	"a key that comes late":    {"1", "sealed", "key", "2"},
	"all twice":                {"1", "2", "1", "2", "3", "3"},
}

// exchangeOf puts a script's messages into an exchange, and gives the head that
// they lead to.
func exchangeOf(s *shop, script []string) (*benchtest.Model, events.Head) {
	a := s.desks[0]
	f := a.note("p0").Feed
	parts := map[string][]byte{"litter": []byte("somebody's litter")}
	n := a.has(f).Seq
	for i := range 4 {
		a.note(fmt.Sprint("part ", i+1))
		from := n + uint64(i)
		if i == 0 {
			from = 0
		}
		parts[fmt.Sprint(i+1)] = s.sealed(a.key, a.run(f)[from:n+uint64(i)+1])
	}
	evs := a.run(f)
	parts["branch"] = s.sealed(a.key, []events.Event{forge(evs[n].Head(), "theirs")})
	a.restart() // the key stands on a feed of its own
	set := a.rekey(2)
	parts["key"] = a.seal(set.Feed, 0)
	a.restart()
	parts["sealed"] = a.seal(a.note("sealed").Feed, 0)
	x := benchtest.NewModel("A")
	var want events.Head
	for _, name := range script {
		last, _ := x.Last(f)
		x.Publish(f, last.Number, parts[name])
		if name >= "1" && name <= "4" {
			if at := evs[n+uint64(name[0]-'1')].Head(); at.Seq > want.Seq {
				want = at
			}
		}
	}
	return x, want
}

// before lets fn look at the disk before each operation that changes it.
func before(fs vfs.FS, fn func(op errorfs.Op)) vfs.FS {
	return errorfs.Wrap(fs, errorfs.InjectorFunc(func(op errorfs.Op) error {
		if op.Kind.ReadOrWrite() == errorfs.OpIsWrite {
			fn(op)
		}
		return nil
	}))
}

// crash is a disk as a stop of the machine left it.
type crash struct {
	disk *vfs.MemFS
	read uint64 // the message that had been dealt with by then
	at   string
}

// TestF01_ACrashAtEveryDiskOperationOfReading_P1_P8 stops the machine at each
// operation with none, some and all of what was not synced, starts it again and
// lets it read on.
func TestF01_ACrashAtEveryDiskOperationOfReading_P1_P8(t *testing.T) {
	for name, script := range scripts {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, 60, 2)
			x, want := exchangeOf(s, script)
			points := crashes(t, s, x)
			if len(points) < 3*len(script) {
				t.Fatalf("%d crash points: too few to mean anything", len(points))
			}
			for _, c := range points {
				if err := c.goesOn(s, x, want, slices.Contains(script, "branch")); err != nil {
					t.Errorf("crash before %s: %v", c.at, err)
				}
			}
		})
	}
}

// crashes lets a bench read all of an exchange and gives its disk at each
// operation.
func crashes(t *testing.T, s *shop, x *benchtest.Model) (points []crash) {
	t.Helper()
	b := s.desks[1]
	var mu sync.Mutex
	read, ops := uint64(0), 0
	fs := before(b.disk, func(op errorfs.Op) {
		mu.Lock()
		defer mu.Unlock()
		ops++
		for _, percent := range []int{0, 50, 100} {
			disk := b.disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rand.New(rand.NewPCG(uint64(ops), 1))})
			points = append(points, crash{disk, read, fmt.Sprintf("operation %d (%v %s) with %d %% of what was not synced", ops, op.Kind, op.Path, percent)})
		}
	})
	b.ok(b.log.Close())
	log, bench, err := start(s, fs)
	b.ok(err)
	_, err = bench.Meet(x.State(), 0)
	b.ok(err)
	for _, m := range x.Messages {
		_, err := bench.Message(m, 0)
		b.ok(err)
		mu.Lock()
		read = m.Number
		mu.Unlock()
	}
	b.ok(log.Close())
	b.open()
	return points
}

func start(s *shop, fs vfs.FS) (*eventlog.Log, *replicate.Bench, error) {
	b := s.desks[1]
	log, err := eventlog.Open(eventlog.Options{Dir: "log", FS: fs, Shop: s.id, Key: b.key, Random: eventstest.Seeded(77)})
	if err != nil {
		return nil, nil, err
	}
	bench, err := replicate.NewBench(replicate.OnLog(log), s.id, b.key, eventstest.Seeded(78))
	return log, bench, err
}

// goesOn starts the machine again: what was dealt with is there, no mark claims
// more than the log has, and reading on gives all.
func (c crash) goesOn(s *shop, x *benchtest.Model, want events.Head, branch bool) (err error) {
	log, bench, err := start(s, c.disk)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, log.Close()) }()
	at, err := bench.Cursor(x.Epoch)
	if err != nil {
		return err
	}
	if at.Message < c.read {
		return fmt.Errorf("read to %d before, and to %d after", c.read, at.Message)
	}
	if err := bench.Check(); err != nil {
		return err
	}
	if _, err = bench.Meet(x.State(), 0); err != nil {
		return err
	}
	for m, ok := x.From(at.Message + 1); ok; m, ok = x.From(m.Number + 1) {
		if _, err := bench.Message(m, 0); err != nil {
			return err
		}
	}
	_, ok, err := replicate.OnLog(log).Find(want)
	if err == nil && !ok {
		err = fmt.Errorf("event %d is not here", want.Seq)
	}
	if n := len(log.Forks()); err == nil && (n == 1) != branch {
		err = fmt.Errorf("%d other branches", n)
	}
	return errors.Join(err, bench.Check())
}
