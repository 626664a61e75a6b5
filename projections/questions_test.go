package projections_test

import (
	"encoding/json"
	"regexp"
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

// some are ways in which each question can be asked about some units or visits.
func some(t *rapid.T, asOf events.Day) []projections.Asked {
	day := func() *events.Day {
		d := events.Day(20_000 + rapid.IntRange(-5, 45).Draw(t, "day of a filter"))
		return &d
	}
	from, to := day(), day()
	maker, model := rapid.SampledFrom([]string{"ostrel", "Corvane", "OS TREL", "-", "Nobody"}).Draw(t, "maker"), rapid.SampledFrom([]string{"r950", "MS-44", "2210", "-"}).Draw(t, "model")
	return []projections.Asked{
		{AsOf: asOf, Maker: maker}, {AsOf: asOf, Model: model}, {AsOf: asOf, Maker: maker, Model: model},
		{AsOf: asOf, From: from}, {AsOf: asOf, To: to}, {AsOf: asOf, From: from, To: to},
		{AsOf: asOf, From: from, To: to, Maker: maker}, {AsOf: *to, From: from, Model: model},
	}
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
			for _, a := range append(ways(q, afterAll), some(t, afterAll)...) {
				kept, anew := answer(t, m, q, a, projections.Ask), answer(t, m, q, a, projections.AskAnew)
				if kept != anew {
					t.Fatalf("%s %+v:\nkept %s\nanew %s", q.Name, a, kept, anew)
				}
			}
		}
	})
}

var severalOfOne = regexp.MustCompile(`(^|[^0-9.])1 (units|visits|sets|days|faults|groups|parts|rows|returns|models)\b`)

// What an answer says of one of a thing is not said as of several.
func TestAnAnswerTellsOneOfAThingAsOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t)
		for range rapid.IntRange(1, 12).Draw(t, "events") {
			w.step()
		}
		m := newMemory()
		if err := m.add(w.all...); err != nil {
			t.Fatal(err)
		}
		for _, q := range projections.Questions {
			for _, a := range append(ways(q, afterAll), projections.Asked{AsOf: afterAll, Days: 1}) {
				res, err := projections.Ask(m, q, a)
				if err != nil {
					t.Fatal(q.Name, err)
				}
				said := append([]string{res.Method}, res.Notes...)
				if res.Picture != nil {
					said = append(said, res.Picture.Desc)
				}
				for _, s := range said {
					if severalOfOne.MatchString(s) {
						t.Fatalf("%s %+v: %q", q.Name, a, s)
					}
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
