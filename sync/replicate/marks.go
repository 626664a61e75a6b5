package replicate

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/replicate/planted"
)

// errMark is returned when a mark is not as this program writes it.
var errMark = errors.New("a mark of another form")

// Cursor is how far an exchange was read: the number of a message and its hash,
// and how many messages the exchange had lost by then.
type Cursor struct {
	Epoch   string
	Message uint64
	Hash    [sha256.Size]byte
	Holes   uint64
}

func (c Cursor) mark() Mark {
	v := binary.BigEndian.AppendUint64(nil, c.Message)
	v = binary.BigEndian.AppendUint64(append(v, c.Hash[:]...), c.Holes)
	return Mark{append([]byte{'c'}, c.Epoch...), v}
}

func readCursor(k, v []byte) (c Cursor, err error) {
	if len(v) != 8+len(c.Hash)+8 {
		return c, errMark
	}
	c.Epoch, c.Message, c.Holes = string(k[1:]), binary.BigEndian.Uint64(v), binary.BigEndian.Uint64(v[8+len(c.Hash):])
	copy(c.Hash[:], v[8:])
	return c, nil
}

// survey is which messages an exchange lacked, by a hash of their numbers, and
// when that was looked at.
type survey struct {
	Sum uint64
	At  time.Time
}

func surveyKey(epoch string) []byte { return append([]byte{'s'}, epoch...) }

func (s survey) mark(epoch string) Mark {
	v := binary.BigEndian.AppendUint64(nil, s.Sum)
	return Mark{surveyKey(epoch), binary.BigEndian.AppendUint64(v, uint64(s.At.Unix()))}
}

func readSurvey(v []byte) (s survey, err error) {
	if len(v) != 16 {
		return s, errMark
	}
	s.Sum, s.At = binary.BigEndian.Uint64(v), time.Unix(int64(binary.BigEndian.Uint64(v[8:])), 0)
	return s, nil
}

// cursorPrefix is where the cursor of one epoch stands, and those of others whose
// names go on from it.
func cursorPrefix(epoch string) []byte {
	if planted.Bug("a cursor without its epoch") {
		return []byte{'c'}
	}
	return append([]byte{'c'}, epoch...)
}

func feedBytes(f events.FeedID) []byte {
	return append(f.Bench[:len(f.Bench):len(f.Bench)], f.Incarnation[:]...)
}

func readFeed(b []byte) (f events.FeedID) {
	copy(f.Bench[:], b)
	copy(f.Incarnation[:], b[len(f.Bench):])
	return f
}

const feedSize = 48

// spotPrefix is where the spots of one epoch stand. The zero ends the name.
func spotPrefix(epoch string) []byte { return append(append([]byte{'t'}, epoch...), 0) }

// forkPrefix is where the spots of branches stand that did not come first here.
func forkPrefix(epoch string) []byte { return append(append([]byte{'b'}, epoch...), 0) }

func (s spotOn) mark(epoch string) Mark {
	v := binary.BigEndian.AppendUint64(nil, s.Message)
	v = binary.BigEndian.AppendUint64(v, s.Head.Seq)
	k := append(spotPrefix(epoch), feedBytes(s.Feed)...)
	if s.Branch != eventlog.First(s.Feed) {
		k = append(append(forkPrefix(epoch), feedBytes(s.Feed)...), s.Root[:]...)
	}
	return Mark{k, append(v, s.Head.Hash[:]...)}
}

func readSpot(k, v []byte) (s spotOn, err error) {
	size := feedSize
	if len(k) > 0 && k[0] == 'b' {
		size += len(s.Root)
	}
	if len(v) != 8+8+len(s.Head.Hash) || len(k) < size {
		return s, errMark
	}
	s.Feed = readFeed(k[len(k)-size:])
	copy(s.Root[:], k[len(k)-size+feedSize:])
	s.Message = binary.BigEndian.Uint64(v)
	if s.Head.Seq = binary.BigEndian.Uint64(v[8:]); s.Head.Seq > 0 {
		s.Head.Feed = s.Feed
		copy(s.Head.Hash[:], v[16:])
	}
	return s, nil
}

// headMark remembers a signed head of what is not here: the one of a feed that
// weighs most, or another.
func headMark(s events.SignedHead, most bool) Mark {
	v := binary.BigEndian.AppendUint64(nil, s.Seq)
	v = append(v, s.Hash[:]...)
	k := append([]byte{'h'}, feedBytes(s.Feed)...)
	if !most {
		k = append(append([]byte{'i'}, feedBytes(s.Feed)...), s.Hash[:]...)
	}
	return Mark{k, append(v, s.Signature[:]...)}
}

func readHead(k, v []byte) (s events.SignedHead, err error) {
	size := 1 + feedSize
	if len(k) > 0 && k[0] == 'i' {
		size += len(s.Hash)
	}
	if len(v) != 8+len(s.Hash)+len(s.Signature) || len(k) != size {
		return s, errMark
	}
	s.Feed = readFeed(k[1:])
	s.Seq = binary.BigEndian.Uint64(v)
	copy(s.Hash[:], v[8:])
	copy(s.Signature[:], v[8+len(s.Hash):])
	return s, nil
}
