package report_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/paper/papertest"
	"oldhand/cmd/internal/report"
)

// mended is the record of an invented visit with something in every place.
func mended() report.Record {
	days := 7
	return report.Record{
		Shop: "Lantern Street Radio", Visit: 2, Of: 2, Recorded: time.Date(2026, 1, 12, 9, 0, 0, 0, time.UTC),
		Unit:     report.Unit{ID: "01J", Tag: "10019", Maker: "Ostrel", Model: "R-950", Serial: "E17-17750", Kind: "receiver", Made: "1963 to 1964", MadeBy: "date code 274-6342 on LS1"},
		Customer: "Odile Marchbanks", Received: "2026-01-05", Shipped: "2026-01-12", Days: &days, Carrier: "Quickstile Parcel", Outcome: "repaired",
		Complaint: "hums, and the left side drops out", Condition: "scratched lid", Accessories: "loop aerial", Waits: []string{"1 day for parts"},
		Found:    []report.Entry{{At: "2026-01-06", Line: "filter capacitor leaky"}, {At: "2026-01-06", Line: "control noisy"}},
		Parts:    []report.Part{{Part: "C1 capacitor", Out: "40-40-20 MFD 400V", In: "50-30-30 MFD 450V", InRead: "50 µF + 30 µF + 30 µF, 450 V", Reason: "failed"}},
		Work:     []report.Entry{{At: "2026-01-08", Line: "realigned, 45 minutes"}},
		Readings: []report.Reading{{Point: "AM", AsFound: "12 mV", AsLeft: "95 mV", Limits: "80 to 120 mV", Gauge: report.Gauge{Found: .012, Left: .095, Low: .08, High: .12}}, {Point: "hot check", AsLeft: "0.21 V", Safety: true, Gauge: report.NoGauge()}},
		Test:     &report.Test{At: "2026-01-09", Verdict: "passed", LeftOut: "phono: no record at hand"}, Earlier: []report.Test{{At: "2026-01-08", Verdict: "failed", Text: "FM drifts"}},
		NotDone:   []string{"Not tested: phono: no record at hand"},
		Estimates: []report.Entry{{Line: "estimate given: 110.00 USD"}}, Charge: "120.50 USD", WarrantyDays: 90, WarrantyTill: "2026-04-12", Parting: "call before you plug it in",
		NotesLeft: 1, Kept: "2 photos", Corrected: 1, TakenBack: 2,
		Conflicts: []report.Conflict{{Shown: "corrected to fault: C1 capacitor open", Others: []string{"corrected to fault: C1 capacitor leaky"}}},
		Care:      report.Care("receiver"), Cautions: report.Cautions("receiver", 1963),
	}
}

func printed(t testing.TB, r report.Record, size paper.Size) ([]papertest.Sheet, report.Printed) {
	t.Helper()
	var b bytes.Buffer
	done, err := report.PDF(&b, &r, size)
	if err != nil {
		t.Fatal(err)
	}
	sheets, err := papertest.Read(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if len(sheets) != done.Sheets {
		t.Fatalf("%d sheets, said %d", len(sheets), done.Sheets)
	}
	return sheets, done
}

// inOrder fails where texts don't follow each other.
func inOrder(t interface {
	Helper()
	Errorf(string, ...any)
}, all string, texts ...string) {
	t.Helper()
	at := 0
	for _, text := range texts {
		i := strings.Index(all[at:], text)
		if i < 0 {
			t.Errorf("%q does not stand behind what comes before it in:\n%s", text, all)
			continue
		}
		at += i + len(text)
	}
}

func TestARecordIsReadFromTheTopDown(t *testing.T) {
	order := []string{"Lantern Street Radio", "Ostrel R-950", "Odile Marchbanks", "E17-17750", "1963 to 1964, date code 274-6342 on LS1", "2026-01-05", "2026-01-12, after 7 days, by Quickstile Parcel", "repaired", "2 of 2", "1 day for parts",
		"In your words", "“hums, and the left side drops out”", "scratched lid", "loop aerial", "What was found", "filter capacitor leaky", "control noisy",
		"Parts out and in", "C1 capacitor", "40-40-20 MFD 400V", "50-30-30 MFD 450V (50 µF + 30 µF + 30 µF, 450 V)", "failed", "Work", "realigned, 45 minutes",
		"Readings before and after", "AM", "12 mV", "95 mV", "80 to 120 mV", "hot check", "0.21 V", "They do not declare the set safe.", "Final test", "passed, 2026-01-09", "failed, 2026-01-08: FM drifts",
		"Left out, and not done", "Not tested: phono: no record at hand", "Warranty and charge", "90 days, until 2026-04-12", "Estimate given: 110.00 USD.", "Charge: 120.50 USD.", "Call before you plug it in."}
	r := mended()
	words := strings.Join(strings.Fields(r.Text()), " ")
	inOrder(t, words, order...)
	for _, size := range []paper.Size{paper.A4, paper.Letter} {
		sheets, done := printed(t, r, size)
		all := papertest.Flow(sheets)
		inOrder(t, all, order...)
		if done.LeftOut != 0 || done.Lacking != "" {
			t.Errorf("%s: %+v", size.Name, done)
		}
		for _, all := range []string{all, words} {
			for _, must := range []string{report.NoCertificate, "let it stand unpacked in the room", "Don't open the set", "it is not settled. Shown here: fault: C1 capacitor open. The other: fault: C1 capacitor leaky.", "1 entry was corrected", "2 entries were taken back", "1 note of the shop's own", "2 photos", "local electrical code"} {
				if !strings.Contains(all, must) {
					t.Errorf("%s: %q is missing", size.Name, must)
				}
			}
		}
	}
}

func TestTheSameRecordIsTheSameBytes(t *testing.T) {
	var first []byte
	for i := range 4 {
		var b bytes.Buffer
		r := mended()
		if _, err := report.PDF(&b, &r, paper.A4); err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = b.Bytes()
		} else if !bytes.Equal(first, b.Bytes()) {
			t.Fatal("two printings differ")
		}
	}
}

// What is not known is said; nothing is left blank.
func TestABareRecordSaysWhatIsNotWritten(t *testing.T) {
	r := report.Record{Shop: "Lantern Street Radio", Visit: 1, Of: 1, Received: "unknown", Shipped: "unknown", Outcome: "not written down", Cautions: report.Cautions("", 0), Care: report.Care("")}
	sheets, done := printed(t, r, paper.Letter)
	for _, all := range []string{papertest.Flow(sheets), strings.Join(strings.Fields(r.Text()), " ")} {
		inOrder(t, all, "maker and model not known", "not known", "year not known", "on a day nobody wrote down", "not written down", "No complaint was written down.", "Nothing is written down.", "None is written down.", "No warranty is written down.", "No charge is written down.", report.NoCertificate)
	}
	if done.Sheets != 1 {
		t.Errorf("%d sheets", done.Sheets)
	}
}

// leftOut reads how many the sheets say that they leave out.
var leftOut = regexp.MustCompile(`and (\d+) [a-z ]+ more, not on this paper`)

// However long a visit was: two sheets, nothing below the foot or above the top,
// and each entry either stands on them or is counted as left out.
func TestALongVisitSaysWhatItLeavesOut(t *testing.T) {
	for seed := range uint64(30) {
		dice := rand.New(rand.NewPCG(seed, 1))
		r := mended()
		some := func() int { return []int{0, 1, 3, 30, 90}[dice.IntN(5)] }
		words := strings.Repeat("the left side drops out when it is warm ", []int{1, 1, 20, 200}[dice.IntN(4)])
		r.Complaint = words
		for i := range some() {
			r.Found = append(r.Found, report.Entry{At: "2026-01-06", Line: fmt.Sprintf("found-%d. %s", i, words[:40])})
		}
		for i := range some() {
			r.Parts = append(r.Parts, report.Part{Part: fmt.Sprintf("part-%d.", i), In: "47 pF"})
		}
		for i := range some() {
			r.Work = append(r.Work, report.Entry{At: "2026-01-06", Line: fmt.Sprintf("work-%d. %s", i, words)})
		}
		for i := range some() {
			r.Readings = append(r.Readings, report.Reading{Point: fmt.Sprintf("reading-%d.", i), AsLeft: "95 mV", Gauge: report.NoGauge()})
		}
		size := []paper.Size{paper.A4, paper.Letter}[dice.IntN(2)]
		var b bytes.Buffer
		done, err := report.PDF(&b, &r, size)
		if err != nil {
			t.Fatal(err)
		}
		sheets, err := papertest.Read(b.Bytes())
		if err != nil {
			t.Fatal(err)
		}
		if len(sheets) > report.MostSheets {
			t.Fatalf("seed %d: %d sheets", seed, len(sheets))
		}
		for _, s := range sheets {
			for _, l := range s {
				if l.Y < 8/paper.Point || l.Y > (size.H-12)/paper.Point || l.X < 16/paper.Point || l.X > (size.W-16)/paper.Point {
					t.Fatalf("seed %d: %q lies at %.0f, %.0f points", seed, l.Text, l.X, l.Y)
				}
			}
		}
		all := papertest.Flow(sheets)
		shown, said := 0, 0
		for i := range r.Found[2:] {
			shown += strings.Count(all, fmt.Sprintf("found-%d.", i))
		}
		for i := range r.Parts[1:] {
			shown += strings.Count(all, fmt.Sprintf(" part-%d.", i))
		}
		for i := range r.Work[1:] {
			shown += strings.Count(all, fmt.Sprintf("work-%d.", i))
		}
		for i := range r.Readings[2:] {
			shown += strings.Count(all, fmt.Sprintf("reading-%d.", i))
		}
		for _, text := range []string{"filter capacitor leaky", "control noisy", "40-40-20 MFD", "realigned", "hot check", "80 to 120 mV", "before that: failed", "it is not settled"} {
			shown += strings.Count(all, text)
		}
		for _, m := range leftOut.FindAllStringSubmatch(all, -1) {
			k, _ := strconv.Atoi(m[1])
			said += k
		}
		want := len(r.Found) + len(r.Parts) + len(r.Work) + len(r.Readings) + 2
		if said != done.LeftOut || shown+said != want {
			t.Fatalf("seed %d: %d shown and %d left out, by its answer %d; want %d in all\n%s", seed, shown, said, done.LeftOut, want, all)
		}
		if said > 0 {
			inOrder(t, all, "Final test", "Warranty: 90 days", "Cautions", "About this record", "too long for two sheets", "under tag 10019, visit 2", report.NoCertificate)
		}
		if cut := strings.Contains(all, "(cut)"); cut != strings.Contains(all, "long texts are cut") {
			t.Fatalf("seed %d: a text is cut: %v, and that is not what is said", seed, cut)
		}
	}
}

// Signs that the fonts lack are counted where they stood and named at the end.
func TestSignsThatTheFontsLackAreSaidOnThePaper(t *testing.T) {
	r := mended()
	r.Unit.Model, r.Complaint = "R-950 日本", "it plays no ✗"
	sheets, done := printed(t, r, paper.A4)
	all := papertest.Flow(sheets)
	inOrder(t, all, "R-950 [2 signs]", "“it plays no [1 sign]”", "About this record", "U+2717 U+65E5 U+672C")
	if !strings.Contains(done.Lacking, "U+2717") || strings.ContainsAny(all, "日本✗") {
		t.Errorf("%+v", done)
	}
}

// Another bench can have written what is no tag and has a sign of no font.
func TestATagThatIsNoneStopsNoPrinting(t *testing.T) {
	r := mended()
	r.Unit.Tag = "1\U0001f4fb\x1b[2J"
	sheets, done := printed(t, r, paper.A4)
	inOrder(t, papertest.Flow(sheets), "1[1 sign][2J")
	if !strings.Contains(done.Lacking, "U+1F4FB") {
		t.Errorf("%+v", done)
	}
}

// What the terminal is given can't steer it.
func TestTextObeysNothing(t *testing.T) {
	r := mended()
	r.Complaint = "hums\x1b[2J\r\nSafe: yes \u202e\u2028"
	if text := r.Text(); strings.ContainsAny(text, "\x1b\r\u202e\u2028") || strings.Contains(text, "\nSafe") {
		t.Errorf("%q", text)
	}
}

func TestAGaugeShowsWhatWasReadBesideItsLimits(t *testing.T) {
	none := math.NaN()
	for _, c := range []struct {
		g      report.Gauge
		drawn  bool
		lo, hi float64
	}{
		{report.Gauge{Found: 12, Left: 95, Low: 80, High: 120}, true, 0, 132},              // from 0
		{report.Gauge{Found: none, Left: 1003, Low: 995, High: 1005}, true, 993.6, 1006.4}, // near together: 0.14 of 10 on both sides
		{report.Gauge{Found: -6, Left: 0, Low: none, High: none}, true, -6.84, 0.84},
		{report.Gauge{Found: 6, Left: none, Low: none, High: none}, false, 0, 0},
		{report.NoGauge(), false, 0, 0},
	} {
		if c.g.Drawn() != c.drawn {
			t.Errorf("%v drawn: %v", c.g, !c.drawn)
		}
		if lo, hi := c.g.Span(); c.drawn && (math.Abs(lo-c.lo) > 1e-9 || math.Abs(hi-c.hi) > 1e-9) {
			t.Errorf("%v goes from %v to %v, want %v to %v", c.g, lo, hi, c.lo, c.hi)
		}
	}
	if _, to, ok := (report.Gauge{Found: none, Left: 0.21, Low: none, High: 0.75}).Band(); !ok || math.Abs(to-0.75/0.825) > 1e-9 {
		t.Errorf("limits up to %v", to)
	}
}

// The usual cautions, by what they must say (US EPA fact sheet 530-F-20-005 for
// PCBs: made until 1979; the others are common practice, no source).
func TestCautionsGoWithTheSet(t *testing.T) {
	for _, c := range []struct {
		kind string
		year int
		want string
		not  string
	}{
		{"receiver", 1963, "PCBs", "Fixed wiring"}, {"receiver", 1979, "PCBs", ""}, {"receiver", 1980, "local electrical code", "PCBs"}, {"receiver", 0, "PCBs", ""},
		{"intercom-master", 1985, "Fixed wiring: disconnect at the panel, follow your local electrical code, and use a licensed electrician if in doubt.", "PCBs"},
		{"door-station", 1975, "Fixed wiring", ""}, {"television", 1960, "picture tube", ""},
	} {
		all := strings.Join(report.Cautions(c.kind, c.year), "\n")
		if !strings.Contains(all, c.want) || c.not != "" && strings.Contains(all, c.not) {
			t.Errorf("%s of %d: %s", c.kind, c.year, all)
		}
	}
}
