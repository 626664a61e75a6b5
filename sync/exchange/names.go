package exchange

import (
	"encoding/base32"
	"fmt"
	"strings"

	"oldhand/events"
)

// Tag stands for a shop where a stranger can read along: it is made of a hash
// of the shop's id, so that it tells shops apart and names none.
type Tag [16]byte

var base32Low = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

func (t Tag) String() string { return base32Low.EncodeToString(t[:]) }

// The names below are part of the format: benches find each other by them.
//
//	stream    OLDHAND-<tag>
//	keys      OLDHAND-KEYS-<tag>
//	feeds     oldhand.<tag>.feed.<bench>-<run>
//	persons   oldhand.<tag>.person.<person>
//	joining   oldhand.<tag>.join.<guest's key>
//	probe     oldhand.<tag>.probe
//	inbox     _IN.<key>.>

func (t Tag) stream() string                   { return "OLDHAND-" + t.String() }
func (t Tag) keyStream() string                { return "OLDHAND-KEYS-" + t.String() }
func (t Tag) subjects() string                 { return "oldhand." + t.String() + ".>" }
func (t Tag) feeds() string                    { return "oldhand." + t.String() + ".feed." }
func (t Tag) feed(f events.FeedID) string      { return t.feeds() + f.String() }
func (t Tag) persons() string                  { return "oldhand." + t.String() + ".person." }
func (t Tag) person(p events.PersonID) string  { return t.persons() + p.String() }
func (t Tag) joins() string                    { return "oldhand.join." } // a guest does not know the shop yet
func (t Tag) probe() string                    { return "oldhand." + t.String() + ".probe" }
func (t Tag) join(guest events.BenchID) string { return t.joins() + guest.String() }

// stored are the subjects that the stream keeps.
func (t Tag) stored() []string { return []string{t.feeds() + "*", t.probe()} }

// inbox is where answers to a key come in. Each key has its own, so that
// nobody can read the answers to another.
func inbox(key events.BenchID) string { return "_IN." + key.String() }

// feedOf reads the feed from a subject; ok is false where it names none.
func (t Tag) feedOf(subject string) (f events.FeedID, ok bool) {
	name, ok := strings.CutPrefix(subject, t.feeds())
	return f, ok && f.UnmarshalText([]byte(name)) == nil
}

// personOf reads the person from a subject; ok is false where it names none.
func (t Tag) personOf(subject string) (p events.PersonID, ok bool) {
	name, ok := strings.CutPrefix(subject, t.persons())
	if !ok {
		return p, false
	}
	p, err := events.ParsePersonID(name)
	return p, err == nil && p.String() == name && !p.IsZero()
}

// guestOf reads the guest from the subject of a request to join.
func (t Tag) guestOf(subject string) (g Guest, err error) {
	name, _ := strings.CutPrefix(subject, t.joins())
	b, err := base32Low.DecodeString(name)
	if err != nil || len(b) != len(g) {
		return g, fmt.Errorf("request to join on %q: no key in it", subject)
	}
	return Guest(b), nil
}
