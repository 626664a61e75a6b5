package projections_test

import (
	"testing"

	"oldhand/events"
	"oldhand/projections"

	"pgregory.net/rapid"
)

// oddText is words that no form or command lets through, and some that they do.
func oddText(t *rapid.T) string {
	return pick(t, "", "Ostrel", "capacitor", "\x00", "a\x00b", "\x00\x00\x00\x00\x00", "\xc3\xa9", "a\x00", "\x00a", "-", "\n")
}

func oneOf[T any](t *rapid.T, some ...T) T { return rapid.SampledFrom(some).Draw(t, "one of") }

func oddNumber(t *rapid.T) int {
	return oneOf(t, 0, 1, 1971, -1, 1<<20, -1<<20, 1<<31-1, -1<<31+1)
}

func oddAmount(t *rapid.T) int64 {
	return oneOf[int64](t, 0, 1200, -1, 1<<62-1, -1<<62+1, 1<<53+1)
}

func oddQuantity(t *rapid.T) events.Quantity {
	return events.Quantity{Mant: oddAmount(t), Exp: oneOf[int8](t, 0, -12, 127, -127, -3), Unit: pick(t, "V", "F", "", "\x00", "dB", "{yes}")}
}

func oddMarking(t *rapid.T) events.Marking {
	m := events.Marking{Text: oddText(t), Volts: oddNumber(t)}
	for range rapid.IntRange(0, 2).Draw(t, "sections") {
		m.Sections = append(m.Sections, oddQuantity(t))
	}
	return m
}

// oddBody is a body that reads and that breaks the rules of its kind.
func oddBody(t *rapid.T) events.Body {
	text := func() string { return oddText(t) }
	number := func() int { return oddNumber(t) }
	switch rapid.IntRange(0, 8).Draw(t, "kind") {
	case 0:
		return events.Identified{Maker: text(), Model: text(), Serial: text(), YearFrom: number(), YearTo: number(), KindOfSet: text()}
	case 1:
		return events.FaultFound{Component: text(), Mode: text(), Sure: text(), Designator: text()}
	case 2:
		return events.PartReplaced{Component: text(), Out: oddMarking(t), In: oddMarking(t), Reason: text()}
	case 3:
		return events.ReadingTaken{Point: text(), Measure: pick(t, "audio-level-am", "\x00", "distortion", ""), Text: "9", Stage: pick(t, events.AsLeft, events.AsLeft, text()), Value: oddQuantity(t), Network: text()}
	case 4:
		return events.WaitingBegun{For: text()}
	case 5:
		return events.WaitingEnded{For: text()}
	case 6:
		return events.Shipped{Outcome: text(), WarrantyDays: number(), Charge: oddAmount(t), Currency: pick(t, "USD", "", "\x00", "a\x00b")}
	case 7:
		return events.RowImported{Format: text(), Row: number(), Kept: map[string]string{"job": text(), text(): text()}}
	}
	return events.Received{Maker: text(), Model: text(), Serial: text(), YearFrom: number(), YearTo: number(), KindOfSet: text(), Tag: text()}
}

// odd puts a body on a bench's feed that the bench's own program would have refused.
func (w *world) odd(d events.Draft) events.Event {
	body, err := events.EncodeBody(d.Body)
	if err != nil {
		w.t.Fatal(err)
	}
	id := w.nextID(0)
	env := events.Envelope{ID: id, Kind: d.Body.Kind(), Version: 1, About: d.About, At: d.At, By: d.By}
	if env.About == [16]byte{} {
		env.About = id
	}
	return w.link(0, env, body)
}

// What a bench wrote that keeps no rule is kept as it is, and spoils no answer about the
// others' units (P10, F18).
func TestNoAnswerIsSpoiledByABenchThatKeepsNoRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		for range rapid.IntRange(1, 10).Draw(t, "events") {
			w.step()
		}
		for range rapid.IntRange(1, 10).Draw(t, "odd events") {
			d := events.Draft{Body: oddBody(t), At: events.OnDay(oneOf[events.Day](t, 20_000, 20_010, 20_020, -40_000, 190_000, 0))}
			if rapid.IntRange(0, 3).Draw(t, "new") > 0 {
				d.About = w.unit()
			}
			if e := w.odd(d); d.About == [16]byte{} {
				w.units = append(w.units, e.Unit())
			}
		}
		m := newMemory()
		for _, e := range w.all {
			if err := m.add(e); err != nil {
				t.Fatal(err)
			}
		}
		for _, q := range projections.Questions {
			for _, a := range ways(q, afterAll) {
				if kept, anew := answer(t, m, q, a, projections.Ask), answer(t, m, q, a, projections.AskAnew); kept != anew {
					t.Fatalf("%s %+v:\nkept %s\nanew %s", q.Name, a, kept, anew)
				}
			}
		}
		sameViews(t, "rebuilt", m.views, rebuilt(t, w.all))
	})
}
