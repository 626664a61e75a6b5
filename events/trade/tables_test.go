package trade

import (
	"regexp"
	"strings"
	"testing"

	"oldhand/events/sharedtest"
)

func TestEveryIDIsPlainAndEveryNameIsThere(t *testing.T) {
	plain := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	check := func(table, id, name string) {
		if !plain.MatchString(id) || name == "" {
			t.Errorf("%s: id %q, name %q", table, id, name)
		}
	}
	subsystems := indexOf(Subsystems, func(s Subsystem) string { return s.ID })
	for _, c := range Classes {
		check("classes", c.ID, c.Name)
		if _, ok := subsystems[c.Subsystem]; !ok {
			t.Errorf("class %s is in no subsystem: %q", c.ID, c.Subsystem)
		}
		if len(c.Usual) == 0 {
			t.Errorf("class %s has no usual mode", c.ID)
		}
		for _, l := range c.Letters {
			if row, ok := LetterOf(l); !ok || !row.Standard {
				t.Errorf("class %s: letter %s is not in the standard", c.ID, l)
			}
		}
	}
	for _, m := range Modes {
		check("modes", m.ID, m.Name)
	}
	for _, c := range Causes {
		check("causes", c.ID, c.Name)
	}
	for _, c := range Certainties {
		check("certainties", c.ID, c.Name)
	}
	for _, s := range Sets {
		check("sets", s.ID, s.Name)
	}
	for _, o := range Outcomes {
		check("outcomes", o.ID, o.Name)
	}
	for _, w := range Works {
		check("works", w.ID, w.Name)
	}
	indexOf(Causes, func(c Cause) string { return c.ID })
	indexOf(Certainties, func(c Certainty) string { return c.ID })
}

// Ids stand in stored facts. The list was written down once; a line that is
// missing from a table means that an old fact can't be named any more.
func TestNoIDThatWasEverGivenIsGone(t *testing.T) {
	given := "filter-capacitor coupling-capacitor electrolytic-capacitor capacitor resistor control switch lamp line-cord " +
		"power-transformer output-transistor transistor tube loudspeaker solder-joint ratio-detector alignment belt cartridge " +
		"stylus idler relay intercom-line fuse rectifier selenium-rectifier dial-cord transformer"
	for id := range strings.FieldsSeq(given) {
		if _, ok := ClassOf(id); !ok {
			t.Errorf("class %s is gone", id)
		}
	}
	for id := range strings.FieldsSeq("open shorted leaky drifted noisy dirty worn cracked burned-out weak broken unsafe out-of-alignment intermittent missing brittle corroded cold defective") {
		if _, ok := ModeOf(id); !ok {
			t.Errorf("mode %s is gone", id)
		}
	}
	for id := range strings.FieldsSeq("repaired returned-unrepaired declined kept-for-parts unknown") {
		if _, ok := OutcomeOf(id); !ok {
			t.Errorf("outcome %s is gone", id)
		}
	}
	for id := range strings.FieldsSeq("intercom-master room-station door-station table-radio receiver tuner phono-amplifier") {
		if _, ok := SetOf(id); !ok {
			t.Errorf("kind of set %s is gone", id)
		}
	}
	for id := range strings.FieldsSeq("cleaned realigned resoldered rebuilt lubricated") {
		if _, ok := WorkOf(id); !ok {
			t.Errorf("work %s is gone", id)
		}
	}
}

// The letters of IEEE 315 / ASME Y14.44 with their meanings, from published
// lists of the standard's class designation letters (facts.md, section 9).
func TestClassLettersAreTheStandards(t *testing.T) {
	want := map[string]string{
		"A": "assembly", "B": "motor or fan", "BT": "battery", "C": "capacitor", "CR": "diode or rectifier", "D": "diode or rectifier",
		"DS": "lamp or indicator", "E": "miscellaneous", "F": "fuse", "FL": "filter", "J": "jack", "K": "relay", "L": "coil",
		"LS": "loudspeaker", "M": "meter", "MK": "microphone", "P": "plug", "PS": "power supply", "PU": "pickup", "Q": "transistor",
		"R": "resistor", "RT": "thermistor", "S": "switch", "T": "transformer", "TB": "terminal block", "TP": "test point",
		"U": "integrated circuit", "V": "electron tube", "VR": "regulator", "W": "cable", "X": "socket", "Y": "crystal", "Z": "network",
	}
	standard := 0
	for _, l := range Letters {
		if !l.Standard {
			continue
		}
		standard++
		if !strings.HasPrefix(l.Name, want[l.Letters]) || want[l.Letters] == "" {
			t.Errorf("%s is %q, the standard says %q", l.Letters, l.Name, want[l.Letters])
		}
	}
	if standard != len(want) {
		t.Errorf("%d letters of the standard, want %d", standard, len(want))
	}
}

// Two rows that claim one phrase would make the answer depend on their order.
func TestNoPhraseNamesTwoThings(t *testing.T) {
	lx := newLexicon()
	for name, tree := range map[string]tree{"class": lx.classes, "work": lx.works, "set": lx.sets, "outcome": lx.outcomes, "mode": lx.modes} {
		for node, says := range tree.rows {
			firm := 0
			for _, m := range says {
				if !m.ifUsed {
					firm++
				}
			}
			if firm > 1 && !(name == "mode" && isDry(lx, tree, node)) {
				t.Errorf("%s: one phrase means rows %v", name, says)
			}
		}
	}
}

// isDry lets one phrase through: "dried up" is one thing for a capacitor and
// another for rubber, and the usual modes of the class decide.
func isDry(lx *lexicon, tree tree, node int) bool {
	at := uint16(0)
	for _, w := range lx.spell("dried up") {
		at = tree.next[step{at, w}]
	}
	return int(at) == node
}

func TestEverySpellingIsOneWord(t *testing.T) {
	lx := newLexicon()
	for _, line := range spellings {
		for s := range strings.FieldsSeq(line) {
			if toks := lx.scan(s, nil); len(toks) != 1 || s != strings.ToLower(s) {
				t.Errorf("%q is %d words to the reader", s, len(toks))
			}
		}
	}
	seen := map[string]string{}
	for _, line := range spellings {
		for s := range strings.FieldsSeq(line) {
			if other, twice := seen[s]; twice {
				t.Errorf("%q stands in %q and in %q", s, other, line)
			}
			seen[s] = line
		}
	}
}

// The old job book was written by somebody else than this package: each of its
// findings has to name a component and how it failed.
func TestEveryFindingOfTheOldJobBookIsUnderstood(t *testing.T) {
	distinct := map[string]bool{}
	for _, row := range sharedtest.Rows(t, "jobbook/old-job-book.csv") {
		for _, f := range Read(row["Found"]) {
			distinct[f.Text] = true
			if !f.Matched() {
				t.Errorf("job %s: %+v", row["Job"], f)
			}
		}
		for _, p := range ReadParts(row["Parts used"]) {
			if p.Designator == "" || p.Class == "" {
				t.Errorf("job %s: %+v", row["Job"], p)
			}
		}
	}
	if len(distinct) != 26 {
		t.Errorf("%d distinct findings, counted by hand there are 26", len(distinct))
	}
}
