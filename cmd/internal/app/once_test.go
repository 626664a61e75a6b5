package app_test

import (
	"errors"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

func TestAFormIsSavedOnceAlsoByAProgramThatWasStartedAnew(t *testing.T) {
	dir, state, now := filepath.Join(t.TempDir(), "shop"), t.TempDir(), time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	opt := app.Options{State: state, Now: func() time.Time { return now }}
	s, err := app.Found(dir, "Lantern Street Radio", "front", opt)
	if err != nil {
		t.Fatal(err)
	}
	in := app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "E17-17750"}}
	res, err := s.Once("a", "words").Receive(in)
	if err != nil {
		t.Fatal(err)
	}
	// What was refused is not marked: it may be sent again.
	if _, err := s.Once("b", "words").Record(res.Tag, app.Who{}, events.Note{}); err == nil {
		t.Fatal("a note without words was taken")
	}
	if was, err := s.WasSent("b"); was || err != nil {
		t.Fatal(was, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = app.Open(dir, opt); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if was, err := s.WasSent("a"); !was || err != nil {
		t.Fatal(was, err)
	}
	for words, same := range map[string]bool{"words": true, "others": false} {
		_, err := s.Once("a", words).Receive(in)
		var twice *app.Twice
		if !errors.As(err, &twice) || twice.Same != same || twice.Unit != res.Unit {
			t.Errorf("%s: %+v", words, err)
		}
	}
	if _, err := s.Once("b", "words").Record(res.Tag, app.Who{}, events.Note{Text: "dial string renewed"}); err != nil {
		t.Error(err)
	}
	if _, err := s.Record(res.Tag, app.Who{}, events.Note{Text: "without a form"}); err != nil {
		t.Error(err)
	}
	past, err := s.PastOf(res.Tag)
	if err != nil || len(past.Visits) != 1 || len(past.Visits[0].Lines) != 3 {
		t.Errorf("%+v, %v", past.Visits, err)
	}

	// Nobody sends a form again after months.
	now = now.Add(61 * 24 * time.Hour)
	if err := s.Tidy(); err != nil {
		t.Fatal(err)
	}
	if was, err := s.WasSent("a"); was || err != nil {
		t.Error(was, err)
	}
}

func TestHabitsAreOfTheModelFirstAndHaveTheShopsOwnWords(t *testing.T) {
	s := newShop(t)
	visit := func(model, serial string, bodies ...events.Body) string {
		t.Helper()
		res, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: model, Serial: serial, Carrier: "Long Meadow Express"}})
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range bodies {
			if _, err := s.Record(res.Tag, app.Who{By: "mk"}, b); err != nil {
				t.Fatal(err)
			}
		}
		return res.Tag
	}
	for _, serial := range []string{"A-101", "A-202", "A-303"} {
		visit("T-1", serial, events.PartReplaced{Designator: "C9", Component: "filter-capacitor"}, events.ReadingTaken{Point: "B minus", Text: "12"})
	}
	visit("R-950", "E17-11111", events.PartReplaced{Designator: "C14", Component: "coupling-capacitor"}, events.ReadingTaken{Point: "B plus", Text: "285"},
		events.Shipped{Outcome: "repaired", Charge: 9000, Currency: "EUR", WarrantyDays: 30})
	if _, err := s.AddWord("component", "ferrite antenna", app.Who{}); err != nil {
		t.Fatal(err)
	}
	h, err := s.HabitsOf(visit("R-950", "E17-22222"))
	if err != nil {
		t.Fatal(err)
	}
	for want, got := range map[string][]string{"C14": h.Designators, "B plus": h.Points, "coupling-capacitor": h.Components, "Long Meadow Express": h.Carriers, "mk": h.Technicians, "EUR": h.Currencies} {
		if len(got) == 0 || got[0] != want {
			t.Errorf("offered are %v, want %s first", got, want)
		}
	}
	if last := h.Last; last == nil || last.Charge != 9000 || last.Warranty != 30 || len(last.Readings) != 1 {
		t.Errorf("the last of its model is %+v", h.Last)
	}
	for _, word := range []string{"ferrite-antenna", "loudspeaker"} {
		if !slices.Contains(h.Components, word) {
			t.Errorf("%s is not offered", word)
		}
	}
	if h, err := s.HabitsOf(visit("Q-7", "Q-1")); err != nil || h.Last != nil || len(h.Points) == 0 {
		t.Errorf("a model that was not here: %+v, %v", h.Last, err)
	}
}
