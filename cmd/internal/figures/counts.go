package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/projections"
	"oldhand/projections/stats"
)

// asOf is the day the questions are asked for, after all that the shop knows.
// The years in the peers' statements follow from it.
var asOf = events.NewDay(2026, 12, 1)

// counts are what an answer counts, each by its name in words. A side adds to
// them what it gives; two sides that were asked the same have the same. What
// only one side gives can't be compared: findings without a component, and the
// list of units that came back twice or more, of which ours names the few that
// chance does not explain.
type counts map[string]int

func (c counts) add(n int, name ...any) {
	if n != 0 {
		c[strings.TrimSpace(fmt.Sprintln(name...))] += n
	}
}

// differs says where two counts are not the same, the first few places.
func (c counts) differs(o counts) (where []string) {
	names := maps.Clone(c)
	maps.Copy(names, o)
	for _, name := range slices.Sorted(maps.Keys(names)) {
		if c[name] != o[name] && len(where) < 5 {
			where = append(where, fmt.Sprintf("%s: %d and %d", name, c[name], o[name]))
		}
	}
	return where
}

// n is a count or a day. Peers give whole numbers in several widths.
func (l line) n(i int) int {
	switch x := l[i].(type) {
	case int64:
		return int(x)
	case int32:
		return int(x)
	}
	return math.MinInt // differs from every count
}

func theirRarity(a [][]line, c counts) error {
	for _, l := range a[0] {
		if l[1] != "" {
			name := fmt.Sprint(l[0], " ", l[1])
			c.add(l.n(2), name, "units")
			c.add(l.n(3), name, "visits")
			c.add(l.n(4), name, "first", events.Day(l.n(4)))
			c.add(l.n(5), name, "last", events.Day(l.n(5)))
		}
	}
	return nil
}

func ourRarity(rows []any, c counts) error {
	for _, row := range rows {
		r := row.(projections.RarityRow)
		name := r.Maker + " " + r.Model
		c.add(r.Units, name, "units")
		c.add(r.Visits, name, "visits")
		for end, text := range map[string]string{"first": r.FirstSeen, "last": r.LastSeen} {
			d, err := events.ParseDay(text)
			if err != nil {
				return err
			}
			c.add(int(d), name, end, d)
		}
	}
	return nil
}

// A year made of 0 is one that is not known. Groups with no fault have no row
// of ours, so only those with one are compared.
func theirFailures(a [][]line, c counts) error {
	seen := map[int]int{}
	for _, l := range a[0] {
		seen[l.n(0)] = l.n(1)
	}
	for _, l := range a[1] {
		c.add(l.n(3), "made", l.n(0), l[1], l[2])
		c.add(seen[l.n(0)], "made", l.n(0), l[1], l[2], "of")
	}
	return nil
}

func ourFailures(rows []any, c counts) error {
	for _, row := range rows {
		r := row.(projections.FailureRow)
		year := 0
		if r.Year != nil {
			year = *r.Year
		}
		c.add(r.Units, "made", year, r.Component, r.Mode)
		c.add(r.Of, "made", year, r.Component, r.Mode, "of")
	}
	return nil
}

func theirTurnaround(a [][]line, c counts) error {
	for _, l := range a[0] {
		c.add(l.n(1), "closed")
		c.add(l.n(0)*l.n(1), "days in shop")
	}
	for _, l := range a[1] {
		c.add(l.n(1), "open")
	}
	for _, l := range a[2] {
		c.add(l.n(1), "days waiting for", l[0])
	}
	return nil
}

func ourTurnaround(rows []any, c counts) error {
	for _, row := range rows {
		r := row.(projections.TurnaroundRow)
		c.add(r.Closed, "closed")
		c.add(r.Open, "open")
		days := func(mean float64) int { return int(math.Round(mean * float64(r.Closed))) }
		c.add(days(r.Split.InShop), "days in shop")
		c.add(days(r.Split.Owner), "days waiting for owner")
		c.add(days(r.Split.Parts), "days waiting for parts")
		c.add(days(r.Split.Donor), "days waiting for donor")
		c.add(days(r.Split.Payment), "days waiting for payment")
	}
	return nil
}

func theirComeBacks(a [][]line, c counts) error {
	for i, fault := range []string{"any", "same"} {
		for _, l := range a[i] {
			c.add(l.n(2), fault, "visits")
			if l.n(0) == 1 {
				c.add(l.n(2), fault, "back")
				c.add(choose(l.n(1) <= 90, l.n(2), 0), fault, "back within 90 days")
			}
		}
	}
	for _, age := range []int{90, 365, 730, 1825, 3650} {
		watched := func(age int) (n int) {
			for _, l := range a[2] {
				n += choose(int(asOf)-l.n(0) >= age, l.n(1), 0)
			}
			return n
		}
		mean := 0.0
		for _, l := range a[3] {
			if l.n(0) <= age {
				mean += float64(l.n(1)) / float64(watched(l.n(0)))
			}
		}
		c.add(watched(age), "watched for", age)
		c.add(int(math.Round(mean*1e6)), "back, of a million, in", age)
	}
	return nil
}

func ourComeBacks(rows []any, c counts) error {
	for _, row := range rows {
		switch r := row.(type) {
		case projections.ComeBackRow:
			c.add(r.Visits, r.Fault, "visits")
			c.add(r.Returns, r.Fault, "back")
			c.add(r.Within, r.Fault, "back within 90 days")
		case projections.MeanReturnsRow:
			c.add(r.Units, "watched for", r.Age)
			c.add(int(math.Round(r.Mean*1e6)), "back, of a million, in", r.Age)
		}
	}
	return nil
}

func theirParts(a [][]line, c counts) error {
	for _, l := range a[0] {
		c.add(l.n(2), l[0], l[1], "used")
		c.add(l.n(3), l[0], l[1], "last year")
	}
	return nil
}

func ourParts(rows []any, c counts) error {
	for _, row := range rows {
		r := row.(projections.PartRow)
		c.add(r.Used, r.Component, r.Value, "used")
		c.add(r.LastYear, r.Component, r.Value, "last year")
	}
	return nil
}

func theirYears(a [][]line, c counts) error {
	days := map[int][]stats.DayCount{}
	for _, l := range a[0] {
		c.add(l.n(1), l.n(0), "received")
		c.add(l.n(2), l.n(0), "new")
		c.add(l.n(3), l.n(0), "come-backs")
	}
	for _, l := range a[1] {
		c.add(l.n(1), l.n(0), "shipped")
		c.add(l.n(2), l.n(0), "repaired")
	}
	for _, l := range a[2] {
		days[l.n(0)] = append(days[l.n(0)], stats.DayCount{Day: l.n(1), Events: l.n(2)})
	}
	for _, l := range a[3] {
		days[l.n(0)] = append(days[l.n(0)], stats.DayCount{Day: int(asOf) - l.n(1), Censored: l.n(2)})
	}
	for _, l := range a[4] {
		c.add(l.n(1), l.n(0), "parts")
	}
	for _, l := range a[5] {
		c.add(l.n(2), l.n(0), "charged", choose[any](l[1] == "", "not said", l[1]))
	}
	for i, what := range []string{"fault", "model"} {
		for _, l := range a[6+i] {
			c.add(l.n(2), l.n(0), what, l.n(1))
		}
	}
	return medians(days, c)
}

// medians adds the median days in shop of each year, in halves of a day.
func medians(days map[int][]stats.DayCount, c counts) error {
	for year, counted := range days {
		curve, err := stats.KaplanMeier(counted)
		if err != nil {
			return err
		}
		q, err := curve.Quantile(0.5, stats.Level{})
		if err != nil {
			return err
		}
		if q.Estimate.Reached {
			c.add(int(2*q.Estimate.Day), year, "median in half days")
		}
	}
	return nil
}

func ourYears(rows []any, c counts) error {
	for _, row := range rows {
		r := row.(projections.YearRow)
		for what, n := range map[string]int{"received": r.Received, "new": r.New, "come-backs": r.ComeBacks,
			"shipped": r.Shipped, "repaired": r.Repaired, "parts": r.Parts} {
			c.add(n, r.Year, what)
		}
		if r.Median != nil {
			c.add(int(2**r.Median), r.Year, "median in half days")
		}
		for currency, amount := range r.Charged {
			minor, err := strconv.Atoi(strings.Replace(amount, ".", "", 1))
			if err != nil {
				return err
			}
			c.add(minor, r.Year, "charged", currency)
		}
		for what, top := range map[string][]string{"fault": r.TopFaults, "model": r.TopModels} {
			if err := places(top, c, r.Year, what); err != nil {
				return err
			}
		}
	}
	return nil
}

// places adds the counts of a list of the most frequent, each at the end of its
// text in parentheses.
func places(top []string, c counts, name ...any) error {
	for i, text := range top {
		n, err := strconv.Atoi(strings.TrimSuffix(text[strings.LastIndex(text, "(")+1:], ")"))
		if err != nil {
			return err
		}
		c.add(n, append(name, i+1)...)
	}
	return nil
}

func theirOutcomes(a [][]line, c counts) error {
	for _, l := range a[0] {
		c.add(l.n(1), l[0])
	}
	return nil
}

func ourOutcomes(rows []any, c counts) error {
	for _, row := range rows {
		r := row.(projections.OutcomeRow)
		c.add(r.Visits, r.Outcome)
	}
	return nil
}

// The ends of a range are in thousandths of the unit that a kind of measurement is
// shown in.
func theirNorms(a [][]line, c counts) error {
	named := func(l line) string { return fmt.Sprint(l[0], " ", l[1], ", ", l[2], ", ", l[3]) }
	for _, l := range a[0] {
		c.add(l.n(5), named(l), "sets")
	}
	least, most := map[string]float64{}, map[string]float64{}
	for _, l := range a[1] {
		name, v := named(l), shownValue(l)
		if _, seen := least[name]; !seen {
			least[name], most[name] = v, v
		}
		least[name], most[name] = min(least[name], v), max(most[name], v)
		c.add(l.n(7), name, "readings")
	}
	for name := range least {
		c.ends(name, least[name], most[name])
	}
	return nil
}

// shownValue is a value that was exported, in its kind's first unit.
func shownValue(l line) float64 {
	v := measure.Value{Mant: int64(l.n(5)), Exp: int8(l.n(6))}
	if k, ok := measure.Find(fmt.Sprint(l[3])); ok {
		return k.InFirst(v)
	}
	return v.Float()
}

func (c counts) ends(name string, least, most float64) {
	c.add(int(math.Round(1000*least)), name, "smallest")
	c.add(int(math.Round(1000*most)), name, "largest")
}

func ourNorms(rows []any, c counts) error {
	for _, row := range rows {
		r := row.(projections.NormRow)
		name := r.Group + ", " + r.Point + ", " + r.Measure
		c.add(r.Sets, name, "sets")
		c.add(r.Readings, name, "readings")
		c.ends(name, r.Least, r.Most)
	}
	return nil
}

func choose[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}
