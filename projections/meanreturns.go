package projections

import (
	"encoding/binary"
	"errors"
	"math"
	"slices"

	"oldhand/events"
	"oldhand/projections/stats"
)

// MeanReturnsRow is the mean number of returns of a unit by an age.
type MeanReturnsRow struct {
	Age   int     `json:"days_since_first_shipped"`
	Units int     `json:"units_watched_so_long"`
	Mean  float64 `json:"mean_returns"`
	SE    float64 `json:"robust_se"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// meanAges are the ages at which the mean number of returns is told.
var meanAges = []int{90, 365, 730, 1825, 3650}

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
	ends  []int // how many were watched for so many days

	mean  stats.MeanLine
	steps []stats.MeanStep // at meanAges
}

func readBacks(t Tally, asOf events.Day, room *dayRoom) (b *backs, err error) {
	b = &backs{}
	if b.ends, err = room.read(t, []byte{backFirst}, nil, before(asOf)); err != nil || len(b.ends) == 0 {
		return b, err
	}
	for _, n := range b.ends {
		b.units += n
	}
	returns, err := room.read(t, []byte{backAges}, nil, same)
	if err != nil {
		return nil, err
	}
	m, err := stats.NewMeanAges(b.ends, returns, meanAges)
	if err != nil {
		return nil, err
	}
	if err := errors.Join(addEnded(t, asOf, m), addPairs(t, m), addLong(t, m)); err != nil {
		return nil, err
	}
	b.mean, b.steps = m.Line(), m.Steps()
	return b, nil
}

// lastMean is up to which age returns have to be known with what else their units have.
var lastMean = meanAges[len(meanAges)-1]

// addEnded takes in the returns of units that are younger than that.
func addEnded(t Tally, asOf events.Day, m *stats.MeanAges) error {
	lo := rowKey{backFrom}.stretch(int(asOf) - lastMean)
	return eachNear(t, lo, after([]byte{backFrom}), func(from int, ages []stats.AgeCount) error {
		return m.AddEnded(max(0, int(asOf)-from), ages)
	})
}

// addPairs takes in each two returns of one unit until then.
func addPairs(t Tally, m *stats.MeanAges) error {
	return eachNear(t, []byte{backPairs}, after(rowKey{backPairs}.stretch(lastMean)), m.AddPairs)
}

// addLong takes in those of units with too many to have stood there.
func addLong(t Tally, m *stats.MeanAges) error {
	return t.Each([]byte{backLong}, func(row []byte, _ int) (bool, error) {
		rr := rowReader{b: row[min(len(row), 1+len(events.UnitID{})):]}
		var ages []int
		for len(rr.b) > 0 && !rr.bad {
			ages = append(ages, rr.num())
		}
		if err := rr.err(); err != nil {
			return false, err
		}
		for i, later := range ages {
			if later > lastMean {
				break
			}
			pairs := make([]stats.AgeCount, i)
			for j := range pairs {
				pairs[j] = stats.AgeCount{Age: int32(ages[j]), N: 1}
			}
			if err := m.AddPairs(later, pairs); err != nil {
				return false, err
			}
		}
		return true, nil
	})
}

// eachNear calls fn with each day of the blocks from lo to below hi, of a day in two
// parts, and the ages there are behind it.
func eachNear(t Tally, lo, hi []byte, fn func(day int, ages []stats.AgeCount) error) error {
	var ages []stats.AgeCount
	return eachBlockIn(t, comeBackHead, lo, hi, func(head, block []byte) error {
		rr := rowReader{b: head[1:]}
		first := (rr.num()+dayZero)*nearDays - dayZero
		if err := rr.err(); err != nil {
			return err
		}
		ages = slices.Grow(ages[:0], len(block)/nearBytes)
		for len(block) > 0 {
			day := int(block[min(1, len(block)-1)])
			if ages, block = nearAges(ages[:0], block); len(ages) == 0 || day >= nearDays {
				return errView
			}
			if err := fn(first+day, ages); err != nil {
				return err
			}
		}
		return nil
	})
}

// nearBytes is how many a row has at least in such a block: its length, the day, an age in
// three and a count.
const nearBytes = 6

// nearAges takes the ages of one day off a block; none where they can't be read.
func nearAges(room []stats.AgeCount, block []byte) (ages []stats.AgeCount, rest []byte) {
	for day := byte(0); len(block) > 0; {
		if len(block) < nearBytes || block[0] != nearBytes-2 {
			return nil, nil
		}
		if at := block[1]; len(room) == 0 {
			day = at
		} else if at != day {
			break
		}
		age := int32(binary.BigEndian.Uint32(block[1:]) & 0xffffff)
		if n := block[5]; 0 < n && n < 0x80 {
			room, block = append(room, stats.AgeCount{Age: age, N: int32(n)}), block[nearBytes:]
			continue
		}
		n, left := longUvarint(block[5:])
		if left == nil || n == 0 || n > math.MaxInt32 {
			return nil, nil
		}
		room, block = append(room, stats.AgeCount{Age: age, N: int32(n)}), left
	}
	return room, block
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
