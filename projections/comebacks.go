package projections

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"oldhand/events"
	"oldhand/projections/stats"
)

// ComeBackRow is one row of the answer: how many visits were followed by
// another of the same unit.
type ComeBackRow struct {
	Fault   string       `json:"fault"` // "any" or "same"
	Days    int          `json:"days"`
	Visits  int          `json:"visits"`  // shipped on a known day
	Returns int          `json:"returns"` // at any time
	Within  int          `json:"within"`  // in those days
	Share   *float64     `json:"share"`   // 1 - S(days); null where nothing was watched so long
	Low     *float64     `json:"low"`
	High    *float64     `json:"high"`
	Steps   [][5]float64 `json:"steps"` // day, share not back, low, high, at risk; limits -1 where undefined
}

// MeanReturnsRow is the mean number of returns of a unit by an age.
type MeanReturnsRow struct {
	Age   int     `json:"days_since_first_shipped"`
	Units int     `json:"units_watched_so_long"`
	Mean  float64 `json:"mean_returns"`
	SE    float64 `json:"robust_se"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// OftenRow is a unit that came back more often than its age explains.
type OftenRow struct {
	Unit     string  `json:"unit"`
	Tag      string  `json:"tag"`
	Maker    string  `json:"maker"`
	Model    string  `json:"model"`
	Returns  int     `json:"returns"`
	Expected float64 `json:"expected"`
	P        float64 `json:"p"`
	Adjusted float64 `json:"adjusted"`
}

// comeBackDays is within how many days a return is a come-back, if it is not
// said. Common practice, no source.
const comeBackDays = 90

// Rows of one shipped visit: that the unit was back after so many days, or not
// since it was shipped; for any fault and for the same, in one row where both are so.
// Rows of one unit: the day it
// was first shipped on, and at which ages it was back, in days since then. All hang
// on days that stay what they are: none is counted up to the day somebody asks.
//
//	'a', 's' or 'b' 'e' days             -> visits, of any fault, the same, or both
//	'a', 's' or 'b' 'n' day shipped      -> visits
//	'w' day first shipped                -> units never back
//	'u' day first shipped, ages          -> units back at those
//	'o' returns, day first shipped, root -> 1, of a unit that was back twice or more
const (
	backAny   = 'a'
	backSame  = 's'
	backBoth  = 'b'
	backQuiet = 'w'
	backUnits = 'u'
	backOften = 'o'

	backEvent = 'e'
	backNever = 'n'
)

// oftenFrom is from how many returns on a unit is looked at by itself.
const oftenFrom = 2

// comeBackHead has days that are near each other in one block: 256 of them where a
// day has one number, 16 where it has as many as units were back.
func comeBackHead(row []byte) int {
	switch row[0] {
	case backOften:
		return len(row)
	case backQuiet:
		return min(4, len(row))
	}
	return min(5, len(row))
}

func comeBackRows(h *History) [][]byte {
	var rows [][]byte
	for i, v := range h.Visits {
		if v.End != Ended || v.Shipped.Precision == events.Unknown {
			continue
		}
		next, same := h.nextVisit(i, func(*Visit) bool { return true }), h.nextVisit(i, v.sharesFault)
		if next == same {
			rows = append(rows, backRow(backBoth, v, next))
			continue
		}
		rows = append(rows, backRow(backAny, v, next), backRow(backSame, v, same))
	}
	w, ok := h.watched()
	switch {
	case !ok:
	case len(w.ages) == 0:
		rows = append(rows, rowKey{backQuiet}.num(int(w.from)))
	default:
		rows = append(rows, w.row())
		if len(w.ages) >= oftenFrom {
			rows = append(rows, append(oftenRow(len(w.ages), w.from), h.Root[:]...))
		}
	}
	return rows
}

// row is the row of a unit that was back. Its day is in two parts, of which the
// first is in the key.
func (w watching) row() rowKey {
	day := int(w.from) + dayZero
	row := rowKey{backUnits}.num(day/16 - dayZero).byte(byte(day % 16))
	for _, age := range slices.Sorted(slices.Values(w.ages)) {
		row = binary.AppendUvarint(row, uint64(age))
	}
	return row
}

// oftenRow is what the rows of units begin with that were first shipped on a day and
// back so often.
func oftenRow(returns int, from events.Day) rowKey {
	return rowKey{backOften}.num(returns).num(int(from))
}

func backRow(kind byte, v Visit, next *Visit) []byte {
	if next == nil {
		return rowKey{kind, backNever}.num(int(v.Shipped.Day))
	}
	return rowKey{kind, backEvent}.num(max(0, int(next.Received.Day-v.Shipped.Day)))
}

// nextVisit is the first later visit that began on a known day and is one of
// those looked for.
func (h *History) nextVisit(i int, looked func(*Visit) bool) *Visit {
	for j := i + 1; j < len(h.Visits); j++ {
		if v := &h.Visits[j]; v.Received.Precision != events.Unknown && looked(v) {
			return v
		}
	}
	return nil
}

// sharesFault reports whether a fault of this visit was found at another too. A
// visit with no fault written down has none to come back for.
func (v Visit) sharesFault(other *Visit) bool {
	mine := faultsOf([]Visit{v}, nil)
	return slices.ContainsFunc(faultsOf([]Visit{*other}, nil), func(f fault) bool { return slices.Contains(mine, f) })
}

// watching is a unit's returns from the day it was first shipped.
type watching struct {
	from events.Day
	ages []int
}

func (h *History) watched() (w watching, ok bool) {
	for _, v := range h.Visits {
		switch {
		case ok && v.Received.Precision != events.Unknown:
			w.ages = append(w.ages, max(0, int(v.Received.Day-w.from)))
		case !ok && v.End == Ended && v.Shipped.Precision != events.Unknown:
			w.from, ok = v.Shipped.Day, true
		}
	}
	return w, ok
}

// comeBackAnswer tells how many units come back, how soon, how often in their
// life, and which more often than the others.
func comeBackAnswer(t Tally, a Asked) (*Result, error) {
	days := choose(a.Days > 0, a.Days, comeBackDays)
	res := &Result{Method: fmt.Sprintf("share back within %s as 1 - S(%d), Kaplan-Meier from the day shipped, units not back censored on the day asked for, log-log limits, 95 %%; mean cumulative returns a unit with robust variance (Lawless and Nadeau), plain limits", events.Count(days, "day"), days)}
	visits, err := readKinds(t, a.AsOf)
	if err != nil {
		return nil, err
	}
	b, err := readBacks(t, a.AsOf, visits[0].returns())
	if err != nil {
		return nil, err
	}
	rows, curves, errs := [2]ComeBackRow{}, [2]PictureCurve{}, [3]error{}
	sideBySide(len(errs), func(i int) {
		if i == len(rows) {
			errs[i] = b.average()
			return
		}
		rows[i], curves[i], errs[i] = visits[i].row(kinds[i].name, days)
	})
	if err := errors.Join(errs[:]...); err != nil {
		return nil, err
	}
	for i, row := range rows {
		if row.Visits == 0 {
			continue
		}
		res.Rows = append(res.Rows, row)
		if res.Picture == nil {
			res.Picture = &Picture{Title: "Share of units not back since they were shipped", AxisX: "days since shipped", AxisY: "share not back"}
		}
		curves[i].Name = kinds[i].name + " fault"
		res.Picture.Curves = append(res.Picture.Curves, curves[i])
	}
	if len(res.Rows) == 0 {
		return res, nil
	}
	if p, row := res.Picture, res.Rows[0].(ComeBackRow); row.Share != nil {
		p.Desc = fmt.Sprintf("%.1f %% of shipped units were back within %s.", 100**row.Share, events.Count(days, "day"))
	} else {
		p.Desc = fmt.Sprintf("Nothing was watched for %s yet.", events.Count(days, "day"))
	}
	b.meanRows(res)
	if err := b.oftenRows(t, a.AsOf, res); err != nil {
		return nil, err
	}
	if !a.Unit.IsZero() {
		return res, trendNotes(t.Reader(), a, res)
	}
	return res, nil
}

// kinds are what a unit may be back for.
var kinds = [2]struct {
	key  byte
	name string
}{{backAny, "any"}, {backSame, "same"}}

// readKinds reads the visits of each kind.
func readKinds(t Tally, asOf events.Day) (visits [2]visitDays, err error) {
	both, err := readVisits(t, backBoth, asOf)
	for i := range visits {
		var own visitDays
		if err == nil {
			own, err = readVisits(t, kinds[i].key, asOf)
		}
		visits[i] = own.with(both)
	}
	return visits, err
}

// visitDays are shipped visits: how many were followed by another after so many
// days, and how many by none for so many days until now.
type visitDays struct{ back, never []int }

func readVisits(t Tally, kind byte, asOf events.Day) (v visitDays, err error) {
	if v.back, err = readDays(t, []byte{kind, backEvent}, func(days int) int { return days }); err == nil {
		v.never, err = readDays(t, []byte{kind, backNever}, func(shipped int) int { return max(0, int(asOf)-shipped) })
	}
	return v, err
}

// readDays reads how many rows there are of each number of days, which place makes of
// the number behind a prefix.
func readDays(t Tally, prefix []byte, place func(number int) int) (list []int, err error) {
	err = eachBlock(t, comeBackHead, prefix, func(head, block []byte) error {
		if len(head) != len(prefix)+3 {
			return errView
		}
		first := binary.BigEndian.AppendUint32(nil, 0)
		copy(first, head[len(prefix):])
		number := int(binary.BigEndian.Uint32(first)) - dayZero
		for len(block) > 0 {
			tail, n, rest, err := nextCount(block)
			if err != nil || len(tail) != 1 {
				return errView
			}
			list, block = addAt(list, place(number+int(tail[0])), int(n)), rest
		}
		return nil
	})
	return list, err
}

// returns is how many were followed by another.
func (v visitDays) returns() (n int) {
	for _, visits := range v.back {
		n += visits
	}
	return n
}

// with puts two together.
func (v visitDays) with(o visitDays) visitDays {
	return visitDays{addLists(v.back, o.back), addLists(v.never, o.never)}
}

func addLists(a, b []int) []int {
	sum := make([]int, max(len(a), len(b)))
	copy(sum, a)
	for i, n := range b {
		sum[i] += n
	}
	return sum
}

// counts are the visits by day.
func (v visitDays) counts() []stats.DayCount {
	counts := make([]stats.DayCount, 0, max(len(v.back), len(v.never)))
	for day := range cap(counts) {
		c := stats.DayCount{Day: day}
		if day < len(v.back) {
			c.Events = v.back[day]
		}
		if day < len(v.never) {
			c.Censored = v.never[day]
		}
		if c.Events+c.Censored > 0 {
			counts = append(counts, c)
		}
	}
	return counts
}

func (v visitDays) row(name string, days int) (ComeBackRow, PictureCurve, error) {
	row := ComeBackRow{Fault: name, Days: days, Steps: [][5]float64{}}
	counts := v.counts()
	for _, c := range counts {
		row.Visits += c.Events + c.Censored
		row.Returns += c.Events
		row.Within += choose(c.Day <= days, c.Events, 0)
	}
	if row.Visits == 0 {
		return row, PictureCurve{}, nil
	}
	curve, err := stats.KaplanMeier(counts)
	if err != nil {
		return row, PictureCurve{}, err
	}
	var turn TurnaroundRow
	picture := steps(curve, &turn)
	if len(turn.Steps) > 0 {
		row.Steps = turn.Steps
	}
	if at, err := curve.At(days); err == nil {
		share := 1 - at.S
		row.Share = &share
		if limits, ok := at.Limits(stats.Level{}); ok {
			back := limits.Rest()
			row.Low, row.High = &back.Lo, &back.Hi
		}
	}
	return row, picture, nil
}

// meanAges are the ages at which the mean number of returns is told.
var meanAges = []int{90, 365, 730, 1825, 3650}

// average makes the mean number of returns of a unit.
func (b *backs) average() (err error) {
	if b.units > 0 {
		b.mean, b.steps, err = stats.MeanAtAges(b.quiet, b.back, meanAges)
	}
	return err
}

func (b *backs) meanRows(res *Result) {
	for i, at := range b.steps {
		if at.Mean == 0 {
			continue // none was back yet, and limits made of no return would say too much
		}
		limits := at.Limits(stats.Level{})
		res.Rows = append(res.Rows, MeanReturnsRow{meanAges[i], b.watchedTo(meanAges[i]), at.Mean, at.RobustSE, max(0, limits.Lo), limits.Hi})
	}
}

// backs are the units that were shipped, by the days they were watched for.
type backs struct {
	units int
	quiet []int          // never back: how many were watched for so many days
	ends  []int          // all: how many were watched for so many days
	back  stats.Repaired // the others
	often []often        // those of them with oftenFrom returns or more

	mean  stats.MeanLine
	steps []stats.MeanStep // at meanAges
}

// often is some units with as many returns at the same age.
type often struct {
	returns int
	end     int // their age on the day asked for
	units   int
}

// readBacks reads them; there are about so many returns.
func readBacks(t Tally, asOf events.Day, returns int) (b *backs, err error) {
	b = &backs{}
	b.back.Grow(returns)
	if b.quiet, err = readDays(t, []byte{backQuiet}, func(from int) int { return max(0, int(asOf)-from) }); err != nil {
		return nil, err
	}
	b.ends = slices.Clone(b.quiet)
	var ages []int32
	err = eachBlock(t, comeBackHead, []byte{backUnits}, func(head, block []byte) error {
		rr := rowReader{b: head[1:]}
		from := (rr.num() + dayZero) * 16
		if err := rr.err(); err != nil {
			return err
		}
		for len(block) > 0 {
			tail, n, rest, err := nextCount(block)
			if err == nil {
				ages, err = agesIn(tail, ages[:0])
			}
			if err != nil {
				return err
			}
			end := max(0, int(asOf)-(from+int(tail[0])-dayZero))
			b.ends, block = addAt(b.ends, end, int(n)), rest
			if len(ages) >= oftenFrom {
				b.often = append(b.often, often{len(ages), end, int(n)})
			}
			if err := b.back.Add(end, int(n), ages); err != nil {
				return err
			}
		}
		return nil
	})
	for _, n := range b.ends {
		b.units += n
	}
	return b, err
}

// agesIn reads the ages behind the day in a row's tail.
func agesIn(tail []byte, room []int32) ([]int32, error) {
	if len(tail) == 0 {
		return nil, errView
	}
	for tail = tail[1:]; len(tail) > 0; {
		var age uint64
		if age, tail = shortUvarint(tail); tail == nil || age > math.MaxInt32 {
			return nil, errView
		}
		room = append(room, int32(age))
	}
	return room, nil
}

// addAt adds n at a place of a list that grows to it.
func addAt(list []int, at, n int) []int {
	if more := at + 1 - len(list); more > 0 {
		list = append(list, make([]int, more)...)
	}
	list[at] += n
	return list
}

// watchedTo counts the units that were watched up to an age.
func (b *backs) watchedTo(age int) (n int) {
	for _, units := range b.ends[min(age, len(b.ends)):] {
		n += units
	}
	return n
}

// tooOften is some units that are alike, and whether that is often.
type tooOften struct {
	often
	expected, p, adjusted float64
}

// oftenRows names the units whose number of returns is more than chance makes
// of the mean at their age, allowing for how many units were looked at.
func (b *backs) oftenRows(t Tally, asOf events.Day, res *Result) error {
	kept, units, err := b.tooOften()
	if err != nil || units == 0 {
		return err
	}
	var rows []OftenRow
	for _, k := range kept {
		if n := len(rows); n >= mostOften && k.p > rows[n-1].P {
			break
		}
		prefix := oftenRow(k.returns, asOf-events.Day(k.end))
		err := t.Each(prefix, func(row []byte, _ int) (bool, error) {
			if len(row) != len(prefix)+16 {
				return false, errView
			}
			r, err := k.row(t.Reader(), events.UnitID(row[len(prefix):]))
			rows = append(rows, r)
			return true, err
		})
		if err != nil {
			return err
		}
	}
	slices.SortStableFunc(rows, func(a, b OftenRow) int { return cmp.Or(cmp.Compare(a.P, b.P), cmp.Compare(a.Unit, b.Unit)) })
	for _, row := range rows[:min(len(rows), mostOften)] {
		res.Rows = append(res.Rows, row)
	}
	res.note(fmt.Sprintf("%s came back more often than %s age explains (Poisson tail against the mean of all, Benjamini-Hochberg at 5 %% among all units)", events.Count(units, "unit"), choose(units == 1, "its", "their")))
	return nil
}

// mostOften is how many units are named.
const mostOften = 20

// tooOften are the units that stand out, those first that do so most, and how many
// they are. It is the adjustment of Benjamini and Hochberg over all units that were
// watched, of which those with the same chance share a place.
func (b *backs) tooOften() (kept []tooOften, units int, err error) {
	looked, err := b.looked()
	if err != nil {
		return nil, 0, err
	}
	slices.SortFunc(looked, func(a, b tooOften) int {
		return cmp.Or(cmp.Compare(a.p, b.p), cmp.Compare(a.returns, b.returns), cmp.Compare(a.end, b.end))
	})
	rank, least := 0, 1.0
	for _, k := range looked {
		rank += k.units
	}
	for i, k := range slices.Backward(looked) {
		least = min(least, k.p*float64(b.units)/float64(rank))
		looked[i].adjusted = least
		rank -= k.units
	}
	for _, k := range looked {
		if k.adjusted > flagAt {
			break // adjusted values rise with the chances
		}
		kept, units = append(kept, k), units+k.units
	}
	return kept, units, nil
}

// looked are the units of which it has to be looked whether they stand out. One
// whose chance would be too large also if it came last among all that came back
// twice does not, and moves none of those before it: one that was watched for longer
// than some days.
func (b *backs) looked() (looked []tooOften, err error) {
	many, longest := 0, map[int]int{}
	for _, o := range b.often {
		many += o.units
		longest[o.returns] = 0
	}
	for returns := range longest {
		longest[returns] = sort.Search(b.mean.Len(), func(end int) bool {
			mean, err := b.mean.At(end)
			return err != nil || poissonTail(returns, mean)*float64(b.units)/float64(many) > flagAt
		})
	}
	places := map[[2]int]int{}
	for _, o := range b.often {
		if o.end >= longest[o.returns] {
			continue
		}
		place, known := places[[2]int{o.returns, o.end}]
		if known {
			looked[place].units += o.units
			continue
		}
		mean, err := b.mean.At(o.end)
		if err != nil {
			return nil, err
		}
		places[[2]int{o.returns, o.end}] = len(looked)
		looked = append(looked, tooOften{often: o, expected: mean, p: poissonTail(o.returns, mean)})
	}
	return looked, nil
}

// row names one of the units.
func (o tooOften) row(r Reader, root events.UnitID) (OftenRow, error) {
	row := OftenRow{Unit: root.String(), Returns: o.returns, Expected: o.expected, P: o.p, Adjusted: o.adjusted}
	h, err := Load(r, root)
	if err != nil || h == nil {
		return row, err
	}
	row.Maker, row.Model = h.Maker, h.Model
	if len(h.Tags) > 0 {
		row.Tag = h.Tags[0]
	}
	return row, nil
}

// poissonTail is the chance of n or more where a mean is expected.
func poissonTail(n int, mean float64) float64 {
	below, term := 0.0, math.Exp(-mean)
	for i := range n {
		below += term
		term *= mean / float64(i+1)
	}
	return max(0, 1-below)
}

// trendNotes says whether one unit's returns come closer together.
func trendNotes(r Reader, a Asked, res *Result) error {
	h, err := Load(r, a.Unit)
	if err != nil || h == nil {
		return err
	}
	w, ok := h.watched()
	var times []float64
	for _, age := range w.ages {
		if age <= int(a.AsOf-w.from) {
			times = append(times, float64(age))
		}
	}
	if !ok || len(times) < 4 {
		res.note(fmt.Sprintf("this unit: %s; fewer than 4 say nothing about a trend", events.Count(len(times), "return")))
		return nil
	}
	end := float64(a.AsOf - w.from)
	gaps, err := stats.ReverseArrangements(times)
	if err != nil {
		return err
	}
	text := fmt.Sprintf("this unit: %d returns in %.0f days; reverse arrangements %d of %d, %s", len(times), end, gaps.R, gaps.Max, gaps.Verdict(0.05))
	if l, err := stats.Laplace(times, end); err == nil {
		text += fmt.Sprintf("; Laplace z %.2f", l.Z)
	}
	res.note(text)
	return nil
}
