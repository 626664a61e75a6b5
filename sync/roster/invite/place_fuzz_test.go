package invite_test

import (
	"errors"
	"strings"
	"testing"

	"oldhand/sync/roster/invite"
)

// The code of a place is typed by hand. What is read is spelt as a code that is read
// alike; what is not says in which group to look, or that it is no such code.
func FuzzReadPlace(f *testing.F) {
	for _, p := range []invite.Place{{Pin: invite.Pin{1}}, {Pin: invite.Pin{2, 15: 3}, Addresses: []string{"192.168.1.20:4750"}}, {Addresses: []string{"[fe80::1]:1", "10.0.0.1:65535"}}} {
		text := must(p.Text())
		f.Add(text)
		f.Add(strings.ToLower(strings.ReplaceAll(text, "-", " ")))
		f.Add(text[:len(text)-1])
	}
	f.Add(must(codeOf(7).Text()))
	f.Add("")
	f.Fuzz(func(t *testing.T, typed string) {
		p, err := invite.ReadPlace(typed)
		if err != nil {
			slip := (*invite.Mistyped)(nil)
			if !errors.As(err, &slip) && !errors.Is(err, invite.ErrNotCode) && !errors.Is(err, invite.ErrJoinCode) {
				t.Fatalf("%q: an error of no kind: %v", typed, err)
			}
			return
		}
		text, err := p.Text()
		if err != nil {
			t.Fatalf("%q is read as %+v, which is not spelt: %v", typed, p, err)
		}
		again, err := invite.ReadPlace(text)
		if err != nil || again.Pin != p.Pin || strings.Join(again.Addresses, " ") != strings.Join(p.Addresses, " ") {
			t.Fatalf("%q is read as %+v and then as %+v (%v)", typed, p, again, err)
		}
	})
}
