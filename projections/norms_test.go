package projections_test

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/events/sharedtest"
	"oldhand/projections"

	"pgregory.net/rapid"
)

// readingOf is a reading as the program reads it, by its kind of measurement.
func readingOf(t *testing.T, point, kind, text, stage string) events.ReadingTaken {
	t.Helper()
	b := events.ReadingTaken{Point: point, Measure: kind, Text: text, Stage: stage}
	k, ok := measure.Find(kind)
	if !ok {
		return b
	}
	if v, _, err := k.Read(text); err == nil {
		n := v.Normal()
		b.Value = events.Quantity{Mant: n.Mant, Exp: n.Exp, Unit: string(n.Unit)}
	}
	return b
}

// shopOf tells of sets that came in, were read and left.
type shopOf struct {
	*story
	t     *testing.T
	units int
}

func newShopOf(t *testing.T) *shopOf { return &shopOf{story: newStory(t), t: t} }

// set is one more set, with its readings in order, shipped with an outcome, or not
// where there is none.
func (s *shopOf) set(model, outcome string, read ...events.ReadingTaken) (name string) {
	s.units++
	name = fmt.Sprint("set", s.units)
	s.tell(1, name, name, "", s.units%80, events.Received{Maker: "Ostrel", Model: model})
	s.visit(name, name, s.units%80, outcome, read)
	return name
}

// again is a further visit of a set.
func (s *shopOf) again(name string, day int, read ...events.ReadingTaken) {
	visit := fmt.Sprint(name, "-", day)
	s.tell(1, visit, name, "", day, events.Received{Maker: "Ostrel"})
	s.visit(name, visit, day, "repaired", read)
}

func (s *shopOf) visit(name, visit string, day int, outcome string, read []events.ReadingTaken) {
	for i, b := range read {
		s.tell(1, fmt.Sprint(visit, "r", i), name, visit, day, b)
	}
	if outcome != "" {
		s.tell(1, visit+"s", name, visit, day, events.Shipped{Outcome: outcome})
	}
}

func (s *shopOf) norms(by string) *projections.Result {
	s.t.Helper()
	m := newMemory()
	if err := m.add(s.all...); err != nil {
		s.t.Fatal(err)
	}
	return asked(s.t, m, "norms", projections.Asked{AsOf: afterAll, By: by})
}

func normRow(t *testing.T, res *projections.Result, group, point string) projections.NormRow {
	t.Helper()
	for _, r := range res.Rows {
		if row := r.(projections.NormRow); row.Group == group && row.Point == point {
			return row
		}
	}
	t.Fatalf("no row of %q at %q in %+v", group, point, res.Rows)
	return projections.NormRow{}
}

func missing(res *projections.Result, what string) int {
	for _, m := range res.Missing {
		if strings.Contains(m.What, what) {
			return m.Count
		}
	}
	return 0
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-6*math.Abs(want) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// Source: quantiles.csv, R's quantile of type 8, each sample as the readings of as
// many sets, half of them typed in V. Two of the samples are in facts.md 4 too.
func TestNormsMeetTheTableOfQuantiles(t *testing.T) {
	samples := map[string]map[string]string{}
	for _, row := range sharedtest.Rows(t, "checkdata/quantiles.csv") {
		if row["type"] == "8" {
			if samples[row["sample"]] == nil {
				samples[row["sample"]] = map[string]string{}
			}
			samples[row["sample"]][row["p"]] = row["value"]
		}
	}
	usual := 0
	for sample, at := range samples {
		s := newShopOf(t)
		values := strings.Fields(sample)
		for i, v := range values {
			text := v + " mV"
			if i%2 == 1 {
				mv, err := strconv.Atoi(v)
				if err != nil {
					t.Fatal(err)
				}
				text = fmt.Sprintf("%.3f V", float64(mv)/1000)
			}
			s.set("R-950", "repaired", readingOf(t, "AM", "audio-level-am", text, events.AsLeft))
		}
		row := normRow(t, s.norms(""), "Ostrel R-950", "AM")
		want := func(p string) float64 {
			v, err := strconv.ParseFloat(at[p], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		if row.In != "mV" || row.Sets != len(values) || row.Readings != len(values) {
			t.Errorf("%s: %+v", sample, row)
		}
		near(t, sample+": middle", row.Middle, want("0.5"))
		if len(values) < projections.LeastSets {
			if row.Low != nil || row.High != nil {
				t.Errorf("%s: a usual interval of %d sets", sample, len(values))
			}
			continue
		}
		usual++
		near(t, sample+": a tenth", *row.Low, want("0.1"))
		near(t, sample+": nine tenths", *row.High, want("0.9"))
	}
	if usual < 2 {
		t.Errorf("only %d samples are large enough for a usual interval", usual)
	}
}

// LeastSets is the least number at which a tenth of type 8 is no longer the
// smallest value: worked by hand, 7.333 * 0.1 + 0.333 = 1.067.
func TestAUsualIntervalIsToldFromWhereItIsNotTheRange(t *testing.T) {
	for n := 1; n <= 12; n++ {
		s := newShopOf(t)
		for i := range n {
			s.set("R-950", "repaired", readingOf(t, "AM", "audio-level-am", fmt.Sprintf("%d mV", 60+i*i), events.AsLeft))
		}
		row := normRow(t, s.norms(""), "Ostrel R-950", "AM")
		if (row.Low != nil) != (n >= 7) {
			t.Errorf("%d sets: %+v", n, row)
		}
		if row.Low != nil && (*row.Low <= row.Least || *row.High >= row.Most) {
			t.Errorf("%d sets: %v to %v is the range", n, *row.Low, *row.High)
		}
	}
}

// Which readings count, worked by hand. Of the R-950, however it is spelled:
//
//	set 1  40, then 62 mV as left           62: the last of the visit
//	set 2  70 mV as found, 75 mV as left    75
//	set 3  left with 88 mV, back: 90 mV     88 and 90: two visits, one set
//	set 4  80 mV, then "hums" as left       nothing: what it left with is no number
//	set 5  81 mV of no stage                nothing
//	set 6  -20 dB[V]                        nothing: no mV follow from it without more words
//	set 7  10 mV, sent back as it came      nothing
//	set 8  76 mV, still on the bench        76
//
// So 4 sets, 5 readings, 62 75 76 88 90, and the middle is 76.
func TestWhichReadingsCountByHand(t *testing.T) {
	s := newShopOf(t)
	am := func(text, stage string) events.ReadingTaken {
		return readingOf(t, "AM", "audio-level-am", text, stage)
	}
	s.set("R-950", "repaired", am("40 mV", events.AsLeft), am("62 mV", events.AsLeft))
	s.set("R-950", "repaired", am("70 mV", events.AsFound), am("75 mV", events.AsLeft))
	third := s.set("r 950", "repaired", am("88 mV", events.AsLeft), readingOf(t, "am", "check", "yes", events.AsLeft))
	s.set("R-950", "repaired", am("80 mV", events.AsLeft), am("hums", events.AsLeft))
	s.set("R-950", "repaired", am("81 mV", ""), readingOf(t, "AM dial", "dial-am", "663", events.AsLeft))
	s.set("R-950", "repaired", am("-20 dBV", events.AsLeft))
	s.set("R-950", "returned-unrepaired", am("10 mV", events.AsLeft))
	s.set("R-950", "", readingOf(t, " am ", "audio-level-am", "76 mV", events.AsLeft))
	s.set("", "repaired", am("99 mV", events.AsLeft))
	s.again(third, 90, am("90 mV", events.AsLeft))
	res := s.norms("model")
	row := normRow(t, res, "Ostrel R-950", "AM")
	if row.Sets != 4 || row.Readings != 5 || row.Least != 62 || row.Middle != 76 || row.Most != 90 || row.Low != nil {
		t.Errorf("the row is %+v", row)
	}
	if len(res.Rows) != 1 {
		t.Errorf("%d rows for one point of one model", len(res.Rows))
	}
	for what, n := range map[string]int{"nobody said": 1, "no number": 1, "checks": 1, "dial": 1, "another family": 1, "another one followed": 2, "left unrepaired": 1, "model is not known": 1} {
		if got := missing(res, what); got != n {
			t.Errorf("left out for %q: %d, want %d", what, got, n)
		}
	}
	all := normRow(t, s.norms("point"), "", "AM")
	if all.Sets != 5 || all.Readings != 6 || all.Most != 99 {
		t.Errorf("of all models: %+v", all)
	}
}

// A sign is part of a point's name.
func TestTwoRailsAreTwoPoints(t *testing.T) {
	s := newShopOf(t)
	s.set("R-950", "repaired", readingOf(t, "+15 V rail", "supply-voltage", "15.1 V", events.AsLeft), readingOf(t, "-15 V rail", "supply-voltage", "-14.9 V", events.AsLeft))
	res := s.norms("")
	if normRow(t, res, "Ostrel R-950", "+15 V rail").Middle != 15.1 || normRow(t, res, "Ostrel R-950", "-15 V rail").Middle != -14.9 {
		t.Errorf("the rows are %+v", res.Rows)
	}
}

// Equal values are one row, however they were written: these are all 95 mV.
func TestEqualValuesAreOneRowOfTheTally(t *testing.T) {
	s := newShopOf(t)
	for _, q := range []events.Quantity{{Mant: 95, Exp: -3, Unit: "V"}, {Mant: 95_000, Exp: -6, Unit: "V"}, {Mant: 9500, Exp: -5, Unit: "V"}} {
		s.set("R-950", "repaired", events.ReadingTaken{Point: "AM", Measure: "audio-level-am", Text: "as typed", Value: q, Stage: events.AsLeft})
	}
	m := newMemory()
	if err := m.add(s.all...); err != nil {
		t.Fatal(err)
	}
	rows, _ := projections.TallyOf(m, "norms")
	if len(rows) != 2 { // the sets, and the value
		t.Errorf("%d rows for one value of one point", len(rows))
	}
}

// Whatever sets came in and were read, what is told of a set's point is what the
// question says of a shop in which the set never was.
func TestANormIsTheAnswerWithoutTheUnitItself(t *testing.T) {
	found := 0
	rapid.Check(t, func(rt *rapid.T) {
		all, rest := newShopOf(t), newShopOf(t)
		mine := rapid.IntRange(0, 4).Draw(rt, "mine")
		model := pick(rt, "R-950", "R 950", "MS-44")
		for i := range 5 {
			if i != mine {
				model = pick(rt, "R-950", "R 950", "MS-44", "")
			}
			visits := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) []events.ReadingTaken {
				return rapid.SliceOfN(rapid.Custom(reading), 0, 4).Draw(t, "readings")
			}), 1, 3).Draw(rt, "visits")
			outcome := pick(rt, "repaired", "repaired", "declined", "")
			for _, s := range []*shopOf{all, rest} {
				if s == rest && i == mine {
					continue
				}
				name := s.set(model, outcome, visits[0]...)
				for j, read := range visits[1:] {
					s.again(name, 20+j, read...)
				}
			}
		}
		whole, others := newMemory(), newMemory()
		if err := errors.Join(whole.add(all.all...), others.add(rest.all...)); err != nil {
			rt.Fatal(err)
		}
		h, err := projections.Load(whole, events.UnitID(all.id(fmt.Sprint("set", mine+1))))
		if err != nil || h == nil {
			rt.Fatal(h, err)
		}
		got, ok, err := projections.NormOf(whole, h, "AM", "audio-level-am")
		if err != nil {
			rt.Fatal(err)
		}
		want, there := projections.NormRow{}, false
		for _, r := range asked(rt, others, "norms", projections.Asked{AsOf: afterAll}).Rows {
			row := r.(projections.NormRow)
			if events.Key(row.Group) == events.Key("Ostrel"+h.Model) && strings.EqualFold(row.Point, "AM") && row.Measure == "audio-level-am" {
				want, there = row, true
			}
		}
		if ok != there || ok && (got.Sets != want.Sets || got.Readings != want.Readings || got.Least != want.Least || got.Middle != want.Middle || got.Most != want.Most) {
			rt.Fatalf("got %+v (%v), without the unit the answer is %+v (%v)", got, ok, want, there)
		}
		if ok {
			found++
		}
	})
	if found == 0 { // a short run has few worlds
		t.Errorf("%d units had a norm", found)
	}
}

func TestAReadingLiesWithinWhatIsTold(t *testing.T) {
	low, high := 62.4, 87.6
	row := projections.NormRow{Measure: "audio-level-am", In: "mV", Sets: 14, Low: &low, Middle: 75, High: &high, Least: 40, Most: 99}
	for text, side := range map[string]int{"61 mV": -1, "62 mV": 0, "0.088 V": 0, "88.1 mV": 1, "75": 0} {
		if got, ok := row.Side(readingOf(t, "AM", "audio-level-am", text, "")); !ok || got != side {
			t.Errorf("%s: %d (%v), want %d", text, got, ok, side)
		}
	}
	for _, b := range []events.ReadingTaken{readingOf(t, "AM", "audio-level-fm", "75 mV", ""), readingOf(t, "AM", "audio-level-am", "hums", ""), readingOf(t, "AM", "audio-level-am", "-20 dBV", "")} {
		if _, ok := row.Side(b); ok {
			t.Errorf("%+v was put beside %s", b, row.In)
		}
	}
}

// The picture has the points with the most sets, those of a kind together.
func TestTheStripsSayWhatTheRowsSay(t *testing.T) {
	s := newShopOf(t)
	for model := range 15 {
		for range 1 + model {
			s.set(fmt.Sprintf("R-%d", 100+model), "repaired", readingOf(t, "AM", "audio-level-am", fmt.Sprintf("%d mV", 60+s.units%30), events.AsLeft),
				readingOf(t, "FM", "audio-level-fm", "90 mV", events.AsLeft))
		}
	}
	res := s.norms("")
	p := res.Picture
	if p == nil || len(p.Ranges) != 20 || !strings.Contains(strings.Join(res.Notes, "\n"), "20 rows of the most sets; 10 more") || !strings.HasPrefix(p.Desc, "Ostrel R-114, AM: usually ") {
		t.Fatalf("the picture is %+v", p)
	}
	for i, r := range p.Ranges {
		if want := []string{"Audio level, AM", "Audio level, FM"}[i/10]; r.Of != want {
			t.Errorf("range %d is of %s, want %s", i, r.Of, want)
		}
		model, point, _ := strings.Cut(r.Name, ", ")
		row := normRow(t, res, model, point)
		if r.Least != row.Least || r.Middle != row.Middle || r.Most != row.Most || r.Usual != (row.Low != nil) || r.Usual && (r.Low != *row.Low || r.High != *row.High) || r.Text != strconv.Itoa(row.Sets) {
			t.Errorf("the strip of %s is %+v, the row %+v", r.Name, r, row)
		}
	}
}
