package picture

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"

	"oldhand/projections"
)

const (
	plotLeft   = 46.0
	plotRight  = wide - 26
	plotHeight = 210.0
	curveMost  = 1e6 // days are more than two thousand years
)

// plot is where curves are drawn.
type plot struct {
	x, y    scale
	floor   float64 // the lowest share on the axis
	xticks  []float64
	letters bool // whether curves need telling apart
}

func drawCurves(b *pen, p *projections.Picture, top float64) (float64, error) {
	for _, c := range p.Curves {
		if err := checkCurve(c); err != nil {
			return 0, fmt.Errorf("curve %q: %w", c.Name, err)
		}
	}
	top = legend(b, p.Curves, top)
	drawn, end := shortened(p.Curves)
	pl := plotOf(drawn, top+20)
	pl.axes(b, p, top, end)
	for i, c := range drawn {
		if d := bandPath(c, pl); d != "" {
			b.path(bandClass(i, len(drawn)), d)
		}
	}
	pl.medians(b, p.Curves)
	for i, c := range drawn {
		b.path(lineClass(i), linePath(c, pl))
	}
	if pl.letters {
		pl.endLetters(b, drawn)
	}
	return pl.watched(b, p.Curves, pl.y.from+34), nil
}

func checkCurve(c projections.PictureCurve) error {
	if !finite(c.End) || c.End > curveMost {
		return fmt.Errorf("it goes on to %v, which is too far to draw", c.End)
	}
	before := 0.0
	for _, s := range c.Steps {
		if !finite(s.X(), s.Y()) || s.Band() && !finite(s.Lo(), s.Hi()) {
			return fmt.Errorf("a step at %v of height %v is no number", s.X(), s.Y())
		}
		if s.X() > curveMost {
			return fmt.Errorf("it goes on to %v, which is too far to draw", s.X())
		}
		if s.X() < before {
			return fmt.Errorf("a step at %v comes after one at %v", s.X(), before)
		}
		if s.Y() < 0 || s.Y() > 1 || s.Band() && (s.Lo() < 0 || s.Hi() > 1 || s.Lo() > s.Hi()) {
			return fmt.Errorf("the step at %v has a height of %v in a band from %v to %v, want shares", s.X(), s.Y(), s.Lo(), s.Hi())
		}
		before = s.X()
	}
	if len(c.Watched) == 0 {
		return fmt.Errorf("it has no steps")
	}
	day := int32(0)
	for _, w := range c.Watched {
		if w.Day < day {
			return fmt.Errorf("those watched up to day %d come after those up to day %d", w.Day, day)
		}
		day = w.Day
	}
	return nil
}

// A seventh curve has the first one's dashes again, in another colour.
func dash(i int) int { return i % len(dashes) }

func tint(i int) int { return (i + i/len(dashes)) % len(dashes) }

func lineClass(i int) string { return fmt.Sprintf("line%d dash%d", tint(i), dash(i)) }

// bandClass makes the bands of many curves fainter, as they lie on each other.
func bandClass(i, n int) string {
	if n > 3 {
		return fmt.Sprintf("band%d faint", tint(i))
	}
	return fmt.Sprintf("band%d", tint(i))
}

// letter names a curve where its whole name has no room.
func letter(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return strconv.Itoa(i + 1)
}

// legend is a line for each curve: its letter, its dashes, its name, how many
// it tells of and its median.
func legend(b *pen, curves []projections.PictureCurve, top float64) float64 {
	x, y := margin, top
	for i, c := range curves {
		y += 17
		if len(curves) > 1 {
			b.text("ink strong", x, y, "start", letter(i))
		}
		b.line(lineClass(i), x+18, y-4, x+56, y-4)
		said := fmt.Sprintf("%d watched, median %s", c.Watched[0].Left, "not reached")
		if m, ok := median(c); ok {
			said = fmt.Sprintf("%d watched, median %s", c.Watched[0].Left, figure(m))
		}
		b.text("soft", wide-margin, y, "end", said)
		b.fitted("ink", x+64, y, "start", c.Name, wide-2*margin-72-widthOf(said, letters), letters)
	}
	return y + 10
}

// plotOf chooses the axes. A curve that stays in the upper half leaves the
// lower half empty, so the axis begins higher up there, and says so.
func plotOf(curves []projections.PictureCurve, top float64) plot {
	end, low := 0.0, 1.0
	for _, c := range curves {
		end = max(end, c.End)
		for _, s := range seen(c) {
			low = min(low, s.Y())
			if s.Band() {
				low = min(low, s.Lo())
			}
		}
	}
	if end <= 0 {
		end = 1
	}
	floor := 0.0
	if low > 0.5 {
		floor = min(math.Floor(low*10)/10, 0.9)
	}
	return plot{
		x:       scale{0, end, plotLeft, plotRight},
		y:       upright(floor, 1, top, top+plotHeight),
		floor:   floor,
		xticks:  ticks(0, end, 7, true),
		letters: len(curves) > 1,
	}
}

// seen are the steps up to where the curve ends.
func seen(c projections.PictureCurve) []projections.CurveStep {
	n := 0
	for n < len(c.Steps) && c.Steps[n].X() <= c.End {
		n++
	}
	return c.Steps[:n]
}

// seenDays are the days up to there.
func seenDays(c projections.PictureCurve) []projections.PictureWatched {
	n := sort.Search(len(c.Watched), func(i int) bool { return float64(c.Watched[i].Day) > c.End })
	return c.Watched[:n]
}

// A tail on which so few are left is not worth half of a picture: the rest of
// it would be pressed against the edge. It is left out, and how far it goes is
// said.
const (
	tailShare = 0.01 // of all that were watched
	tailRoom  = 0.6  // of the axis, which the rest must leave free
)

// shortened are the curves without a long tail of a few. end is where the tail
// ends, 0 if none was left out.
func shortened(curves []projections.PictureCurve) (drawn []projections.PictureCurve, end float64) {
	var at []float64
	all := 0
	for _, c := range curves {
		all += int(c.Watched[0].Left)
		end = max(end, c.End)
		for _, w := range seenDays(c) {
			at = append(at, float64(w.Day))
		}
	}
	slices.Sort(at)
	n := sort.Search(len(at), func(i int) bool { return float64(leftAfter(curves, at[i])) < tailShare*float64(all) })
	if n == len(at) || math.Ceil(at[n]*1.05) >= end*tailRoom {
		return curves, 0
	}
	drawn = slices.Clone(curves)
	for i := range drawn {
		drawn[i].End = min(drawn[i].End, math.Ceil(at[n]*1.05))
	}
	return drawn, end
}

// leftAfter is how many were watched longer than to a place.
func leftAfter(curves []projections.PictureCurve, x float64) (n int) {
	for _, c := range curves {
		days := seenDays(c)
		next := sort.Search(len(days), func(i int) bool { return float64(days[i].Day) > x })
		if next < len(days) {
			n += int(days[next].Left)
		}
	}
	return n
}

func (pl plot) axes(b *pen, p *projections.Picture, top, tail float64) {
	name := p.AxisY
	if pl.floor > 0 {
		name += fmt.Sprintf(" (the axis begins at %.0f %%)", pl.floor*100)
	}
	b.fitted("soft small", margin, top+8, "start", name, wide-2*margin, smallLetters)
	for _, v := range ticks(pl.floor, 1, 6, false) {
		b.line("grid", plotLeft, pl.y.at(v), plotRight, pl.y.at(v))
		b.text("soft small", plotLeft-5, pl.y.at(v)+3.5, "end", fmt.Sprintf("%.0f %%", v*100))
	}
	bottom := pl.y.from
	b.line("axis", plotLeft, bottom, plotRight, bottom)
	for _, v := range pl.xticks {
		b.line("axis", pl.x.at(v), bottom, pl.x.at(v), bottom+4)
		b.text("soft small", pl.x.at(v), bottom+15, "middle", figure(v))
	}
	across := p.AxisX
	if tail > 0 {
		across += fmt.Sprintf(" (the last few go on to %s)", figure(tail))
	}
	b.fitted("soft small", (plotLeft+plotRight)/2, bottom+29, "middle", across, wide-2*margin, smallLetters)
}

// medians are lines from the height of one half down to the axis. Where a curve
// does not come down to one half there is no median, and no line.
func (pl plot) medians(b *pen, curves []projections.PictureCurve) {
	far := math.Inf(-1)
	for _, c := range curves {
		if m, ok := median(c); ok {
			b.line("middle", pl.x.at(m), pl.y.at(0.5), pl.x.at(m), pl.y.at(0))
			far = max(far, m)
		}
	}
	if !math.IsInf(far, -1) {
		b.line("middle", plotLeft, pl.y.at(0.5), pl.x.at(far), pl.y.at(0.5))
	}
}

// endLetters writes each curve's letter behind its end. They are placed from
// the lowest up, each above those it would cover.
func (pl plot) endLetters(b *pen, curves []projections.PictureCurve) {
	type spot struct {
		i    int
		x, y float64
	}
	var spots []spot
	for i, c := range curves {
		y := 1.0
		if s := seen(c); len(s) > 0 {
			y = s[len(s)-1].Y()
		}
		spots = append(spots, spot{i, pl.x.at(c.End) + 5, min(pl.y.at(y)+4, pl.y.from-4)})
	}
	slices.SortFunc(spots, func(a, b spot) int { return cmp.Or(cmp.Compare(b.y, a.y), cmp.Compare(a.x, b.x)) })
	for n := range spots {
		for k := 0; k < n; k++ {
			if math.Abs(spots[k].x-spots[n].x) < 15 && spots[k].y-spots[n].y < 13 {
				spots[n].y = spots[k].y - 13
			}
		}
		b.text("ink strong clear", spots[n].x, spots[n].y, "start", letter(spots[n].i))
	}
}

// watched writes below the axis how many were still watched at each tick: the
// far end of a curve often rests on a handful.
func (pl plot) watched(b *pen, curves []projections.PictureCurve, y float64) float64 {
	y += 14
	b.text("soft small", margin, y, "start", "still watched")
	for i, c := range curves {
		y += 14
		if pl.letters {
			b.text("ink small strong", margin, y, "start", letter(i))
		}
		for _, v := range pl.xticks {
			if n, ok := watchedAt(c, v); ok {
				b.text("soft small", pl.x.at(v), y, "middle", strconv.Itoa(n))
			}
		}
	}
	return y
}

func watchedAt(c projections.PictureCurve, x float64) (int, bool) {
	for _, w := range seenDays(c) {
		if float64(w.Day) >= x {
			return int(w.Left), true
		}
	}
	return 0, false
}
