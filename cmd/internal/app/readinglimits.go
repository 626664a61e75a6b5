package app

import (
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
)

// limitWords are how limits are written that are open to one side.
var limitWords = []struct {
	word string
	high bool
}{
	{"at most", true}, {"max", true}, {"up to", true}, {"below", true}, {"under", true}, {"<=", true}, {"≤", true}, {"<", true},
	{"at least", false}, {"min", false}, {"above", false}, {"over", false}, {">=", false}, {"≥", false}, {">", false},
}

// LimitsOf reads limits as typed for a kind of measurement, such as "80 to 120 mV"
// or "at most 0.75 V". A side that is open, or that can't be read without doubt, is
// the zero Quantity: the text stands beside the reading all the same.
func LimitsOf(kind, text string) (low, high events.Quantity) {
	k, ok := measure.Find(kind)
	text = strings.TrimSpace(text)
	if !ok || text == "" {
		return low, high
	}
	lower := strings.ToLower(text)
	for _, w := range limitWords {
		if rest, found := strings.CutPrefix(lower, w.word); found {
			q, _ := readLimit(k, strings.Trim(text[len(text)-len(rest):], " .:"))
			if w.high {
				return low, q
			}
			return q, high
		}
	}
	from, to, found := strings.Cut(text, " to ")
	if !found {
		return low, high
	}
	high, unit := readLimit(k, to)
	if strings.IndexFunc(from, isUnitLetter) < 0 { // the unit stands once, behind both
		from += " " + unit
	}
	low, _ = readLimit(k, from)
	if low.Unit == "" || high.Unit == "" || valueOf(low).Compare(valueOf(high)) > 0 {
		return events.Quantity{}, events.Quantity{}
	}
	return low, high
}

// readLimit reads one limit and gives the unit it was typed with.
func readLimit(k measure.Kind, text string) (q events.Quantity, unit string) {
	text = strings.TrimSpace(text)
	v, _, err := k.Read(text)
	if err != nil {
		return q, ""
	}
	q, _ = quantityOf(v)
	if i := strings.IndexFunc(text, isUnitLetter); i >= 0 {
		unit = text[i:]
	}
	return q, unit
}
