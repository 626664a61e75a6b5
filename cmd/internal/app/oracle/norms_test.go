package oracle_test

import (
	"math"
	"slices"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// shownIn is the base unit of a kind of measurement, and the unit that its readings
// are shown in with how many of them one of the base unit is. Only the kinds that
// the shops here have are in it.
var shownIn = map[string]struct {
	base, in string
	times    float64
}{
	"audio-level-am": {"V", "mV", 1e3}, "audio-level-fm": {"V", "mV", 1e3}, "audio-level-phono": {"V", "mV", 1e3}, "audio-level": {"V", "mV", 1e3},
	"ripple": {"V", "mV", 1e3}, "supply-voltage": {"V", "V", 1}, "hot-check-voltage": {"V", "V", 1}, "channel-balance": {"dB", "dB", 1}, "separation": {"dB", "dB", 1},
}

// heading is one row: a model, or none where they are taken together, a point and
// a kind of measurement.
type heading struct{ model, point, measure string }

// readAt is what was read there.
type readAt struct {
	values []float64
	sets   map[string]row // the last reading of each
}

// norms are the rows by model, or of all models together.
func (b book) norms(t testing.TB, by string) (all []row) {
	at, names := map[heading]*readAt{}, map[string]map[string]int{}
	for _, r := range b.rows(t, script(t, "norms")) {
		if leaves(t, r) != "" || by == "model" && r.int("named") == 0 {
			continue
		}
		h := heading{fold(r.text("name")), r.text("point"), r.text("measure")}
		if by == "point" {
			h.model = ""
		}
		if at[h] == nil {
			at[h] = &readAt{sets: map[string]row{}}
		}
		at[h].values = append(at[h].values, float64(r.int("mant"))*math.Pow10(r.int("exp"))*shownIn[h.measure].times)
		at[h].sets[r.text("root")] = r
	}
	for h, p := range at {
		for _, r := range p.sets {
			count(names, h.model, r.text("name"))
		}
	}
	for h, p := range at {
		r := p.row(h)
		if by == "model" {
			r["group"] = most(names[h.model])
		}
		all = append(all, r)
	}
	return all
}

// leaves says why a reading as left is left out, nothing where it counts.
func leaves(t testing.TB, r row) string {
	kind, unit := r.text("measure"), r.text("unit")
	switch {
	case r.int("back") > 1:
		return "another one followed"
	case unit == "":
		return "no number"
	case unit == "{yes}":
		return "yes or no"
	case kind == "dial-am" || kind == "dial-fm":
		return "dial"
	case shownIn[kind].base == "":
		t.Fatalf("readings of %q are not in the oracle's table", kind)
	case unit != shownIn[kind].base:
		return "another family"
	}
	return ""
}

// row has the quantiles, and the point as most sets have it.
func (p *readAt) row(h heading) row {
	slices.Sort(p.values)
	spelled := map[string]map[string]int{}
	for _, r := range p.sets {
		count(spelled, "", r.text("spelled"))
	}
	n := len(p.values)
	r := row{"point": most(spelled[""]), "measure": h.measure, "in": shownIn[h.measure].in, "sets": len(p.sets), "readings": n,
		"middle": typeEight(p.values, 0.5), "low": nil, "high": nil, "smallest": p.values[0], "largest": p.values[n-1]}
	if len(p.sets) >= 7 {
		r["low"], r["high"] = typeEight(p.values, 0.1), typeEight(p.values, 0.9)
	}
	return r
}

// typeEight is facts.md 4: place (n + 1/3)p + 1/3 of the sorted values, within them.
func typeEight(sorted []float64, p float64) float64 {
	n := float64(len(sorted))
	h := math.Min(math.Max((n+1.0/3)*p+1.0/3, 1), n)
	low := sorted[int(h)-1]
	if int(h) == len(sorted) {
		return low
	}
	return low + (h-math.Floor(h))*(sorted[int(h)]-low)
}

func count(words map[string]map[string]int, of, word string) {
	if words[of] == nil {
		words[of] = map[string]int{}
	}
	words[of][word]++
}

// most is the most frequent word, of equals the first.
func most(words map[string]int) (best string) {
	for w, n := range words {
		if n > words[best] || n == words[best] && w < best {
			best = w
		}
	}
	return best
}

// agreeOnNorms compares every row and every count of what is left out.
func agreeOnNorms(t *testing.T, s *app.Shop, b book) {
	t.Helper()
	for _, by := range []string{"model", "point"} {
		a := ask(t, s, app.Asking{Question: "norms", AsOf: b.asOf, By: by})
		sameRows(t, "norms by "+by, a.Rows, b.norms(t, by), "group", "point", "measure", "in")
		out, unnamed := map[string]int{}, 0
		for _, r := range b.rows(t, script(t, "norms")) {
			why := leaves(t, r)
			if out[why]++; why == "" && r.int("named") == 0 && by == "model" {
				unnamed++
			}
		}
		for _, why := range []string{"another one followed", "no number", "yes or no", "dial", "another family"} {
			equal(t, "norms: "+why, a.missing(why), out[why])
		}
		equal(t, "norms: of no known model", a.missing("model is not known"), unnamed)
		const told = "SELECT count(*) FROM happened h JOIN visit v ON v.id = h.stay WHERE h.name = 'reading.taken' AND "
		equal(t, "norms: stage not said", a.missing("nobody said"), b.count(t, told+"coalesce(data->>'stage', '') = ''"))
		equal(t, "norms: as they came", a.missing("left unrepaired"),
			b.count(t, told+"data->>'stage' = 'as left' AND v.outcome IN ('returned-unrepaired', 'declined', 'kept-for-parts')"))
	}
}

// A shop with each reading that does not count, worked by hand: of A1 62 mV counts
// and not 40, B2 left as it came, C3 left with words, D4 was read at " am " and with
// a stage and without, E5 in dB over 1 V. So 62 and 88, middle 75.
func TestNormsByHand(t *testing.T) {
	s := tiny(t, `2026-01-01,,Ostrel,R-950,A1,,
2026-01-01,,Ostrel,R-950,B2,,
2026-01-01,,Ostrel,R950,C3,,
2026-01-01,,Ostrel,R-950,D4,,
2026-01-01,,Ostrel,R-950,E5,,
`)
	for _, r := range [][4]string{{"A1", "AM", "40 mV", "as left"}, {"A1", "AM", "62 mV", "as left"}, {"B2", "AM", "10 mV", "as left"}, {"C3", "AM", "80 mV", "as left"}, {"C3", "AM", "hums", "as left"},
		{"D4", "AM", "81 mV", ""}, {"D4", "AM", "70 mV", "as found"}, {"D4", " am ", "0.088 V", "as left"}, {"E5", "AM", "-20 dBV", "as left"}} {
		b, _, err := app.Reading(events.ReadingTaken{Point: r[1], Measure: "audio-level-am", Text: r[2], Stage: r[3]})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Record(r[0], on(t, "2026-01-05"), b); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Ship("B2", on(t, "2026-01-09"), events.Shipped{Outcome: "declined"}); err != nil {
		t.Fatal(err)
	}
	a := ask(t, s, app.Asking{Question: "norms"})
	has(t, a.Rows, "group", "Ostrel R-950", row{"sets": 2, "readings": 2, "smallest": 62, "middle": 75, "largest": 88, "low": nil})
	agree(t, s, today)
}
