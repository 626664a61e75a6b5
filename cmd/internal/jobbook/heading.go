package jobbook

import (
	"fmt"
	"strings"
	"unicode"
)

func list(s string) []string { return strings.Split(s, "|") }

// clean puts a heading into the form of the table: small letters, no
// punctuation, single spaces, "#" as the word no. The signs of currencies are
// taken out, since "Charge ($)" names the same field as "Charge".
func clean(s string) string {
	var b strings.Builder
	space := false
	for _, r := range strings.ToLower(s) {
		switch {
		case r == '\'' || r == '’':
			continue
		case r == '#':
			b.WriteString(" no ")
			space = false
		case unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.Is(unicode.Mn, r):
			if space && b.Len() > 0 {
				b.WriteByte(' ')
			}
			space = false
			b.WriteRune(r)
		default:
			space = true
		}
	}
	words := strings.Fields(b.String())
	for len(words) > 1 && currencyWords[words[len(words)-1]] {
		words = words[:len(words)-1]
	}
	return strings.Join(words, " ")
}

// currencyWords are the words for money that may stand behind a heading.
var currencyWords = map[string]bool{"usd": true, "eur": true, "euro": true, "gbp": true, "chf": true, "cad": true, "aud": true, "dm": true, "dollars": true}

// nameColumns gives each column a name of its own to stand in a mapping: its
// heading as typed, a number behind a heading that came before, and its place
// where it has no heading.
func nameColumns(cells []string) []string {
	names := make([]string, len(cells))
	seen, times := map[string]bool{}, map[string]int{}
	for i, c := range cells {
		name := strings.Join(strings.Fields(c), " ")
		if name == "" {
			name = fmt.Sprintf("column %d", i+1)
		}
		first := name
		for seen[strings.ToLower(name)] {
			times[first]++
			name = fmt.Sprintf("%s (%d)", first, times[first]+1)
		}
		seen[strings.ToLower(name)] = true
		names[i] = name
	}
	return names
}

// firmField gives the field that a heading firmly names, -1 where it names none.
func firmField(name string) int { return headingIndex.firm(clean(name)) }

func looseField(name string) int { return headingIndex.loose(clean(name)) }

type headingTable struct{ firmly, loosely map[string]int }

func (t headingTable) firm(s string) int  { return orNone(t.firmly, s) }
func (t headingTable) loose(s string) int { return orNone(t.loosely, s) }

func orNone(m map[string]int, s string) int {
	if i, ok := m[s]; ok {
		return i
	}
	return -1
}

// headingIndex finds a field by a heading. A heading in two rows of the table
// is a slip in this package, which no input can cause.
var headingIndex = func() headingTable {
	t := headingTable{map[string]int{}, map[string]int{}}
	for i, h := range headings {
		fill(t.firmly, h.firm, i)
		fill(t.loosely, h.loose, i)
	}
	return t
}()

func fill(m map[string]int, names []string, field int) {
	for _, n := range names {
		if other, twice := m[n]; twice {
			panic("jobbook: heading " + n + " names " + string(headings[other].field) + " and " + string(headings[field].field))
		}
		m[n] = field
	}
}

// readingOf reads a heading as a reading: words for the test point, then a
// unit, as "AM mV", "B+ (V)" or "Hum mV before". What has no unit or no point
// is no reading.
func readingOf(name string) (ReadingColumn, bool) {
	rest, stage := cutStage(name)
	point, unit, ok := cutUnit(rest)
	if !ok || point == "" {
		return ReadingColumn{}, false
	}
	return ReadingColumn{Heading: name, Point: point, Unit: unit, Stage: stage}, true
}

// stages are the words that tell whether a reading was taken before the work
// or after it.
var stages = []struct{ words, stage string }{
	{"as found", AsFound}, {"as left", AsLeft}, {"before", AsFound}, {"after", AsLeft}, {"vorher", AsFound}, {"nachher", AsLeft},
}

func cutStage(name string) (rest, stage string) {
	bare := strings.TrimRight(name, " )]")
	for _, s := range stages {
		cut := len(bare) - len(s.words)
		if cut > 0 && strings.EqualFold(bare[cut:], s.words) {
			return strings.TrimRight(bare[:cut], " ,(["), s.stage
		}
	}
	return name, ""
}

// cutUnit cuts the unit from the end of a heading. In brackets any unit is
// taken; without them a letter that is also a word or a channel ("Line A") is
// not.
func cutUnit(name string) (point, unit string, ok bool) {
	name = strings.TrimSpace(name)
	if end := strings.TrimRight(name, ")]"); end != name {
		i := strings.LastIndexAny(end, "([")
		if i < 0 {
			return "", "", false
		}
		unit = strings.TrimSpace(end[i+1:])
		return strings.TrimSpace(name[:i]), unit, units[strings.ToLower(unit)] || bracketUnits[strings.ToLower(unit)]
	}
	i := strings.LastIndexAny(name, " ,")
	if i < 0 {
		return "", "", false
	}
	unit = name[i+1:]
	return strings.TrimRight(name[:i], " ,"), unit, units[strings.ToLower(unit)]
}

// units are what stands behind a test point, in small letters. The unit is
// kept as typed: whether "MV" is millivolts is for a reader of measurements.
var units = setOf("v|vac|vdc|vrms|vpp|mv|mvac|mvdc|uv|µv|μv|kv|ma|ua|µa|μa|w|mw|watts|volts|hz|khz|mhz|kc|mc|db|dbm|dbu|dbf|dbv|ohm|ohms|ω|ω|kohm|kohms|megohm|megohms|mω|kω|%|% thd|uf|µf|mfd|mmf|pf|rpm|grams")

var bracketUnits = setOf("a|amps|k|m|c|f|g|s|min|mm|deg|°c|°f")

func setOf(s string) map[string]bool {
	set := map[string]bool{}
	for _, u := range list(s) {
		set[strings.ToLower(u)] = true
	}
	return set
}
