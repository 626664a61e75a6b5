package projections

import (
	"bytes"
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

// partHead has the years of a part in one block.
func partHead(row []byte) int { return afterTexts(row, 0, 2) }

// usedParts reads how many of each part went in, in all and in one year.
func usedParts(t Tally, year int) (parts []PartRow, err error) {
	var head []byte
	err = t.Each(nil, func(row []byte, n int) (bool, error) {
		rr := rowReader{b: row}
		if at := partHead(row); len(parts) > 0 && bytes.Equal(row[:at], head) { // rows come in order
			rr.b = row[at:]
		} else {
			head = append(head[:0], row[:at]...)
			parts = append(parts, PartRow{Component: rr.text(), Value: rr.text()})
		}
		part := &parts[len(parts)-1]
		part.Used += n
		part.LastYear += choose(rr.num() == year, n, 0)
		return true, rr.err()
	})
	return parts, err
}

// partAnswer counts parts used by normalised value and class.
func partAnswer(t Tally, a Asked) (*Result, error) {
	parts, err := usedParts(t, a.AsOf.Date().Year()-1)
	if err != nil {
		return nil, err
	}
	s, err := spanAsked(t.Reader(), a)
	if err != nil {
		return nil, err
	}
	res := &Result{Method: "parts used, by component class and value in one notation; rate a year over the years on record with exact Poisson limits (Garwood), 95 %"}
	unread := 0
	years := s.years(a)
	for i := range parts {
		row := &parts[i]
		unread += choose(row.Value == "", row.Used, 0)
		if years <= 0 {
			continue
		}
		limits, err := stats.GarwoodRate(row.Used, years, stats.Level{})
		if err != nil {
			return nil, err
		}
		rate := float64(row.Used) / years
		row.PerYear, row.Low, row.High = &rate, &limits.Lo, &limits.Hi
	}
	slices.SortFunc(parts, func(p, q PartRow) int {
		return cmp.Or(cmp.Compare(q.Used, p.Used), cmp.Compare(p.Component, q.Component), cmp.Compare(p.Value, q.Value))
	})
	for _, row := range parts {
		res.Rows = append(res.Rows, row)
	}
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
