package projections_test

import (
	"context"
	"encoding/json"
	"runtime"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

func newest(t fataler, l *eventlog.Log) *eventlog.View {
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Whatever was recorded since it was made, an answer that is kept is the one that
// all histories of the newest view give, filtered or not.
func TestAnAnswerThatIsKeptIsThatOfTheNewestView(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		w.begin()
		for range rapid.IntRange(1, 25).Draw(t, "events") {
			w.step()
		}
		l := onLog(t, vfs.NewMem())
		defer l.Close()
		asked := append(some(t, afterAll), projections.Asked{AsOf: afterAll}, projections.Asked{AsOf: afterAll, By: "model"}, projections.Asked{AsOf: 20_020})
		var kept projections.Answers
		for _, batch := range w.deliveries() {
			take(t, l, batch)
			v := newest(t, l)
			for _, q := range projections.Questions {
				for _, a := range asked {
					if a.By != "" && q.By == nil {
						continue
					}
					ask := func(projections.Reader, projections.Question, projections.Asked) (*projections.Result, error) {
						return kept.Ask(v, q, a)
					}
					if got, want := answer(t, v, q, a, ask), answer(t, v, q, a, projections.AskAnew); got != want {
						t.Fatalf("%s %+v:\nkept %s\nanew %s", q.Name, a, got, want)
					}
				}
			}
			v.Close()
		}
	})
}

// A set has a fault once however often it is found, so finding it anew changes no
// tally; but of the sets received lately it is one more that has it.
func TestAFaultFoundAgainIsMissedByNoAnswerAboutSomeDays(t *testing.T) {
	l := ownLog(t)
	defer l.Close()
	add := func(day events.Day, b events.Body) {
		t.Helper()
		err := l.Append(context.Background(), func(tx *eventlog.Tx) error {
			_, err := tx.Add(events.Draft{About: [16]byte{15: 1}, At: events.OnDay(day), Body: b})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	leaky := events.FaultFound{Component: "capacitor-filter", Mode: "leaky"}
	add(20_000, events.Received{Maker: "Ostrel", Model: "R-950"})
	add(20_001, leaky)
	add(20_002, events.Shipped{Outcome: "repaired"})
	add(20_030, events.Received{Maker: "Ostrel", Model: "R-950"})
	var kept projections.Answers
	failures, _ := projections.FindQuestion("failures")
	from := events.Day(20_030)
	for _, want := range []int{0, 1} {
		v := newest(t, l)
		res, err := kept.Ask(v, failures, projections.Asked{AsOf: afterAll, From: &from})
		v.Close()
		if err != nil || len(res.Rows) != want {
			t.Fatalf("%d faults of sets received since then (%v), want %d", len(res.Rows), err, want)
		}
		add(20_030, leaky) // on a day that the shop has on record
	}
}

// A note changes no answer, so the very results stay; a fault that moves from a
// set of one maker to one of another changes those of both, though as many faults
// are found as before.
func TestAnAnswerIsKeptOverWhatDoesNotChangeIt(t *testing.T) {
	l := ownLog(t)
	defer l.Close()
	add := func(drafts ...events.Draft) (last events.EventID) {
		t.Helper()
		err := l.Append(context.Background(), func(tx *eventlog.Tx) (err error) {
			for _, d := range drafts {
				if last, err = tx.Add(d); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return last
	}
	of := func(unit byte, b events.Body) events.Draft {
		return events.Draft{About: [16]byte{15: unit}, At: events.OnDay(20_000), Body: b}
	}
	part := events.PartReplaced{Component: "capacitor-filter"}
	add(of(1, events.Received{Maker: "Ostrel", Model: "R-950"}), of(2, events.Received{Maker: "Corvane", Model: "MS-44"}))
	used := add(of(1, part))

	var kept projections.Answers
	parts, _ := projections.FindQuestion("parts")
	ask := func(q projections.Question, a projections.Asked) *projections.Result {
		t.Helper()
		v := newest(t, l)
		defer v.Close()
		a.AsOf = afterAll
		res, err := kept.Ask(v, q, a)
		if err != nil {
			t.Fatal(err)
		}
		return res
	}
	first := map[string]*projections.Result{}
	for _, q := range projections.Questions {
		first[q.Name] = ask(q, projections.Asked{})
	}
	ostrel := ask(parts, projections.Asked{Maker: "Ostrel"})
	add(of(1, events.Note{Text: "looked at"}))
	for _, q := range projections.Questions {
		if ask(q, projections.Asked{}) != first[q.Name] {
			t.Errorf("%s is answered anew after a note", q.Name)
		}
	}
	if ask(parts, projections.Asked{Maker: "Ostrel"}) != ostrel {
		t.Error("parts of a maker are counted anew after a note")
	}

	add(of(1, events.Withdrawn{Withdraws: []events.EventID{used}, Why: "entered on the wrong set"}), of(2, part))
	for maker, want := range map[string]int{"Ostrel": 0, "Corvane": 1} {
		if res := ask(parts, projections.Asked{Maker: maker}); len(res.Rows) != want {
			b, _ := json.Marshal(res)
			t.Errorf("parts of %s: %s", maker, b)
		}
	}
}

// More units than one goroutine reads: what is asked about them is what all histories
// give, and is answered anew when one of them has another fault.
func TestManyUnitsThatAreReadSideBySideAreMissedByNoAnswer(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(3))
	l := ownLog(t)
	defer l.Close()
	add := func(drafts ...events.Draft) {
		t.Helper()
		err := l.Append(context.Background(), func(tx *eventlog.Tx) (err error) {
			for i := 0; i < len(drafts) && err == nil; i++ {
				_, err = tx.Add(drafts[i])
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	of := func(unit int, b events.Body) events.Draft {
		return events.Draft{About: [16]byte{13: 1, 14: byte(unit >> 8), 15: byte(unit)}, At: events.OnDay(20_030), Body: b}
	}
	const units = 1_501
	var drafts []events.Draft
	for unit := range units {
		drafts = append(drafts, of(unit, events.Received{Maker: []string{"Ostrel", "Ostrel", "Corvane"}[unit%3], Model: "R-950"}))
		if unit%2 == 0 {
			drafts = append(drafts, of(unit, events.FaultFound{Component: "capacitor-filter", Mode: "leaky"}))
		}
	}
	add(drafts...)
	var kept projections.Answers
	from := events.Day(20_001)
	for range 2 {
		v := newest(t, l)
		for _, q := range projections.Questions {
			a := projections.Asked{AsOf: afterAll, From: &from, Model: "R-950"}
			ask := func(projections.Reader, projections.Question, projections.Asked) (*projections.Result, error) {
				return kept.Ask(v, q, a)
			}
			if got, want := answer(t, v, q, a, ask), answer(t, v, q, a, projections.AskAnew); got != want {
				t.Errorf("%s:\nside by side %s\none by one %s", q.Name, got, want)
			}
		}
		v.Close()
		add(of(units-2, events.FaultFound{Component: "capacitor-filter", Mode: "leaky"}))
	}
}
