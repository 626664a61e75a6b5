package web

import "testing"

func TestWhatTurnsALineIsShownAndKeptWhereItIsTyped(t *testing.T) {
	for page, want := range map[string]string{
		`<p title="a` + "\u202e" + `b">` + "E17\u202e-1\u202c\u200f hums</p>": `<p title="a` + "\u202e" + `b">` + "E17\ufffd-1\ufffd\u200f hums</p>",
		"<textarea name=\"x\">\u2066kept\u2069</textarea> \u2066shown\u2069":  "<textarea name=\"x\">\u2066kept\u2069</textarea> \ufffdshown\ufffd",
		"“plain” <b>µ</b>": "“plain” <b>µ</b>",
		"ends \u202e":      "ends \ufffd",
	} {
		b := []byte(page)
		if unturn(b); string(b) != want {
			t.Errorf("%q is shown as %q, want %q", page, b, want)
		}
	}
}
