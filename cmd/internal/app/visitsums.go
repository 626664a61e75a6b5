package app

import (
	"cmp"
	"fmt"
	"regexp"
	"strings"

	"oldhand/cmd/internal/sums"
	"oldhand/events"
	"oldhand/events/measure"
)

// VisitSums are what readings of one visit say together: FM beside AM, left beside
// right, a dial's readings beside each other. They are help for a person and no
// verdict. made is the year of the set, 0 for not known.
func VisitSums(read []events.ReadingTaken, made int) (said []string) {
	for _, stage := range []string{events.AsFound, events.AsLeft, ""} {
		var at []events.ReadingTaken
		for _, r := range read {
			if r.Stage == stage && r.Value.Unit != "" {
				at = append(at, r)
			}
		}
		before := ""
		if stage != "" {
			before = strings.ToUpper(stage[:1]) + stage[1:] + ": "
		}
		for _, words := range [][]string{levelSums(at), balanceSums(at), dialSums(at, made)} {
			for _, w := range words {
				said = append(said, before+w)
			}
		}
	}
	return said
}

func levelSums(read []events.ReadingTaken) []string {
	by := map[string][]measure.Value{}
	for _, r := range read {
		by[r.Measure] = append(by[r.Measure], valueOf(r.Value))
	}
	am, fm := by["audio-level-am"], by["audio-level-fm"]
	if len(am) == 0 || len(fm) == 0 {
		return nil
	}
	c, err := sums.FMOverAM(am, fm)
	if err != nil {
		return nil // one of them is nothing: there is no ratio to it
	}
	return []string{c.Words}
}

// balanceSums pair points that differ in their side only: tuner out L, tuner out R.
func balanceSums(read []events.ReadingTaken) (said []string) {
	for _, l := range read {
		base, side := sideOf(l.Point)
		if side != "L" {
			continue
		}
		for _, r := range read {
			if other, side := sideOf(r.Point); side != "R" || other != base || r.Measure != l.Measure {
				continue
			}
			c, err := sums.Balance([]measure.Value{valueOf(l.Value)}, []measure.Value{valueOf(r.Value)})
			if err == nil {
				said = append(said, strings.TrimSpace(base+" "+c.Words))
			}
			break
		}
	}
	return said
}

// sideOf parts a point from the channel that its last word names.
func sideOf(point string) (base, side string) {
	words := strings.Fields(point)
	if len(words) == 0 {
		return "", ""
	}
	last := len(words) - 1
	switch strings.ToLower(words[last]) {
	case "l", "left":
		side = "L"
	case "r", "right":
		side = "R"
	}
	if base = strings.Join(words[:last], " "); base != "" {
		base += ":"
	}
	return base, side
}

func dialSums(read []events.ReadingTaken, made int) (said []string) {
	in := sums.DialTyped{Year: made}
	for _, r := range read {
		if text, ok := dialText(r); ok {
			in.Readings = append(in.Readings, text)
		}
	}
	d, err := sums.ReadDial(in)
	if err != nil {
		return nil // there is no dial reading
	}
	for _, b := range d.Bands {
		if b.Count > 1 {
			said = append(said, b.Words())
		}
	}
	return said
}

// stationSaid finds a station in the words on how a dial was read: "station 660".
var stationSaid = regexp.MustCompile(`(?i)\bstation ([0-9.,]+ ?[a-z]*)`)

// dialText is a reading of a dial as sums take it, with its station where the words
// beside it name one.
func dialText(r events.ReadingTaken) (string, bool) {
	band := map[string]string{"dial-am": "AM", "dial-fm": "FM"}[r.Measure]
	if band == "" || r.Value.Unit == "" {
		return "", false
	}
	text := band + " " + valueOf(r.Value).Canonical()
	if m := stationSaid.FindStringSubmatch(r.Conditions); m != nil {
		if _, err := measure.ReadDial(text + "=" + m[1]); err == nil {
			text += "=" + m[1]
		}
	}
	return text, true
}

// ReadingSays is what a single reading says besides itself: a dial's error against
// its station, a touch current. Empty where it says nothing more.
func ReadingSays(r events.ReadingTaken, made int) string {
	if text, ok := dialText(r); ok {
		d, err := sums.ReadDial(sums.DialTyped{Readings: []string{text}, Year: made})
		if err != nil {
			return err.Error()
		}
		return d.Readings[0].Words()
	}
	n, err := measure.FindNetwork(cmp.Or(r.Network, "hot-check"))
	if err != nil || r.Value.Unit != string(measure.Volt) || r.Measure != n.ReadingID {
		return ""
	}
	v := valueOf(r.Value)
	l, err := sums.ReadLeakage(sums.LeakageTyped{Readings: []string{v.Canonical()}, Network: n.ID, Amplitude: r.Amplitude, Limit: r.Limits})
	if err != nil { // limits are any words: they need not be a number
		l, err = sums.ReadLeakage(sums.LeakageTyped{Readings: []string{v.Canonical()}, Network: n.ID, Amplitude: r.Amplitude})
	}
	if err != nil {
		return fmt.Sprintf("no current: %v", err)
	}
	return l.Words(l.Readings[0])
}
