package projections

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"oldhand/events/measure"
)

// mostRanges is how many ranges are drawn: those of the most sets.
const mostRanges = 20

// mostDrawn is below what a range can be drawn to. More is a slip of the hand, or of a
// bench that keeps no rule: its row stands in the table, and the others are drawn.
const mostDrawn = 1e15

// normsPicture is where the readings of the points with the most sets lie. Points
// of one kind of measurement stand together, on one scale.
func normsPicture(rows []NormRow) *Picture {
	rows = slices.DeleteFunc(slices.Clone(rows), func(r NormRow) bool { return !(r.Least > -mostDrawn && r.Most < mostDrawn) })
	if len(rows) == 0 {
		return nil
	}
	drawn := slices.SortedStableFunc(slices.Values(rows), func(a, b NormRow) int { return cmp.Compare(b.Sets, a.Sets) })
	drawn = drawn[:min(len(drawn), mostRanges)]
	first := drawn[0]
	slices.SortStableFunc(drawn, func(a, b NormRow) int {
		return cmp.Or(cmp.Compare(kindPlace(a.Measure), kindPlace(b.Measure)), cmp.Compare(a.Measure, b.Measure), cmp.Compare(a.In, b.In),
			cmp.Compare(a.Point, b.Point), cmp.Compare(a.Group, b.Group))
	})
	alone := !slices.ContainsFunc(rows, func(r NormRow) bool { return r.Group != first.Group })
	p := &Picture{Title: "What sets read as they leave", Desc: first.finding()}
	for _, r := range drawn {
		p.Ranges = append(p.Ranges, r.drawn(alone))
	}
	return p
}

// kindPlace is the place of a kind of measurement in its table, behind all for
// one that is not in it.
func kindPlace(id string) int {
	i := slices.IndexFunc(measure.Kinds, func(k measure.Kind) bool { return k.ID == id })
	return choose(i < 0, len(measure.Kinds), i)
}

// drawn is a row's range; alone says that all rows are of one model.
func (r NormRow) drawn(alone bool) PictureRange {
	p := PictureRange{Name: r.Group + ", " + r.Point, Of: "no kind said", In: r.In, Least: r.Least, Middle: r.Middle, Most: r.Most, Text: strconv.Itoa(r.Sets)}
	if alone {
		p.Name = r.Point
	}
	if k, ok := measure.Find(r.Measure); ok {
		p.Of = k.Name
	} else if r.Measure != "" {
		p.Of = r.Measure
	}
	if r.Low != nil {
		p.Low, p.High, p.Usual = *r.Low, *r.High, true
	}
	return p
}

// finding is what the row with the most sets says.
func (r NormRow) finding() string {
	what := r.Point
	if r.Group != "" {
		what = r.Group + ", " + r.Point
	}
	if r.Low == nil {
		return fmt.Sprintf("No point was read on %d sets yet. Most were read at %s: %s.", LeastSets, what, setsText(r.Sets))
	}
	low, middle, high := r.Shown()
	return fmt.Sprintf("%s: usually %s to %s, middle %s, in %s.", what, low, withUnit(high, r.In), middle, setsText(r.Sets))
}
