package measure

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// DatedPart is a part of a set with the date code on it.
type DatedPart struct {
	Name     string // such as its designator
	Code     string // as printed
	Replaced bool   // a person says it is not original
}

// BuiltAfter is what the codes in a set say about when it was built: not before
// a day. They never say "not after", since parts lie in stock for months.
type BuiltAfter struct {
	// Day is the first day on which the set can have been built: the earliest
	// day of its newest original part. It is at midnight UTC.
	Day time.Time
	// Newest is that part, Second the part before it in age, if there are two.
	// GapDays lies between the two. A wide gap below a single newest part is a
	// sign of a replaced part: show it and let a person mark the part.
	Newest, Second DatedAt
	GapDays        int
	Counted        int // how many parts count
	// Later lists, rising, the bounds that other readings of one-digit years
	// would give.
	Later []time.Time
	// LeftOut names the parts that do not count and why.
	LeftOut []string

	others []DateReading // every reading of the parts that count
}

// DatedAt is a part with the earliest reading of its code.
type DatedAt struct {
	Part    DatedPart
	Reading DateReading
}

// BuiltNoEarlierThan finds the bound that the original parts of a set put on the
// day it was built. Each part counts with its earliest reading in the window,
// which is the one choice that can't claim too much. Replaced parts and codes
// that can't be read are left out by name. It refuses when no part is left.
func BuiltNoEarlierThan(parts []DatedPart, window YearWindow) (BuiltAfter, error) {
	var b BuiltAfter
	var dated []DatedAt
	var all []DateReading
	for _, p := range parts {
		if p.Replaced {
			b.LeftOut = append(b.LeftOut, p.Name+": replaced")
			continue
		}
		readings, err := ReadDateCode(p.Code, window)
		if err != nil {
			b.LeftOut = append(b.LeftOut, p.Name+": "+err.Error())
			continue
		}
		dated = append(dated, DatedAt{p, slices.MinFunc(readings, byFrom)})
		all = append(all, readings...)
	}
	if len(dated) == 0 {
		return b, fmt.Errorf("date a set by %d parts: %w", len(parts), errors.New("none is original and has a readable code"))
	}
	slices.SortStableFunc(dated, func(x, y DatedAt) int { return byFrom(y.Reading, x.Reading) })
	b.Newest, b.Counted = dated[0], len(dated)
	b.Day = b.Newest.Reading.From
	if len(dated) > 1 {
		b.Second = dated[1]
		b.GapDays = int(b.Day.Sub(b.Second.Reading.From).Hours() / 24)
	}
	b.Later, b.others = laterThan(b.Day, all), all
	return b, nil
}

// Year is the year to propose for the set: that of its newest original part. It
// is a proposal for a person to take or leave, since a set may be younger, and
// stands behind any year that somebody stated.
func (b BuiltAfter) Year() int { return b.Newest.Reading.Year }

// LaterYears are the years that other readings of one-digit years would propose.
func (b BuiltAfter) LaterYears() (years []int) {
	for _, r := range b.others {
		if r.Year > b.Year() {
			years = append(years, r.Year)
		}
	}
	slices.Sort(years)
	return slices.Compact(years)
}

// loneGap is how much later than all others a single part has to be to look
// replaced: more than parts lie in stock. Common practice, no source.
const loneGap = 365

// LoneNewest reports whether the newest part stands alone, a year or more behind
// at least two others: a sign of a replaced part and not of a later set.
func (b BuiltAfter) LoneNewest() bool { return b.Counted > 2 && b.GapDays >= loneGap }

// Contradicts reports whether a set can't have been made in the years that
// somebody stated, since a part in it is younger. Either year may be 0 for not
// known. What was stated stands all the same: a part may have been replaced.
func (b BuiltAfter) Contradicts(from, to int) bool {
	last := max(from, to)
	return last != 0 && last < b.Day.Year()
}

func byFrom(x, y DateReading) int { return x.From.Compare(y.From) }

// laterThan gives the first days, after the bound, of all readings. Each is a
// bound that no other part contradicts, since every part has a reading before.
func laterThan(bound time.Time, all []DateReading) (later []time.Time) {
	for _, r := range all {
		if r.From.After(bound) {
			later = append(later, r.From)
		}
	}
	slices.SortFunc(later, time.Time.Compare)
	return slices.Compact(later)
}
