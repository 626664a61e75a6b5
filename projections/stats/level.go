package stats

import (
	"fmt"
	"math"
)

// Level is how often limits made at it hold the true value in the long run.
// The zero Level is 95 %, so that leaving it out is not a mistake.
type Level struct{ share float64 }

// Confidence makes a Level from a share above 0 and below 1, such as 0.9.
func Confidence(share float64) (Level, error) {
	if !(share > 0 && share < 1) {
		return Level{}, fmt.Errorf("confidence of %v: must be above 0 and below 1", share)
	}
	return Level{share}, nil
}

// Share is the level as a number, such as 0.95.
func (l Level) Share() float64 {
	if l.share == 0 {
		return 0.95
	}
	return l.share
}

// tail is what is left out on each side.
func (l Level) tail() float64 { return (1 - l.Share()) / 2 }

// z is how many standard errors a normal estimate's limits lie from it.
func (l Level) z() float64 {
	if l.share == 0 {
		return zOfZero // limits are made by the thousand
	}
	return zOf(l.share)
}

var zOfZero = zOf(Level{}.Share())

func zOf(share float64) float64 { return math.Sqrt2 * math.Erfinv(share) }

// Interval is the two limits of an estimate.
type Interval struct{ Lo, Hi float64 }

// Rest is the interval of 1-x where i is the interval of x: that of having
// come back, from that of not having come back.
func (i Interval) Rest() Interval { return Interval{1 - i.Hi, 1 - i.Lo} }

// over is the interval of x/by where i is the interval of x; by is above zero.
func (i Interval) over(by float64) Interval { return Interval{i.Lo / by, i.Hi / by} }
