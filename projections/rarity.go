package projections

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"

	"oldhand/events"
	"oldhand/projections/stats"
)

// RarityRow is one row of the answer.
type RarityRow struct {
	Maker       string   `json:"maker"`
	Model       string   `json:"model"`
	Units       int      `json:"units"`
	Visits      int      `json:"visits"`
	Share       float64  `json:"share"` // of all units whose model is known
	RatePerYear *float64 `json:"rate_per_year"`
	RateLow     *float64 `json:"rate_low"`
	RateHigh    *float64 `json:"rate_high"`
	FirstSeen   string   `json:"first_seen"`
	LastSeen    string   `json:"last_seen"`
}

// Of one unit: that it is of a model and how often it came, when it first came
// and when last. Days of the last are negative, so that the latest comes first.
// Behind the first day stands the unit, so that its place among those of its
// model is counted without reading another.
const (
	rarityUnits  = 'u'
	rarityVisits = 'v'
	rarityFirst  = 'f'
	rarityLast   = 'l'
)

func rarityRows(h *History, to *rowList) {
	if len(h.Visits) == 0 {
		return
	}
	named := func(kind byte) rowKey { return to.key(kind).text(h.Maker).text(h.Model) }
	to.add(named(rarityUnits))
	for range h.Visits {
		to.add(named(rarityVisits))
	}
	first, last := h.Visits[0].day(), h.Visits[len(h.Visits)-1].day()
	to.add(append(named(rarityFirst).num(int(first)), h.Root[:]...))
	to.add(named(rarityLast).num(-int(last)))
}

// rarity is what is known of one model.
type rarity struct {
	units, visits int
	first, last   events.Day
}

// rarityAnswer counts the distinct units of each model, joined where a person
// said that entries are one set.
func rarityAnswer(t Tally, a Asked) (*Result, error) {
	models, written, err := readRarity(t)
	if err != nil {
		return nil, err
	}
	s, err := spanAsked(t.Reader(), a)
	if err != nil {
		return nil, err
	}
	res := &Result{Method: "count of distinct units, joined where a person said that entries are one set; rate a year of units first seen, over the years on record, with exact Poisson limits (Garwood), 95 %"}
	total, unnamed := 0, 0
	for k, m := range models {
		if k.model == "" {
			unnamed += m.units
			continue
		}
		total += m.units
	}
	for k, m := range models {
		if k.model == "" {
			continue
		}
		row, err := rarityRow(written[k].usual(), m, total, s.years(a))
		if err != nil {
			return nil, err
		}
		res.Rows = append(res.Rows, row)
	}
	slices.SortFunc(res.Rows, func(x, y any) int {
		p, q := x.(RarityRow), y.(RarityRow)
		return cmp.Or(cmp.Compare(q.Units, p.Units), cmp.Compare(p.Maker, q.Maker), cmp.Compare(p.Model, q.Model))
	})
	res.miss("units whose model is not known", unnamed)
	unseenNotes(res, models)
	res.Picture = rarityPicture(res.Rows)
	if !a.Unit.IsZero() {
		return res, nthOfModel(t, written, res, a, s)
	}
	return res, nil
}

func readRarity(t Tally) (map[modelKey]*rarity, names, error) {
	models, written := map[modelKey]*rarity{}, names{}
	of := func(rr *rowReader, units int) *rarity {
		k := written.add(rr.text(), rr.text(), units)
		if models[k] == nil {
			models[k] = &rarity{first: dayZero, last: -dayZero}
		}
		return models[k]
	}
	for _, kind := range []byte{rarityUnits, rarityVisits} {
		err := t.Each([]byte{kind}, func(row []byte, n int) (bool, error) {
			rr := &rowReader{b: row[1:]}
			if kind == rarityUnits {
				of(rr, n).units += n
			} else {
				of(rr, 0).visits += n // a unit that came often has one spelling all the same
			}
			return true, rr.err()
		})
		if err != nil {
			return nil, nil, err
		}
	}
	spelled := slices.Collect(func(yield func([2]string) bool) {
		for _, s := range written {
			for sp := range s {
				if !yield(sp) {
					return
				}
			}
		}
	})
	for _, sp := range spelled {
		m := models[keyOf(sp[0], sp[1])]
		if err := readEnds(t, sp, m); err != nil {
			return nil, nil, err
		}
	}
	return models, written, nil
}

// readEnds reads the first and the last day of one spelling: each is the first
// row of its kind.
func readEnds(t Tally, sp [2]string, m *rarity) error {
	for _, kind := range []byte{rarityFirst, rarityLast} {
		prefix := rowKey{kind}.text(sp[0]).text(sp[1])
		err := t.Each(prefix, func(row []byte, _ int) (bool, error) {
			rr := rowReader{b: row[len(prefix):]}
			if d := rr.num(); kind == rarityFirst {
				m.first = min(m.first, events.Day(d))
				rr.b = nil // behind it stands the unit
			} else {
				m.last = max(m.last, events.Day(-d))
			}
			return false, rr.err()
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func rarityRow(name [2]string, m *rarity, total int, years float64) (RarityRow, error) {
	row := RarityRow{Maker: name[0], Model: name[1], Units: m.units, Visits: m.visits, Share: float64(m.units) / float64(total),
		FirstSeen: m.first.String(), LastSeen: m.last.String()}
	if years == 0 {
		return row, nil
	}
	limits, err := stats.GarwoodRate(m.units, years, stats.Level{})
	if err != nil {
		return row, err
	}
	rate := float64(m.units) / years
	row.RatePerYear, row.RateLow, row.RateHigh = &rate, &limits.Lo, &limits.Hi
	return row, nil
}

// unseenNotes says what the models seen tell of those never seen. Sets that
// owners mail in are no random sample, so it says "at least" and never how many
// there are in the world.
func unseenNotes(res *Result, models map[modelKey]*rarity) {
	var times []int
	for k, m := range models {
		if k.model != "" {
			times = append(times, m.units)
		}
	}
	s, err := stats.SightingsOf(times)
	if err != nil || s.N == 0 {
		return
	}
	res.note(fmt.Sprintf("the chance that the next unit is of a model never seen here is about %.1f %% (Good-Turing: %d of %s %s model)",
		100*(1-s.Coverage()), s.Once, events.Count(s.N, "unit"), choose(s.Once == 1, "is the only one of its", "are the only one of their")))
	if s.Once > 0 {
		res.note(fmt.Sprintf("at least %s would be seen if units kept coming like these (Chao1, bias-corrected form; %d seen so far)", events.Count(int(math.RoundToEven(s.Chao1Corrected().Models)), "model"), s.Seen))
	}
}

// rarityPicture is the most frequent models as bars with their intervals.
func rarityPicture(rows []any) *Picture {
	p := &Picture{Title: "Units a year, by model", AxisX: "units a year"}
	for _, r := range rows[:min(len(rows), 20)] {
		row := r.(RarityRow)
		if row.RatePerYear == nil {
			continue
		}
		p.Bars = append(p.Bars, PictureBar{joinName(row.Maker, row.Model), *row.RatePerYear, *row.RateLow, *row.RateHigh, fmt.Sprint(row.Units)})
	}
	if len(p.Bars) == 0 {
		return nil
	}
	units := "units"
	if p.Bars[0].Text == "1" {
		units = "unit"
	}
	p.Desc = fmt.Sprintf("%s came most often: %s %s, %.2f a year.", p.Bars[0].Name, p.Bars[0].Text, units, p.Bars[0].Value)
	return p
}

func joinName(maker, model string) string {
	switch {
	case maker == "":
		return model
	case model == "":
		return maker
	}
	return maker + " " + model
}

// nthOfModel says of one unit how many of its model had come in with it.
func nthOfModel(t Tally, written names, res *Result, a Asked, s span) error {
	h, err := Load(t.Reader(), a.Unit)
	if err != nil || h == nil || len(h.Visits) == 0 {
		return err
	}
	n, err := placeInModel(t, written[keyOf(h.Maker, h.Model)], h)
	if err != nil {
		return err
	}
	years := s.years(a)
	text := fmt.Sprintf("the %s of its model in %.0f years", Ordinal(n), years)
	if limits, err := stats.GarwoodRate(n, years, stats.Level{}); err == nil && n > 0 && years > 0 {
		unit, of := "years", 1.0
		if years < float64(n) {
			unit, of = "months", 12
		}
		text += fmt.Sprintf(", one every %.1f %s (%.1f to %.1f)", of*years/float64(n), unit, of/limits.Hi, of/limits.Lo)
	}
	res.Notes = append([]string{joinName(h.Maker, h.Model) + ": " + text}, res.Notes...)
	return nil
}

// placeInModel counts the units of a model up to one of them, by the days on
// which they first came, and of one day by which was named first.
func placeInModel(t Tally, spelled spellings, h *History) (n int, err error) {
	mine := append(rowKey{}.num(int(h.Visits[0].day())), h.Root[:]...)
	for sp := range spelled {
		prefix := rowKey{rarityFirst}.text(sp[0]).text(sp[1])
		err := t.Each(prefix, func(row []byte, count int) (bool, error) {
			before := bytes.Compare(row[len(prefix):], mine) <= 0
			if before {
				n += count
			}
			return before, nil
		})
		if err != nil {
			return 0, err
		}
	}
	return n, nil
}

// Ordinal is 1st, 2nd, 3rd, 11th.
func Ordinal(n int) string {
	suffix := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return fmt.Sprint(n) + suffix
}
