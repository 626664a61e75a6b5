package sheettext_test

import (
	"testing"
	"unicode/utf8"

	"oldhand/cmd/internal/sheettext"
	"oldhand/events/sheets"

	"github.com/google/go-cmp/cmp"
)

// A sheet is typed by hand. What is read can be walked, and is written as a text that
// reads alike; what is not read says something.
func FuzzRead(f *testing.F) {
	for _, s := range sheets.Good {
		f.Add(sheettext.Write(s))
	}
	f.Add("name = \"x\"\nkind = \"tuner\"\n[[check]]\nlabel = \"FM\"\nlimits = \"at most 1 V\"")
	f.Add("name = '''\nx\n'''\nkind = \"tuner\"\n[[check]]\nlabel = \"a\\u0000\"")
	f.Add("check = 1")
	f.Add("[[check]]\n[[check]]\nlabel = 1979-05-27T07:32:00Z")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 1<<14 {
			return
		}
		s, err := sheettext.Read(text)
		if err != nil {
			if err.Error() == "" || !utf8.ValidString(err.Error()) && utf8.ValidString(text) {
				t.Fatalf("%q is refused with %q", text, err)
			}
			return
		}
		if err := sheets.Sound(s); err != nil {
			t.Fatalf("%q is taken and can't be walked: %v", text, err)
		}
		again, err := sheettext.Read(sheettext.Write(s))
		if err != nil {
			t.Fatalf("%q is written as what is not read: %v\n%s", text, err, sheettext.Write(s))
		}
		if d := cmp.Diff(s, again); d != "" {
			t.Fatalf("%q (-first +then):\n%s", text, d)
		}
	})
}
