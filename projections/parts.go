package projections

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/projections/stats"
)

// PartRow is one row of the answer: what to keep in the drawer.
type PartRow struct {
	Component string   `json:"component"`
	Value     string   `json:"value"` // normalised; empty where the part has none or it was not read
	Used      int      `json:"used"`
	LastYear  int      `json:"used_last_year"` // in the calendar year before that of the day asked for
	PerYear   *float64 `json:"per_year"`
	Low       *float64 `json:"low"`
	High      *float64 `json:"high"`
}

// MarkingText is a part's marking as it was read, in one notation: "47 pF" for
// "47 MMF", sections of a can with a plus between them.
func MarkingText(m events.Marking) string {
	parts := make([]string, 0, len(m.Sections))
	for _, q := range m.Sections {
		parts = append(parts, measure.Value{Mant: q.Mant, Exp: q.Exp, Unit: measure.Unit(q.Unit)}.Canonical())
	}
	return strings.Join(parts, " + ")
}

// partRows are the parts that went into a unit, by calendar year.
func partRows(h *History, to *rowList) {
	for _, v := range h.Visits {
		for e, b := range bodies[events.PartReplaced](v.Entries) {
			to.add(to.key().text(b.Component).text(MarkingText(b.In)).num(e.place().day.Date().Year()))
		}
	}
}

// partAnswer counts parts used by normalised value and class.
func partAnswer(t Tally, a Asked) (*Result, error) {
	type part struct{ component, value string }
	used, recent := map[part]int{}, map[part]int{}
	year := a.AsOf.Date().Year()
	err := t.Each(nil, func(row []byte, n int) (bool, error) {
		rr := rowReader{b: row}
		p := part{rr.text(), rr.text()}
		used[p] += n
		if rr.num() == year-1 {
			recent[p] += n
		}
		return true, rr.err()
	})
	if err != nil {
		return nil, err
	}
	s, err := spanAsked(t.Reader(), a)
	if err != nil {
		return nil, err
	}
	res := &Result{Method: "parts used, by component class and value in one notation; rate a year over the years on record with exact Poisson limits (Garwood), 95 %"}
	unread := 0
	for p, n := range used {
		if p.value == "" {
			unread += n
		}
		row := PartRow{Component: p.component, Value: p.value, Used: n, LastYear: recent[p]}
		if years := s.years(a); years > 0 {
			limits, err := stats.GarwoodRate(n, years, stats.Level{})
			if err != nil {
				return nil, err
			}
			rate := float64(n) / years
			row.PerYear, row.Low, row.High = &rate, &limits.Lo, &limits.Hi
		}
		res.Rows = append(res.Rows, row)
	}
	slices.SortFunc(res.Rows, func(x, y any) int {
		p, q := x.(PartRow), y.(PartRow)
		return cmp.Or(cmp.Compare(q.Used, p.Used), cmp.Compare(p.Component, q.Component), cmp.Compare(p.Value, q.Value))
	})
	if unread > 0 {
		res.note(fmt.Sprintf("%s no value, or one that was not read: %s class alone", events.Count(unread, "part has", "parts have"), choose(unread == 1, "it is counted by its", "they are counted by their")))
	}
	res.Picture = partPicture(res.Rows)
	return res, nil
}

func partPicture(rows []any) *Picture {
	p := &Picture{Title: "Parts a year", AxisX: "used a year"}
	for _, r := range rows[:min(len(rows), 20)] {
		row := r.(PartRow)
		if row.PerYear == nil {
			return nil
		}
		name := strings.ReplaceAll(row.Component, "-", " ")
		p.Bars = append(p.Bars, PictureBar{strings.TrimSpace(name + " " + row.Value), *row.PerYear, *row.Low, *row.High, fmt.Sprint(row.Used)})
	}
	if len(p.Bars) == 0 {
		return nil
	}
	p.Desc = fmt.Sprintf("%s is used most: %s so far, %.1f a year.", p.Bars[0].Name, p.Bars[0].Text, p.Bars[0].Value)
	return p
}
