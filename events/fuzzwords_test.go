package events_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"oldhand/events"

	"github.com/fxamacker/cbor/v2"
	"golang.org/x/crypto/chacha20poly1305"
)

// A time is typed, stands in an export and is drawn: what is read of a text is
// written as one that is read alike. A text that does not read is named, however
// it looks.
func FuzzParseWhen(f *testing.F) {
	for _, s := range []string{
		"unknown", "2026-11-25", "1969-12-31", "2026-11-25T14:30", "2026-11-25 14:30:05", " 2026-11-25T14:30:05+02:00 ",
		"2026-11-25T14:30:05-23:59", "2026-11-25T14:30:05.5Z", "2026-02-30", "0000-01-01", "9999-12-31T23:59:59Z", "2026-11-25T24:00",
	} {
		f.Add(s, int32(3600))
	}
	f.Fuzz(func(t *testing.T, s string, east int32) {
		w, err := events.ParseWhen(s, time.FixedZone("bench", int(east%86400)))
		if err != nil {
			if !strings.Contains(err.Error(), "time \"") || w != (events.When{}) {
				t.Fatalf("%q: %v with %v", s, err, w)
			}
			return
		}
		if w.Validate() != nil {
			return // a year that no bench has: whoever records it is told
		}
		if again, err := events.ParseWhen(w.String(), time.UTC); err != nil || again != w {
			t.Fatalf("%q is %v, and that is %v (%v)", s, w, again, err)
		}
		b, err := cbor.Marshal(w)
		var back events.When
		if err = errors.Join(err, cbor.Unmarshal(b, &back)); err != nil || back != w {
			t.Fatalf("%v is written as %x and read as %v (%v)", w, b, back, err)
		}
	})
}

// Names stand in file names, exports and commands: each has one text, but for the
// capitals of an event's id.
func FuzzNames(f *testing.F) {
	id := events.EventID{1, 2, 3}
	for _, s := range []string{id.String(), strings.ToLower(id.String()), feed.String(), events.ShopID{1}.String(), events.PersonID{255}.String(), events.ShopID{1}.String() + "\n", events.ShopID{}.String()[:25] + "b", "-", "a-b", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var id events.EventID
		if err := id.UnmarshalText([]byte(s)); err == nil && !strings.EqualFold(id.String(), s) {
			t.Errorf("event %q is read as %s", s, id)
		} else if err != nil && !strings.Contains(err.Error(), "event id") {
			t.Errorf("event %q: %v", s, err)
		}
		var feed events.FeedID
		if err := feed.UnmarshalText([]byte(s)); err == nil && feed.String() != s {
			t.Errorf("feed %q is read as %s", s, feed)
		} else if err != nil && !strings.Contains(err.Error(), "feed ") {
			t.Errorf("feed %q: %v", s, err)
		}
		if shop, err := events.ParseShopID(s); err == nil && shop.String() != s {
			t.Errorf("shop %q is read as %s", s, shop)
		} else if err != nil && (shop != events.ShopID{} || !strings.Contains(err.Error(), "shop ")) {
			t.Errorf("shop %q: %v with %v", s, err, shop)
		}
		if p, err := events.ParsePersonID(s); err == nil && p.String() != s {
			t.Errorf("person %q is read as %s", s, p)
		} else if err != nil && (!p.IsZero() || !strings.Contains(err.Error(), "person ")) {
			t.Errorf("person %q: %v with %v", s, err, p)
		}
	})
}

// Whoever has a person's key can seal any bytes for the person. What opens is
// written as what opens alike; what does not says whose it is.
func FuzzPersonalPlain(f *testing.F) {
	for _, p := range []events.Personal{{Name: "Odile Marchbanks", City: "Holmby"}, {Phone: "555 0100"}, {Name: "é", Email: "a@b.example", Address: "1 Mill Row\nHolmby"}} {
		b, err := cbor.Marshal(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte{0xa1, 1, 0x61, 0xff})
	f.Add([]byte{0xa2, 1, 0x61, 'a', 1, 0x61, 'b'})
	person, key := events.PersonID{7}, events.PersonKey{8}
	aead, err := chacha20poly1305.NewX(key[:])
	if err != nil {
		f.Fatal(err)
	}
	var nonce [chacha20poly1305.NonceSizeX]byte
	f.Fuzz(func(t *testing.T, plain []byte) {
		rec := events.PersonRecorded{Sealed: aead.Seal(nonce[:], nonce[:], plain, person[:])}
		p, err := rec.Open(person, key)
		if err != nil {
			if !errors.Is(err, events.ErrMalformed) || !strings.Contains(err.Error(), person.String()) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		if p.Validate() != nil {
			return
		}
		again, err := p.Seal(person, key, nonce)
		if err != nil {
			t.Fatalf("%+v is not sealed again: %v", p, err)
		}
		if back, err := again.Open(person, key); err != nil || back != p {
			t.Fatalf("%+v is opened as %+v (%v)", p, back, err)
		}
		if _, err := again.Open(events.PersonID{9}, key); err == nil {
			t.Fatal("what is sealed for one person opens for another")
		}
	})
}

// Serials, models and makers are compared by their keys: a key is its own key,
// and neither capitals, dashes nor blanks make another of it.
func FuzzKey(f *testing.F) {
	for _, s := range []string{"E29 53541", "e29-53541", "R‐950", "№ 5", "ßtraße", "ﬁ", "e\u0301", "Ⅷ", "\xff", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		k := events.Key(s)
		if again := events.Key(k); again != k {
			t.Fatalf("%q has key %q, and that %q", s, k, again)
		}
		if dashed := events.Key("- " + s + " ."); dashed != k {
			t.Fatalf("%q has key %q, and between dashes %q", s, k, dashed)
		}
		if long := events.Key("‐" + s); long != k { // what is not all ASCII goes another way
			t.Fatalf("%q has key %q, and behind a dash of its own sort %q", s, k, long)
		}
		b, err := json.Marshal(k)
		if err != nil || bytes.ContainsAny(b, " -.\n") {
			t.Fatalf("%q has key %s (%v)", s, b, err)
		}
	})
}
