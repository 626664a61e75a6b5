package demo

import (
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/measure"
	"oldhand/events/sharedtest"
	"oldhand/events/tag"
	"oldhand/events/trade"
)

// Source: the trade's own tables (package trade), which the bench counts by.
func TestFaultsUseTheTradesTables(t *testing.T) {
	for _, f := range faults {
		c, ok := trade.ClassOf(f.component)
		if !ok {
			t.Errorf("%s: no class %s", f.key, f.component)
		}
		if _, ok := trade.ModeOf(f.mode); !ok || !contains(c.Usual, f.mode) {
			t.Errorf("%s: mode %s is not usual for %s", f.key, f.mode, f.component)
		}
		if _, ok := trade.WorkOf(f.work); !ok && f.work != "" {
			t.Errorf("%s: no work %s", f.key, f.work)
		}
		if !causeKnown(f.cause) {
			t.Errorf("%s: no cause %s", f.key, f.cause)
		}
		for g := range groups {
			if f.weights[g] > 0 && f.work == "" && f.swapFor(g) == (swap{}) {
				t.Errorf("%s: in group %d nothing is done about it", f.key, g)
			}
		}
	}
	for _, m := range models {
		if _, ok := trade.SetOf(m.kind); !ok {
			t.Errorf("%s %s: no kind of set %s", m.maker, m.name, m.kind)
		}
	}
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

func causeKnown(id string) bool {
	for _, c := range trade.Causes {
		if c.ID == id {
			return true
		}
	}
	return false
}

func TestPartsAreReplacedWhereTheFaultWasFound(t *testing.T) {
	found, faults := of[events.FaultFound](t, tell(t, Options{Seed: 4}).events)
	at := map[events.VisitID]map[string]bool{}
	for i, e := range found {
		if at[e.Visit] == nil {
			at[e.Visit] = map[string]bool{}
		}
		at[e.Visit][faults[i].Designator+" "+faults[i].Component] = true
	}
	stray := 0
	put, parts := of[events.PartReplaced](t, tell(t, Options{Seed: 4}).events)
	for i, e := range put {
		if p := parts[i]; p.Reason == "failed" && !at[e.Visit][p.Designator+" "+p.Component] {
			stray++
		}
	}
	// The sights' own: a designator corrected twice, and a part on the wrong unit.
	if stray > 3 {
		t.Errorf("%d parts replaced where no fault was found", stray)
	}
}

// Source: IEEE 315 as package measure has it: a capacitor's and a resistor's
// marking has a value, old units included.
func TestMarkingsOfCapacitorsAndResistorsAreReadWithTheirValues(t *testing.T) {
	parts, err := readParts()
	if err != nil {
		t.Fatal(err)
	}
	farads := map[string]events.Quantity{}
	for _, f := range faults {
		for _, s := range []swap{f.tube, f.solid} {
			if l := letters(f.at[0]); s == (swap{}) || l != "C" && l != "R" {
				continue
			}
			p := parts[s]
			if len(p.out.Sections) == 0 || len(p.in.Sections) == 0 {
				t.Errorf("%s: %q to %q without a value", f.key, s.out, s.in)
				continue
			}
			farads[s.out] = p.out.Sections[0]
		}
	}
	// By hand: MFD is microfarad, K a thousand.
	for text, want := range map[string]events.Quantity{
		".022 MFD 400V": {Mant: 22, Exp: -9, Unit: "F"}, "40-40 MFD 350V": {Mant: 4, Exp: -5, Unit: "F"}, "470K 1/2W 10%": {Mant: 47, Exp: 4, Unit: "Ohm"},
	} {
		if farads[text] != want {
			t.Errorf("%q is read as %v, want %v", text, farads[text], want)
		}
	}
}

// Source: package measure's reader of what is typed, another way to the value
// than the arithmetic of this package.
func TestEveryReadingHasTheValueThatItsTextIsReadAs(t *testing.T) {
	_, readings := of[events.ReadingTaken](t, tell(t, Options{Seed: 4}).events)
	if len(readings) < 4000 {
		t.Fatalf("only %d readings", len(readings))
	}
	kinds := map[string]bool{}
	for _, r := range readings {
		k, ok := measure.Find(r.Measure)
		if !ok {
			t.Fatalf("no kind of measurement %q", r.Measure)
		}
		kinds[r.Measure] = true
		v, warnings, err := k.Read(r.Text)
		if err != nil || len(warnings) > 0 {
			t.Fatalf("%s %q: %v %v", r.Measure, r.Text, warnings, err)
		}
		v = v.Normal()
		if got := (events.Quantity{Mant: v.Mant, Exp: v.Exp, Unit: string(v.Unit)}); got != r.Value {
			t.Fatalf("%s %q is %v, read as %v", r.Measure, r.Text, r.Value, got)
		}
	}
	if len(kinds) < 10 {
		t.Errorf("only %d kinds of measurement", len(kinds))
	}
}

// Source: 47 CFR 73.14 and 73.201, the channels of both bands, by package
// measure: a dial is held against a real channel and is off by little.
func TestDialReadingsLieNearAChannel(t *testing.T) {
	_, readings := of[events.ReadingTaken](t, tell(t, Options{Seed: 4}).events)
	n := 0
	for _, r := range readings {
		raster, most := measure.AMRegion2, 9
		switch r.Measure {
		case "dial-am":
		case "dial-fm":
			raster, most = measure.FMUnitedStates, 140
		default:
			continue
		}
		n++
		khz, err := measure.WholeKHz(measure.Value{Mant: r.Value.Mant, Exp: r.Value.Exp, Unit: measure.Unit(r.Value.Unit)})
		if err != nil {
			t.Fatal(err)
		}
		v, _, err := kindOf(t, r.Measure).Read(strings.TrimPrefix(r.Conditions, "station on "))
		if err != nil {
			t.Fatal(err)
		}
		on, err := measure.WholeKHz(v)
		if err != nil {
			t.Fatal(err)
		}
		against, err := raster.Against(khz, on)
		if err != nil || against.ErrorKHz > most || against.ErrorKHz < -most {
			t.Errorf("%s on %s: %+v, %v", r.Text, r.Conditions, against, err)
		}
	}
	if n < 50 {
		t.Errorf("only %d dial readings", n)
	}
}

func kindOf(t *testing.T, id string) measure.Kind {
	t.Helper()
	k, ok := measure.Find(id)
	if !ok {
		t.Fatalf("no kind of measurement %s", id)
	}
	return k
}

// Source: the layout of EIA-476 as package measure reads it.
func TestDateCodesSayTheYearThatTheUnitIsIdentifiedAs(t *testing.T) {
	_, found := of[events.Identified](t, tell(t, Options{Seed: 4}).events)
	if len(found) < 200 {
		t.Fatalf("only %d identified", len(found))
	}
	for _, b := range found {
		readings, err := measure.ReadDateCode(b.Evidence[0].Text, measure.UsualYears)
		if err != nil || len(readings) != 1 || readings[0].Year != b.YearFrom {
			t.Fatalf("%q is read as %v, %v; the unit is of %d", b.Evidence[0].Text, readings, err, b.YearFrom)
		}
	}
}

// Source: package tag's check digit and split.
func TestTagsAreValidAndOfTheBenchThatGaveThem(t *testing.T) {
	all := tell(t, small)
	number := map[events.BenchID]uint32{}
	for _, b := range all.story.Benches() {
		public, err := b.Key.Public()
		if err != nil {
			t.Fatal(err)
		}
		number[public] = b.Number
	}
	seen := map[string]bool{}
	found, bodies := of[events.Received](t, all.events)
	for i, e := range found {
		first := e.About == [16]byte(e.ID)
		if first != (bodies[i].Tag != "") {
			t.Fatalf("unit %s has tag %q at this visit", e.Unit(), bodies[i].Tag)
		}
		if !first {
			continue
		}
		bench, _, err := tag.Split(bodies[i].Tag)
		if err != nil || bench != number[e.Feed.Bench] || seen[bodies[i].Tag] {
			t.Fatalf("tag %s on bench %d: bench %d, %v", bodies[i].Tag, number[e.Feed.Bench], bench, err)
		}
		seen[bodies[i].Tag] = true
	}
	if len(seen) != 200 {
		t.Errorf("%d tags for 200 units", len(seen))
	}
}

// Source: the old job book beside the project, whose invented names are its own.
func TestNamesAreNotThoseOfTheOldJobBook(t *testing.T) {
	theirs := map[string]bool{}
	for _, row := range sharedtest.Rows(t, "jobbook/old-job-book.csv") {
		for _, column := range []string{"City", "Make", "Model"} {
			theirs[events.Key(row[column])] = true
		}
		for _, name := range strings.Fields(row["Customer"]) {
			theirs[events.Key(name)] = true
		}
	}
	ours := append(append([]string{}, towns...), firstNames...)
	ours = append(ours, lastNames...)
	for _, m := range models {
		ours = append(ours, m.maker, m.name)
	}
	for _, name := range ours {
		if theirs[events.Key(name)] {
			t.Errorf("%s is of the old job book", name)
		}
	}
}

func TestDaysInShopAreLogNormal(t *testing.T) {
	// By hand: a log-normal of median 21 and sigma 0.75 has its quartiles at
	// 21*exp(-0.75*0.6745) = 12.7 and 21*exp(0.75*0.6745) = 34.8.
	if q := []int{daysInShop[10], daysInShop[20], daysInShop[30]}; q[0] != 13 || q[1] != 21 || q[2] != 35 {
		t.Errorf("quartiles %v", q)
	}
}
