package oracle_test

import (
	"math"
	"slices"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/jobbook"
	"oldhand/events"
)

// Shops so small that every number is worked out by hand, as of 2026-11-25. The
// oracle goes over each of them too.

// tiny is a shop with a few rows of an old book.
func tiny(t testing.TB, rows string) *app.Shop {
	t.Helper()
	s, data := newShop(t), []byte("Date in,Date out,Make,Model,Serial,Year,Found\n"+rows)
	b, err := jobbook.Open(data, jobbook.Options{AsOf: jobbook.DayOf(noon(t, today))})
	if err != nil {
		t.Fatal(err)
	}
	res, err := s.ImportBook(data, b, app.ImportOptions{})
	if err != nil || len(res.Refused) > 0 {
		t.Fatal(err, res.Refused)
	}
	return s
}

// has checks some columns of the row that has a value in a column.
func has(t *testing.T, rows []row, column string, value any, want row) {
	t.Helper()
	i := slices.IndexFunc(rows, func(r row) bool { _, ok := r[column]; return ok && differs(r[column], value) == "" })
	if i < 0 {
		t.Fatalf("no row with %s %v in %v", column, value, rows)
	}
	for _, name := range columns(want) {
		if why := differs(rows[i][name], want[name]); why != "" {
			t.Errorf("%v: %s: %s", value, name, why)
		}
	}
}

// Six visits that count, of 10, 10, 20 and 30 days, and open for 10 and for 30.
// F6 came again without having left: its first visit is missing.
//
//	day 10: 6 stand there, 2 leave        S = 4/6           = 2/3
//	day 20: 3 stand there, 1 leaves       S = 2/3 * 2/3     = 4/9
//	day 30: 2 stand there, 1 leaves       S = 4/9 * 1/2     = 2/9
//
// 1/2 is passed on day 20, 1/4 on day 30, 1/10 never. Without the open visits
// the median would be 15. The closed ones had 70 days, 17.5 each.
func TestTurnaroundByHand(t *testing.T) {
	s := tiny(t, `2026-01-01,2026-01-11,Ostrel,R-950,A1,,
2026-01-01,2026-01-11,Ostrel,R-950,B2,,
2026-11-15,,Ostrel,R-950,C3,,
2026-01-01,2026-01-21,Ostrel,R-950,D4,,
2026-10-26,,Ostrel,R-950,E5,,
2025-03-01,,Ostrel,R-950,F6,,
2025-05-01,2025-05-31,Ostrel,R-950,F6,,
`)
	a := ask(t, s, app.Asking{Question: "turnaround"})
	equal(t, "missing", a.missing("nobody wrote down"), 1)
	has(t, a.Rows, "group", "all", row{"visits": 6, "closed": 4, "open": 2, "median": 20, "p75": 30, "p90": nil})
	for i, want := range [][3]float64{{10, 2. / 3, 6}, {20, 4. / 9, 3}, {30, 2. / 9, 2}} {
		got := a.Rows[0]["steps"].([]any)[i].([]any)
		for j, at := range []int{0, 1, 4} { // the day, S and how many stood there
			near(t, "step", got[at].(float64), want[j])
		}
	}
	near(t, "days in shop", a.Rows[0]["split"].(map[string]any)["in_shop"].(float64), 17.5)
	agree(t, s, today)
}

// Seven visits were shipped: A1 back after 60 days with the same fault, then
// gone for 248; B2 back after 90 with another fault; C3 gone for 30 days and D4
// for 1; E5, with no fault written down, back after 120 and then gone for 240.
//
//	any fault   day 60: 5 of 7 gone so long, 1 back    S = 4/5
//	            day 90: 4, 1 back                      S = 4/5 * 3/4 = 3/5
//	            day 120: 3, 1 back                     S = 3/5 * 2/3 = 2/5
//	same fault  day 60: A1 twice, B2, E5 twice, 1 back S = 4/5
//
// So 2/5 are back within 90 days, not 2 of 7: C3 and D4 have not been gone so
// long. From when each was first shipped, A1, B2 and E5 were watched for 90
// days, E5 alone for a year:
//
//	mean by day 90: 1/3 + 1/3; A1 and B2 have 1/9 beyond it, E5 -2/9, so the
//	variance is 6/81; by a year 1/3 more.
func TestComeBacksByHand(t *testing.T) {
	s := tiny(t, `2026-01-01,2026-01-11,Ostrel,R-950,A1,,filter caps leaky
2026-03-12,2026-03-22,Ostrel,R-950,A1,,filter caps leaky
2026-01-20,2026-02-01,Ostrel,R-950,B2,,filter caps leaky
2026-05-02,,Ostrel,R-950,B2,,selector sw dirty
2026-10-20,2026-10-26,Ostrel,R-950,C3,,selector sw dirty
2026-11-20,2026-11-24,Ostrel,R-950,D4,,selector sw dirty
2025-11-20,2025-11-25,Ostrel,R-950,E5,,
2026-03-25,2026-03-30,Ostrel,R-950,E5,,filter caps leaky
`)
	rows := ask(t, s, app.Asking{Question: "comebacks"}).Rows
	has(t, rows, "fault", "any", row{"days": 90, "visits": 7, "returns": 3, "within": 2, "share": 2. / 5})
	has(t, rows, "fault", "same", row{"visits": 7, "returns": 1, "within": 1, "share": 1. / 5})
	has(t, rows, "days_since_first_shipped", 90, row{"units_watched_so_long": 3, "mean_returns": 2. / 3, "robust_se": math.Sqrt(6) / 9})
	has(t, rows, "days_since_first_shipped", 365, row{"units_watched_so_long": 1, "mean_returns": 1})
	agree(t, s, today)
}

// Nothing was back within 90 days, and one of two sets later: the mean by a
// year is 1/2 all the same.
func TestMeanReturnsBeginWithTheFirstReturn(t *testing.T) {
	s := tiny(t, `2024-01-02,2024-01-10,Ostrel,R-950,A1,,
2024-09-01,2024-09-20,Ostrel,R-950,A1,,
2024-01-02,2024-01-10,Ostrel,R-950,B2,,
`)
	rows := of(ask(t, s, app.Asking{Question: "comebacks"}).Rows, "mean_returns")
	equal(t, "ages told", len(rows), 2) // a year and two; nobody was watched for five
	has(t, rows, "days_since_first_shipped", 365, row{"units_watched_so_long": 2, "mean_returns": 0.5})
	agree(t, s, today)
}

// Leaky filter capacitors: of the three sets made in 1967 A1 (twice) and B2 had
// them, of the two of 1970 D4, and F6, of no known year or model.
//
//	1967: 2 of 3 against 1 of 2 elsewhere: lift 2/3 : 1/2 = 4/3
//	1970: 1 of 2 against 2 of 3:           lift 1/2 : 2/3 = 3/4
//	R-950, however it is spelled: 3 of 4 against none of 1: no lift
//	Ostrel: 3 of 4 against 1 of 2:         lift 3/4 : 1/2 = 3/2
//
// F6 is in no group's denominator where its year or model is asked for. With
// five sets and three hits, a table of 2, 1, 1, 1 is the likeliest: p = 1.
func TestFailuresByHand(t *testing.T) {
	s := tiny(t, `2020-01-02,2020-01-10,Ostrel,R-950,A1,1967,filter caps leaky
2021-01-02,2021-01-10,Ostrel,R-950,A1,1967,filter caps leaky
2020-01-02,2020-01-10,OSTREL,R-950,B2,1967,filter caps leaky
2020-01-02,2020-01-10,Ostrel,R-950,C3,1967,selector sw dirty
2020-01-02,2020-01-10,Ostrel,r950,D4,1970,filter caps leaky
2020-01-02,2020-01-10,Corvane,MS-44,E5,1970,selector sw dirty
2020-01-02,2020-01-10,Corvane,,F6,,filter caps leaky
`)
	leaky := func(by string) (rows []row) {
		for _, r := range ask(t, s, app.Asking{Question: "failures", By: by}).Rows {
			if r["component"] == "filter-capacitor" {
				rows = append(rows, r)
			}
		}
		return rows
	}
	byYear := leaky("")
	equal(t, "groups by year", len(byYear), 3)
	has(t, byYear, "group", "1967", row{"units": 2, "of": 3, "share": 2. / 3, "lift": 4. / 3, "p": 1})
	has(t, byYear, "group", "1970", row{"units": 1, "of": 2, "lift": 3. / 4})
	has(t, byYear, "group", "", row{"units": 1, "of": 1, "lift": nil, "year": nil})
	has(t, leaky("model"), "group", "Ostrel R-950", row{"units": 3, "of": 4, "lift": nil})
	has(t, leaky("model"), "group", "", row{"units": 1, "of": 1, "lift": nil})
	has(t, leaky("maker"), "group", "Ostrel", row{"units": 3, "of": 4, "lift": 3. / 2})
	agree(t, s, today)
}

// Three sets of one model in two spellings, the rarer one on the set that came
// four times: by sets it is an R-950. C3 was entered twice on one day, and the
// book's rows of that day are one visit of nine days.
func TestAModelIsSpelledAsMostOfItsUnitsAre(t *testing.T) {
	s := tiny(t, `2020-01-02,2020-01-10,Ostrel,R-950,A1,1967,
2020-01-02,2020-01-10,Ostrel,R-950,B2,1967,
2020-02-01,,Ostrel,R950,C3,1968,
2020-02-01,2020-02-10,Ostrel,R950,C3,1968,selector sw dirty
2021-02-01,2021-02-10,Ostrel,R950,C3,1968,
2022-02-01,2022-02-10,Ostrel,R950,C3,1968,
2023-02-01,2023-02-10,Ostrel,R950,C3,1968,
`)
	want := row{"maker": "Ostrel", "units": 3, "visits": 6, "share": 1, "first_seen": "2020-01-02", "last_seen": "2023-02-01"}
	has(t, ask(t, s, app.Asking{Question: "rarity"}).Rows, "model", "R-950", want)
	has(t, ask(t, s, app.Asking{Question: "failures", By: "model"}).Rows, "group", "Ostrel R-950", row{"units": 1, "of": 3})
	has(t, ask(t, s, app.Asking{Question: "turnaround", By: "model"}).Rows, "group", "Ostrel R950", row{"visits": 6, "median": 9})
	agree(t, s, today)
}

// Twenty days in the shop, from the 1st to the 21st of March: from the 3rd it
// waited for parts, from the 5th to the 8th for its owner as well, until the
// 11th. Of two waits at once the later one has the day: 3 for the owner, 2 + 3
// for parts, 12 on the bench. Yen have no hundredths (ISO 4217).
func TestWaitsAndMoneyByHand(t *testing.T) {
	s := newShop(t)
	got, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Tessaly", Model: "Duo", Serial: "T1"}, Who: on(t, "2026-03-01")})
	if err != nil {
		t.Fatal(err)
	}
	for _, step := range []func() (app.Saved, error){
		func() (app.Saved, error) {
			return s.Wait(got.Tag, on(t, "2026-03-03"), events.WaitingBegun{For: "parts"})
		},
		func() (app.Saved, error) {
			return s.Wait(got.Tag, on(t, "2026-03-05"), events.WaitingBegun{For: "owner"})
		},
		func() (app.Saved, error) {
			return s.Record(got.Tag, on(t, "2026-03-08"), events.WaitingEnded{For: "owner"})
		},
		func() (app.Saved, error) { return s.Resume(got.Tag, on(t, "2026-03-11"), "") },
		func() (app.Saved, error) {
			return s.Ship(got.Tag, on(t, "2026-03-21"), events.Shipped{Outcome: "repaired", Charge: 15000, Currency: "JPY"})
		},
	} {
		if _, err := step(); err != nil {
			t.Fatal(err)
		}
	}
	split := row(ask(t, s, app.Asking{Question: "turnaround"}).Rows[0]["split"].(map[string]any))
	for name, days := range map[string]float64{"in_shop": 20, "waiting_for_parts": 5, "waiting_for_owner": 3, "on_the_bench": 12} {
		equal(t, name, split[name].(float64), days)
	}
	has(t, ask(t, s, app.Asking{Question: "year"}).Rows, "year", 2026, row{"shipped": 1, "repaired": 1, "charged": map[string]any{"JPY": "15000"}})
	agree(t, s, today)
}

// An intake that was taken back was never a visit. A set joined and parted again
// is two.
func TestWithdrawnIntakesAndPartedUnitsByHand(t *testing.T) {
	s := tiny(t, "2020-01-02,2020-01-10,Ostrel,R-950,A1,1967,\n2020-02-02,2020-02-10,Ostrel,R-950,B9,1967,\n")
	again, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "A1"}, Who: on(t, "2026-03-01")})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Withdraw(again.Tag, again.Events[0].ID.String(), "another set", on(t, "2026-03-03")); err != nil {
		t.Fatal(err)
	}
	has(t, ask(t, s, app.Asking{Question: "rarity"}).Rows, "model", "R-950", row{"units": 2, "visits": 2, "last_seen": "2020-02-02"})
	agree(t, s, today)
	if _, err := s.Same("A1", "B9", "", on(t, "2026-03-04")); err != nil {
		t.Fatal(err)
	}
	has(t, ask(t, s, app.Asking{Question: "rarity"}).Rows, "model", "R-950", row{"units": 1, "visits": 2})
	agree(t, s, today)
	if _, err := s.Apart("A1", "B9", "", on(t, "2026-03-05")); err != nil {
		t.Fatal(err)
	}
	has(t, ask(t, s, app.Asking{Question: "rarity"}).Rows, "model", "R-950", row{"units": 2, "visits": 2})
	agree(t, s, today)
}
