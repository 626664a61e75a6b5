package projections

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"oldhand/events"
	"oldhand/projections/stats"
)

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

// often is some units with as many returns at the same age.
type often struct {
	returns int
	end     int // their age on the day asked for
	units   int
}

// tooOften is some units that are alike, and whether that is often.
type tooOften struct {
	often
	expected, p, adjusted float64
}

// oftenRows names the units whose number of returns is more than chance makes
// of the mean at their age, allowing for how many units were looked at.
func (b *backs) oftenRows(t Tally, asOf events.Day, res *Result) error {
	kept, units, err := b.tooOften(t, asOf)
	if err != nil || units == 0 {
		return err
	}
	var rows []OftenRow
	for _, k := range kept {
		if n := len(rows); n >= mostOften && k.p > rows[n-1].P {
			break
		}
		prefix := oftenRow(rowKey{backOften}, k.returns, asOf-events.Day(k.end))
		err := t.Each(prefix, func(row []byte, _ int) (bool, error) {
			r, err := k.row(row[len(prefix):])
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
func (b *backs) tooOften(t Tally, asOf events.Day) (kept []tooOften, units int, err error) {
	standing, err := b.standing(t, asOf)
	if err != nil {
		return nil, 0, err
	}
	ps, times := make([]float64, len(standing)), make([]int, len(standing))
	for i, o := range standing {
		mean, err := b.mean.At(o.end)
		if err != nil {
			return nil, 0, err
		}
		ps[i], times[i] = poissonTail(o.returns, mean), o.units
		kept, units = append(kept, tooOften{often: o, expected: mean, p: ps[i]}), units+o.units
	}
	adjusted, err := stats.BenjaminiHochbergAmong(ps, times, b.units)
	if err != nil {
		return nil, 0, err
	}
	for i := range kept {
		kept[i].adjusted = adjusted[i]
	}
	slices.SortFunc(kept, func(a, b tooOften) int {
		return cmp.Or(cmp.Compare(a.p, b.p), cmp.Compare(a.returns, b.returns), cmp.Compare(a.end, b.end))
	})
	return kept, units, nil
}

// standing are the units that stand out. One does not whose chance would be too large
// even if it came last among all that may: one that was watched for longer than some
// days. So there are fewer that may, and with those others do not; in the end none of
// them is too large, which is where Benjamini and Hochberg come to from the other end,
// with the chances of all in order.
func (b *backs) standing(t Tally, asOf events.Day) (may []often, err error) {
	times, many, err := readTimes(t)
	if err != nil || many == 0 {
		return nil, err
	}
	longest := b.longest(times, many)
	if may, err = readOften(t, asOf, longest); err != nil {
		return nil, err
	}
	for {
		left := 0
		for _, o := range may {
			left += o.units
		}
		if left == many || left == 0 {
			return may, nil
		}
		many = left
		longest = b.longest(times, many)
		may = slices.DeleteFunc(may, func(o often) bool { return o.end >= longest[o.returns] })
	}
}

// longest are up to which ages units may stand out, by how often they were back, of so
// many that may.
func (b *backs) longest(times []int, many int) []int {
	longest := make([]int, slices.Max(times)+1)
	for _, returns := range times {
		longest[returns] = sort.Search(b.mean.Len(), func(end int) bool {
			mean, err := b.mean.At(end)
			return err != nil || poissonTail(returns, mean)*float64(b.units)/float64(many) > flagAt
		})
	}
	return longest
}

// readTimes reads how often units were back, of those that were twice or more, and how
// many they are.
func readTimes(t Tally) (times []int, many int, err error) {
	err = t.Each([]byte{backTimes}, func(row []byte, n int) (bool, error) {
		rr := rowReader{b: row[1:]}
		times, many = append(times, rr.num()), many+n
		if returns := times[len(times)-1]; returns < oftenFrom || returns > mostDays {
			return false, errView
		}
		return true, rr.err()
	})
	return times, many, err
}

// readOften reads the units that were back twice or more and are younger than the
// longest age at which units that were back as often may stand out.
func readOften(t Tally, asOf events.Day, longest []int) (list []often, err error) {
	err = eachBlock(t, comeBackHead, []byte{backMany}, func(head, block []byte) error {
		first, err := firstDay(head)
		for len(block) > 0 && err == nil {
			var tail []byte
			var n, returns uint64
			if len(block) > 3 && block[0] == 2 && 0 < block[3] && block[3] < 0x80 { // nearly all
				tail, n, returns, block = block[1:2], uint64(block[3]), uint64(block[2]), block[4:]
			} else if tail, n, block, err = nextCount(block); err == nil && len(tail) > 1 {
				returns, _ = shortUvarint(tail[1:])
			}
			if returns < oftenFrom || returns >= uint64(len(longest)) {
				return errView
			}
			if end := max(0, int(asOf)-first-int(tail[0])); end < longest[returns] {
				list = append(list, often{int(returns), end, int(n)})
			}
		}
		return err
	})
	return list, err
}

// row names one of the units, by what stands behind returns and day in its row.
func (o tooOften) row(row []byte) (r OftenRow, err error) {
	root := events.UnitID{}
	if len(row) < len(root) {
		return r, errView
	}
	rr := rowReader{b: row[copy(root[:], row):]}
	r = OftenRow{Unit: root.String(), Maker: rr.text(), Model: rr.text(), Tag: rr.text(), Returns: o.returns, Expected: o.expected, P: o.p, Adjusted: o.adjusted}
	return r, rr.err()
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
