package projections

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"oldhand/events"
	"oldhand/projections/stats"
)

// YearRow is one year's row of the answer.
type YearRow struct {
	Year      int               `json:"year"`
	Received  int               `json:"received"`
	New       int               `json:"new_units"`
	Shipped   int               `json:"shipped"`
	Repaired  int               `json:"repaired"`
	ComeBacks int               `json:"come_backs"` // received within 90 days of being shipped
	Share     *float64          `json:"come_back_share"`
	Low       *float64          `json:"come_back_low"`
	High      *float64          `json:"come_back_high"`
	Median    *float64          `json:"median_days"` // in shop, of visits received in the year
	P90       *float64          `json:"p90_days"`
	Parts     int               `json:"parts"`
	Charged   map[string]string `json:"charged"` // by currency
	TopFaults []string          `json:"top_faults"`
	TopModels []string          `json:"top_models"`
}

// Rows of one visit, by calendar year.
const (
	yearReceived = 'r'
	yearNew      = 'n'
	yearShipped  = 's'
	yearBack     = 'b'
	yearDays     = 'd'
	yearOpen     = 'o'
	yearPart     = 'p'
	yearCharge   = 'c'
	yearFault    = 'f'
	yearModel    = 'm'
)

func yearRows(h *History, to *rowList) {
	for i, v := range h.Visits {
		year := v.day().Date().Year()
		in := func(kind byte) rowKey { return to.key().num(year).byte(kind) }
		to.add(in(yearReceived))
		to.add(in(yearModel).text(h.Maker).text(h.Model))
		if i == 0 {
			to.add(in(yearNew))
		}
		if i > 0 && h.Visits[i-1].cameBack(v) {
			to.add(in(yearBack))
		}
		for _, f := range faultsOf(h.Visits[i:i+1], nil) {
			to.add(in(yearFault).text(f.component).text(f.mode))
		}
		v.yearEnd(in, to)
	}
}

// yearHead has a year's rows of each kind in a block.
func yearHead(row []byte) int { return min(5, len(row)) }

// yearEnd is what the end of a visit gives to the years.
func (v Visit) yearEnd(in func(byte) rowKey, to *rowList) {
	known := v.Received.Precision != events.Unknown
	if v.End == Open && known {
		to.add(in(yearOpen).num(int(v.Received.Day)))
	}
	if v.End == Ended && v.Shipped.Precision != events.Unknown {
		to.add(to.key().num(v.Shipped.Day.Date().Year()).byte(yearShipped).text(v.outcome()))
		if known {
			to.add(in(yearDays).num(max(0, int(v.Shipped.Day-v.Received.Day))))
		}
	}
	year := func(e *Entry) rowKey { return to.key().num(e.place().day.Date().Year()) }
	for e := range bodies[events.PartReplaced](v.Entries) {
		to.add(year(e).byte(yearPart))
	}
	for e, b := range bodies[events.Shipped](v.Entries) {
		if b.Charge > 0 {
			to.add(year(e).byte(yearCharge).text(b.Currency).text(strconv.FormatInt(b.Charge, 10)))
		}
	}
}

// cameBack reports whether the next visit began within 90 days of this one's
// end.
func (v Visit) cameBack(next Visit) bool {
	return v.End == Ended && v.Shipped.Precision != events.Unknown && next.Received.Precision != events.Unknown &&
		next.Received.Day-v.Shipped.Day <= comeBackDays
}

// inYear is one year's counts.
type inYear struct {
	row     YearRow
	counts  []stats.DayCount
	charged map[string]int64
	faults  map[fault]int
	models  map[modelKey]int
	written names
}

// yearAnswer sets a year beside the five before it.
func yearAnswer(t Tally, a Asked) (*Result, error) {
	last := choose(a.Year > 0, a.Year, a.AsOf.Date().Year())
	res := &Result{Method: "come-backs: received within 90 days of being shipped, as a share of the visits received, Wilson interval, 95 %; days in shop by Kaplan-Meier over the visits received in the year, open ones censored"}
	for year := last; year > last-6; year-- {
		y, err := readYear(t, year, a.AsOf)
		if err != nil {
			return nil, err
		}
		if err := y.finish(); err != nil {
			return nil, err
		}
		res.Rows = append(res.Rows, y.row)
	}
	res.Picture = yearPicture(res.Rows)
	return res, nil
}

// yearPicture follows the year's values from the earliest year to it.
func yearPicture(rows []any) *Picture {
	trends := &PictureTrends{Rows: []PictureTrend{
		{Name: "received"}, {Name: "new units"}, {Name: "shipped"}, {Name: "repaired"}, {Name: "come back, %"},
		{Name: "days, half done"}, {Name: "days, 90 % done"}, {Name: "parts used"},
	}}
	for _, r := range slices.Backward(rows) {
		row := r.(YearRow)
		if row.Received+row.Shipped+row.Parts == 0 && len(trends.Columns) == 0 {
			continue // before the shop has records
		}
		trends.Columns = append(trends.Columns, strconv.Itoa(row.Year))
		for i, v := range []float64{
			float64(row.Received), float64(row.New), float64(row.Shipped), float64(row.Repaired), 100 * known(row.Share),
			known(row.Median), known(row.P90), float64(row.Parts),
		} {
			trends.Rows[i].Values = append(trends.Rows[i].Values, v)
		}
	}
	if len(trends.Columns) == 0 {
		return nil
	}
	of := rows[0].(YearRow)
	return &Picture{
		Title:  "The year " + strconv.Itoa(of.Year),
		Desc:   fmt.Sprintf("%d received, %d of them units not here before; %d shipped, %d of them repaired.", of.Received, of.New, of.Shipped, of.Repaired),
		Trends: trends,
	}
}

// known is NaN for what is not known.
func known(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

func readYear(t Tally, year int, asOf events.Day) (*inYear, error) {
	y := &inYear{row: YearRow{Year: year}, charged: map[string]int64{}, faults: map[fault]int{}, models: map[modelKey]int{}, written: names{}}
	prefix := rowKey{}.num(year)
	return y, t.Each(prefix, func(row []byte, n int) (bool, error) {
		if len(row) <= len(prefix) {
			return false, errView
		}
		rr := rowReader{b: row[len(prefix)+1:]}
		y.add(row[len(prefix)], &rr, n, asOf)
		return true, rr.err()
	})
}

func (y *inYear) add(kind byte, rr *rowReader, n int, asOf events.Day) {
	switch kind {
	case yearReceived:
		y.row.Received += n
	case yearNew:
		y.row.New += n
	case yearShipped:
		y.row.Shipped += n
		y.row.Repaired += choose(rr.text() == "repaired", n, 0)
	case yearBack:
		y.row.ComeBacks += n
	case yearDays:
		y.counts = append(y.counts, stats.DayCount{Day: rr.num(), Events: n})
	case yearOpen:
		y.counts = append(y.counts, stats.DayCount{Day: max(0, int(asOf)-rr.num()), Censored: n})
	case yearPart:
		y.row.Parts += n
	case yearCharge:
		currency := rr.text()
		minor, err := strconv.ParseInt(rr.text(), 10, 64)
		rr.bad = rr.bad || err != nil
		y.charged[currency] += minor * int64(n)
	case yearFault:
		y.faults[fault{rr.text(), rr.text()}] += n
	case yearModel:
		y.models[y.written.add(rr.text(), rr.text(), n)] += n
	}
}

func (y *inYear) finish() error {
	row := &y.row
	row.Charged = map[string]string{}
	for currency, minor := range y.charged {
		amount := strings.TrimSuffix(events.MoneyText(minor, currency), currency)
		row.Charged[choose(currency == "", "not said", currency)] = strings.TrimSpace(amount)
	}
	row.TopFaults = top(y.faults, compareFaults, func(f fault) string { return spokenFault(f) })
	row.TopModels = top(y.models, func(a, b modelKey) int {
		return cmp.Or(strings.Compare(a.maker, b.maker), strings.Compare(a.model, b.model))
	}, func(k modelKey) string {
		sp := y.written[k].usual()
		return joinName(sp[0], sp[1])
	})
	if row.Received > 0 {
		s := stats.Share{X: row.ComeBacks, N: row.Received}
		limits, err := stats.Wilson(s, stats.Level{})
		if err != nil {
			return err
		}
		share := s.Rate()
		row.Share, row.Low, row.High = &share, &limits.Lo, &limits.Hi
	}
	if len(y.counts) == 0 {
		return nil
	}
	curve, err := stats.KaplanMeier(y.counts)
	if err != nil {
		return err
	}
	for p, into := range map[float64]**float64{0.5: &row.Median, 0.9: &row.P90} {
		q, err := curve.Quantile(p, stats.Level{})
		if err != nil {
			return err
		}
		*into = reached(q.Estimate)
	}
	return nil
}

// top are the three most frequent, with their counts.
func top[K comparable](counts map[K]int, compare func(a, b K) int, name func(K) string) []string {
	keys := slices.SortedFunc(maps.Keys(counts), func(a, b K) int {
		return cmp.Or(cmp.Compare(counts[b], counts[a]), compare(a, b))
	})
	list := []string{}
	for _, k := range keys[:min(len(keys), 3)] {
		list = append(list, fmt.Sprintf("%s (%d)", name(k), counts[k]))
	}
	return list
}
