package oracle_test

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"testing"
)

// years are the year of the day asked about and the five before it.
func (b book) years(t testing.TB) (all []row) {
	last, err := strconv.Atoi(b.asOf[:4])
	if err != nil {
		t.Fatal(err)
	}
	for year := last; year > last-6; year-- {
		r := b.rows(t, script(t, "year"), sql.Named("year", strconv.Itoa(year)))[0]
		r["charged"] = charges(t, r.text("charged"))
		for _, list := range []string{"top_faults", "top_models"} {
			var names []any
			if err := json.Unmarshal([]byte(r.text(list)), &names); err != nil {
				t.Fatal(err)
			}
			r[list] = names
		}
		r["come_back_share"], r["come_back_low"], r["come_back_high"] = nil, nil, nil
		if n := r.int("received"); n > 0 {
			r["come_back_share"] = float64(r.int("come_backs")) / float64(n)
			r["come_back_low"], r["come_back_high"] = wilson(r.int("come_backs"), n)
		}
		c := productLimit(b.inYear(t, year))
		r["median_days"], r["p90_days"] = reaches(c, 0.5, middle), reaches(c, 0.1, middle)
		all = append(all, r)
	}
	return all
}

// inYear is how long the visits lasted that began in a year.
func (b book) inYear(t testing.TB, year int) (stays []stay) {
	for _, v := range b.rows(t, grouped(t, "turnaround", visitsBy["year"])) {
		if v.text("name") == strconv.Itoa(year) && v.text("ending") != "unknown" {
			stays = append(stays, stay{v.int("days"), v.text("ending") == "shipped"})
		}
	}
	return stays
}

// wholes are currencies of ISO 4217 that have no smaller unit.
var wholes = map[string]bool{"JPY": true, "KRW": true, "CLP": true, "ISK": true}

// charges are sums of money as they are written, from sums in the smallest
// unit of each currency.
func charges(t testing.TB, text string) map[string]any {
	t.Helper()
	var minor map[string]int64
	if err := json.Unmarshal([]byte(text), &minor); err != nil {
		t.Fatal(err)
	}
	written := map[string]any{}
	for currency, n := range minor {
		if written[currency] = fmt.Sprintf("%d.%02d", n/100, n%100); wholes[currency] {
			written[currency] = strconv.FormatInt(n, 10)
		}
	}
	return written
}
