package projections_test

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"testing"

	"oldhand/events"
	"oldhand/events/hlc"
	"oldhand/projections"

	"pgregory.net/rapid"
)

// memory is a store in a map: the plain model beside the log.
type memory struct {
	views map[string][]byte
	lists map[[16]byte][]events.Event
}

func newMemory() *memory {
	return &memory{map[string][]byte{}, map[[16]byte][]events.Event{}}
}

func (m *memory) Get(k []byte) ([]byte, error) { return m.views[string(k)], nil }
func (m *memory) Put(k, v []byte)              { m.views[string(k)] = v }
func (m *memory) Delete(k []byte)              { delete(m.views, string(k)) }

func (m *memory) Events(s [16]byte) ([]events.Event, error) { return m.lists[s], nil }

func (m *memory) Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error {
	for _, k := range slices.Sorted(maps.Keys(m.views)) {
		if k < string(lo) || k >= string(hi) {
			continue
		}
		if more, err := fn([]byte(k), m.views[k]); err != nil || !more {
			return err
		}
	}
	return nil
}

func (m *memory) Leap(lo, hi []byte, fn func(k, v []byte) ([]byte, error)) error {
	return projections.LeapByScans(m, lo, hi, fn)
}

// add lists events and projects them together.
func (m *memory) add(evs ...events.Event) error {
	for _, e := range evs {
		m.lists[e.About] = append(m.lists[e.About], e)
		if other := otherUnit(e); other != [16]byte{} && other != e.About {
			m.lists[other] = append(m.lists[other], e)
		}
	}
	return projections.Project(m, evs)
}

func otherUnit(e events.Event) [16]byte {
	switch b, _ := e.Body(); b := b.(type) {
	case events.SameUnit:
		return b.Other
	case events.NotSameUnit:
		return b.Other
	}
	return [16]byte{}
}

// world makes events as several benches would that see each other's work or
// do not.
type world struct {
	t       *rapid.T
	benches int
	heads   []events.Head
	all     []events.Event
	units   []events.UnitID
	visits  []events.VisitID
	ms      uint64
	plain   bool // no event acts on another, and all are dated
}

func newWorld(t *rapid.T) *world {
	n := rapid.IntRange(1, 3).Draw(t, "benches")
	w := &world{t: t, benches: n, ms: 1_700_000_000_000}
	for i := range n {
		w.heads = append(w.heads, events.Head{Feed: events.FeedID{Bench: events.BenchID{byte(i + 1)}}, Seq: 1})
	}
	return w
}

// event puts a body on a bench's feed.
func (w *world) event(bench int, d events.Draft) events.Event {
	id := w.nextID(bench)
	if !w.plain && len(w.all) > w.benches && rapid.IntRange(0, 19).Draw(w.t, "forged") == 0 {
		id = w.pickID("forged id") // no honest bench gives an id twice
	}
	env, body, err := d.Make(id)
	if err != nil {
		w.t.Fatal(err)
	}
	return w.link(bench, env, body)
}

func (w *world) nextID(bench int) events.EventID {
	w.ms += uint64(rapid.IntRange(0, 3).Draw(w.t, "ms"))
	return events.NewEventID(hlc.Join(w.ms, uint16(len(w.all))), [8]byte{byte(bench), byte(len(w.all))})
}

// link puts an event on a bench's feed.
func (w *world) link(bench int, env events.Envelope, body events.RawBody) events.Event {
	rec, err := events.EncodeRecord(env, body)
	if err != nil {
		w.t.Fatal(err)
	}
	e, err := events.Link(w.heads[bench], rec)
	if err != nil {
		w.t.Fatal(err)
	}
	w.heads[bench] = e.Head()
	w.all = append(w.all, e)
	return e
}

func (w *world) pickID(of string) events.EventID {
	return w.all[rapid.IntRange(0, len(w.all)-1).Draw(w.t, of)].ID
}

func (w *world) step() {
	t := w.t
	bench := rapid.IntRange(0, w.benches-1).Draw(t, "bench")
	d := events.Draft{At: events.OnDay(events.Day(20_000 + rapid.IntRange(0, 40).Draw(t, "day"))), By: "k"}
	if !w.plain && rapid.IntRange(0, 9).Draw(t, "time") == 0 {
		d.At = events.When{}
	}
	what := rapid.IntRange(0, 16).Draw(t, "what")
	if w.plain && what > 0 {
		what = 9 + what%8
	}
	if len(w.units) == 0 || what == 0 {
		d.Body = events.Received{Maker: pick(t, "Ostrel", "Corvane"), Model: pick(t, "R-950", "R 950", "MS-44", ""), Serial: pick(t, "E17-17750", "e17 17750", "B9", "")}
		if rapid.Bool().Draw(t, "again") && len(w.units) > 0 {
			d.About = w.unit()
		}
		e := w.event(bench, d)
		w.visits = append(w.visits, events.VisitID(e.ID))
		if d.About == [16]byte{} {
			w.units = append(w.units, events.UnitID(e.ID))
		}
		return
	}
	d.About = w.unit()
	if rapid.Bool().Draw(t, "names visit") {
		d.Visit = w.visits[rapid.IntRange(0, len(w.visits)-1).Draw(t, "visit")]
	}
	switch what {
	case 1, 2:
		d.Visit = events.VisitID{}
		d.Body = events.SameUnit{Other: w.unit()}
	case 3:
		d.Visit = events.VisitID{}
		d.Body = events.NotSameUnit{Other: w.unit(), Undoes: w.some(events.KindSameUnit)}
	case 4, 5:
		fact, _ := events.EncodeBody(events.Note{Text: pick(t, "one", "two")})
		d = w.aboutTarget(d, func(ids []events.EventID) events.Body {
			return events.Corrected{Replaces: ids, Fact: events.Fact{Kind: events.KindNote, Version: 1, At: d.At, Body: fact}}
		})
	case 6, 7:
		d = w.aboutTarget(d, func(ids []events.EventID) events.Body { return events.Withdrawn{Withdraws: ids} })
	case 8:
		a, b := w.pickID("a"), w.pickID("b")
		d.Body = events.Settled{Settles: []events.EventID{a, b}, Keep: a}
	case 9:
		d.Body = events.Shipped{Outcome: pick(t, "repaired", "declined"), Charge: 1200, Currency: pick(t, "", "USD")}
	case 10:
		d.Body = events.Identified{Model: pick(t, "R-950", "2210"), YearFrom: 1971}
	case 12:
		d.Body = events.PartReplaced{Designator: "C14", Component: "capacitor", In: events.Marking{Text: "47 pF", Sections: []events.Quantity{{Mant: 47, Exp: -12, Unit: "F"}}}}
	case 13:
		d.Body = events.WaitingBegun{For: pick(t, events.Waits...)}
	case 14:
		d.Body = events.WaitingEnded{For: pick(t, "", "parts", "owner")}
	case 15:
		d.Body = reading(t)
	case 11:
		d.Body = events.RowImported{Source: events.Hash{1}, Row: 2, Key: [16]byte{byte(rapid.IntRange(1, 3).Draw(t, "row"))}, Format: "book"}
	default:
		d.Body = events.FaultFound{Component: pick(t, "capacitor", "lamp", ""), Mode: pick(t, "leaky", "open"), Text: "as typed"}
		if f := d.Body.(events.FaultFound); f.Component == "" {
			f.Mode = ""
			d.Body = f
		}
	}
	w.event(bench, d)
}

// reading is one that counts for what sets usually read, or one of those that
// do not.
func reading(t *rapid.T) events.ReadingTaken {
	b := events.ReadingTaken{Point: pick(t, "AM", "am", "tuner  out"), Measure: pick(t, "audio-level-am", "audio-level-am", "distortion", "check", "", "of-a-later-table"), Text: "as typed",
		Stage: pick(t, events.AsLeft, events.AsLeft, events.AsLeft, events.AsFound, "")}
	b.Value = events.Quantity{Mant: int64(rapid.IntRange(-2, 120).Draw(t, "mantissa")), Exp: int8(rapid.IntRange(-4, -3).Draw(t, "exponent")),
		Unit: pick(t, "V", "V", "V", "%", "dB", "{yes}", "")}
	if b.Value.Unit == "" {
		b.Value = events.Quantity{}
	}
	return b
}

// aboutTarget draws events to act on and makes the override about the unit of
// the first, as the program does.
func (w *world) aboutTarget(d events.Draft, body func([]events.EventID) events.Body) events.Draft {
	target := w.all[rapid.IntRange(0, len(w.all)-1).Draw(w.t, "target")]
	ids := []events.EventID{target.ID}
	if rapid.IntRange(0, 3).Draw(w.t, "two targets") == 0 {
		ids = append(ids, w.pickID("second target"))
	}
	if rapid.IntRange(0, 4).Draw(w.t, "other unit") > 0 && target.About != [16]byte{} {
		d.About = target.About
	}
	d.Visit, d.Body = events.VisitID{}, body(ids)
	return d
}

func (w *world) some(k events.Kind) (ids []events.EventID) {
	for _, e := range w.all {
		if e.Kind == k && rapid.Bool().Draw(w.t, "undo") {
			ids = append(ids, e.ID)
		}
	}
	return ids
}

func (w *world) unit() events.UnitID {
	return w.units[rapid.IntRange(0, len(w.units)-1).Draw(w.t, "unit")]
}

func pick(t *rapid.T, of ...string) string {
	return of[rapid.IntRange(0, len(of)-1).Draw(t, "pick")]
}

// sourceOf gives events in as many parts as may be, which lie anyhow in each other, side
// by side.
func sourceOf(evs []events.Event) projections.Source {
	return func(most int, fn func(int, events.Hash, []byte) error) error {
		var parts sync.WaitGroup
		errs := make([]error, most)
		for part := range most {
			parts.Go(func() {
				for _, e := range evs {
					if int(e.Hash[0])%most == part && errs[part] == nil {
						errs[part] = fn(part, e.Hash, e.Record)
					}
				}
			})
		}
		parts.Wait()
		return errors.Join(errs...)
	}
}

// rebuilt is the views that a rebuild makes of events.
func rebuilt(t fataler, evs []events.Event) map[string][]byte {
	views := map[string][]byte{}
	var mu sync.Mutex
	err := projections.RebuildInRuns(300+97*(len(evs)%40), sourceOf(evs), func(k, v []byte) error {
		mu.Lock()
		defer mu.Unlock()
		if _, twice := views[string(k)]; twice {
			return fmt.Errorf("key %q twice", k)
		}
		views[string(k)] = bytes.Clone(v)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return views
}

type fataler interface{ Fatal(args ...any) }

func sameViews(t *rapid.T, what string, a, b map[string][]byte) {
	for _, k := range slices.Sorted(maps.Keys(a)) {
		v, ok := b[k]
		if !ok || !bytes.Equal(a[k], v) {
			t.Fatalf("%s: view %q: %x against %x (there: %v)", what, k, a[k], v, ok)
		}
	}
	for k := range b {
		if _, ok := a[k]; !ok {
			t.Fatalf("%s: view %q is extra", what, k)
		}
	}
}

func TestP5_AnyOrderAndGroupingGivesTheViewsOfARebuild(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		for range rapid.IntRange(1, 30).Draw(t, "events") {
			w.step()
		}
		want := rebuilt(t, w.all)
		for _, order := range []string{"first", "second"} {
			m := newMemory()
			left := rapid.Permutation(w.all).Draw(t, order)
			for len(left) > 0 {
				n := rapid.IntRange(1, min(4, len(left))).Draw(t, "group")
				if err := m.add(left[:n]...); err != nil {
					t.Fatal(err)
				}
				left = left[n:]
			}
			sameViews(t, order+" order", want, m.views)
		}
	})
}

// Facts that come in the order in which they stand are added to a history without
// folding it, and of what follows from it only that is made anew which they can change.
func TestP5_FactsInTheirOrderGiveTheViewsOfARebuild(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		w.plain = true
		for range rapid.IntRange(5, 60).Draw(t, "events") {
			w.step()
		}
		inOrder := slices.Clone(w.all)
		slices.SortStableFunc(inOrder, func(a, b events.Event) int { return cmp.Or(cmp.Compare(a.At.Day, b.At.Day), a.ID.Compare(b.ID)) })
		m := newMemory()
		for left := inOrder; len(left) > 0; {
			n := rapid.IntRange(1, min(3, len(left))).Draw(t, "group")
			if err := m.add(left[:n]...); err != nil {
				t.Fatal(err)
			}
			left = left[n:]
		}
		sameViews(t, "in order", rebuilt(t, w.all), m.views)
	})
}
