package exchange_test

import (
	"bytes"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nkeys"
)

// A pin comes in a join code, off the network and out of a file: it has one text,
// and another text is named.
func FuzzParsePin(f *testing.F) {
	good := exchange.Pin{1, 31: 255}.String()
	f.Add(good)
	f.Add(good[:51])
	f.Add(strings.ToUpper(good))
	f.Add(good + "\n")
	f.Add(good[:51] + "b")
	f.Fuzz(func(t *testing.T, s string) {
		p, err := exchange.ParsePin(s)
		if err != nil {
			if p != (exchange.Pin{}) || !strings.Contains(err.Error(), "pin ") {
				t.Fatalf("%q: %v with %s", s, err, p)
			}
			return
		}
		if p.String() != s {
			t.Fatalf("%q is read as %s", s, p)
		}
	})
}

// A shop's tag comes in a list and a join code: it has one text.
func FuzzParseTag(f *testing.F) {
	good := exchange.Tag{1, 2, 255}.String()
	f.Add(good)
	f.Add(strings.ToUpper(good))
	f.Add(good[:5] + "\n" + good[5:])
	f.Add(good + "a")
	f.Fuzz(func(t *testing.T, s string) {
		tag, err := exchange.ParseTag(s)
		switch {
		case err != nil && (tag != (exchange.Tag{}) || !strings.Contains(err.Error(), "tag")):
			t.Fatalf("%q: %v with %s", s, err, tag)
		case err == nil && tag.String() != s:
			t.Fatalf("%q is read as %s", s, tag)
		}
	})
}

// Whoever logs in says by which key, in any bytes: what is read as one is written
// as the same name.
func FuzzReadLogin(f *testing.F) {
	good, err := nkeys.Encode(nkeys.PrefixByteUser, bytes.Repeat([]byte{3}, 32))
	if err != nil {
		f.Fatal(err)
	}
	account, err := nkeys.Encode(nkeys.PrefixByteAccount, bytes.Repeat([]byte{3}, 32))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(good))
	f.Add(string(account))
	f.Add(string(good[:20]))
	f.Add("")
	f.Fuzz(func(t *testing.T, name string) {
		id, ok := exchange.ReadLogin(name)
		if !ok {
			return
		}
		again, err := nkeys.Encode(nkeys.PrefixByteUser, id[:])
		if err != nil || string(again) != name {
			t.Fatalf("%q is read as the key of %q (%v)", name, again, err)
		}
	})
}

// A subject names one thing, and a thing has one subject: a second spelling of a
// feed would be a second place for it, of which the exchange's own check of what
// came last knows nothing.
func FuzzReadSubject(f *testing.F) {
	tag, piece := exchange.Tag{1}, exchange.Piece{2}
	feed := events.FeedID{Bench: events.BenchID{3}, Incarnation: events.Incarnation{4}}
	bench := events.BenchID{5}.String()
	for _, s := range []string{
		tag.Feeds() + feed.String(), tag.Feeds() + feed.String()[:78] + "b", tag.Feeds() + "x-y",
		tag.Persons() + events.PersonID{6}.String(), tag.Persons() + events.PersonID{}.String(),
		tag.Joins() + bench, tag.Joins() + bench[:51] + "b",
		"oldhand." + tag.String() + ".piece." + piece.String() + ".0.1", "oldhand." + tag.String() + ".piece." + piece.String() + ".01.1",
		"oldhand." + tag.String() + ".again." + piece.String(), "oldhand." + exchange.Tag{9}.String() + ".feed." + feed.String(),
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, subject string) {
		for _, again := range exchange.Subjects(tag, piece, subject) {
			if again != subject {
				t.Errorf("%q is read as what has the subject %q", subject, again)
			}
		}
	})
}
