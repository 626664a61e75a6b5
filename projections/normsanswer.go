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

// NormRow is one row of the answer: what sets read at a point as they left.
type NormRow struct {
	Group    string   `json:"group,omitempty"` // the model, where it is asked by model
	Point    string   `json:"point"`
	Measure  string   `json:"measure"` // id of package measure's table, empty where none was said
	In       string   `json:"in"`      // the unit of the values
	Sets     int      `json:"sets"`
	Readings int      `json:"readings"` // one a visit
	Middle   float64  `json:"middle"`
	Low      *float64 `json:"low"` // the usual interval; null with fewer than LeastSets sets
	High     *float64 `json:"high"`
	Least    float64  `json:"smallest"`
	Most     float64  `json:"largest"`
}

// LeastSets is from how many sets on a usual interval is told. Quantiles of type
// 8 are read at place (n + 1/3)p + 1/3 of n values: the tenth part lies above the
// smallest from n = 7 on (1.067; with 6 it is 0.967). With fewer, both ends of the
// interval would be the smallest and the largest reading, a range under another
// name.
const LeastSets = 7

// usualFrom and usualTo are the shares below the ends of the usual interval:
// eight of ten readings lie in it.
const (
	usualFrom = 0.1
	usualTo   = 0.9
)

// norm is what was read at one point.
type norm struct {
	model    [2]string // as compared; none where models are taken together
	measure  string
	in       string
	sets     int
	readings int
	values   []stats.ValueCount
	points   spellings
}

// normsAnswer tells what sets of each model read at each point as they left, or
// those of all models together.
func normsAnswer(t Tally, a Asked) (*Result, error) {
	byModel := a.By != "point"
	read, written, err := readNorms(t, []byte{normRow}, byModel)
	if err != nil {
		return nil, err
	}
	res := &Result{Method: fmt.Sprintf("readings as left, the last of a visit at each point; quantiles of type 8 (Hyndman and Fan): half lie below the middle, one in ten below the usual interval and one above it, which is told from %d sets on, since with fewer its ends are the smallest and the largest reading", LeastSets)}
	rows, unnamed, few := []NormRow{}, 0, 0
	for _, n := range read {
		if byModel && n.model[1] == "" {
			unnamed += n.readings
			continue
		}
		row, err := n.row()
		if err != nil {
			return nil, err
		}
		if byModel {
			name := written[modelKey{n.model[0], n.model[1]}].usual()
			row.Group = joinName(name[0], name[1])
		}
		if row.Low == nil {
			few++
		}
		rows = append(rows, row)
	}
	slices.SortFunc(rows, func(p, q NormRow) int {
		return cmp.Or(cmp.Compare(p.Group, q.Group), cmp.Compare(p.Point, q.Point), cmp.Compare(p.Measure, q.Measure), cmp.Compare(p.In, q.In))
	})
	for _, r := range rows {
		res.Rows = append(res.Rows, r)
	}
	res.miss("readings as left of units whose model is not known", unnamed)
	if few > 0 {
		res.note(fmt.Sprintf("%d of %s %s of fewer than %d sets: %s range, and no usual interval", few, events.Count(len(rows), "row"), choose(few == 1, "is", "are"), LeastSets, choose(few == 1, "it has its", "they have their")))
	}
	if slices.ContainsFunc(rows, NormRow.IsSafety) {
		res.note("what is usual of a hot check, a touch current or an insulation reading is no limit: that is the maker's and the local code's, and no reading here declares a set safe")
	}
	if left := len(rows) - mostRanges; left > 0 {
		res.note(fmt.Sprintf("the picture has the %d rows of the most sets; %d more are in the table", mostRanges, left))
	}
	res.Picture = normsPicture(rows)
	return res, missedReadings(t, res)
}

func missedReadings(t Tally, res *Result) error {
	out := map[byte]int{}
	err := eachRow(t, normOut, func(rr *rowReader, n int) { out[rr.kind()] += n })
	for _, l := range leftOut {
		res.miss(l.what, out[l.why])
	}
	return err
}

// normReading is rows on their way into an answer. Those of one head stand
// together, so each head is taken apart once.
type normReading struct {
	byModel bool
	list    []*norm
	at      map[string]*norm
	written names // how models are spelled

	head  []byte
	n     *norm                       // of the head
	value func(measure.Value) float64 // in the unit that it is told in
}

// readNorms reads the rows below a prefix, models apart or taken together.
func readNorms(t Tally, prefix []byte, byModel bool) ([]*norm, names, error) {
	r := normReading{byModel: byModel, at: map[string]*norm{}, written: names{}}
	err := t.Each(prefix, func(row []byte, count int) (bool, error) {
		if r.head == nil || !bytes.HasPrefix(row, r.head) {
			if err := r.begin(row); err != nil {
				return false, err
			}
		}
		return true, r.add(rowReader{b: row[len(r.head):]}, count)
	})
	return r.list, r.written, err
}

// begin reads a row's head: where it and those behind it belong.
func (r *normReading) begin(row []byte) error {
	rr := rowReader{b: row}
	rr.kind()
	model, point, id := [2]string{rr.text(), rr.text()}, rr.text(), rr.text()
	unit := measure.Unit(rr.text())
	if rr.bad {
		return errView
	}
	r.head = slices.Clone(row[:len(row)-len(rr.b)])
	in := string(unit)
	r.value = measure.Value.Float
	if kind, known := measure.Find(id); known {
		in, r.value = kind.Symbol(), kind.ToFirst()
	}
	if !r.byModel {
		model = [2]string{}
	}
	name := strings.Join([]string{model[0], model[1], point, id, string(unit)}, "\x00")
	if r.n = r.at[name]; r.n == nil {
		r.n = &norm{model: model, measure: id, in: in, points: spellings{}, values: make([]stats.ValueCount, 0, 32)}
		r.at[name], r.list = r.n, append(r.list, r.n)
	}
	return nil
}

// add counts what stands behind the head.
func (r *normReading) add(rr rowReader, count int) error {
	switch rr.kind() {
	case normSet:
		r.n.sets += count
		r.written.add(rr.text(), rr.text(), count)
		r.n.points[[2]string{rr.text()}] += count
	case normValue:
		r.n.readings += count
		r.n.values = append(r.n.values, stats.ValueCount{Value: r.value(rr.exact()), N: count})
	default:
		rr.bad = true
	}
	return rr.err()
}

// row draws the quantiles of what was read.
func (n *norm) row() (NormRow, error) {
	slices.SortFunc(n.values, func(a, b stats.ValueCount) int { return cmp.Compare(a.Value, b.Value) })
	row := NormRow{Point: n.points.usual()[0], Measure: n.measure, In: n.in, Sets: n.sets, Readings: n.readings}
	if len(n.values) == 0 {
		return row, errView // a set without a value
	}
	row.Least, row.Most = n.values[0].Value, n.values[len(n.values)-1].Value
	var err error
	if row.Middle, err = stats.QuantileCounted(n.values, 0.5, stats.Type8); err != nil || n.sets < LeastSets {
		return row, err
	}
	low, err := stats.QuantileCounted(n.values, usualFrom, stats.Type8)
	if err != nil {
		return row, err
	}
	high, err := stats.QuantileCounted(n.values, usualTo, stats.Type8)
	row.Low, row.High = &low, &high
	return row, err
}

// NormOf is what other sets of a unit's model read at a point as they left. It is
// read from the rows of that one point, without the unit's own: a reading is not
// held against itself. Where no kind of measurement is said, it is the one that
// most sets were read in. False where no other set was read there.
func NormOf(r Reader, h *History, point, kind string) (row NormRow, found bool, err error) {
	q, ok := FindQuestion("norms")
	if !ok || events.Key(h.Model) == "" {
		return row, false, nil
	}
	prefix := normPrefix(h.Maker, h.Model, point)
	if kind != "" {
		prefix = prefix.text(kind)
	}
	var own rowList
	q.rows(h, &own)
	list, _, err := readNorms(others{q.kept(r), own.counts()}, prefix, true)
	if err != nil || len(list) == 0 {
		return row, false, err
	}
	most := slices.MaxFunc(list, func(a, b *norm) int { return cmp.Compare(a.sets, b.sets) })
	if row, err = most.row(); err != nil {
		return row, false, err
	}
	row.Group = joinName(h.Maker, h.Model)
	return row, true, nil
}

// others is a tally without what one unit contributes to it.
type others struct {
	Tally
	own map[string]int
}

func (t others) Each(prefix []byte, fn func(row []byte, count int) (bool, error)) error {
	return t.Tally.Each(prefix, func(row []byte, count int) (bool, error) {
		if count -= t.own[string(row)]; count > 0 {
			return fn(row, count)
		}
		return true, nil
	})
}
