package eventlog_test

import (
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// isSync reports whether an operation makes a file durable.
func isSync(op errorfs.Op) bool {
	return op.Kind == errorfs.OpFileSync || op.Kind == errorfs.OpFileSyncData || op.Kind == errorfs.OpFileSyncTo
}

func isWAL(op errorfs.Op) bool { return strings.HasSuffix(op.Path, ".log") }

// gate holds back syncs of the write-ahead log while it is shut, and counts
// those that passed.
type gate struct {
	mu      sync.Mutex
	syncs   atomic.Int64
	waiting atomic.Int64
}

// pass waits until the gate is open.
func (g *gate) pass() {
	g.mu.Lock()
	defer g.mu.Unlock()
}

func (g *gate) over(fs vfs.FS) vfs.FS {
	return errorfs.Wrap(fs, errorfs.InjectorFunc(func(op errorfs.Op) error {
		if isSync(op) && isWAL(op) {
			g.waiting.Add(1)
			g.pass()
			g.waiting.Add(-1)
			g.syncs.Add(1)
		}
		return nil
	}))
}

func TestP2_NothingIsSeenBeforeItIsOnDisk(t *testing.T) {
	var g gate
	b := eventstest.FoundShop(t, 30).Bench(t, 1)
	l := eventstest.Open(t, b.Options(g.over(vfs.NewCrashableMem()), "log"))
	var a acks
	if err := a.save(l, "first"); err != nil {
		t.Fatal(err)
	}

	g.mu.Lock()
	saved := make(chan error, 1) // answered once the gate is open
	go func() {
		saved <- l.Append(bg, func(tx *eventlog.Tx) error {
			tx.Put([]byte("row"), []byte("second"))
			_, err := eventstest.AddNotes(tx, unit, "second", noteSize)
			return err
		})
	}()
	for deadline := time.Now().Add(10 * time.Second); g.waiting.Load() == 0; yield() {
		if time.Now().After(deadline) {
			t.Fatal("the action is never synced")
		}
	}
	// The action stands in the engine's memory, and its sync is under way.
	if n := len(eventstest.All(t, l)); n != 1+noteSize {
		t.Errorf("before the sync %d events are read, want %d", n, 1+noteSize)
	}
	if got := view(t, l, "row"); got != nil {
		t.Errorf("before the sync the view is %q", got)
	}
	if h := l.Heads()[0]; h.Seq != 1+noteSize {
		t.Errorf("before the sync the head is %d", h.Seq)
	}
	if s, err := l.SignedHeads(); err != nil || s[0].Seq != 1+noteSize {
		t.Errorf("before the sync head %d is signed (%v)", s[0].Seq, err)
	}
	wantSubjectCount(t, l, noteSize)
	select {
	case err := <-saved:
		t.Errorf("answered before the sync: %v", err)
	default:
	}

	g.mu.Unlock()
	if err := <-saved; err != nil {
		t.Fatal(err)
	}
	if got := view(t, l, "row"); string(got) != "second" {
		t.Errorf("after the sync the view is %q", got)
	}
	wantSubjectCount(t, l, 2*noteSize)
	mustSound(t, l, a.list())
}

func wantSubjectCount(t *testing.T, l *eventlog.Log, want int) {
	t.Helper()
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	evs, err := v.Events(unit)
	if err != nil || len(evs) != want {
		t.Errorf("the unit has %d events (%v), want %d", len(evs), err, want)
	}
}

// A view stays as it was, whatever is saved after it.
func TestViewIsOfOneCommit(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 31)
	var a acks
	if err := a.save(l, "first"); err != nil {
		t.Fatal(err)
	}
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	feed := l.Heads()[0].Feed
	for i := range 5 {
		if err := a.save(l, fmt.Sprintf("later%d", i)); err != nil {
			t.Fatal(err)
		}
		if n := len(eventstest.Feed(t, v, feed)); n != 1+noteSize {
			t.Fatalf("an old view reads %d events", n)
		}
		// A scrub of it holds the view's events to the view's heads.
		if s, err := v.Scrub(nil); err != nil || s.Events != 1+noteSize {
			t.Fatalf("scrub of an old view: %d events, %v", s.Events, err)
		}
	}
}

func TestP2_ManyWritersShareSyncsAndAllAreSaved(t *testing.T) {
	const writers, each = 24, 12
	var g gate
	b := eventstest.FoundShop(t, 32).Bench(t, 1)
	l := eventstest.Open(t, b.Options(g.over(vfs.NewCrashableMem()), "log"))
	before := g.syncs.Load()
	var a acks
	var wg sync.WaitGroup
	stop := make(chan struct{})
	wg.Go(func() { readMeanwhile(t, l, stop) })
	g.mu.Lock() // the first of them is synced once all others wait for it
	var writing sync.WaitGroup
	for w := range writers {
		writing.Go(func() {
			for i := range each {
				if err := a.save(l, fmt.Sprintf("w%d-%d", w, i)); err != nil {
					t.Error(err)
				}
			}
		})
		eventually(t, "the first is synced", func() bool { return g.waiting.Load() > 0 })
	}
	eventually(t, "all others wait for the first", func() bool { return l.Waiting() == writers-1 })
	g.mu.Unlock()
	writing.Wait()
	close(stop)
	wg.Wait()
	mustSound(t, l, a.list())
	if n := len(eventstest.All(t, l)); n != 1+writers*each*noteSize {
		t.Errorf("%d events, want %d", n, 1+writers*each*noteSize)
	}
	if syncs := g.syncs.Load() - before; syncs > writers*each-writers+2 {
		t.Errorf("%d actions took %d syncs", writers*each, syncs)
	}
}

// readMeanwhile checks views and scrubs while others write.
func readMeanwhile(t *testing.T, l *eventlog.Log, stop chan struct{}) {
	last := 0
	for {
		select {
		case <-stop:
			return
		default:
		}
		evs, err := countAll(l)
		if err != nil {
			t.Errorf("while others write: %v", err)
			return
		}
		if evs < last || evs > 0 && (evs-1)%noteSize != 0 {
			t.Errorf("a view has %d events after one had %d", evs, last)
			return
		}
		last = evs
	}
}

func countAll(l *eventlog.Log) (int, error) {
	v, err := l.View()
	if err != nil {
		return 0, err
	}
	defer v.Close()
	s, err := v.Scrub(nil)
	return int(s.Events), err
}
