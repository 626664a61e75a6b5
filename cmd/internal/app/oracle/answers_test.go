package oracle_test

import (
	"fmt"
	"testing"

	"oldhand/cmd/internal/app"
)

// agree compares every row of every answer about a shop.
func agree(t *testing.T, s *app.Shop, asOf string) book {
	t.Helper()
	b := load(t, s, asOf)
	about := func(question, by string) app.Asking { return app.Asking{Question: question, AsOf: asOf, By: by} }

	rarity := ask(t, s, about("rarity", ""))
	sameRows(t, "rarity", rarity.Rows, b.rarity(t), "maker", "model")
	equal(t, "units of no known model", rarity.missing("model is not known"), b.count(t, "SELECT count(*) FROM unit WHERE fold(model) = ''"))

	for by := range unitsBy {
		a := ask(t, s, about("failures", by))
		sameRows(t, "failures by "+by, a.Rows, b.failures(t, by), "group", "component", "mode")
		equal(t, "findings in words alone", a.missing("no component"),
			b.count(t, "SELECT count(*) FROM happened WHERE name = 'fault.found' AND coalesce(data->>'component', '') = '' AND stay IS NOT NULL"))
	}
	for by := range visitsBy {
		want, unknown := b.turnaround(t, by)
		a := ask(t, s, about("turnaround", by))
		sameRows(t, "turnaround by "+by, a.Rows, want, "group")
		equal(t, "visits of unknown end by "+by, a.missing("nobody wrote down"), unknown)
	}
	for by := range endingsBy {
		sameRows(t, "outcomes by "+by, ask(t, s, about("outcomes", by)).Rows, b.outcomes(t, by), "group", "outcome")
	}
	sameRows(t, "parts", ask(t, s, about("parts", "")).Rows, b.parts(t), "component", "value")
	sameRows(t, "years", ask(t, s, about("year", "")).Rows, b.years(t), "year")
	agreeOnReturns(t, s, b)
	agreeOnNorms(t, s, b)
	return b
}

func agreeOnReturns(t *testing.T, s *app.Shop, b book) {
	t.Helper()
	lives := b.lives(t)
	for _, days := range []int{30, 90} {
		rows := ask(t, s, app.Asking{Question: "comebacks", AsOf: b.asOf, Days: days}).Rows
		sameRows(t, fmt.Sprintf("back within %d days", days), of(rows, "fault"), b.comeBacks(t, days), "fault")
		sameRows(t, "mean returns", of(rows, "mean_returns"), means(lives), "days_since_first_shipped")
		sameRows(t, "back too often", of(rows, "expected"), tooOften(lives), "unit")
	}
}

func (b book) count(t testing.TB, query string) (n int) {
	t.Helper()
	if err := b.QueryRow(query).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestEveryAnswerAboutTheInventedShopIsTheOracles(t *testing.T) {
	t.Parallel()
	sizes := []int{300, 2000}
	if testing.Short() {
		sizes = sizes[:1]
	}
	for _, units := range sizes {
		s, asOf := demoShop(t, units)
		b := agree(t, s, asOf)
		// A shop in which nothing was corrected, joined or in dispute would show little.
		if n := len(b.failures(t, "year")); n < 100 {
			t.Errorf("%d units: only %d rows of failures", units, n)
		}
		if n := len(b.norms(t, "model")); n < 40 {
			t.Errorf("%d units: only %d rows of norms", units, n)
		}
		if b.count(t, "SELECT count(*) FROM root WHERE unit <> root") == 0 || len(b.comeBacks(t, 90)) != 2 {
			t.Errorf("%d units: no joined units, or none that came back", units)
		}
	}
}

// Asked about a day in the past, the answers know nothing of later days; half of
// the story's units have not come in by then, and some stand on a bench that
// have long left it.
func TestEveryAnswerAsOfAPastDayIsTheOracles(t *testing.T) {
	notInShort(t)
	t.Parallel()
	s, _ := demoShop(t, 300)
	b := agree(t, s, "2012-06-30")
	if b.count(t, "SELECT count(*) FROM visit WHERE ending = 'open'") == 0 {
		t.Error("nothing stood on a bench that day")
	}
}

func TestEveryAnswerAboutTheJobBookIsTheOraclesBeforeAndAfterJoining(t *testing.T) {
	notInShort(t)
	t.Parallel()
	s, res := jobBookShop(t)
	agree(t, s, today)
	join(t, s, res)
	agree(t, s, today)
}

func TestEveryAnswerAboutRealRepairsIsTheOracles(t *testing.T) {
	notInShort(t)
	t.Parallel()
	agree(t, repairShop(t), today)
}

// notInShort leaves the larger shops out of a short run: under the race detector
// the database takes twenty times as long, and it has nothing to do with races.
func notInShort(t testing.TB) {
	if testing.Short() {
		t.Skip("not in a short run")
	}
}

// join takes every offer of two units that are likely one.
func join(t testing.TB, s *app.Shop, res app.Imported) {
	t.Helper()
	for _, p := range res.LikelySame {
		if _, err := s.Same(p.A.Tag, p.B.Tag, "mistyped", on(t, today)); err != nil {
			t.Fatal(err)
		}
	}
}
