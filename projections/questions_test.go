package projections_test

import (
	"encoding/json"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/projections"

	"pgregory.net/rapid"
)

// ways are the ways in which each question can be asked about everything.
func ways(q projections.Question, asOf events.Day) []projections.Asked {
	all := []projections.Asked{{AsOf: asOf}, {AsOf: asOf, Days: 30}}
	for _, by := range map[string][]string{
		"failures":   {"decade", "maker", "model"},
		"turnaround": {"year", "model", "outcome"},
		"outcomes":   {"kind", "model", "maker", "year"},
		"norms":      {"point"},
	}[q.Name] {
		all = append(all, projections.Asked{AsOf: asOf, By: by})
	}
	return all
}

func answer(t fataler, r projections.Reader, q projections.Question, a projections.Asked,
	ask func(projections.Reader, projections.Question, projections.Asked) (*projections.Result, error)) string {
	res, err := ask(r, q, a)
	if err != nil {
		t.Fatal(q.Name, err)
	}
	b, err := json.Marshal(res)
	if err != nil {
		t.Fatal(q.Name, err)
	}
	return string(b)
}

// afterAll is a day after every day of a world.
const afterAll = events.Day(20_100)

func TestEveryAnswerIsThatOfTheHistoriesGoneThrough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		for range rapid.IntRange(1, 40).Draw(t, "events") {
			w.step()
		}
		m := newMemory()
		for _, e := range rapid.Permutation(w.all).Draw(t, "order") {
			if err := m.add(e); err != nil {
				t.Fatal(err)
			}
		}
		for _, q := range projections.Questions {
			for _, a := range ways(q, afterAll) {
				kept, anew := answer(t, m, q, a, projections.Ask), answer(t, m, q, a, projections.AskAnew)
				if kept != anew {
					t.Fatalf("%s %+v:\nkept %s\nanew %s", q.Name, a, kept, anew)
				}
			}
		}
	})
}

// Asked as of a day, an answer knows nothing that happened later: it is the
// answer of a shop whose events end with that day.
func TestEveryAnswerAsOfAPastDayIsTheOneThatDayWouldHaveGiven(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		w.plain = true
		for range rapid.IntRange(1, 40).Draw(t, "events") {
			w.step()
		}
		asOf := events.Day(20_000 + rapid.IntRange(0, 40).Draw(t, "as of"))
		now, then := newMemory(), newMemory()
		if err := now.add(w.all...); err != nil {
			t.Fatal(err)
		}
		early := slices.DeleteFunc(slices.Clone(w.all), func(e events.Event) bool { return e.At.Day > asOf })
		if err := then.add(early...); err != nil {
			t.Fatal(err)
		}
		for _, q := range projections.Questions {
			for _, a := range ways(q, asOf) {
				got, want := answer(t, now, q, a, projections.Ask), answer(t, then, q, a, projections.AskAnew)
				if got != want {
					t.Fatalf("%s %+v:\nnow  %s\nthen %s", q.Name, a, got, want)
				}
			}
		}
	})
}
