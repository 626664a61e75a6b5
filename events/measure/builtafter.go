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
	// Later lists, rising, the bounds that other readings of one-digit years
	// would give.
	Later []time.Time
	// LeftOut names the parts that do not count and why.
	LeftOut []string
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
	b.Newest = dated[0]
	b.Day = b.Newest.Reading.From
	if len(dated) > 1 {
		b.Second = dated[1]
		b.GapDays = int(b.Day.Sub(b.Second.Reading.From).Hours() / 24)
	}
	b.Later = laterThan(b.Day, all)
	return b, nil
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
