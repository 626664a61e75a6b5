package oracle_test

import (
	"cmp"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The fleet questions once more. Each gives the rows that the program's answer
// must have, by the names of its columns.

func (b book) rarity(t testing.TB) []row {
	all := b.rows(t, script(t, "rarity"))
	for _, r := range all {
		r["rate_per_year"], r["rate_low"], r["rate_high"] = rate(r.int("units"), r["years"].(float64))
		delete(r, "years")
	}
	return all
}

// What units, visits and endings are grouped by, in the words of the program and
// in SQL.
var (
	unitsBy = map[string]string{"year": "iif(made = 0, '', made || '')", "decade": "iif(made = 0, '', (made / 10) || '0s')",
		"maker": "made_by", "model": "iif(fold(model) = '', '', name)"}
	visitsBy = map[string]string{"all": "'all'", "year": "substr(on_day, 1, 4)", "model": "trim(maker || ' ' || model)",
		"outcome": "iif(ending = 'shipped', outcome, 'still open')"}
	endingsBy = map[string]string{"all": "'all'", "kind": "kind", "model": "trim(maker || ' ' || model)", "maker": "maker",
		"year": "substr(on_day, 1, 4)"}
)

// byName parts visits by the column name. Makers and models are compared folded
// and shown as most of the visits have them.
func byName(visits []row, by string) map[string][]row {
	groups, spelled := map[string][]row{}, map[string]map[string]int{}
	for _, v := range visits {
		name := v.text("name")
		key := name
		if by == "model" || by == "maker" {
			key = fold(name)
		}
		if spelled[key] == nil {
			spelled[key] = map[string]int{}
		}
		spelled[key][name]++
		groups[key] = append(groups[key], v)
	}
	shown := map[string][]row{}
	for key, g := range groups {
		best := ""
		for name, n := range spelled[key] {
			if most := spelled[key][best]; n > most || n == most && name < best {
				best = name
			}
		}
		shown[best] = g
	}
	return shown
}

// grouped is a script with what it groups by put in.
func grouped(t testing.TB, name, by string) string {
	return strings.ReplaceAll(script(t, name), "{by}", by)
}

func (b book) failures(t testing.TB, by string) []row {
	all := b.rows(t, grouped(t, "failures", unitsBy[by]))
	var ps []float64
	var compared []row
	for _, r := range all {
		x, n, y, m := r.int("units"), r.int("of"), r.int("y"), r.int("m")
		delete(r, "y")
		delete(r, "m")
		name := r.text("group")
		r["share"] = float64(x) / float64(n)
		r["low"], r["high"] = wilson(x, n)
		r["year"], r["lift"], r["p"], r["adjusted"], r["flagged"] = nil, nil, 1.0, 1.0, false
		if name == "" {
			continue
		}
		if year, err := strconv.Atoi(name); err == nil && by == "year" {
			r["year"] = year
		}
		if y > 0 {
			r["lift"] = float64(x) / float64(n) / (float64(y) / float64(m))
		}
		if m > 0 {
			r["p"] = fisher(x, n, y, m)
		}
		ps, compared = append(ps, r["p"].(float64)), append(compared, r)
	}
	for i, p := range stepUp(ps) {
		compared[i]["adjusted"], compared[i]["flagged"] = p, p <= 0.05
	}
	return all
}

func (b book) turnaround(t testing.TB, by string) (all []row, unknown int) {
	waited := map[string]map[string]int{} // by visit, then by what for
	for _, w := range b.rows(t, script(t, "waits")) {
		if waited[w.text("id")] == nil {
			waited[w.text("id")] = map[string]int{}
		}
		waited[w.text("id")][w.text("what")] = w.int("days")
	}
	for name, visits := range byName(b.rows(t, grouped(t, "turnaround", visitsBy[by])), by) {
		known := slices.DeleteFunc(visits, func(v row) bool { return v.text("ending") == "unknown" })
		if unknown += len(visits) - len(known); len(known) > 0 {
			all = append(all, turns(name, known, waited))
		}
	}
	return all, unknown
}

// turns is one group's row.
func turns(name string, visits []row, waited map[string]map[string]int) row {
	var stays []stay
	closed, days, spent := 0, 0, map[string]int{}
	for _, v := range visits {
		ended := v.text("ending") == "shipped"
		stays = append(stays, stay{v.int("days"), ended})
		if !ended {
			continue
		}
		closed++
		days += v.int("days")
		for what, n := range waited[v.text("id")] {
			spent[what] += n
		}
	}
	c := productLimit(stays)
	r := row{"group": name, "visits": len(stays), "closed": closed, "open": len(stays) - closed, "steps": drawn(c), "split": nil,
		"median": reaches(c, 0.5, middle), "median_low": reaches(c, 0.5, lower), "median_high": reaches(c, 0.5, upper),
		"p75": reaches(c, 0.25, middle), "p90": reaches(c, 0.1, middle), "p90_low": reaches(c, 0.1, lower), "p90_high": reaches(c, 0.1, upper)}
	if closed > 0 {
		mean := func(n int) float64 { return float64(n) / float64(closed) }
		r["split"] = map[string]any{"in_shop": mean(days), "waiting_for_owner": mean(spent["owner"]), "waiting_for_parts": mean(spent["parts"]),
			"waiting_for_donor": mean(spent["donor"]), "waiting_for_payment": mean(spent["payment"]),
			"on_the_bench": mean(days - spent["owner"] - spent["parts"] - spent["donor"] - spent["payment"])}
	}
	return r
}

func (b book) comeBacks(t testing.TB, days int) (all []row) {
	visits := b.rows(t, script(t, "returns"))
	for _, fault := range []string{"any", "same"} {
		var stays []stay
		returns, within := 0, 0
		for _, v := range visits {
			if v[fault] == nil {
				stays = append(stays, stay{v.int("watched"), false})
				continue
			}
			stays = append(stays, stay{v.int(fault), true})
			returns++
			if v.int(fault) <= days {
				within++
			}
		}
		if len(stays) == 0 {
			continue
		}
		r := row{"fault": fault, "days": days, "visits": len(stays), "returns": returns, "within": within,
			"share": nil, "low": nil, "high": nil, "steps": drawn(productLimit(stays))}
		if at := after(stays, days); at != nil {
			r["share"] = 1 - at.s
			if !math.IsNaN(at.low) {
				r["low"], r["high"] = 1-at.high, 1-at.low
			}
		}
		all = append(all, r)
	}
	return all
}

// life is a unit from the day it was first shipped.
type life struct {
	row
	watched int
	ages    []int
}

func (b book) lives(t testing.TB) (all []life) {
	for _, r := range b.rows(t, script(t, "lives")) {
		l := life{row: r, watched: r.int("watched")}
		if err := json.Unmarshal([]byte(r.text("ages")), &l.ages); err != nil {
			t.Fatal(err)
		}
		all = append(all, l)
	}
	return all
}

// meanReturns is the mean cumulative function of shared facts, section 2, with
// the robust variance: a sum over units of what each adds to the mean beyond
// what the mean has for it.
func meanReturns(lives []life, age int) (mean, se float64, atRisk int) {
	drops := map[int]int{}
	for _, l := range lives {
		if l.watched >= age {
			atRisk++
		}
		for _, a := range l.ages {
			if a <= age {
				drops[a]++
			}
		}
	}
	beyond := make([]float64, len(lives))
	for a, d := range drops {
		r := 0
		for _, l := range lives {
			if l.watched >= a {
				r++
			}
		}
		mean += float64(d) / float64(r)
		for i, l := range lives {
			if l.watched >= a {
				own := 0
				for _, x := range l.ages {
					if x == a {
						own++
					}
				}
				beyond[i] += (float64(own) - float64(d)/float64(r)) / float64(r)
			}
		}
	}
	for _, x := range beyond {
		se += x * x
	}
	return mean, math.Sqrt(se), atRisk
}

func means(lives []life) (all []row) {
	for _, age := range []int{90, 365, 730, 1825, 3650} {
		mean, se, atRisk := meanReturns(lives, age)
		if atRisk == 0 || mean == 0 {
			continue // nobody was watched so long, or nobody was back yet: no limits to give
		}
		all = append(all, row{"days_since_first_shipped": age, "units_watched_so_long": atRisk, "mean_returns": mean, "robust_se": se,
			"low": max(0, mean-z*se), "high": mean + z*se})
	}
	return all
}

// tooOften are the units with at least two returns that chance does not
// explain, among all that were watched; at most twenty are listed.
func tooOften(lives []life) (all []row) {
	ps := make([]float64, len(lives))
	expected := make([]float64, len(lives))
	for i, l := range lives {
		if ps[i] = 1; len(l.ages) >= 2 {
			expected[i], _, _ = meanReturns(lives, l.watched)
			ps[i] = poissonTail(len(l.ages), expected[i])
		}
	}
	for i, p := range stepUp(ps) {
		if l := lives[i]; p <= 0.05 {
			all = append(all, row{"unit": l.text("root"), "tag": orEmpty(l.row["tag"]), "maker": l.text("maker"), "model": l.text("model"),
				"returns": len(l.ages), "expected": expected[i], "p": ps[i], "adjusted": p})
		}
	}
	slices.SortFunc(all, func(a, b row) int {
		return cmp.Or(cmp.Compare(a["p"].(float64), b["p"].(float64)), strings.Compare(a.text("unit"), b.text("unit")))
	})
	return all[:min(len(all), 20)]
}

func orEmpty(v any) any {
	if v == nil {
		return ""
	}
	return v
}

func (b book) parts(t testing.TB) []row {
	all := b.rows(t, script(t, "parts"))
	for _, r := range all {
		r["per_year"], r["low"], r["high"] = rate(r.int("used"), r["years"].(float64))
		delete(r, "years")
	}
	return all
}

func (b book) outcomes(t testing.TB, by string) (all []row) {
	for name, visits := range byName(b.rows(t, grouped(t, "outcomes", endingsBy[by])), by) {
		counts := map[string]int{}
		for _, v := range visits {
			counts[v.text("outcome")]++
		}
		for outcome, x := range counts {
			low, high := wilson(x, len(visits))
			all = append(all, row{"group": name, "outcome": outcome, "visits": x, "of": len(visits),
				"share": float64(x) / float64(len(visits)), "low": low, "high": high})
		}
	}
	return all
}
