package trade

import (
	"os"
	"strings"
	"testing"
	"testing/quick"
	"time"

	"github.com/google/go-cmp/cmp"
)

// wanted is one line of testdata/findings.txt.
type wanted struct {
	text, class, mode string
	designators       []string
}

// wantedFindings reads the phrases and what somebody of the trade takes from
// them (common practice, no source).
func wantedFindings(t testing.TB) []wanted {
	t.Helper()
	data, err := os.ReadFile("testdata/findings.txt")
	if err != nil {
		t.Fatal(err)
	}
	var out []wanted
	for line := range strings.Lines(string(data)) {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		cells := strings.Split(line, " | ")
		w := wanted{text: cells[0], class: cells[1], mode: cells[2]}
		if len(cells) > 3 {
			w.designators = strings.Fields(cells[3])
		}
		out = append(out, w)
	}
	return out
}

func TestFindingsAreReadAsTheTradeReadsThem(t *testing.T) {
	all := wantedFindings(t)
	if len(all) < 150 {
		t.Fatalf("only %d phrases", len(all))
	}
	dash := func(s string) string {
		if s == "" {
			return "-"
		}
		return s
	}
	for _, w := range all {
		got := Read(w.text)
		if len(got) != 1 {
			t.Errorf("%q: %d findings, want one: %+v", w.text, len(got), got)
			continue
		}
		f := got[0]
		if dash(f.Component) != w.class || dash(f.Mode) != w.mode {
			t.Errorf("%q: got %s / %s, want %s / %s", w.text, dash(f.Component), dash(f.Mode), w.class, w.mode)
		}
		if !cmp.Equal(f.Designators, w.designators) {
			t.Errorf("%q: designators %v, want %v", w.text, f.Designators, w.designators)
		}
		if f.Text != w.text {
			t.Errorf("%q: the text came back as %q", w.text, f.Text)
		}
	}
}

func TestFindingsArePartedOnlyWhereItIsSafe(t *testing.T) {
	for _, c := range []struct {
		text string
		want []string
	}{
		{"", nil},
		{" ; ;\n", nil},
		{"C14 open, no audio", []string{"C14 open, no audio"}},
		{"output xstr shorted, L ch dead", []string{"output xstr shorted, L ch dead"}},
		{"Q8 shorted, L speaker dead", []string{"Q8 shorted, L speaker dead"}},
		{"C1, C2 and C3 leaky", []string{"C1, C2 and C3 leaky"}},
		{"cold solder joint; C14 open, no audio", []string{"cold solder joint", "C14 open, no audio"}},
		{"weak tube, vol. control dirty", []string{"weak tube", "vol. control dirty"}},
		{"Q5, Q6 shorted, R22 open", []string{"Q5, Q6 shorted", "R22 open"}},
		{"R22 open, Q5, Q6 shorted", []string{"R22 open", "Q5, Q6 shorted"}},
		{"Line cord brittle. Dial lamp burned out.", []string{"Line cord brittle", "Dial lamp burned out."}},
		{"SR1 shorted, blew line fuse", []string{"SR1 shorted", "blew line fuse"}},
		{"WEAK TUBE, VOL. CONTROL DIRTY", []string{"WEAK TUBE", "VOL. CONTROL DIRTY"}},
		{"noisy vol. control", []string{"noisy vol. control"}},
		{"  spkr open \r\n  C3 leaky ", []string{"spkr open", "C3 leaky"}},
	} {
		var got []string
		for _, f := range Read(c.text) {
			got = append(got, f.Text)
		}
		if !cmp.Equal(got, c.want) {
			t.Errorf("%q was parted into %q, want %q", c.text, got, c.want)
		}
	}
}

// Bulk import must not lose a letter of what was typed: only the marks that
// part findings and outer space may be gone.
func TestNoTextIsLostHoweverItIsParted(t *testing.T) {
	bare := strings.NewReplacer(" ", "", "\t", "", "\n", "", "\r", "", ";", "", ",", "", ".", "")
	keep := func(text string) bool {
		var sum strings.Builder
		for _, f := range Read(text) {
			sum.WriteString(f.Text)
		}
		squeeze := func(s string) string { return strings.Join(strings.Fields(bare.Replace(s)), "") }
		return squeeze(sum.String()) == squeeze(text)
	}
	all := wantedFindings(t)
	for i := range all {
		for _, between := range []string{", ", ". ", "; ", " - "} {
			text := all[i].text + between + all[(i*7+3)%len(all)].text
			if !keep(text) {
				t.Errorf("%q lost text: %+v", text, Read(text))
			}
		}
	}
	if err := quick.Check(keep, nil); err != nil {
		t.Error(err)
	}
}

func TestCaseAndSpacesDoNotChangeAFinding(t *testing.T) {
	for _, w := range wantedFindings(t) {
		a, b := Read(w.text), Read("  "+strings.ToUpper(strings.ReplaceAll(w.text, " ", "  "))+"\t")
		if len(b) != 1 || a[0].Component != b[0].Component || a[0].Mode != b[0].Mode || !cmp.Equal(a[0].Designators, b[0].Designators) {
			t.Errorf("%q in capitals reads as %+v", w.text, b)
		}
	}
}

// A pasted letter must not hold up an import: 60,000 words in a second is far
// above what the reader needs, and far below what trying every comma would take.
func TestALongTextIsReadInTimeThatGrowsWithItsLength(t *testing.T) {
	text := strings.Repeat("weak tube, no sound, ", 15000)
	begin := time.Now()
	if got := Read(text); len(got) != 1 {
		t.Errorf("%d findings", len(got))
	}
	if took := time.Since(begin); took > time.Second {
		t.Errorf("took %v", took)
	}
}

func BenchmarkRead(b *testing.B) {
	all := wantedFindings(b)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		Read(all[i%len(all)].text)
		i++
	}
}

func FuzzRead(f *testing.F) {
	for _, w := range wantedFindings(f) {
		f.Add(w.text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, x := range Read(text) {
			if x.Text == "" || !strings.Contains(text, x.Text) {
				t.Errorf("%q gave the text %q", text, x.Text)
			}
			if _, ok := ClassOf(x.Component); x.Component != "" && !ok {
				t.Errorf("%q gave a class that is in no table: %q", text, x.Component)
			}
			if x.Component == "" && x.Mode != "" {
				t.Errorf("%q gave a mode of nothing", text)
			}
		}
		ReadParts(text)
		ReadWork(text)
	})
}
