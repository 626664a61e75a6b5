package app_test

import (
	"fmt"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// left takes a set in, writes readings down as left, and ships it.
func left(t testing.TB, s *app.Shop, serial string, read ...events.ReadingTaken) {
	t.Helper()
	tag := receive(t, s, serial, "2026-01-05").Tag
	for _, b := range read {
		b.Stage = events.AsLeft
		measured(t, s, tag, b)
	}
	_, err := s.Ship(tag, on("2026-01-09"), events.Shipped{Outcome: "repaired"})
	must(t, app.Saved{}, err)
}

func measured(t testing.TB, s *app.Shop, tag string, b events.ReadingTaken) app.Saved {
	t.Helper()
	b, _, err := app.Reading(b)
	if err != nil {
		t.Fatal(err)
	}
	saved, err := s.Measure(tag, on("2026-01-08"), b)
	if err != nil {
		t.Fatal(err)
	}
	return saved
}

func at(point, kind, text string) events.ReadingTaken {
	return events.ReadingTaken{Point: point, Measure: kind, Text: text}
}

// Source of the quantiles: facts.md 4, type 8 of 1 to 10 is 1.366667, 5.5 and
// 9.633333; the sets read ten times as much.
func TestWhatIsUsualAtAPointIsToldOfTheOtherSets(t *testing.T) {
	s := newShop(t)
	for i := range 10 {
		left(t, s, fmt.Sprintf("E17-%05d", 17000+i*371), at("AM", "", fmt.Sprintf("%d mV", 10*(i+1))),
			at("exposed metal to earth", "hot-check-voltage", fmt.Sprintf("0.%d V", 10+i)))
	}
	tag := receive(t, s, "B90-55354", "2026-01-06").Tag
	n, found, err := s.Norm(tag, " am", "")
	if err != nil || !found {
		t.Fatal(found, err)
	}
	equal(t, "words", n.Words(), "usual 14 to 96 mV in 10 other sets; middle 55 mV")
	equal(t, "sets", n.Sets, 10)
	for text, side := range map[string]string{"13 mV": "this is below", "14 mV": "this lies within", "0.096 V": "this lies within", "97": "this is above"} {
		saved := measured(t, s, tag, events.ReadingTaken{Point: "AM", Text: text, Stage: events.AsLeft})
		equal(t, text, saved.Usual, "usual 14 to 96 mV in 10 other sets; "+side) // however often the set itself was read
	}
	equal(t, "words that are no number", measured(t, s, tag, at("AM", "", "hums")).Usual, "usual 14 to 96 mV in 10 other sets; middle 55 mV")
	equal(t, "a point of nobody", measured(t, s, tag, at("PL1", "", "3 V")).Usual, "")

	hot := measured(t, s, tag, at("exposed metal to earth", "hot-check-voltage", "0.6 V"))
	if !strings.Contains(hot.Usual, "which is no limit; middle") || strings.Contains(hot.Usual, "this ") {
		t.Errorf("of a hot check it is told: %s", hot.Usual)
	}
}

func TestFewSetsHaveARangeAndNothingUsual(t *testing.T) {
	s := newShop(t)
	tag := receive(t, s, "B90-55354", "2026-01-06").Tag
	equal(t, "nobody", measured(t, s, tag, at("AM", "", "75 mV")).Usual, "")
	left(t, s, "E17-17750", at("AM", "", "75 mV"))
	equal(t, "one", measured(t, s, tag, at("AM", "", "75 mV")).Usual, "75 mV in 1 other set")
	left(t, s, "A44-10010", at("AM", "", "62 mV"))
	equal(t, "two", measured(t, s, tag, at("AM", "", "75 mV")).Usual, "62 to 75 mV in 2 other sets")
	if _, err := s.Withdraw("A44-10010", last(t, s, "A44-10010", "reading.taken"), "", on("2026-01-10")); err != nil {
		t.Fatal(err)
	}
	equal(t, "one was taken back", measured(t, s, tag, at("AM", "", "75 mV")).Usual, "75 mV in 1 other set")
	if _, _, err := s.Norm("nothing-like-it", "AM", ""); err == nil {
		t.Error("a unit that is none has a norm")
	}
}

// Where no kind is said and the point tells none, it is the one that most sets were
// read in.
func TestTheKindOfAPointIsThatOfMostSets(t *testing.T) {
	s := newShop(t)
	left(t, s, "E17-17750", at("rail", "ripple", "12 mV"))
	left(t, s, "A44-10010", at("rail", "supply-voltage", "24.5 V"))
	left(t, s, "A45-20027", at("rail", "supply-voltage", "24.9 V"))
	tag := receive(t, s, "B90-55354", "2026-01-06").Tag
	n, found, err := s.Norm(tag, "rail", "")
	if err != nil || !found || n.Words() != "24.5 to 24.9 V in 2 other sets" {
		t.Errorf("%q (%v, %v)", n.Words(), found, err)
	}
	n, found, err = s.Norm(tag, "rail", "ripple")
	if err != nil || !found || n.Words() != "12 mV in 1 other set" {
		t.Errorf("%q (%v, %v)", n.Words(), found, err)
	}
}

// last is the id of a unit's last entry of a kind.
func last(t testing.TB, s *app.Shop, typed, kind string) (id string) {
	t.Helper()
	p, err := s.Past(typed, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range p.Matches[0].Visits {
		for _, l := range v.Lines {
			if l.Kind == kind {
				id = l.Event
			}
		}
	}
	if id == "" {
		t.Fatalf("%s has no %s", typed, kind)
	}
	return id
}
