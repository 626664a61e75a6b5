package projections

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"oldhand/events"
	"oldhand/projections/stats"
)

// ComeBackRow is one row of the answer: how many visits were followed by
// another of the same unit.
type ComeBackRow struct {
	Fault   string      `json:"fault"` // "any" or "same"
	Days    int         `json:"days"`
	Visits  int         `json:"visits"`  // shipped on a known day
	Returns int         `json:"returns"` // at any time
	Within  int         `json:"within"`  // in those days
	Share   *float64    `json:"share"`   // 1 - S(days); null where nothing was watched so long
	Low     *float64    `json:"low"`
	High    *float64    `json:"high"`
	Steps   []CurveStep `json:"steps"` // day, share not back, low, high, at risk; limits -1 where undefined
}

// comeBackDays is within how many days a return is a come-back, if it is not
// said. Common practice, no source.
const comeBackDays = 90

// comeBackAnswer tells how many units come back, how soon, how often in their
// life, and which more often than the others.
func comeBackAnswer(t Tally, a Asked) (*Result, error) {
	days := choose(a.Days > 0, a.Days, comeBackDays)
	res := &Result{Method: fmt.Sprintf("share back within %s as 1 - S(%d), Kaplan-Meier from the day shipped, units not back censored on the day asked for, log-log limits, 95 %%; mean cumulative returns a unit with robust variance (Lawless and Nadeau), plain limits", events.Count(days, "day"), days)}
	var room dayRoom
	defer room.leave()
	visits, err := readKinds(t, a.AsOf, &room)
	if err != nil {
		return nil, err
	}
	rows, curves, errs := [2]ComeBackRow{}, [2]PictureCurve{}, [3]error{}
	var ofUnits Result
	// The tally is read by one of these only.
	sideBySide(len(errs), func(i int) {
		if i == 1 {
			errs[i] = unitRows(t, a.AsOf, &room, &ofUnits)
			return
		}
		rows[i/2], curves[i/2], errs[i] = visits[i/2].row(kinds[i/2].name, days)
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
	res.Rows, res.Notes = append(res.Rows, ofUnits.Rows...), ofUnits.Notes
	if !a.Unit.IsZero() {
		return res, trendNotes(t.Reader(), a, res)
	}
	return res, nil
}

// unitRows are the rows about units, and what is to be noted of them.
func unitRows(t Tally, asOf events.Day, room *dayRoom, res *Result) error {
	b, err := readBacks(t, asOf, room)
	if err != nil || b.units == 0 {
		return err
	}
	b.meanRows(res)
	return b.oftenRows(t, asOf, res)
}

// kinds are what a unit may be back for.
var kinds = [2]struct {
	key  byte
	name string
}{{backAny, "any"}, {backSame, "same"}}

// dayRoom is lists of counts by day, of which an answer makes several that nobody sees
// later. Each is as long as the shop is old, so they are kept for the next answer.
type dayRoom struct{ taken []*[]int }

var dayLists = sync.Pool{New: func() any { return new([]int) }}

// read is readDays into one of the lists, which begins with the counts of another.
func (r *dayRoom) read(t Tally, prefix []byte, begun []int, at placing) ([]int, error) {
	list := dayLists.Get().(*[]int)
	r.taken = append(r.taken, list)
	var err error
	*list, err = readDays(t, prefix, append((*list)[:0], begun...), at)
	return *list, err
}

// leave gives the lists back.
func (r *dayRoom) leave() {
	for _, list := range r.taken {
		dayLists.Put(list)
	}
}

// readKinds reads the visits of each kind.
func readKinds(t Tally, asOf events.Day, room *dayRoom) (visits [2]visitDays, err error) {
	both, err := visitDays{}.read(t, backBoth, asOf, room)
	for i := range visits {
		if err == nil {
			visits[i], err = both.read(t, kinds[i].key, asOf, room)
		}
	}
	return visits, err
}

// visitDays are shipped visits: how many were followed by another after so many
// days, and how many by none for so many days until now.
type visitDays struct{ back, never []int }

// read is a copy with those of a kind too.
func (v visitDays) read(t Tally, kind byte, asOf events.Day, room *dayRoom) (sum visitDays, err error) {
	if sum.never, err = room.read(t, []byte{kind, backNever}, v.never, before(asOf)); err == nil {
		sum.back, err = room.read(t, []byte{kind, backEvent}, v.back, same)
	}
	return sum, err
}

// placing is which place in a list a number has.
type placing struct{ from, sign int }

// same is the number itself.
var same = placing{0, 1}

// before is how many days it is before a day, and none where it is later.
func before(asOf events.Day) placing { return placing{int(asOf), -1} }

// mostDays is more than there are between any two dates: more than that was not
// written by us, and would be a list without end.
const mostDays = 1 << 22

// readDays adds how many rows there are of each number of days behind a prefix to a
// list.
func readDays(t Tally, prefix []byte, list []int, at placing) ([]int, error) {
	err := eachBlock(t, comeBackHead, prefix, func(head, block []byte) error {
		if len(head) != len(prefix)+3 {
			return errView
		}
		number, err := firstDay(head)
		if err == nil {
			list, err = at.add(list, number, block)
		}
		return err
	})
	return list, err
}

// add takes a block of numbers from a first on.
func (p placing) add(list []int, first int, block []byte) ([]int, error) {
	for len(block) > 0 {
		if len(block) < 3 || block[0] != 1 {
			return nil, errView
		}
		at := p.from + p.sign*(first+int(block[1]))
		if p.sign < 0 {
			at = max(0, at)
		}
		n := uint64(block[2])
		if n < 0x80 {
			block = block[3:]
		} else if n, block = longUvarint(block[2:]); block == nil {
			return nil, errView
		}
		if at < 0 || at > mostDays || n == 0 {
			return nil, errView
		}
		if more := at + 1 - len(list); more > 0 {
			list = slices.Grow(list, more)[:at+1]
			clear(list[at+1-more:])
		}
		list[at] += int(n)
	}
	return list, nil
}

// firstDay is the first number of those of which a key has all but the last byte, at
// its end.
func firstDay(head []byte) (int, error) {
	if len(head) < 4 {
		return 0, errView
	}
	b := head[len(head)-3:]
	return int(b[0])<<24 | int(b[1])<<16 | int(b[2])<<8 - dayZero, nil
}

func (v visitDays) row(name string, days int) (ComeBackRow, PictureCurve, error) {
	row := ComeBackRow{Fault: name, Days: days, Steps: []CurveStep{}}
	for day, n := range v.back {
		row.Returns += n
		row.Within += choose(day <= days, n, 0)
	}
	row.Visits = row.Returns
	for _, n := range v.never {
		row.Visits += n
	}
	if row.Visits == 0 {
		return row, PictureCurve{}, nil
	}
	curve, err := stats.DailyKaplanMeier(v.back, v.never)
	if err != nil {
		return row, PictureCurve{}, err
	}
	var picture PictureCurve
	row.Steps, picture = drawn(curve)
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
