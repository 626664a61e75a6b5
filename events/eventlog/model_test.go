package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// shelf is a log beside a plain map that must hold the same views. Keys are
// few and short, so that changes meet each other often.
type shelf struct {
	log   *eventlog.Log
	model map[string]string
}

var (
	someKey   = rapid.StringOfN(rapid.SampledFrom([]rune{'a', 'b', 'c'}), 1, 3, -1)
	someValue = rapid.SampledFrom([]string{"", "1", "two", "a longer value"})
)

// errTurnedBack is how an action of this test fails on purpose.
var errTurnedBack = errors.New("turned back")

// step is one read or change inside an action.
type step struct {
	What       string // put, nil, delete, get, scan, leap
	K, V, To   string
	StopBehind int
	Leaps      []string
}

var someStep = rapid.Custom(func(t *rapid.T) step {
	return step{
		What: rapid.SampledFrom([]string{"put", "put", "nil", "delete", "get", "scan", "scan", "leap", "leap"}).Draw(t, "what"),
		K:    someKey.Draw(t, "key"), V: someValue.Draw(t, "value"), To: someKey.Draw(t, "to"),
		StopBehind: rapid.IntRange(1, 6).Draw(t, "stop behind"),
		Leaps:      rapid.SliceOfN(someKey, 1, 6).Draw(t, "leaps"),
	}
})

// run makes a step in the transaction and in the map, and compares.
func (s step) run(tx *eventlog.Tx, model map[string]string) error {
	switch s.What {
	case "put":
		tx.Put([]byte(s.K), []byte(s.V))
		model[s.K] = s.V
	case "nil":
		tx.Put([]byte(s.K), nil)
		model[s.K] = ""
	case "delete":
		tx.Delete([]byte(s.K))
		delete(model, s.K)
	case "get":
		got, err := tx.Get([]byte(s.K))
		if err != nil {
			return err
		}
		want, ok := model[s.K]
		if (got != nil) != ok || string(got) != want {
			return fmt.Errorf("get %q: %q (%v), want %q (%v)", s.K, got, got != nil, want, ok)
		}
	case "scan":
		return sameScan(tx, model, s.K, s.To, s.StopBehind)
	case "leap":
		return sameLeap(tx, model, s.K, s.To, s.Leaps)
	}
	return nil
}

type scanner interface {
	Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error
}

// sameScan compares a scan that stops after some pairs with the sorted map.
func sameScan(sc scanner, model map[string]string, lo, hi string, stop int) error {
	var got, want []string
	err := sc.Scan([]byte(lo), []byte(hi), func(k, v []byte) (bool, error) {
		got = append(got, string(k)+"="+string(v))
		return len(got) < stop, nil
	})
	if err != nil {
		return err
	}
	for _, k := range slices.Sorted(maps.Keys(model)) {
		if k >= lo && k < hi && len(want) < stop {
			want = append(want, k+"="+model[k])
		}
	}
	if !slices.Equal(got, want) {
		return fmt.Errorf("scan %q to %q, at most %d: got %q, want %q", lo, hi, stop, got, want)
	}
	return nil
}

type leaper interface {
	Leap(lo, hi []byte, fn func(k, v []byte) ([]byte, error)) error
}

// sameLeap compares one leap after the other, some of them back, and no more than
// were given, with the sorted map.
func sameLeap(l leaper, model map[string]string, lo, hi string, leaps []string) error {
	var got, want []string
	err := l.Leap([]byte(lo), []byte(hi), func(k, v []byte) ([]byte, error) {
		if got = append(got, string(k)+"="+string(v)); len(got) > len(leaps) {
			return nil, nil
		}
		return []byte(leaps[len(got)-1]), nil
	})
	if err != nil {
		return err
	}
	at := lo
	for _, k := range slices.Sorted(maps.Keys(model)) {
		if k < at || k >= hi || len(want) > len(leaps) {
			continue
		}
		if want = append(want, k+"="+model[k]); len(want) <= len(leaps) {
			at = leaps[len(want)-1]
		}
	}
	if !slices.Equal(got, want) {
		return fmt.Errorf("leap from %q to below %q by %q: got %q, want %q", lo, hi, leaps, got, want)
	}
	return nil
}

func TestTx_ReadsWhatAMapWouldHold(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		fs := vfs.NewMem()
		b := eventstest.FoundShop(t, 20).Bench(t, 1)
		s := &shelf{model: map[string]string{}}
		s.log = openShelf(rt, b.Options(fs, "log"))
		defer func() { _ = s.log.Close() }()
		rt.Repeat(map[string]func(*rapid.T){
			"":        s.compare,
			"actions": s.actions,
			"flush": func(rt *rapid.T) {
				if err := s.log.Flush(); err != nil {
					rt.Fatal(err)
				}
			},
			"reopen": func(rt *rapid.T) {
				if err := s.log.Close(); err != nil {
					rt.Fatal(err)
				}
				s.log = openShelf(rt, b.Options(fs, "log"))
			},
		})
	})
}

func openShelf(rt *rapid.T, o eventlog.Options) *eventlog.Log {
	l, err := eventlog.Open(o)
	if err != nil {
		rt.Fatal(err)
	}
	return l
}

// actions makes one to four actions, of which some fail, in a single commit.
func (s *shelf) actions(rt *rapid.T) {
	n := rapid.IntRange(1, 4).Draw(rt, "actions")
	scripts, fail := make([][]step, n), make([]bool, n)
	for i := range n {
		scripts[i] = rapid.SliceOfN(someStep, 1, 8).Draw(rt, "steps")
		fail[i] = rapid.IntRange(0, 4).Draw(rt, "fail") == 0
	}
	errs := oneCommit(s.log, n, func(i int, tx *eventlog.Tx) error {
		mine := maps.Clone(s.model)
		for _, st := range scripts[i] {
			if err := st.run(tx, mine); err != nil {
				return err
			}
		}
		if fail[i] {
			return errTurnedBack
		}
		s.model = mine
		return nil
	})
	for i, err := range errs {
		if fail[i] && !errors.Is(err, errTurnedBack) || !fail[i] && err != nil {
			rt.Fatalf("action %d: %v", i, err)
		}
	}
}

// oneCommit makes n actions that share a commit, in order: they come while
// another one holds the writing, and all of them wait when it lets go.
func oneCommit(l *eventlog.Log, n int, fn func(i int, tx *eventlog.Tx) error) []error {
	hold, held := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		_ = l.Append(bg, func(*eventlog.Tx) error { close(held); <-hold; return nil })
	})
	<-held
	errs := make([]error, n)
	for i := range n {
		before := l.Waiting()
		wg.Go(func() { errs[i] = l.Append(bg, func(tx *eventlog.Tx) error { return fn(i, tx) }) })
		for l.Waiting() == before {
			yield()
		}
	}
	close(hold)
	wg.Wait()
	return errs
}

func (s *shelf) compare(rt *rapid.T) {
	v, err := s.log.View()
	if err != nil {
		rt.Fatal(err)
	}
	defer v.Close()
	if err := sameScan(v, s.model, "a", "d", 1000); err != nil {
		rt.Fatalf("view: %v", err)
	}
	if err := sameLeap(v, s.model, "a", "d", rapid.SliceOfN(someKey, 1, 6).Draw(rt, "leaps")); err != nil {
		rt.Fatalf("view: %v", err)
	}
	for k, want := range s.model {
		got, err := v.Get([]byte(k))
		if err != nil || got == nil || !bytes.Equal(got, []byte(want)) {
			rt.Fatalf("view of %q is %q, want %q (%v)", k, got, want, err)
		}
	}
}

// Actions that share a commit see those before them, and place their events
// behind theirs.
func TestP3_ActionsOfOneCommitFollowEachOther(t *testing.T) {
	l, _, _ := eventstest.OnMem(t, 21)
	const n = 7
	errs := oneCommit(l, n, func(i int, tx *eventlog.Tx) error {
		seen, err := tx.Events(unit)
		if err != nil {
			return err
		}
		if want := (i + 1) / 2 * noteSize; len(seen) != want {
			return fmt.Errorf("sees %d events, want %d", len(seen), want)
		}
		num, err := tx.Next("tag")
		if err != nil {
			return err
		}
		if want := uint32(i+1)/2 + 1; num != want {
			return fmt.Errorf("tag %d, want %d", num, want)
		}
		if _, err := eventstest.AddNotes(tx, unit, fmt.Sprintf("a%d", i), noteSize); err != nil {
			return err
		}
		if i%2 == 1 {
			return errTurnedBack
		}
		return nil
	})
	for i, err := range errs {
		if (i%2 == 1) != errors.Is(err, errTurnedBack) || i%2 == 0 && err != nil {
			t.Errorf("action %d: %v", i, err)
		}
	}
	mustSound(t, l, nil)
	if evs := eventstest.All(t, l); len(evs) != 1+4*noteSize || evs[0].Kind != events.KindFeedBegun {
		t.Fatalf("%d events", len(evs))
	}
}
