package picture

import (
	"math"
	"strings"

	"oldhand/projections"
)

// sameHeight is how near a height must be to one half to count as it: sums of
// binary fractions miss it by a little.
const sameHeight = 1e-9

// median is where a curve comes down to one half. If it lies flat on just one
// half, that is the middle of the flat, as the answer's own median is.
func median(c projections.PictureCurve) (float64, bool) {
	flat, found := 0.0, false
	for _, s := range seen(c) {
		switch {
		case s.Y() > 0.5+sameHeight:
		case s.Y() < 0.5-sameHeight && found:
			return (flat + s.X()) / 2, true
		case s.Y() < 0.5-sameHeight:
			return s.X(), true
		case !found:
			flat, found = s.X(), true
		}
	}
	return flat, found
}

// stair writes a path of steps. A move up or down that is too small to be seen
// is left out until it has grown, so that a curve of thousands of steps is no
// longer than what can be seen of it.
type stair struct {
	path strings.Builder
	x, y string  // where the path has come to
	tall float64 // y as a number
	to   string  // how far across it goes next
}

// leastSeen is about half a pixel where a picture is as wide as it gets.
const leastSeen = 0.35

func (t *stair) begin(x, y float64) {
	t.x, t.y, t.tall = num(x), num(y), y
	t.to = t.x
	t.path.WriteString("M" + t.x + " " + t.y)
}

func (t *stair) across(x float64) { t.to = num(x) }

func (t *stair) upDown(y float64) {
	if math.Abs(y-t.tall) < leastSeen {
		return
	}
	t.level()
	t.y, t.tall = num(y), y
	t.path.WriteString("V" + t.y)
}

// level goes across as far as was said.
func (t *stair) level() {
	if t.to != t.x {
		t.x = t.to
		t.path.WriteString("H" + t.x)
	}
}

func (t *stair) String() string {
	t.level()
	return t.path.String()
}

// linePath is a curve from all at the beginning to where it was last seen.
func linePath(c projections.PictureCurve, pl plot) string {
	var t stair
	t.begin(pl.x.at(0), pl.y.at(1))
	for _, s := range seen(c) {
		t.across(pl.x.at(s.X()))
		t.upDown(pl.y.at(s.Y()))
	}
	t.across(pl.x.at(max(c.End, 0)))
	return t.String()
}

// bandPath is the band around a curve: a piece for every run of steps that
// have one, up its upper edge and back along its lower.
func bandPath(c projections.PictureCurve, pl plot) string {
	steps := seen(c)
	var d strings.Builder
	for i := 0; i < len(steps); {
		if !steps[i].Band() {
			i++
			continue
		}
		from := i
		for i < len(steps) && steps[i].Band() {
			i++
		}
		end := c.End
		if i < len(steps) {
			end = steps[i].X()
		}
		d.WriteString(bandPiece(steps[from:i], end, pl))
	}
	return d.String()
}

func bandPiece(steps []projections.CurveStep, end float64, pl plot) string {
	var t stair
	t.begin(pl.x.at(steps[0].X()), pl.y.at(steps[0].Hi()))
	for _, s := range steps[1:] {
		t.across(pl.x.at(s.X()))
		t.upDown(pl.y.at(s.Hi()))
	}
	t.across(pl.x.at(end))
	for i := len(steps) - 1; i >= 0; i-- {
		t.upDown(pl.y.at(steps[i].Lo()))
		t.across(pl.x.at(steps[i].X()))
	}
	return t.String() + "Z"
}
