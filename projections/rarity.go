package projections

import (
	"cmp"
	"encoding/binary"
	"slices"

	"oldhand/events"
)

// rarityRow is what one unit contributes: that it is of a model, and when it
// first came in. It is given twice, by year and by day, so that an answer as
// of a day adds up whole years and counts days of one year only.
type rarityRow struct {
	byDay        bool
	year         uint16
	day          uint32 // days since minDay of package events' calendar; 0 by year
	maker, model string // as shown
}

// dayZero lets days of any time sort as unsigned numbers.
const dayZero = 1 << 20

func (r rarityRow) bytes() []byte {
	b := []byte{choose[byte](r.byDay, 1, 0)}
	b = binary.BigEndian.AppendUint16(b, r.year)
	b = binary.BigEndian.AppendUint32(b, r.day)
	b = append(append(b, r.maker...), 0)
	return append(b, r.model...)
}

func readRarityRow(b []byte) (r rarityRow, ok bool) {
	if len(b) < 8 {
		return r, false
	}
	r.byDay, r.year, r.day = b[0] == 1, binary.BigEndian.Uint16(b[1:]), binary.BigEndian.Uint32(b[3:])
	maker, model, ok := cutZero(b[7:])
	r.maker, r.model = maker, model
	return r, ok
}

func cutZero(b []byte) (before, rest string, ok bool) {
	i := slices.Index(b, 0)
	if i < 0 {
		return "", "", false
	}
	return string(b[:i]), string(b[i+1:]), true
}

func rarityRows(h *History) [][]byte {
	if len(h.Visits) == 0 {
		return nil
	}
	day := placeOf(events.EventID(h.Visits[0].ID), h.Visits[0].Received).day
	r := rarityRow{year: uint16(day.Date().Year()), maker: h.Maker, model: h.Model}
	byYear := r.bytes()
	r.byDay, r.day = true, uint32(day+dayZero)
	return [][]byte{byYear, r.bytes()}
}

// RarityRow is one row of the answer.
type RarityRow struct {
	Maker string `json:"maker"`
	Model string `json:"model"`
	Units uint64 `json:"units"`
}

// rarityAnswer counts the distinct units of each model that had come in by the
// end of a day. Spellings of a model that differ in case, spaces or dashes are
// one model, shown as it was spelled most often.
func rarityAnswer(t Tally, asOf events.Day) (*Result, error) {
	models := map[[2]string]*spellings{}
	var unnamed uint64
	add := func(b []byte, n uint64) (bool, error) {
		r, ok := readRarityRow(b)
		if !ok {
			return false, errView
		}
		if r.model == "" {
			unnamed += n
			return true, nil
		}
		k := [2]string{events.Key(r.maker), events.Key(r.model)}
		if models[k] == nil {
			models[k] = &spellings{}
		}
		models[k].add(r.maker, r.model, n)
		return true, nil
	}
	if err := eachUntil(t, asOf, add); err != nil {
		return nil, err
	}
	res := &Result{Method: "count of distinct units, joined where a person said that two entries are one set, by the day each first came in"}
	for _, row := range rarityTable(models) {
		res.Rows = append(res.Rows, row)
	}
	if unnamed > 0 {
		res.Missing = append(res.Missing, Missing{"units whose model is not known", unnamed})
	}
	return res, nil
}

// eachUntil gives the rows of whole years before a day's year and those of the
// days of that year up to it.
func eachUntil(t Tally, asOf events.Day, add func([]byte, uint64) (bool, error)) error {
	year := uint16(asOf.Date().Year())
	err := t.Each([]byte{0}, func(b []byte, n uint64) (bool, error) {
		if len(b) < 3 || binary.BigEndian.Uint16(b[1:]) >= year {
			return false, nil
		}
		return add(b, n)
	})
	if err != nil {
		return err
	}
	return t.Each(binary.BigEndian.AppendUint16([]byte{1}, year), func(b []byte, n uint64) (bool, error) {
		if len(b) < 7 || binary.BigEndian.Uint32(b[3:]) > uint32(asOf+dayZero) {
			return false, nil
		}
		return add(b, n)
	})
}

// spellings counts how a model was written.
type spellings struct {
	total uint64
	seen  map[[2]string]uint64
}

func (s *spellings) add(maker, model string, n uint64) {
	if s.seen == nil {
		s.seen = map[[2]string]uint64{}
	}
	s.seen[[2]string{maker, model}] += n
	s.total += n
}

// usual is the most frequent spelling, of equals the first in order.
func (s *spellings) usual() (best [2]string) {
	var most uint64
	for sp, n := range s.seen {
		if n > most || n == most && (sp[0] < best[0] || sp[0] == best[0] && sp[1] < best[1]) {
			best, most = sp, n
		}
	}
	return best
}

func rarityTable(models map[[2]string]*spellings) []RarityRow {
	rows := make([]RarityRow, 0, len(models))
	for _, s := range models {
		sp := s.usual()
		rows = append(rows, RarityRow{sp[0], sp[1], s.total})
	}
	slices.SortFunc(rows, func(a, b RarityRow) int {
		return cmp.Or(cmp.Compare(b.Units, a.Units), cmp.Compare(a.Maker, b.Maker), cmp.Compare(a.Model, b.Model))
	})
	return rows
}
