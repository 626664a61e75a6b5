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
	ps, times := make([]float64, len(looked)), make([]int, len(looked))
	for i, k := range looked {
		ps[i], times[i] = k.p, k.units
	}
	adjusted, err := stats.BenjaminiHochbergAmong(ps, times, b.units)
	if err != nil {
		return nil, 0, err
	}
	for i := range looked {
		looked[i].adjusted = adjusted[i]
	}
	slices.SortFunc(looked, func(a, b tooOften) int {
		return cmp.Or(cmp.Compare(a.p, b.p), cmp.Compare(a.returns, b.returns), cmp.Compare(a.end, b.end))
	})
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
