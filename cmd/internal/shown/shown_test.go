package shown_test

import (
	"bytes"
	"encoding/json"
	"testing"

	"oldhand/cmd/internal/shown"
)

func TestSignsThatWouldBeObeyedAreShown(t *testing.T) {
	for _, c := range []struct{ text, line, several string }{
		{"hums, 4.7 µF, 日本 \U0001f4fb", "hums, 4.7 µF, 日本 \U0001f4fb", "hums, 4.7 µF, 日本 \U0001f4fb"},
		{"one\n\ttwo", "one⏎ two", "one\n\ttwo"},
		{"\x1b[2J\u009b31m\x7f\r", "\ufffd[2J\ufffd31m\ufffd\ufffd", "\ufffd[2J\ufffd31m\ufffd\ufffd"},
		{"\u202egnp.exe\u2066\u200f", "\ufffdgnp.exe\ufffd\ufffd", "\ufffdgnp.exe\ufffd\ufffd"},
		{"a\u2028b\u2029c", "a\ufffdb\ufffdc", "a\ufffdb\ufffdc"},
		{"no \xff letter", "no \ufffd letter", "no \ufffd letter"},
	} {
		if got := shown.Line(c.text); got != c.line {
			t.Errorf("%q on a line: %q, want %q", c.text, got, c.line)
		}
		if got := shown.Text(c.text); got != c.several {
			t.Errorf("%q on lines: %q, want %q", c.text, got, c.several)
		}
	}
}

// Source: Unicode Standard Annex 9, table of section 2.1 to 2.5: marks are no embeddings,
// overrides or isolates.
func TestSignsThatTurnALineAreFound(t *testing.T) {
	for text, want := range map[string]int{"": -1, "“hums” … 4.7 µF\xe2": -1, "\u200e\u200f\u061c": -1, "\u2029\u202f\u2065\u206a": -1,
		"\u202a": 0, "“\u202b": 3, "x\u202c": 1, "\u202d": 0, "gnp\u202e": 3, "\u2066": 0, "\u2067": 0, "\u2068": 0, "µ\u2069": 2} {
		if got := shown.Turn([]byte(text)); got != want {
			t.Errorf("%q: at %d, want %d", text, got, want)
		}
	}
}

func TestJSONSaysTheSameWithoutSignsThatAreObeyed(t *testing.T) {
	for _, text := range []string{"plain", "\x00\x1b[2J\u009b1m\x7f\u202e\u2028\n\t \\u202e", "日本 \U0001f4fb"} {
		var b bytes.Buffer
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(false)
		enc.SetIndent("", "  ")
		if err := enc.Encode([]string{text}); err != nil {
			t.Fatal(err)
		}
		safe := shown.JSON(b.Bytes())
		var read []string
		if err := json.Unmarshal(safe, &read); err != nil || read[0] != text {
			t.Errorf("%q came back as %q (%v)", text, read, err)
		}
		if got := shown.Text(string(safe)); got != string(safe) {
			t.Errorf("%s is not all seen", safe)
		}
	}
}

func TestATerminalIsWrittenToInAnyPieces(t *testing.T) {
	const text = "a,é\r\n日\x1b[2J\rb\r\n\u202e\U0001f4fb\n"
	const want = "a,é\n日\ufffd[2J\ufffdb\n\ufffd\U0001f4fb\n"
	for n := 1; n <= len(text); n++ {
		var b bytes.Buffer
		w := shown.On(&b)
		for rest := text; rest != ""; {
			k := min(n, len(rest))
			if wrote, err := w.Write([]byte(rest[:k])); err != nil || wrote != k {
				t.Fatal(wrote, err)
			}
			rest = rest[k:]
		}
		if b.String() != want {
			t.Errorf("in pieces of %d: %q, want %q", n, b.String(), want)
		}
	}
}
