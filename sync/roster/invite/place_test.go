package invite_test

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"oldhand/sync/roster/invite"

	"pgregory.net/rapid"
)

func TestAPlaceIsReadAsItWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCode(t)
		p := invite.Place{Pin: c.Pin, Addresses: c.Addresses}
		text := must(p.Text())
		if got, err := invite.ReadPlace(strings.ToLower(text)); err != nil || !reflect.DeepEqual(got, p) {
			t.Fatalf("%s is read as %+v, %v; was %+v", text, got, err, p)
		}
	})
}

func TestAPlaceIsNoJoinCodeAndAJoinCodeNoPlace(t *testing.T) {
	c := codeOf(7, "192.0.2.7:4222")
	if _, err := invite.ReadPlace(must(c.Text())); !errors.Is(err, invite.ErrJoinCode) {
		t.Errorf("a join code read as a place: %v", err)
	}
	p := invite.Place{Pin: c.Pin, Addresses: c.Addresses}
	if _, err := invite.Read(must(p.Text())); !errors.Is(err, invite.ErrPlaceCode) {
		t.Errorf("a place read as a join code: %v", err)
	}
}

func TestAWrongCharacterInAPlaceIsFoundInItsGroup(t *testing.T) {
	text := must(invite.Place{Pin: codeOf(7).Pin, Addresses: []string{"192.0.2.7:4222"}}.Text())
	for i, c := range text {
		if c == '-' {
			continue
		}
		wrong := strings.Map(func(r rune) rune {
			if r == c {
				return -1
			}
			return r
		}, alphabet)[i%30]
		var m *invite.Mistyped
		_, err := invite.ReadPlace(text[:i] + string(wrong) + text[i+1:])
		if !errors.As(err, &m) || m.Groups[0] != i/6+1 {
			t.Errorf("character %d wrong: %v, want group %d", i, err, i/6+1)
		}
	}
}

func TestAPlaceHasNoMoreAddressesThanACode(t *testing.T) {
	if text, err := (invite.Place{Addresses: []string{"a:1", "b:1", "c:1"}}).Text(); err == nil {
		t.Errorf("three addresses are spelt as %s", text)
	}
}

func TestWhatIsNoPlaceIsSaidToBeNone(t *testing.T) {
	for name, digits := range map[string]string{"another version": spelt(t, "\x01\x30", 16), "three addresses": spelt(t, "\x01\x23", 16),
		"too short": spelt(t, "\x01\x20", 15), "more behind": spelt(t, "\x01\x20", 17), "no address where one is": spelt(t, "\x01\x21", 16)} {
		if p, err := invite.ReadPlace(checked(digits)); !errors.Is(err, invite.ErrNotCode) {
			t.Errorf("%s: %+v, %v, want ErrNotCode", name, p, err)
		}
	}
}
