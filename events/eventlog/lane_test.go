package eventlog_test

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// unit is a unit that notes of these tests are about.
var unit = events.UnitID{0: 1, 15: 7}

// acks is what was told to a person: for each action saved, the ids of its
// events. Actions are told apart by the text of their notes.
type acks struct {
	mu   sync.Mutex
	made []action
}

type action struct {
	text string
	ids  []events.EventID
}

func (a *acks) add(text string, ids []events.EventID) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.made = append(a.made, action{text, ids})
}

func (a *acks) list() []action {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.made[:len(a.made):len(a.made)]
}

// noteSize is how many notes an action of these tests has.
const noteSize = 3

// save makes one action of noteSize notes and writes down that it was saved.
func (a *acks) save(l *eventlog.Log, text string) error {
	var ids []events.EventID
	err := l.Append(bg, func(tx *eventlog.Tx) (err error) {
		ids, err = eventstest.AddNotes(tx, unit, text, noteSize)
		return err
	})
	if err == nil {
		a.add(text, ids)
	}
	return err
}

// long makes a text that fills tables.
func long(text string) string { return text + strings.Repeat(" hum", 150) + " ." }

// sound says what is wrong with a log, if anything: every chain holds, every
// acked action is there, and every action is there whole or not at all.
func sound(l *eventlog.Log, acked []action) error {
	evs, err := readAll(l)
	if err != nil {
		return err
	}
	if err := chained(evs); err != nil {
		return err
	}
	count, have := map[string]int{}, map[events.EventID]bool{}
	for _, e := range evs {
		if have[e.ID] {
			return fmt.Errorf("event %s is there twice", e.ID)
		}
		have[e.ID] = true
		if e.Kind == events.KindFeedBegun {
			continue
		}
		text := strings.TrimPrefix(e.Line(), "note: ")
		count[text[:strings.LastIndexByte(text, ' ')]]++
	}
	for text, n := range count {
		if n != noteSize {
			return fmt.Errorf("action %.20q has %d events of %d", text, n, noteSize)
		}
	}
	for _, a := range acked {
		for _, id := range a.ids {
			if !have[id] {
				return fmt.Errorf("event %s of the acked action %.20q is gone", id, a.text)
			}
		}
	}
	return nil
}

func readAll(l *eventlog.Log) (evs []events.Event, err error) {
	v, err := l.View()
	if err != nil {
		return nil, err
	}
	defer v.Close()
	if _, err := v.Scrub(nil); err != nil {
		return nil, fmt.Errorf("scrub: %w", err)
	}
	heads, err := v.Heads()
	if err != nil {
		return nil, err
	}
	for _, h := range heads {
		err := v.Feed(h.Feed, 0, func(e events.Event) (bool, error) {
			evs = append(evs, e)
			return true, nil
		})
		if err != nil {
			return nil, err
		}
	}
	bySubject, err := v.Events(unit)
	if err != nil {
		return nil, err
	}
	notes := 0
	for _, e := range evs {
		if e.About == unit {
			notes++
		}
	}
	if notes != len(bySubject) {
		return nil, fmt.Errorf("%d events about the unit in the feeds, %d in its list", notes, len(bySubject))
	}
	return evs, nil
}

// chained walks the chains with the hash written down in package events,
// computed here from the parts by the standard library (SHA-256, FIPS 180-4).
func chained(evs []events.Event) error {
	heads := map[events.FeedID]events.Head{}
	for _, e := range evs {
		before := heads[e.Feed]
		if e.Seq != before.Seq+1 {
			return fmt.Errorf("feed %s: event %d after %d", e.Feed.Short(), e.Seq, before.Seq)
		}
		in := append([]byte("oldhand event 1\x00"), e.Feed.Bench[:]...)
		in = append(in, e.Feed.Incarnation[:]...)
		in = binary.BigEndian.AppendUint64(in, e.Seq)
		in = append(append(in, before.Hash[:]...), e.Record...)
		if sha256.Sum256(in) != e.Hash {
			return fmt.Errorf("feed %s at %d: hash does not follow from the event before", e.Feed.Short(), e.Seq)
		}
		heads[e.Feed] = events.Head{Feed: e.Feed, Seq: e.Seq, Hash: e.Hash}
	}
	return nil
}

func mustSound(t testing.TB, l *eventlog.Log, acked []action) {
	t.Helper()
	if err := sound(l, acked); err != nil {
		t.Fatal(err)
	}
}

func wantErr(t testing.TB, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Fatalf("got error %v, want one that is %q", err, want)
	}
}

func closeLog(t testing.TB, l *eventlog.Log) {
	t.Helper()
	if err := l.Close(); err != nil {
		t.Fatalf("close: %v", err)
	}
}

// bg is for actions that outlive the step that makes them.
var bg = context.Background()

// yield lets others run while a test waits for them.
func yield() { time.Sleep(50 * time.Microsecond) }

// childVar names what the test binary does when it is started as a child.
const childVar = "OLDHAND_EVENTLOG_CHILD"

func TestMain(m *testing.M) {
	if child := os.Getenv(childVar); child != "" {
		os.Exit(runChild(child))
	}
	os.Exit(m.Run())
}
