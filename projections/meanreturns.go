package projections

import (
	"math"

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
	ends  []int   // how many were watched for so many days
	often []often // those with oftenFrom returns or more

	mean  stats.MeanLine
	steps []stats.MeanStep // at meanAges
}

// often is some units with as many returns at the same age.
type often struct {
	returns int
	end     int // their age on the day asked for
	units   int
}

func readBacks(t Tally, asOf events.Day) (b *backs, err error) {
	b = &backs{}
	if b.ends, err = readDays(t, []byte{backFirst}, func(from int) int { return max(0, int(asOf)-from) }); err != nil || len(b.ends) == 0 {
		return b, err
	}
	for _, n := range b.ends {
		b.units += n
	}
	returns, err := readDays(t, []byte{backAges}, func(age int) int { return age })
	if err != nil {
		return nil, err
	}
	m, err := stats.NewMeanAges(b.ends, returns, meanAges)
	if err != nil {
		return nil, err
	}
	if err := b.addEach(t, asOf, m); err != nil {
		return nil, err
	}
	b.mean = m.Line()
	b.steps, err = m.Steps()
	return b, err
}

// addEach takes in the units that were back.
func (b *backs) addEach(t Tally, asOf events.Day, m *stats.MeanAges) error {
	var ages []int32
	return eachBlock(t, comeBackHead, []byte{backUnits}, func(head, block []byte) error {
		rr := rowReader{b: head[1:]}
		from := (rr.num()+dayZero)*16 - dayZero
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
			block = rest
			end := max(0, int(asOf)-(from+int(tail[0])))
			if len(ages) >= oftenFrom {
				b.often = append(b.often, often{len(ages), end, int(n)})
			}
			if err := m.Add(end, int(n), ages); err != nil {
				return err
			}
		}
		return nil
	})
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
