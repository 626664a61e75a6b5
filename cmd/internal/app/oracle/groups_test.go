package oracle_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/sharedtest"
)

// The leukemia data as visits of two models, a week of theirs a day here, beside
// visits of a third. Source: shared facts, section 1, by R: medians 23 and 8,
// log-rank chi-square 16.79294 on 1 degree of freedom.
func TestTwoNamedGroupsDifferAsPublished(t *testing.T) {
	s := groupShop(t)
	a := ask(t, s, app.Asking{Question: "turnaround", By: "model", Groups: []string{"ostrel w6", "Ostrel W-0"}})
	equal(t, "groups", len(a.Rows), 2)
	has(t, a.Rows, "group", "Ostrel W-6", row{"visits": 21, "closed": 9, "open": 12, "median": 23})
	has(t, a.Rows, "group", "Ostrel W-0", row{"visits": 21, "closed": 21, "open": 0, "median": 8})
	told := strings.Join(a.Notes, "\n")
	if !strings.Contains(told, "log-rank chi-square 16.79 on 1 degrees of freedom") {
		t.Errorf("told: %s", told)
	}
}

func TestAGroupThatIsNotThereIsNamed(t *testing.T) {
	s := groupShop(t)
	for _, in := range []app.Asking{
		{Question: "turnaround", By: "model", Groups: []string{"Ostrel W-7"}},
		{Question: "rarity", Groups: []string{"Ostrel W-6"}},
	} {
		_, err := s.Ask(in)
		var wrong *app.Wrong
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), "--group") {
			t.Errorf("%+v: %v", in, err)
		}
	}
}

func groupShop(t *testing.T) *app.Shop {
	t.Helper()
	asOf, err := events.ParseDay(today)
	if err != nil {
		t.Fatal(err)
	}
	var book strings.Builder
	add := func(model string, days int, closed bool) {
		in := asOf - events.Day(days)
		out := ""
		if closed {
			in -= 500
			out = (in + events.Day(days)).String()
		}
		fmt.Fprintf(&book, "%s,%s,Ostrel,%s,S%d,,\n", in, out, model, book.Len())
	}
	for _, r := range sharedtest.Rows(t, "checkdata/km_leukemia_data.csv") {
		model := "W-6"
		if r["group"] == "placebo" {
			model = "W-0"
		}
		add(model, int(float(t, r["time"])), r["status"] == "1")
	}
	for days := range 20 {
		add("W-3", 100+days, true)
	}
	return tiny(t, book.String())
}

// What is kept of an answer holds until something is recorded, and no longer.
func TestAnAnswerIsKeptUntilSomethingIsRecorded(t *testing.T) {
	s := tiny(t, "2026-01-01,2026-01-11,Ostrel,R-950,A1,,\n")
	first, err := s.Ask(app.Asking{Question: "rarity"})
	if err != nil {
		t.Fatal(err)
	}
	if again, err := s.Ask(app.Asking{Question: "rarity"}); err != nil || again != first {
		t.Errorf("it was answered anew (%v)", err)
	}
	for _, other := range []app.Asking{{Question: "turnaround"}, {Question: "rarity", AsOf: "2026-11-24"}, {Question: "rarity", Maker: "Ostrel"}} {
		if res, err := s.Ask(other); err != nil || res == first {
			t.Errorf("%+v got the answer to another question (%v)", other, err)
		}
	}
	by := app.Asking{Question: "turnaround", By: "model"}
	if _, err := s.Ask(by); err != nil {
		t.Fatal(err)
	}
	by.Groups = []string{"none such"}
	if _, err := s.Ask(by); err == nil {
		t.Error("one group got the answer to all")
	}
	if _, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "B2"}}); err != nil {
		t.Fatal(err)
	}
	has(t, ask(t, s, app.Asking{Question: "rarity"}).Rows, "model", "R-950", row{"units": 2})
}
