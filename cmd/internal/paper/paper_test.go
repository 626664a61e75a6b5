package paper_test

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/paper/papertest"

	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"pgregory.net/rapid"
)

var day = time.Date(2026, 1, 12, 15, 4, 5, 0, time.UTC)

func TestTheSheetsAreThoseOfTheStandards(t *testing.T) {
	// ISO 216: A4 is 210 by 297 mm. ANSI/ASME Y14.1: A is 8.5 by 11 inches of 25.4 mm.
	for _, c := range []struct {
		name string
		w, h float64
	}{{"", 210, 297}, {"A4", 210, 297}, {"letter", 8.5 * 25.4, 11 * 25.4}} {
		s, err := paper.SizeOf(c.name)
		if err != nil || math.Abs(s.W-c.w) > 1e-9 || math.Abs(s.H-c.h) > 1e-9 {
			t.Errorf("%q: %v, %v", c.name, s, err)
		}
	}
	if _, err := paper.SizeOf("quarto"); err == nil || !strings.Contains(err.Error(), "quarto") {
		t.Errorf("quarto: %v", err)
	}
}

// A page of 210 mm is 595.28 points (ISO 32000-1, 8.3.2.3: 72 to the inch).
func TestTheSameDrawingIsTheSameBytes(t *testing.T) {
	draw := func(at time.Time) []byte {
		d := paper.New(paper.A4, "A title, Ω", "Lantern Street Radio", at)
		for range 2 {
			d.Page()
			for f, s := range []string{"Regular äß", "Bold ЖΩ", "Italic", "10019"} {
				d.Text(20, 30+float64(f)*10, paper.Face(f), 10, paper.Black, s)
			}
			d.Fill(20, 80, 10, 10, paper.Deep)
			d.Ring(60, 60, 2, 0.3, paper.Black, true)
		}
		var b bytes.Buffer
		if err := d.Write(&b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	first := draw(day)
	for range 5 {
		if !bytes.Equal(first, draw(day)) {
			t.Fatal("two drawings of the same differ")
		}
	}
	if bytes.Equal(first, draw(day.AddDate(0, 0, 1))) {
		t.Error("the date is not in it")
	}
	if !bytes.Contains(first, []byte("D:20260112150405")) || !bytes.Contains(first, []byte("/MediaBox [0 0 595.28 841.89]")) {
		t.Error("date or size are not as given")
	}
	sheets, err := papertest.Read(first)
	if err != nil || len(sheets) != 2 || sheets[1].Text() != "Regular äß\nBold ЖΩ\nItalic\n10019\n" {
		t.Errorf("read back: %v, %v", sheets, err)
	}
}

// Our widths are those of the font's own table, read by another way.
func TestWidthsAreTheFonts(t *testing.T) {
	f, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		t.Fatal(err)
	}
	var b sfnt.Buffer
	for _, r := range "AgΩЖ.—„" {
		g, err := f.GlyphIndex(&b, r)
		if err != nil || g == 0 {
			t.Fatal(r, err)
		}
		// At 72 dots to the inch a size of 1000 points is 1000 dots an em.
		adv, err := f.GlyphAdvance(&b, g, fixed.I(1000), 0)
		if err != nil {
			t.Fatal(err)
		}
		want := float64(adv) / 64 * 25.4 / 72
		if got := paper.Width(string(r), paper.Regular, 1000); math.Abs(got-want) > 0.5 {
			t.Errorf("%c is %.2f mm wide, want %.2f", r, got, want)
		}
	}
}

// Whatever is typed: no line is wider than its room, and no word is lost or moved.
func TestWrappingLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var sp paper.Speller
		text := sp.Spell(rapid.String().Draw(t, "text"))
		room := rapid.Float64Range(8, 120).Draw(t, "room")
		lines := paper.Wrap(text, paper.Regular, 9, room)
		for _, l := range lines {
			if w := paper.Width(l, paper.Regular, 9); w > room && len([]rune(l)) > 1 {
				t.Fatalf("%q is %.1f mm wide in %.1f", l, w, room)
			}
		}
		squeeze := func(s string) string { return strings.Join(strings.Fields(s), "") }
		if squeeze(strings.Join(lines, "")) != squeeze(text) {
			t.Fatalf("%q became %q", text, lines)
		}
		if w := paper.Width(paper.Fit(text, paper.Bold, 9, room), paper.Bold, 9); w > room {
			t.Fatalf("fitted to %.1f it is %.1f wide", room, w)
		}
	})
}

// No sign is printed as an empty box: what the fonts lack is counted and named.
func TestWhatTheFontsLackIsSaid(t *testing.T) {
	var sp paper.Speller
	for in, want := range map[string]string{
		"Žofie, Łódź, Ω ≤ 0.75 V „so“ — ±5 % µF °C": "Žofie, Łódź, Ω ≤ 0.75 V „so“ — ±5 % µF °C",
		"Cafe\u0301":              "Café", // composed (Unicode Standard Annex 15)
		"a\tb\x1b[31mc\u202ed":    "a b[31mcd",
		"two\nlines\u00a0here":    "two\nlines here",
		"R-950 日本 x":              "R-950 [2 signs] x",
		"\u2713 done \U0001f3b5!": "[1 sign] done [1 sign]!",
	} {
		if got := sp.Spell(in); got != want {
			t.Errorf("%q is spelt %q, want %q", in, got, want)
		}
	}
	if got := string(sp.Lacking()); got != "✓日本🎵" {
		t.Errorf("lacking: %q", got)
	}
	if says := sp.Says(); !strings.Contains(says, "U+2713 U+65E5 U+672C U+1F3B5") {
		t.Errorf("says %q", says)
	}
	var well paper.Speller
	if well.Spell("Odile"); well.Says() != "" {
		t.Error("something is lacking in Odile")
	}
}

// Every letter that Spell lets through is in every cut.
func TestASpelledTextHasOnlyLettersOfTheFonts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var sp paper.Speller
		text := strings.ReplaceAll(sp.Spell(rapid.String().Draw(t, "text")), "\n", "")
		for _, r := range text {
			for f := paper.Regular; f <= paper.Mono; f++ {
				if paper.Width(string(r), f, 10) <= 0 && !isThin(r) {
					t.Fatalf("U+%04X is spelt and has no width in cut %d", r, f)
				}
			}
		}
	})
}

// isThin are letters of the fonts that take no room.
func isThin(r rune) bool { return r >= 0x300 && r < 0x370 }

func TestAnOutlineStaysInItsPlace(t *testing.T) {
	const x, y, size = 10, 20, 12
	w := paper.Width("10019", paper.Mono, size)
	strokes := paper.Outline("10019", paper.Mono, size, x, y)
	if len(strokes) < 20 {
		t.Fatalf("%d strokes", len(strokes))
	}
	for _, s := range strokes {
		e := s.End()
		if e[0] < x || e[0] > x+w || e[1] > y+0.2 || e[1] < y-size*paper.Point {
			t.Fatalf("a stroke ends at %v, outside of %v to %v", e, x, x+w)
		}
	}
}
