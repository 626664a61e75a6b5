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
	WhyFork    Why = 5 // another event stands in its place here
	WhyBad     Why = 6 // it is not what it claims to be
)

var whys = map[Why]string{
	WhyGap: "events before it are missing", WhyUnknown: "its bench does not count", WhyNoKey: "its key is not here",
	WhyNewer: "made by a newer version", WhyFork: "another event stands in its place here", WhyBad: "it is not what it claims to be",
}

func (w Why) String() string { return whys[w] }

// curable reports whether something may come that lets the segment be taken.
func (w Why) curable() bool { return w >= WhyGap && w <= WhyNewer }

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
	case errors.Is(err, segment.ErrNoKey):
		return WhyNoKey
	case errors.Is(err, segment.ErrNewer):
		return WhyNewer
	case errors.Is(err, segment.ErrGap):
		return WhyGap
	case errors.Is(err, segment.ErrFork):
		return WhyFork
	}
	return WhyBad
}

// aside is what an inbox remembers in memory of what is kept aside.
type aside struct {
	rows  map[[16]byte]Aside // without their bytes
	bytes int
}

func (in *Inbox) loadAside() error {
	in.aside = aside{rows: map[[16]byte]Aside{}}
	return in.log.Marks([]byte{'q'}, func(k, v []byte) error {
		a, err := readAside(k, v)
		if err != nil {
			return err
		}
		in.aside.note(a)
		return nil
	})
}

func (s *aside) note(a Aside) {
	s.drop(a)
	a.size, a.Bytes = len(a.Bytes), nil
	s.bytes += a.size
	s.rows[a.Digest] = a
}

func (s *aside) drop(a Aside) {
	s.bytes -= s.rows[a.Digest].size
	delete(s.rows, a.Digest)
}

// curedBy are the rows that may be taken since something came, by their place.
func (s *aside) curedBy(came Came) (rows []Aside) {
	for _, a := range s.rows {
		if a.Why == WhyGap && a.Place.Feed == came.Place.Feed || a.Why.curable() && came.Roster {
			rows = append(rows, a)
		}
	}
	slices.SortFunc(rows, func(a, b Aside) int {
		return cmp.Or(a.Place.Feed.Compare(b.Place.Feed), cmp.Compare(a.Place.First, b.Place.First), bytes.Compare(a.Digest[:], b.Digest[:]))
	})
	return rows
}

// keep remembers a segment that was not taken, without its bytes where there is
// no room for them.
func (in *Inbox) keep(a Aside, more []Mark) error {
	if len(in.aside.rows) >= mostAside {
		return in.log.Receive(nil, nil, more) // a flood; the exchange has it, and reading it again tells again
	}
	if in.aside.bytes+len(a.Bytes) > mostAsideBytes {
		a.Bytes = nil
		in.Reread = true
	}
	if err := in.log.Receive(nil, nil, append(more, a.mark())); err != nil {
		return fmt.Errorf("keep a segment aside: %w", err)
	}
	in.aside.note(a)
	return nil
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

// known are signed heads that go further than what is here, by feed.
func (in *Inbox) loadKnown() error {
	in.known = map[events.FeedID]events.SignedHead{}
	return in.log.Marks([]byte{'h'}, func(k, v []byte) error {
		s, err := readHead(k, v)
		in.known[s.Feed] = s
		return err
	})
}
