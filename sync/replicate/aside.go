package replicate

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/sync/replicate/planted"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// Why says why a segment was kept aside.
type Why uint8

// The reasons. They stand in marks: the numbers never change.
const (
	WhyGap     Why = 1 // events before it are missing
	WhyUnknown Why = 2 // its bench does not count, or not so far
	WhyNoKey   Why = 3 // sealed with a key that is not here
	WhyNewer   Why = 4 // a newer program made it
	WhyFork    Why = 5 // another event stands in its place here: so said programs that took one branch of a feed alone
	WhyBad     Why = 6 // it is not what it claims to be
)

var whys = map[Why]string{
	WhyGap: "events before it are missing", WhyUnknown: "its bench does not count", WhyNoKey: "its key is not here",
	WhyNewer: "made by a newer version", WhyFork: "another event stands in its place here", WhyBad: "it is not what it claims to be",
}

func (w Why) String() string { return whys[w] }

// curable reports whether something may come that lets the segment be taken.
func (w Why) curable() bool { return w >= WhyGap && w <= WhyFork }

// waits reports whether the segment holds, and waits for others.
func (w Why) waits() bool { return w == WhyGap || w == WhyUnknown }

// Aside is a segment that was not taken.
type Aside struct {
	Digest  [16]byte // names it
	Why     Why
	Words   string // why, for a person
	Place   segment.Place
	Bytes   []byte // the segment; nil where there was no room for it
	Message uint64 // where an exchange has it; zero for a bundle

	size int // of the bytes that are kept
}

// Limits of what is kept aside. Segments beyond them are remembered without
// their bytes, and read again when they may be taken.
const (
	mostAside      = 4096
	mostAsideBytes = 64 << 20
	mostWords      = 400
)

func digestOf(b []byte) (d [16]byte) {
	sum := sha256.Sum256(b)
	copy(d[:], sum[:])
	return d
}

// mark is: why, message, length of the words, the words, and the segment, which
// begins with its own place.
func (a Aside) mark() Mark {
	words := a.Words[:min(len(a.Words), mostWords)]
	v := binary.BigEndian.AppendUint64([]byte{byte(a.Why)}, a.Message)
	v = binary.BigEndian.AppendUint16(v, uint16(len(words)))
	return Mark{a.key(), append(append(v, words...), a.Bytes...)}
}

func (a Aside) key() []byte { return append([]byte{'q'}, a.Digest[:]...) }

func readAside(k, v []byte) (a Aside, err error) {
	if len(k) != 17 || len(v) < 11 {
		return a, errMark
	}
	copy(a.Digest[:], k[1:])
	a.Why, a.Message = Why(v[0]), binary.BigEndian.Uint64(v[1:])
	n := int(binary.BigEndian.Uint16(v[9:]))
	if len(v) < 11+n {
		return a, errMark
	}
	a.Words = string(v[11 : 11+n])
	if b := v[11+n:]; len(b) > 0 {
		a.Bytes = append([]byte(nil), b...)
		a.Place, _ = segment.ReadPlace(a.Bytes) // what is no segment has no place
	}
	return a, nil
}

// whyNot sorts an error of opening or linking a segment.
func whyNot(err error) Why {
	switch {
	case errors.Is(err, segment.ErrNoKey), errors.Is(err, segment.ErrSeal) && !planted.Bug("an epoch has one key"): // it can have two
		return WhyNoKey
	case errors.Is(err, segment.ErrNewer):
		return WhyNewer
	case errors.Is(err, segment.ErrGap):
		return WhyGap
	}
	return WhyBad
}

// aside is what an inbox remembers in memory of what is kept aside.
type aside struct {
	rows  map[[16]byte]Aside // without their bytes
	bytes int
	said  map[[16]byte][]events.Event // what they say of the roster
}

func (in *Inbox) loadAside() error {
	in.aside = aside{rows: map[[16]byte]Aside{}, said: map[[16]byte][]events.Event{}}
	heard := map[[16]byte]bool{}
	for again := true; again; { // a key that opens one may stand in another
		again = false
		err := in.log.Marks([]byte{'q'}, func(k, v []byte) error {
			a, err := readAside(k, v)
			if err != nil || heard[a.Digest] {
				return err
			}
			in.aside.note(a)
			if o, err := in.open(a.Bytes); err == nil {
				heard[a.Digest] = true
				again = in.learn(in.aside.hold(a, o)) || again
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (s *aside) note(a Aside) {
	s.drop(a.Digest)
	a.size, a.Bytes = len(a.Bytes), nil
	s.bytes += a.size
	s.rows[a.Digest] = a
}

// hold remembers what a segment says that is kept aside, where it was opened.
func (s *aside) hold(a Aside, o segment.Opened) (said []events.Event) {
	for _, e := range eventsOf(o) {
		if roster.Concerns(e.Kind) && !planted.Bug("an owner's word aside is not heeded") {
			said = append(said, e)
		}
	}
	if len(said) > 0 {
		s.said[a.Digest] = said
	}
	return said
}

func (s *aside) drop(d [16]byte) {
	s.bytes -= s.rows[d].size
	delete(s.rows, d)
	delete(s.said, d)
}

// gone takes a segment's mark away, where there is one.
func (s *aside) gone(d [16]byte) []Mark {
	if a, ok := s.rows[d]; ok {
		return []Mark{{a.key(), nil}}
	}
	return nil
}

// curedBy are the rows that may be taken since something came, by their place.
func (s *aside) curedBy(came Came) (rows []Aside) {
	for _, a := range s.rows {
		if a.Why.waits() && (a.Why == WhyGap || came.proves) && a.Place.Feed == came.Place.Feed || a.Why.curable() && came.Roster {
			rows = append(rows, a)
		}
	}
	slices.SortFunc(rows, byPlace)
	return rows
}

func byPlace(a, b Aside) int {
	return cmp.Or(a.Place.Feed.Compare(b.Place.Feed), cmp.Compare(a.Place.First, b.Place.First), bytes.Compare(a.Digest[:], b.Digest[:]))
}

// keep remembers a segment that was not taken, without its bytes where there is
// no room for them, and reports whether it says something new of the roster.
func (in *Inbox) keep(a Aside, o segment.Opened, more []Mark) (roster bool, err error) {
	if planted.Bug("nothing is kept aside") {
		return false, in.log.Receive(nil, nil, more)
	}
	more = append(more, in.makeRoom(a)...)
	_, known := in.aside.rows[a.Digest]
	if len(in.aside.rows) >= mostAside && !known {
		if err := in.log.Receive(nil, nil, more); err != nil || !a.Why.curable() {
			return false, err
		}
		return false, in.setReread(true)
	}
	if in.aside.bytes+len(a.Bytes) > mostAsideBytes {
		a.Bytes = nil // the exchange has them
	}
	head, done, err := in.note(a.Why, o)
	if err == nil {
		err = in.log.Receive(nil, nil, append(append(more, head...), a.mark()))
	}
	if err != nil {
		return false, fmt.Errorf("keep a segment aside: %w", err)
	}
	done()
	in.aside.note(a)
	if a.Bytes == nil {
		return false, nil
	}
	return in.learn(in.aside.hold(a, o)), nil
}

// makeRoom lets go of what is least worth keeping, bad segments, where there is
// no room for another.
func (in *Inbox) makeRoom(a Aside) (gone []Mark) {
	if a.Why == WhyBad {
		return nil
	}
	var bad []Aside
	full := func() bool {
		return len(in.aside.rows) >= mostAside || in.aside.bytes+len(a.Bytes) > mostAsideBytes
	}
	if !full() {
		return nil
	}
	for _, b := range in.aside.rows {
		if b.Why == WhyBad && b.Digest != a.Digest {
			bad = append(bad, b)
		}
	}
	slices.SortFunc(bad, byPlace)
	for ; full() && len(bad) > 0; bad = bad[1:] {
		in.aside.drop(bad[0].Digest)
		gone = append(gone, Mark{bad[0].key(), nil})
	}
	return gone
}

// setReread remembers that exchanges must be read again, or that one is.
func (in *Inbox) setReread(on bool) error {
	if in.Reread == on {
		return nil
	}
	m := Mark{Key: []byte{'r'}}
	if on {
		m.Value = []byte{1}
	}
	err := in.log.Receive(nil, nil, []Mark{m})
	if err == nil {
		in.Reread = on
	}
	return err
}

func (in *Inbox) loadReread() error {
	return in.log.Marks([]byte{'r'}, func(_, v []byte) error {
		in.Reread = len(v) > 0
		return nil
	})
}

// Aside lists what is kept aside, with its bytes.
func (in *Inbox) Aside() (list []Aside, err error) {
	err = in.log.Marks([]byte{'q'}, func(k, v []byte) error {
		a, err := readAside(k, v)
		list = append(list, a)
		return err
	})
	return list, err
}
