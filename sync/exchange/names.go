package exchange

import (
	"encoding/base32"
	"fmt"
	"strconv"
	"strings"

	"oldhand/events"
)

// Tag stands for a shop where a stranger can read along: it is made of a hash
// of the shop's id, so that it tells shops apart and names none.
type Tag [16]byte

var base32Low = base32.NewEncoding("abcdefghijklmnopqrstuvwxyz234567").WithPadding(base32.NoPadding)

func (t Tag) String() string { return base32Low.EncodeToString(t[:]) }

// ParseTag reads a tag as String writes it.
func ParseTag(s string) (t Tag, err error) {
	b, err := base32Low.DecodeString(s)
	if err != nil || len(b) != len(t) || Tag(b).String() != s {
		return t, fmt.Errorf("%.60q is no shop's tag", s)
	}
	return Tag(b), nil
}

// The names below are part of the format: benches find each other by them.
//
//	stream    OLDHAND-<tag>
//	keys      OLDHAND-KEYS-<tag>
//	photos    OLDHAND-PIECES-<tag>
//	feeds     oldhand.<tag>.feed.<bench>-<run>
//	persons   oldhand.<tag>.person.<person>
//	chunks    oldhand.<tag>.piece.<piece>.<number>.<try>
//	again     oldhand.<tag>.again.<piece>
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

func (t Tag) pieceStream() string              { return "OLDHAND-PIECES-" + t.String() }
func (t Tag) chunks(p Piece) string            { return "oldhand." + t.String() + ".piece." + p.String() + "." }
func (t Tag) chunk(p Piece, at ChunkAt) string { return t.chunks(p) + at.String() }
func (t Tag) agains() string                   { return "oldhand." + t.String() + ".again." }
func (t Tag) again(p Piece) string             { return t.agains() + p.String() }

// streams are all that a shop has on an exchange.
func (t Tag) streams() []string { return []string{t.stream(), t.keyStream(), t.pieceStream()} }

// pieceSubjects are what the stream of photos and recordings keeps.
func (t Tag) pieceSubjects() []string {
	return []string{"oldhand." + t.String() + ".piece.*.*.*", t.agains() + "*"}
}

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

// chunkOf reads which chunk of a piece a subject is of; ok is false where it names
// none.
func (t Tag) chunkOf(p Piece, subject string) (at ChunkAt, ok bool) {
	name, ok := strings.CutPrefix(subject, t.chunks(p))
	if !ok {
		return at, false
	}
	number, try, _ := strings.Cut(name, ".")
	n, err := strconv.ParseUint(number, 10, 32)
	m, err2 := strconv.ParseUint(try, 10, 32)
	at = ChunkAt{uint32(n), uint32(m)}
	return at, err == nil && err2 == nil && at.String() == name
}

// pieceOf reads the piece from the subject of what was asked for again.
func (t Tag) pieceOf(subject string) (p Piece, ok bool) {
	name, ok := strings.CutPrefix(subject, t.agains())
	if !ok {
		return p, false
	}
	b, err := base32Low.DecodeString(name)
	if err != nil || len(b) != len(p) {
		return p, false
	}
	return Piece(b), Piece(b).String() == name
}

// guestOf reads the guest from the subject of a request to join.
func (t Tag) guestOf(subject string) (g Guest, err error) {
	name, _ := strings.CutPrefix(subject, t.joins())
	b, err := base32Low.DecodeString(name)
	if err != nil || len(b) != len(g) || base32Low.EncodeToString(b) != name {
		return g, fmt.Errorf("request to join on %q: no key in it", subject)
	}
	return Guest(b), nil
}
