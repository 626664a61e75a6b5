package sheettext_test

import (
	"strings"
	"testing"

	"oldhand/cmd/internal/sheettext"
	"oldhand/events"
	"oldhand/events/sheets"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestEverySheetThatComesWithTheProgramIsReadBackToTheSame(t *testing.T) {
	for _, s := range sheets.Good {
		text := sheettext.Write(s)
		got, err := sheettext.Read(text)
		if err != nil {
			t.Fatalf("%s: %v", s.Name, err)
		}
		if d := cmp.Diff(s, got); d != "" {
			t.Errorf("%s (-was +read):\n%s", s.Name, d)
		}
		if again := sheettext.Write(got); again != text {
			t.Errorf("%s is written otherwise:\n%s", s.Name, cmp.Diff(text, again))
		}
	}
}

// Any text in any field comes back, also what TOML has signs for (TOML 1.0,
// basic strings).
func TestAnyWordsComeBackAsTheyWere(t *testing.T) {
	words := rapid.StringOfN(rapid.RuneFrom([]rune("ab \"\\'#=[]\n\t\u0007\u007fäΩµ日\u2028")), 0, 20, -1)
	rapid.Check(t, func(t *rapid.T) {
		clean := func(label string) string { return strings.TrimSpace(words.Draw(t, label)) }
		s := events.TestSheetDefined{Name: "n" + clean("name"), KindOfSet: "tuner", Checks: []events.Check{{Label: "l" + clean("label"), Point: clean("point"),
			OnlyWhere: clean("only"), Conditions: clean("conditions"), Instrument: clean("instrument"), Source: clean("source")}}}
		got, err := sheettext.Read(sheettext.Write(s))
		if err != nil {
			t.Fatalf("%v\n%s", err, sheettext.Write(s))
		}
		if d := cmp.Diff(s, got); d != "" {
			t.Fatal(d)
		}
	})
}

func TestWhatIsWrongWithATextIsSaid(t *testing.T) {
	const top = "name = \"x\"\nkind = \"tuner\"\n"
	check := func(lines string) string { return top + "[[check]]\nlabel = \"FM\"\n" + lines }
	for _, c := range [][2]string{
		{"name = \"x\n", "line 1"},
		{top + "colour = \"red\"\n", `"colour" means nothing here`},
		{check("limit = \"1 V\""), `"check.limit" means nothing here`},
		{"kind = \"tuner\"\n[[check]]\nlabel = \"a\"", "no name"},
		{top, "no checks"},
		{"name = \"x\"\n[[check]]\nlabel = \"a\"", "which kind of set"},
		{"name = \"x\"\nmodel = \"m\"\n[[check]]\nlabel = \"a\"", "with its maker"},
		{top + "[[check]]\npoint = \"a\"", "without a label"},
		{check(`limits = "at most 1 V"`), "need a kind of measurement"},
		{check(`measure = "loudness"`), `no kind of measurement "loudness"`},
		{check("measure = \"audio-level-fm\"\nlimits = \"loud\""), `limits "loud"`},
		{check("measure = \"audio-level-fm\"\nlimits = \"under 1 V\""), "say at most"},
		{check("measure = \"audio-level-fm\"\nlimits = \"within 3 dB of AM\""), "where no other check reads"},
		{check("measure = \"check\"\nlimits = \"yes\""), ""}, // what it is anyway
		{check("measure = \"check\"\nlimits = \"no\""), "the other way round"},
		{check("stage = \"later\""), "as found, as left"},
		{check("[[check]]\nlabel = \"other\"\npoint = \"fm\""), "check 2, other: it is read at fm, as check 1 is"},
		{strings.Replace(top, "tuner", "big tuner", 1) + "[[check]]\nlabel = \"a\"", "kind of set"},
		{"name = 5\n", "name"},
	} {
		_, err := sheettext.Read(c[0])
		switch {
		case c[1] == "" && err != nil:
			t.Errorf("%s\n%v", c[0], err)
		case c[1] != "" && (err == nil || !strings.Contains(err.Error(), c[1])):
			t.Errorf("%s\n%v, want %q in it", c[0], err, c[1])
		}
	}
}
